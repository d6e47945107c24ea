//! In: values, one after another; actions of a person or of logic. Out: the state changes of an alarm.
//!
//! `settings` checks the settings of an alarm, `life` is the table of states with the names of IEC 62682 /
//! ANSI/ISA-18.2, `condition` compares values with the limit, and [`AlarmInstance`] is one alarm of one value. An
//! alarm that is set aside (shelved, suppressed by design or out of service) is still monitored: when it returns, its
//! state is that of the condition then.

use core::fmt;

mod settings;
mod life;
mod condition;
#[cfg(test)]
mod tests;

use condition::Condition;
pub use life::{Event, State};
pub use settings::{Category, LONGEST_TIME, Parameters, Priority, Settings, Side};

/// An action of a person or of logic on an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Action {
    /// A person has seen the alarm.
    Acknowledge,
    /// Reset the latch.
    Reset,
    /// Shelve the alarm for a time; shelving again restarts that time. Unit: ticks
    Shelve(u64),
    /// End the shelving now.
    Unshelve,
    /// Suppress the alarm while it has no meaning.
    SuppressByDesign,
    /// End the suppression.
    Unsuppress,
    /// Put the alarm out of service for maintenance.
    OutOfService,
    /// Return the alarm to service.
    ReturnToService,
}

impl Action {
    const fn event(self) -> Event {
        match self {
            Action::Acknowledge => Event::Acknowledge,
            Action::Reset => Event::Reset,
            Action::Shelve(_) => Event::Shelve,
            Action::Unshelve => Event::Unshelve,
            Action::SuppressByDesign => Event::SuppressByDesign,
            Action::Unsuppress => Event::Unsuppress,
            Action::OutOfService => Event::OutOfService,
            Action::ReturnToService => Event::ReturnToService,
        }
    }
}

/// A state change of an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// State before.
    pub from: State,
    /// Event that caused the change.
    pub event: Event,
    /// State after.
    pub state: State,
    /// Instant of the change. Unit: ticks
    pub at: u64,
    /// The last value, `None` before the first. Unit: that of the limit
    pub value: Option<i64>,
    /// Limit that the value is compared with. Unit: that of the value
    pub limit: i64,
    /// How soon a person must answer.
    pub priority: Priority,
    /// Category of the axis's condition (NE 107).
    pub category: Category,
}

impl Step {
    /// Whether the change calls for a person; alarm rates count these changes.
    pub fn is_annunciation(&self) -> bool {
        self.state == State::Unacknowledged
    }
}

/// Why an action was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Refusal {
    /// The action has no meaning in the state of the alarm.
    State,
    /// The time of shelving is 0.
    NoTime,
    /// The time of shelving is longer than the settings allow.
    TooLong,
}

/// A refused action; the alarm has not changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rejected {
    /// The action that was refused.
    pub action: Action,
    /// State of the alarm.
    pub state: State,
    /// Why the action was refused.
    pub why: Refusal,
}

impl fmt::Display for Rejected {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self.action {
            Action::Acknowledge => "can't acknowledge",
            Action::Reset => "can't reset",
            Action::Shelve(_) => "can't shelve",
            Action::Unshelve => "can't unshelve",
            Action::SuppressByDesign => "can't suppress",
            Action::Unsuppress => "can't end the suppression",
            Action::OutOfService => "can't take out of service",
            Action::ReturnToService => "can't return to service",
        })?;
        match self.why {
            Refusal::State => write!(out, ": the alarm is {}", self.state.word()),
            Refusal::NoTime => out.write_str(": the time must be more than 0"),
            Refusal::TooLong => out.write_str(": the time is longer than the settings allow"),
        }
    }
}

/// Result of an action.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Done, with the state change.
    Done(Step),
    /// Refused.
    Rejected(Rejected),
}

impl Answer {
    /// The state change, if the action was done.
    pub fn done(self) -> Option<Step> {
        match self {
            Answer::Done(step) => Some(step),
            Answer::Rejected(_) => None,
        }
    }
}

