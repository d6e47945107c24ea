//! In: how an alarm is to behave, as KEY=VALUE. Out: how it does, or which field broke which rule.

use clap::{Args, ValueEnum};
use stillpoint_core::wire::alarm::{AlarmPriority, Arranged, Arrangement, Subject};
use stillpoint_core::wire::command::Command;
use stillpoint_core::wire::header::Header;
use stillpoint_core::wire::message::Message;

use super::act::check;
use super::talk::Talk;
use super::{Done, Noted, ticks};
use crate::cmd::figure::whole;
use crate::error::Error;
use crate::report::describe;

#[derive(Args)]
pub(super) struct Arguments {
    /// Number of the axis, from 0
    #[arg(value_parser = whole::<u8>, allow_negative_numbers = true)]
    axis: u8,
    /// What the alarm is about; losses are those of the monitor itself, axis 0
    subject: About,
    /// KEY=VALUE, as shown without any; times in ticks or as 10ms, 2s, 5min or 8h. A monitor tells what is in force only
    /// with a refusal, so that asking adds one to the commands it counts as refused
    changes: Vec<String>,
}

/// What an alarm is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum About {
    /// Settling drifts
    Drift,
    /// Stops do not settle
    Unsettled,
    /// The following error lasts
    FollowingError,
    /// The signals are wrong
    Signal,
    /// Samples or frames are missing
    Gap,
}

impl About {
    fn subject(self) -> Subject {
        match self {
            About::Drift => Subject::Drift,
            About::Unsettled => Subject::Unsettled,
            About::FollowingError => Subject::FollowingError,
            About::Signal => Subject::Signal,
            About::Gap => Subject::Gap,
        }
    }
}

impl Arguments {
    pub(super) fn run(&self, talk: &mut Talk) -> Result<Done, Error> {
        check(talk, self.axis)?;
        let rate = talk.known.ticks_per_second;
        // What can't be read is told before the monitor is asked anything.
        self.change(Arrangement::default(), rate)?;
        // What no monitor can do is refused by telling what is in force.
        let (axis, subject) = (self.axis, self.subject.subject());
        let endless = Arrangement { axis, subject, longest_shelving: u64::MAX, ..Arrangement::default() };
        let before = self.ask(talk, endless)?.1;
        if before.refused_name() == Some("axis") {
            return Err(talk.wrong(format!("axis {axis} has no such alarm"), "losses are those of axis 0"));
        }
        let before = before.arrangement;
        if self.changes.is_empty() {
            return Ok(Done::told(self.line(&before, rate)));
        }
        let (header, told) = self.ask(talk, self.change(before, rate)?)?;
        match told.refused_name() {
            None => {
                let noted = Some(Noted { what: "settings", header, axis });
                Ok(Done { text: self.line(&told.arrangement, rate), noted, is_kept: true })
            }
            Some(name) => Err(talk.wrong(
                format!("axis {axis}: {name} was refused: it must be at most 2^48 ticks"),
                "what was set before stays in force",
            )),
        }
    }

    /// With what is to be changed.
    fn change(&self, mut asked: Arrangement, rate: u32) -> Result<Arrangement, Error> {
        for change in &self.changes {
            set(&mut asked, change, rate).ok_or_else(|| unknown(change))?;
        }
        Ok(asked)
    }

    fn ask(&self, talk: &mut Talk, asked: Arrangement) -> Result<(Header, Arranged), Error> {
        let answer = talk.ask(&Command::Arrange(asked), |header, message| match message {
            Message::Arranged(told) if !header.replay => Some((*header, *told)),
            _ => None,
        })?;
        answer.ok_or_else(|| talk.wrong("alarms can't be arranged", "it may be of an older version"))
    }

    fn line(&self, told: &Arrangement, ticks_per_second: u32) -> String {
        let values = shown(told, ticks_per_second).map(|(key, value)| format!("{key}={value}"));
        let subject = self.subject.to_possible_value().map(|value| value.get_name().to_owned());
        format!("axis {}, {}: {}", told.axis, subject.unwrap_or_default(), values.join(" "))
    }
}

fn shown(told: &Arrangement, ticks_per_second: u32) -> [(&'static str, String); 6] {
    let time = |ticks: u64| format!("{}s", ticks as f64 / f64::from(ticks_per_second.max(1)));
    [
        ("latching", told.latching.to_string()),
        ("on_delay", time(told.on_delay)),
        ("off_delay", time(told.off_delay)),
        ("re_alarm_time", time(told.re_alarm_time)),
        ("longest_shelving", time(told.longest_shelving)),
        ("priority", describe::priority(told.priority).to_owned()),
    ]
}

/// Sets one field; nothing if there is none of this name, or it can't have this value.
fn set(asked: &mut Arrangement, change: &str, ticks_per_second: u32) -> Option<()> {
    let (key, value) = change.split_once('=')?;
    let time = || ticks(value, ticks_per_second);
    match key {
        "latching" => asked.latching = value.parse().ok()?,
        "on_delay" => asked.on_delay = time()?,
        "off_delay" => asked.off_delay = time()?,
        "re_alarm_time" => asked.re_alarm_time = time()?,
        "longest_shelving" => asked.longest_shelving = time()?,
        "priority" => {
            let all =
                [AlarmPriority::Low, AlarmPriority::Medium, AlarmPriority::High, AlarmPriority::Highest];
            asked.priority = all.into_iter().find(|one| describe::priority(*one) == value)?;
        }
        _ => return None,
    }
    Some(())
}

fn unknown(change: &str) -> Error {
    let keys = shown(&Arrangement::default(), 1).map(|(key, _)| key);
    super::unusable("arrange", change, "an alarm", &keys, |key| match key {
        "latching" => "true or false",
        "priority" => "low, medium, high or highest",
        _ => "ticks, or a time such as 10ms, 2s, 5min or 8h",
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_shown_can_be_set() {
        let told = Arrangement {
            latching: true,
            on_delay: 1,
            off_delay: 20,
            re_alarm_time: 3_000_000,
            longest_shelving: 28_800_000_000,
            priority: AlarmPriority::Highest,
            ..Arrangement::default()
        };
        let mut again = Arrangement::default();
        for (key, value) in shown(&told, 1_000_000) {
            assert_eq!(set(&mut again, &format!("{key}={value}"), 1_000_000), Some(()), "{key}={value}");
        }
        assert_eq!(again, told);
        for wrong in ["latching=yes", "priority=lowest", "on_delay=-1s", "delay=1s", "on_delay"] {
            assert_eq!(set(&mut again, wrong, 1_000_000), None, "{wrong}");
        }
    }
}
