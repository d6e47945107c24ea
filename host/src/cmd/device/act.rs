//! In: what a person does about an alarm or an axis. Out: the monitor's answer in words.

use std::time::{SystemTime, UNIX_EPOCH};

use clap::Subcommand;
use stillpoint_core::wire::alarm::{Action, AlarmEvent, AlarmState};
use stillpoint_core::wire::command;
use stillpoint_core::wire::command::{Acknowledge, CaptureNext, Command, Declare, DumpSince, SetClock};
use stillpoint_core::wire::message::Message;

use super::talk::Talk;
use super::{Done, Noted};
use crate::cmd::figure::whole;
use crate::error::Error;
use crate::report::describe;

#[derive(Clone, Copy, Debug, Subcommand)]
pub(super) enum Act {
    /// A person has seen an alarm
    Acknowledge {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
    },
    /// Let go of a latched alarm
    Reset {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
    },
    /// Set an alarm aside for a time; it comes back by itself
    Shelve {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
        /// For so long
        #[arg(long, value_name = "M")]
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        minutes: u32,
    },
    /// Take a shelved alarm back now
    Unshelve {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
    },
    /// Set an alarm aside for maintenance, until it is returned
    OutOfService {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
    },
    /// Take an alarm back from maintenance
    ReturnToService {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
    },
}

impl Act {
    fn alarm(self) -> u32 {
        match self {
            Act::Acknowledge { alarm }
            | Act::Reset { alarm }
            | Act::Shelve { alarm, .. }
            | Act::Unshelve { alarm }
            | Act::OutOfService { alarm }
            | Act::ReturnToService { alarm } => alarm,
        }
    }

    fn command(self, ticks_per_second: u32) -> Command {
        let action = match self {
            Act::Acknowledge { alarm } => return Command::Acknowledge(Acknowledge { alarm }),
            Act::Reset { .. } => Action::Reset,
            Act::Shelve { minutes, .. } => {
                Action::Shelve(u64::from(minutes) * 60 * u64::from(ticks_per_second))
            }
            Act::Unshelve { .. } => Action::Unshelve,
            Act::OutOfService { .. } => Action::OutOfService,
            Act::ReturnToService { .. } => Action::ReturnToService,
        };
        Command::Act(command::Act { alarm: self.alarm(), action })
    }

    /// What then happens to the alarm, what it is to do so, and how the journal names it.
    fn words(self) -> (AlarmEvent, &'static str, &'static str) {
        match self {
            Act::Acknowledge { .. } => (AlarmEvent::Acknowledge, "acknowledge", "acknowledgement"),
            Act::Reset { .. } => (AlarmEvent::Reset, "reset", "reset"),
            Act::Shelve { .. } => (AlarmEvent::Shelve, "shelve", "shelving"),
            Act::Unshelve { .. } => (AlarmEvent::Unshelve, "unshelve", "shelving"),
            Act::OutOfService { .. } => (AlarmEvent::OutOfService, "take out of service", "out of service"),
            Act::ReturnToService { .. } => {
                (AlarmEvent::ReturnToService, "return to service", "out of service")
            }
        }
    }

    pub(super) fn run(self, talk: &mut Talk) -> Result<Done, Error> {
        let (event, verb, what) = self.words();
        let alarm = self.alarm();
        let before = talk.known.alarms.get(&alarm).map(|alarm| alarm.state);
        // The same alarm may take a step by itself meanwhile.
        let command = self.command(talk.known.ticks_per_second);
        let answer = talk.ask(&command, |header, message| match message {
            Message::Alarm(told) if (told.alarm, told.event) == (alarm, event) => Some((*header, *told)),
            _ => None,
        })?;
        let Some((header, told)) = answer else {
            return Err(self.refused(talk, verb, before));
        };
        let minutes = match self {
            Act::Shelve { minutes, .. } => format!(" for {minutes} min"),
            _ => String::new(),
        };
        let text = format!("{}{minutes}", describe::alarm(&format!("axis {}", told.axis), &told));
        Ok(Done { text, noted: Some(Noted { what, header, axis: told.axis }), is_kept: true })
    }

