//! In: numbers and actions, one after another. Out: the states of an alarm, found by a slow and obvious method.
//!
//! The table is written out by hand from the published one; the condition is judged anew at each number by
//! going back through all that came before.

use stillpoint_core::alarm::{Event, State};
use stillpoint_core::alarm::{Parameters, Side};

/// State, event, latching, abnormal, and the state after.
pub type Row = (State, Event, bool, bool, State);

/// The state a published code stands for.
pub fn state(code: &str) -> State {
    match code {
        "NORM" => State::Normal,
        "UNACK" => State::Unacknowledged,
        "ACKED" => State::Acknowledged,
        "RTNUN" => State::ReturnedToNormalUnacknowledged,
        "LUNACK" => State::LatchedUnacknowledged,
        "LACKED" => State::LatchedAcknowledged,
        "SHLVD" => State::Shelved,
        "DSUPR" => State::SuppressedByDesign,
        "OOSRV" => State::OutOfService,
        other => panic!("an unknown state {other}"),
    }
}

/// States, `*` for all; event; what must hold; the state after. The first row that fits applies.
pub const TRANSITIONS: [(&str, Event, &str, &str); 24] = [
    ("*", Event::Shelve, "", "SHLVD"),
    ("*", Event::SuppressByDesign, "", "DSUPR"),
    ("*", Event::OutOfService, "", "OOSRV"),
    ("NORM", Event::AlarmOccurs, "", "UNACK"),
    ("RTNUN", Event::AlarmOccurs, "", "UNACK"),
    ("LUNACK", Event::AlarmOccurs, "", "UNACK"),
    // Our own: see METHOD.md.
    ("LACKED", Event::AlarmOccurs, "", "UNACK"),
    ("ACKED", Event::ReAlarm, "", "UNACK"),
    ("UNACK", Event::Acknowledge, "", "ACKED"),
    ("RTNUN", Event::Acknowledge, "", "NORM"),
    ("LUNACK", Event::Acknowledge, "", "LACKED"),
    ("LACKED", Event::Reset, "", "NORM"),
    ("UNACK", Event::ReturnToNormal, "latching", "LUNACK"),
    ("ACKED", Event::ReturnToNormal, "latching", "LACKED"),
    ("UNACK", Event::ReturnToNormal, "", "RTNUN"),
    ("ACKED", Event::ReturnToNormal, "", "NORM"),
    ("SHLVD", Event::Unshelve, "normal", "NORM"),
    ("SHLVD", Event::ShelvingExpired, "normal", "NORM"),
    ("DSUPR", Event::Unsuppress, "normal", "NORM"),
    ("OOSRV", Event::ReturnToService, "normal", "NORM"),
    ("SHLVD", Event::Unshelve, "abnormal", "UNACK"),
    ("SHLVD", Event::ShelvingExpired, "abnormal", "UNACK"),
    ("DSUPR", Event::Unsuppress, "abnormal", "UNACK"),
    ("OOSRV", Event::ReturnToService, "abnormal", "UNACK"),
];

/// The state after an event by the table, none if no row fits.
pub fn after(from: State, event: Event, latching: bool, abnormal: bool) -> Option<State> {
    let fits = |row: &&(&str, Event, &str, &str)| {
        let holds = match row.2 {
            "" => true,
            "latching" => latching,
            "normal" => !abnormal,
            "abnormal" => abnormal,
            other => panic!("an unknown condition {other}"),
        };
        (row.0 == "*" || state(row.0) == from) && row.1 == event && holds
    };
    TRANSITIONS.iter().find(fits).map(|row| state(row.3))
}

/// Every row there is, for an answer to each state, event and condition.
pub fn rows(after: impl Fn(State, Event, bool, bool) -> Option<State>) -> Vec<Row> {
    let mut rows = vec![];
    for from in State::ALL {
        for (_, event, _, _) in TRANSITIONS {
            for (latching, abnormal) in [(false, false), (false, true), (true, false), (true, true)] {
                let row =
                    after(from, event, latching, abnormal).map(|to| (from, event, latching, abnormal, to));
                rows.extend(row.filter(|row| !rows.contains(row)));
            }
        }
    }
    rows
}

/// One alarm that remembers everything.
#[derive(Clone, Debug)]
pub struct Twin {
    parameters: Parameters,
    /// State now.
    pub state: State,
    /// Whether the condition is abnormal.
    pub abnormal: bool,
    /// Instant and number of all since the condition turned last. Unit: ticks, that of the limit
    numbers: Vec<(u64, i64)>,
    /// When the state ends by itself. Unit: ticks
    pub due: Option<u64>,
}

impl Twin {
    /// A normal alarm.
    pub fn new(parameters: Parameters) -> Twin {
        Twin { parameters, state: State::Normal, abnormal: false, numbers: vec![], due: None }
    }

    /// Uses other parameters from now on.
    pub fn arrange(&mut self, parameters: Parameters) {
        self.parameters = parameters;
    }

    /// Adds one number; the state if it was entered.
    pub fn number(&mut self, value: i64, now: u64) -> Option<State> {
        self.numbers.push((now, value));
        let delay = if self.abnormal { self.parameters.off_delay } else { self.parameters.on_delay };
        let held = self.numbers.iter().rev().take_while(|(_, value)| self.turns(*value)).last();
        let mut entered = None;
        if held.is_some_and(|(since, _)| now - since >= delay) {
            self.abnormal = !self.abnormal;
            self.numbers.clear();
            let event = if self.abnormal { Event::AlarmOccurs } else { Event::ReturnToNormal };
            entered = self.enter(event, now);
        }
        entered.or_else(|| self.time(now))
    }

    /// Lets time pass; the state if it was entered.
    pub fn time(&mut self, now: u64) -> Option<State> {
        let event = match self.state {
            State::Shelved => Event::ShelvingExpired,
            State::Acknowledged => Event::ReAlarm,
            _ => return None,
        };
        if self.due? > now { None } else { self.enter(event, now) }
    }

    /// Applies an action, shelving for `time`; the state if it was entered. Unit: ticks
    pub fn act(&mut self, event: Event, time: u64, now: u64) -> Option<State> {
        if event == Event::Shelve && (time == 0 || time > self.parameters.longest_shelving) {
            return None;
        }
        let entered = self.enter(event, now)?;
        if event == Event::Shelve {
            self.due = Some(now + time);
        }
        Some(entered)
    }

    /// Whether a number lies on the other side, in numbers too wide to overflow.
    fn turns(&self, value: i64) -> bool {
        let sign = if self.parameters.side == Side::Above { 1 } else { -1 };
        let (value, limit) = (sign * i128::from(value), sign * i128::from(self.parameters.limit));
        if self.abnormal { value < limit - i128::from(self.parameters.deadband) } else { value > limit }
    }

    fn enter(&mut self, event: Event, now: u64) -> Option<State> {
        self.state = after(self.state, event, self.parameters.latching, self.abnormal)?;
        let again = self.parameters.re_alarm_time;
        self.due = (self.state == State::Acknowledged && again > 0).then_some(now + again);
        Some(self.state)
    }
}
