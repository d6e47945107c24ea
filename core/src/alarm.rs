//! In: one number after another, and what people do. Out: the steps in the life of an alarm.
//!
//! [`settings`] says what is asked, [`life`] is the table of states by IEC 62682 / ANSI/ISA-18.2 names,
//! [`condition`] makes events of numbers, and [`AlarmInstance`] is one alarm of one number. An alarm is never
//! dropped: whatever sets it aside, the condition is watched on, and it comes back by it.

use core::fmt;

mod settings;
mod life;
mod condition;
#[cfg(test)]
mod tests;

use condition::Condition;
pub use life::{Event, State};
pub use settings::{Category, LONGEST_TIME, Parameters, Priority, Settings, Side};

/// What a person or logic may ask of an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Action {
    /// I have seen it.
    Acknowledge,
    /// Let go of the latch.
    Reset,
    /// Set it aside for a time; shelving again starts that time anew. Unit: ticks
    Shelve(u64),
    /// Take it back now.
    Unshelve,
    /// Set it aside because it means nothing now.
    SuppressByDesign,
    /// It means something again.
    Unsuppress,
    /// Set it aside for maintenance.
    OutOfService,
    /// Maintenance is over.
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

/// One step in the life of an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// State until now.
    pub from: State,
    /// What happened.
    pub event: Event,
    /// State from here on.
    pub state: State,
    /// Unit: ticks
    pub at: u64,
    /// The last number seen, none before the first. Unit: that of the limit
    pub value: Option<i64>,
    /// The limit it is held against. Unit: that of the number
    pub limit: i64,
    /// How soon a person must answer.
    pub priority: Priority,
    /// What it says of the axis (NE 107).
    pub category: Category,
}

impl Step {
    /// Whether it calls for a person: what alarm rates count.
    pub fn is_annunciation(&self) -> bool {
        self.state == State::Unacknowledged
    }
}

/// Why an action did nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Refusal {
    /// It has no meaning in this state.
    State,
    /// It can't be shelved for no time.
    NoTime,
    /// It can't be shelved for longer than the settings allow.
    TooLong,
}

/// An action that did nothing; the alarm is as it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rejected {
    /// What was asked.
    pub action: Action,
    /// The state it met.
    pub state: State,
    /// Why it did nothing.
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
            Action::Unsuppress => "can't take back from suppression",
            Action::OutOfService => "can't take out of service",
            Action::ReturnToService => "can't return to service",
        })?;
        match self.why {
            Refusal::State => write!(out, ": the alarm is {}", self.state.word()),
            Refusal::NoTime => out.write_str(": the time must be more than nothing"),
            Refusal::TooLong => out.write_str(": the time is longer than the settings allow"),
        }
    }
}

/// What became of an action.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// It was done.
    Done(Step),
    /// It did nothing.
    Rejected(Rejected),
}

impl Answer {
    /// The step, if it was done.
    pub fn done(self) -> Option<Step> {
        match self {
            Answer::Done(step) => Some(step),
            Answer::Rejected(_) => None,
        }
    }
}

/// An instant that does not come. Unit: ticks
pub const NEVER: u64 = u64::MAX;

/// One alarm of one number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AlarmInstance {
    state: State,
    condition: Condition,
    /// The last number seen. Unit: that of the limit
    value: Option<i64>,
    /// When the state ends by itself: a shelving expires, an acknowledged alarm is raised again; else
    /// [`NEVER`]. Unit: ticks
    due: u64,
}

impl Default for AlarmInstance {
    fn default() -> AlarmInstance {
        AlarmInstance { state: State::Normal, condition: Condition::default(), value: None, due: NEVER }
    }
}

impl AlarmInstance {
    /// State now.
    pub fn state(&self) -> State {
        self.state
    }

    /// Whether the number stands beyond its limit, delays and deadband taken into account.
    pub fn is_abnormal(&self) -> bool {
        self.condition.is_abnormal()
    }

    /// The last number seen, none before the first. Unit: that of the limit
    pub fn value(&self) -> Option<i64> {
        self.value
    }

    /// Adds one number. Unit of `value`: that of the limit; of `now`: ticks
    pub fn step(&mut self, settings: &Settings, value: i64, now: u64) -> Option<Step> {
        self.value = Some(value);
        let turned = self.condition.step(settings, value, now);
        let step = turned.and_then(|event| self.enter(settings, event, now));
        step.or_else(|| self.wait(settings, now))
    }

    /// Lets time pass without a number: only what is due by the clock happens. Unit: ticks
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

    /// Lets time pass with the last number still standing: a delay may be over as well. Unit: ticks
    pub fn hold(&mut self, settings: &Settings, now: u64) -> Option<Step> {
        match self.value {
            Some(value) => self.step(settings, value, now),
            None => self.wait(settings, now),
        }
    }

    /// The next instant at which [`AlarmInstance::hold`] has something to do, else [`NEVER`]. Unit: ticks
    pub fn due(&self, settings: &Settings) -> u64 {
        self.due.min(self.condition.due(settings))
    }

    /// Does what a person or logic asks, or says why not. Unit of `now`: ticks
    pub fn act(&mut self, settings: &Settings, action: Action, now: u64) -> Answer {
        let refused = match action {
            Action::Shelve(0) => Some(Refusal::NoTime),
            Action::Shelve(time) if time > settings.longest_shelving => Some(Refusal::TooLong),
            _ => None,
        };
        let state = self.state;
        if let Some(why) = refused {
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

    fn enter(&mut self, settings: &Settings, event: Event, now: u64) -> Option<Step> {
        let from = self.state;
        self.state = from.after(event, settings.latching, self.condition.is_abnormal())?;
        let again = self.state == State::Acknowledged && settings.re_alarm_time > 0;
        self.due = if again { now.saturating_add(settings.re_alarm_time) } else { NEVER };
        Some(Step {
            from,
            event,
            state: self.state,
            at: now,
            value: self.value,
            limit: settings.limit,
            priority: settings.priority,
            category: settings.category,
        })
    }
}
