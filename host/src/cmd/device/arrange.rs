//! In: changes to the configuration of an alarm, as KEY=VALUE. Out: the configuration, or the field that was refused.

use clap::{Args, ValueEnum};
use stillpoint_core::wire::alarm::{AlarmPriority, Arranged, Arrangement, Subject};
use stillpoint_core::wire::command::Command;
use stillpoint_core::wire::header::Header;
use stillpoint_core::wire::message::Message;

use super::axis::check;
use super::session::Session;
use super::{Answer, ticks};
use crate::cmd::option_value::whole;
use crate::error::Error;
use crate::report::describe;

#[derive(Args)]
pub(super) struct Arguments {
    /// Number of the axis, from 0
    #[arg(value_parser = whole::<u8>, allow_negative_numbers = true)]
    axis: u8,
    /// Subject of the alarm; gap is an alarm of the monitor itself, at axis 0
    subject: AlarmSubject,
    /// KEY=VALUE; without changes the configuration is shown; times in ticks or as 10ms, 2s, 5min or 8h. A monitor shows the
    /// configuration only in a refusal, so each use adds one to its count of refused commands
    changes: Vec<String>,
}

/// Subject of an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum AlarmSubject {
    /// Drift of the settling time
    Drift,
    /// Stops that do not settle
    Unsettled,
    /// Lasting following error
    FollowingError,
    /// Invalid signals
    Signal,
    /// Missing samples or frames
    Gap,
    /// More moves that settle later than the limit than may
    SettlingLimit,
    /// More moves that do not settle than may
    UnsettledLimit,
}

impl AlarmSubject {
    fn subject(self) -> Subject {
        match self {
            AlarmSubject::Drift => Subject::Drift,
            AlarmSubject::Unsettled => Subject::Unsettled,
            AlarmSubject::FollowingError => Subject::FollowingError,
            AlarmSubject::Signal => Subject::Signal,
            AlarmSubject::Gap => Subject::Gap,
            AlarmSubject::SettlingLimit => Subject::SettlingLimit,
            AlarmSubject::UnsettledLimit => Subject::UnsettledLimit,
        }
    }
}

impl Arguments {
    pub(super) fn is_change(&self) -> bool {
        !self.changes.is_empty()
    }

    pub(super) fn run(&self, session: &mut Session) -> Result<Answer, Error> {
        check(session, self.axis)?;
        let rate = session.monitor.ticks_per_second;
        // A wrong KEY=VALUE is reported before anything is sent.
        self.change(Arrangement::default(), rate)?;
        // The monitor answers this impossible configuration with the one in force.
        let (axis, subject) = (self.axis, self.subject.subject());
        let endless = Arrangement { axis, subject, longest_shelving: u64::MAX, ..Arrangement::default() };
        let before = self.arrange(session, endless)?.1;
        if before.refused_name() == Some("axis") {
            return Err(
                session.error(format!("axis {axis} has no such alarm"), "the gap alarm belongs to axis 0")
            );
        }
        let before = before.arrangement;
        if self.changes.is_empty() {
            return Ok(Answer::info(self.describe(&before, rate)));
        }
        let (header, reply) = self.arrange(session, self.change(before, rate)?)?;
        match reply.refused_name() {
            None => Ok(Answer::action(self.describe(&reply.arrangement, rate), "settings", header, axis)),
            Some(name) => Err(session.error(
                format!("axis {axis}: {name} was refused: it must be at most 2^48 ticks"),
                "the previous configuration stays in force",
            )),
        }
    }

    /// The configuration with all changes.
    fn change(&self, mut arrangement: Arrangement, rate: u32) -> Result<Arrangement, Error> {
        for change in &self.changes {
            set(&mut arrangement, change, rate).ok_or_else(|| unknown(change))?;
        }
        Ok(arrangement)
    }

    fn arrange(&self, session: &mut Session, arrangement: Arrangement) -> Result<(Header, Arranged), Error> {
        let answer = session.request(&Command::Arrange(arrangement), |header, message| match message {
            Message::Arranged(reply) if is_of(&reply.arrangement, &arrangement) => Some((*header, *reply)),
            _ => None,
        })?;
        answer.ok_or_else(|| {
            session.error("alarms can't be configured", "the monitor may have an older firmware")
        })
    }

    fn describe(&self, arrangement: &Arrangement, ticks_per_second: u32) -> String {
        let values = fields(arrangement, ticks_per_second).map(|(key, value)| format!("{key}={value}"));
        let subject = self.subject.to_possible_value().map(|value| value.get_name().to_owned());
        format!("axis {}, {}: {}", arrangement.axis, subject.unwrap_or_default(), values.join(" "))
    }
}

/// Whether both are of the same alarm.
fn is_of(one: &Arrangement, other: &Arrangement) -> bool {
    (one.axis, one.subject) == (other.axis, other.subject)
}

/// Keys and values of a configuration.
fn fields(arrangement: &Arrangement, ticks_per_second: u32) -> [(&'static str, String); 6] {
    let time = |ticks: u64| format!("{}s", ticks as f64 / f64::from(ticks_per_second.max(1)));
    [
        ("latching", arrangement.latching.to_string()),
        ("on_delay", time(arrangement.on_delay)),
        ("off_delay", time(arrangement.off_delay)),
        ("re_alarm_time", time(arrangement.re_alarm_time)),
        ("longest_shelving", time(arrangement.longest_shelving)),
        ("priority", describe::priority(arrangement.priority).to_owned()),
    ]
}

/// Sets one field; `None` if the key is unknown or can't have this value.
fn set(arrangement: &mut Arrangement, change: &str, ticks_per_second: u32) -> Option<()> {
    let (key, value) = change.split_once('=')?;
    let time = || ticks(value, ticks_per_second);
    match key {
        "latching" => arrangement.latching = value.parse().ok()?,
        "on_delay" => arrangement.on_delay = time()?,
        "off_delay" => arrangement.off_delay = time()?,
        "re_alarm_time" => arrangement.re_alarm_time = time()?,
        "longest_shelving" => arrangement.longest_shelving = time()?,
        "priority" => {
            let all =
                [AlarmPriority::Low, AlarmPriority::Medium, AlarmPriority::High, AlarmPriority::Highest];
            arrangement.priority = all.into_iter().find(|one| describe::priority(*one) == value)?;
        }
        _ => return None,
    }
    Some(())
}

fn unknown(change: &str) -> Error {
    let keys = fields(&Arrangement::default(), 1).map(|(key, _)| key);
    super::unusable_change("arrange", change, "an alarm", &keys, |key| match key {
        "latching" => "true or false",
        "priority" => "low, medium, high or highest",
        _ => "ticks, or a time such as 10ms, 2s, 5min or 8h",
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_shown_can_be_set() {
        let arrangement = Arrangement {
            latching: true,
            on_delay: 1,
            off_delay: 20,
            re_alarm_time: 3_000_000,
            longest_shelving: 28_800_000_000,
            priority: AlarmPriority::Highest,
            ..Arrangement::default()
        };
        let mut copy = Arrangement::default();
        for (key, value) in fields(&arrangement, 1_000_000) {
            assert_eq!(set(&mut copy, &format!("{key}={value}"), 1_000_000), Some(()), "{key}={value}");
        }
        assert_eq!(copy, arrangement);
        for wrong in ["latching=yes", "priority=lowest", "on_delay=-1s", "delay=1s", "on_delay"] {
            assert_eq!(set(&mut copy, wrong, 1_000_000), None, "{wrong}");
        }
    }
}