/// An instant that never comes. Unit: ticks
pub const NEVER: u64 = u64::MAX;

/// One alarm of one value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlarmInstance {
    state: State,
    condition: Condition,
    /// The last value, 0 before the first. Unit: that of the limit
    value: i64,
    /// Instant since which the values have been on the other side of the limit, else [`NEVER`]. Unit: ticks
    other_side_since: u64,
    /// Instant at which the shelving expires or an acknowledged alarm is raised again; else [`NEVER`]. Unit: ticks
    due: u64,
}

impl Default for AlarmInstance {
    fn default() -> AlarmInstance {
        let (state, condition) = (State::Normal, Condition::Unknown);
        AlarmInstance { state, condition, value: 0, other_side_since: NEVER, due: NEVER }
    }
}

impl AlarmInstance {
    /// Current state.
    pub fn state(&self) -> State {
        self.state
    }

    /// Whether the condition is abnormal: the value is beyond its limit, with delays and deadband applied.
    pub fn is_abnormal(&self) -> bool {
        self.condition == Condition::Abnormal
    }

    /// The last value, `None` before the first. Unit: that of the limit
    pub fn value(&self) -> Option<i64> {
        (self.condition != Condition::Unknown).then_some(self.value)
    }

    /// Adds one value. Unit of `value`: that of the limit; of `now`: ticks
    pub fn step(&mut self, settings: &Settings, value: i64, now: u64) -> Option<Step> {
        let change = self.compare(settings, value, now);
        let step = change.and_then(|event| self.enter(settings, event, now));
        step.or_else(|| self.wait(settings, now))
    }

    /// Lets time pass without a value: shelving may expire, an acknowledged alarm may be raised again. Unit: ticks
    pub fn wait(&mut self, settings: &Settings, now: u64) -> Option<Step> {
        if now < self.due {
            return None;
        }
        match self.state {
            State::Shelved => self.enter(settings, Event::ShelvingExpired, now),
            State::Acknowledged => self.enter(settings, Event::ReAlarm, now),
            _ => None,
        }
    }

    /// Lets time pass while the last value still holds: a delay may end as well. Unit: ticks
    pub fn hold(&mut self, settings: &Settings, now: u64) -> Option<Step> {
        match self.value() {
            Some(value) => self.step(settings, value, now),
            None => self.wait(settings, now),
        }
    }

    /// The next instant at which [`AlarmInstance::hold`] has something to do, else [`NEVER`]. Unit: ticks
    pub fn due(&self, settings: &Settings) -> u64 {
        self.due.min(self.delay_due(settings))
    }

    /// Does an action, or refuses it. Unit of `now`: ticks
    pub fn act(&mut self, settings: &Settings, action: Action, now: u64) -> Answer {
        let refusal = match action {
            Action::Shelve(0) => Some(Refusal::NoTime),
            Action::Shelve(time) if time > settings.longest_shelving => Some(Refusal::TooLong),
            _ => None,
        };
        let state = self.state;
        if let Some(why) = refusal {
            return Answer::Rejected(Rejected { action, state, why });
        }
        let Some(step) = self.enter(settings, action.event(), now) else {
            return Answer::Rejected(Rejected { action, state, why: Refusal::State });
        };
        if let Action::Shelve(time) = action {
            self.due = now.saturating_add(time);
        }
        Answer::Done(step)
    }

    /// Applies an event; `None` if it has no meaning in the current state.
    fn enter(&mut self, settings: &Settings, event: Event, now: u64) -> Option<Step> {
        let from = self.state;
        self.state = from.after(event, settings.latching, self.is_abnormal())?;
        let re_alarms = self.state == State::Acknowledged && settings.re_alarm_time > 0;
        self.due = if re_alarms { now.saturating_add(settings.re_alarm_time) } else { NEVER };
        Some(Step {
            from,
            event,
            state: self.state,
            at: now,
            value: self.value(),
            limit: settings.limit,
            priority: settings.priority,
            category: settings.category,
        })
    }
}