    fn refused(self, talk: &Talk, verb: &str, before: Option<AlarmState>) -> Error {
        let alarm = self.alarm();
        let Some(state) = before else {
            let open: Vec<String> = talk.known.alarms.keys().map(u32::to_string).collect();
            let remedy = match open[..] {
                [] => "all alarms are normal".to_owned(),
                _ => format!("those that are not normal: {}", open.join(", ")),
            };
            return talk
                .wrong(format!("can't {verb} alarm {alarm}: no alarm of this number waits for it"), remedy);
        };
        let remedy = match self {
            Act::Shelve { .. } => "give a minute or more, and no more than its settings allow",
            _ => remedy(state),
        };
        talk.wrong(format!("can't {verb} alarm {alarm}: it is {}", describe::state(state)), remedy)
    }
}

/// What the state of an alarm asks for.
fn remedy(state: AlarmState) -> &'static str {
    match state {
        AlarmState::Normal => "there is nothing to do",
        AlarmState::Unacknowledged | AlarmState::ReturnedToNormalUnacknowledged => "acknowledge it",
        AlarmState::Acknowledged => "it stands until its cause is gone",
        AlarmState::LatchedUnacknowledged => "acknowledge it, then reset it",
        AlarmState::LatchedAcknowledged => "reset it",
        AlarmState::Shelved => "unshelve it, or wait until its time is over",
        AlarmState::SuppressedByDesign => "it comes back once the signals of its axis are right",
        AlarmState::OutOfService => "return it to service",
    }
}

/// An axis that the monitor watches.
pub(super) fn check(talk: &Talk, axis: u8) -> Result<(), Error> {
    if talk.known.settings.contains_key(&axis) {
        return Ok(());
    }
    let last = talk.known.axes.saturating_sub(1);
    Err(talk.wrong(format!("there is no axis {axis}"), format!("its axes are 0 to {last}")))
}

pub(super) fn capture(talk: &mut Talk, axis: u8, stops: u32) -> Result<Done, Error> {
    check(talk, axis)?;
    // Done or refused, it is answered by a status; and there is nothing else to refuse.
    talk.ask(&Command::CaptureNext(CaptureNext { axis, stops }), |_, _| None::<()>)?;
    Ok(Done::told(match stops {
        0 => format!("axis {axis}: no samples are sent any more"),
        _ => format!(
            "axis {axis}: the samples around the next {stops} stops are sent; `stillpoint watch` keeps them"
        ),
    }))
}

pub(super) fn declare(talk: &mut Talk, axis: u8, kind: u32) -> Result<Done, Error> {
    check(talk, axis)?;
    let answer = talk.ask(&Command::Declare(Declare { axis, kind }), |header, message| match message {
        Message::Restart(told) if (told.axis, told.kind) == (axis, kind) && !header.replay => Some(*header),
        _ => None,
    })?;
    let (which, none) = match kind {
        0 => ("all kinds of moves".to_owned(), "it has made no move yet".to_owned()),
        _ => (format!("moves of kind {kind}"), format!("it has no kind {kind} of moves")),
    };
    let Some(header) = answer else {
        let wrong = format!("axis {axis} can't be declared good: {none}");
        return Err(talk.wrong(wrong, "`stillpoint watch` keeps which kinds there are"));
    };
    let text = format!("axis {axis}: {which} are declared good as they run now; baselines are learnt anew");
    Ok(Done { text, noted: Some(Noted { what: "baseline", header, axis }), is_kept: true })
}

pub(super) fn set_clock(talk: &mut Talk) -> Result<Done, Error> {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    let clock = SetClock { now: i64::try_from(since.as_micros()).unwrap_or(i64::MAX) };
    talk.ask(&Command::SetClock(clock), |_, message| match message {
        Message::Hello(hello) => hello.clock,
        _ => None,
    })?;
    Ok(Done::told("its clock is set to this computer's".to_owned()))
}

pub(super) fn dump(talk: &mut Talk, boot: u32, sequence: u32) -> Result<Done, Error> {
    let mut moves = 0_u64;
    talk.ask(&Command::DumpSince(DumpSince { boot, priority: 1, sequence }), |header, message| {
        match message {
            Message::Move(_) if header.replay => moves += 1,
            Message::Status(status) => return (status.replay_left == 0).then_some(()),
            _ => (),
        }
        None
    })?;
    Ok(Done::told(format!("{moves} moves came")))
}
