//! In: an action on an alarm. Out: the monitor's answer in words.

use clap::Subcommand;
use stillpoint_core::wire::alarm::{Action, AlarmEvent, AlarmState};
use stillpoint_core::wire::command::{Acknowledge, Act, Command};
use stillpoint_core::wire::message::Message;

use super::Answer;
use super::session::Session;
use crate::cmd::option_value::whole;
use crate::error::Error;
use crate::report::describe;

#[derive(Clone, Copy, Debug, Subcommand)]
pub(super) enum AlarmAction {
    /// Acknowledge an alarm
    Acknowledge {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
    },
    /// Reset a latched alarm
    Reset {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
    },
    /// Shelve an alarm for a time; it returns by itself
    Shelve {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
        /// Duration
        #[arg(long, value_name = "M")]
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        minutes: u32,
    },
    /// End the shelving of an alarm now
    Unshelve {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
    },
    /// Take an alarm out of service for maintenance, until return-to-service
    OutOfService {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
    },
    /// Return an alarm to service after maintenance
    ReturnToService {
        /// Number of the alarm
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        alarm: u32,
    },
}

impl AlarmAction {
    fn alarm(self) -> u32 {
        match self {
            AlarmAction::Acknowledge { alarm }
            | AlarmAction::Reset { alarm }
            | AlarmAction::Shelve { alarm, .. }
            | AlarmAction::Unshelve { alarm }
            | AlarmAction::OutOfService { alarm }
            | AlarmAction::ReturnToService { alarm } => alarm,
        }
    }

    fn command(self, ticks_per_second: u32) -> Command {
        let action = match self {
            AlarmAction::Acknowledge { alarm } => return Command::Acknowledge(Acknowledge { alarm }),
            AlarmAction::Reset { .. } => Action::Reset,
            AlarmAction::Shelve { minutes, .. } => {
                let seconds = u64::from(minutes) * 60;
                Action::Shelve(seconds.saturating_mul(u64::from(ticks_per_second)))
            }
            AlarmAction::Unshelve { .. } => Action::Unshelve,
            AlarmAction::OutOfService { .. } => Action::OutOfService,
            AlarmAction::ReturnToService { .. } => Action::ReturnToService,
        };
        Command::Act(Act { alarm: self.alarm(), action })
    }

    /// The resulting event of the alarm, the verb of the action, and the kind of journal entry.
    fn words(self) -> (AlarmEvent, &'static str, &'static str) {
        match self {
            AlarmAction::Acknowledge { .. } => (AlarmEvent::Acknowledge, "acknowledge", "acknowledgement"),
            AlarmAction::Reset { .. } => (AlarmEvent::Reset, "reset", "reset"),
            AlarmAction::Shelve { .. } => (AlarmEvent::Shelve, "shelve", "shelving"),
            AlarmAction::Unshelve { .. } => (AlarmEvent::Unshelve, "unshelve", "shelving"),
            AlarmAction::OutOfService { .. } => {
                (AlarmEvent::OutOfService, "take out of service", "out of service")
            }
            AlarmAction::ReturnToService { .. } => {
                (AlarmEvent::ReturnToService, "return to service", "out of service")
            }
        }
    }

    pub(super) fn run(self, session: &mut Session) -> Result<Answer, Error> {
        let (event, verb, what) = self.words();
        let alarm = self.alarm();
        let before = session.monitor.alarms.get(&alarm).map(|alarm| alarm.state);
        // Only the event of this action is the answer: the alarm may also change by itself meanwhile.
        let command = self.command(session.monitor.ticks_per_second);
        let answer = session.request(&command, |header, message| match message {
            Message::Alarm(after) if (after.alarm, after.event) == (alarm, event) => Some((*header, *after)),
            _ => None,
        })?;
        let Some((header, after)) = answer else {
            return Err(self.refused(session, verb, before));
        };
        let minutes = match self {
            AlarmAction::Shelve { minutes, .. } => format!(" for {minutes} min"),
            _ => String::new(),
        };
        let text = format!("{}{minutes}", describe::alarm(&format!("axis {}", after.axis), &after));
        Ok(Answer::action(text, what, header, after.axis))
    }

    fn refused(self, session: &Session, verb: &str, before: Option<AlarmState>) -> Error {
        let alarm = self.alarm();
        let Some(state) = before else {
            let open: Vec<String> = session.monitor.alarms.keys().map(u32::to_string).collect();
            let remedy = match open[..] {
                [] => "all alarms are normal".to_owned(),
                _ => format!("alarms that are not normal: {}", open.join(", ")),
            };
            return session
                .error(format!("can't {verb} alarm {alarm}: it is normal or does not exist"), remedy);
        };
        let remedy = match self {
            AlarmAction::Shelve { .. } => {
                "give at least one minute, and at most the longest shelving of this alarm"
            }
            _ => remedy(state),
        };
        session.error(format!("can't {verb} alarm {alarm}: it is {}", describe::state(state)), remedy)
    }
}

/// The next action for an alarm in this state.
fn remedy(state: AlarmState) -> &'static str {
    match state {
        AlarmState::Normal => "there is nothing to do",
        AlarmState::Unacknowledged | AlarmState::ReturnedToNormalUnacknowledged => "acknowledge it",
        AlarmState::Acknowledged => "it remains until its cause is removed",
        AlarmState::LatchedUnacknowledged => "acknowledge it, then reset it",
        AlarmState::LatchedAcknowledged => "reset it",
        AlarmState::Shelved => "unshelve it, or wait until the shelving ends",
        AlarmState::SuppressedByDesign => "it returns once the signals of its axis are valid",
        AlarmState::OutOfService => "return it to service",
    }
}
