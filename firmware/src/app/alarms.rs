//! In: figures of the axes, limits and actions of people, time. Out: state changes of alarms.
//!
//! The core has the state machine, [`rules`] the limits. An alarm gets a new number when it leaves Normal and keeps
//! it until it is Normal again, and also when it returns within a shift after that: what comes again so soon is the same
//! story, and its number says so. A drift or a share that returns stays until a shift has passed without it. An alarm
//! that a person shelves or takes out of service by its number keeps that number.
//!
//! Suppression logic, by name *signal fault*: while the condition of Signal is abnormal, the alarms about stops and drift
//! of that axis mean nothing and are suppressed by design, unless a person has shelved them or taken them out of
//! service. Their figures are still evaluated, so that a condition that persists raises its alarm when the signals are
//! right again.

use stillpoint_core::Invalid;
use stillpoint_core::alarm::{Action, AlarmInstance, Event, NEVER, Settings, State, Step};
use stillpoint_core::wire::alarm::{Alarm, AlarmEvent, AlarmPriority, Arranged, Arrangement, Subject};

use crate::lamp::Conditions;
use rules::{OF_AXIS, OF_DEVICE, Rule};

mod rules;
#[cfg(test)]
mod tests;

/// The monitor has no such alarm.
const NO_ALARM: Invalid =
    Invalid { parameter: "axis", rule: "one of the monitor's, or 0 for its own alarms" };

/// A figure that an alarm evaluates, and the move it comes from; both numbers are 0 if it comes from none.
#[derive(Clone, Copy, Debug)]
pub(super) struct Figure {
    pub(super) axis: u8,
    pub(super) subject: Subject,
    pub(super) value: i64,
    /// Of the move.
    pub(super) number: u32,
    /// Of the kind of the move.
    pub(super) kind: u32,
}

impl Figure {
    /// A figure that comes from no move.
    pub(super) fn new(axis: u8, subject: Subject, value: i64) -> Figure {
        Figure { axis, subject, value, number: 0, kind: 0 }
    }
}

/// One alarm: its state, what people have arranged and its last state change. The settings of the core's alarm follow
/// from its rule and are not stored: they would take as much memory as all the rest.
#[derive(Clone, Debug)]
struct MonitoredAlarm {
    arrangement: Arrangement,
    event: AlarmEvent,
    /// How often it has occurred, each time within a shift of the time before.
    occurrences: u8,
    /// The smallest figure that is abnormal.
    first: i16,
    /// Its number; 0 before the first.
    alarm: u32,
    /// Number and kind of the move that raised it.
    number: u32,
    kind: u32,
    /// Of the last state change. Unit: ticks
    at: u64,
    point: AlarmInstance,
}

impl MonitoredAlarm {
    fn new(rule: &Rule, axis: usize, ticks_per_second: u32) -> MonitoredAlarm {
        MonitoredAlarm {
            arrangement: rule.arrangement(axis as u8, ticks_per_second),
            event: AlarmEvent::Unknown,
            occurrences: 0,
            first: rule.first,
            alarm: 0,
            number: 0,
            kind: 0,
            at: 0,
            point: AlarmInstance::default(),
        }
    }

    fn is_about(&self, axis: u8, subject: Subject) -> bool {
        (self.arrangement.axis, self.arrangement.subject) == (axis, subject)
    }

    /// Settings of the core's alarm. Unit of `shift`: ticks
    fn settings(&self, shift: u64) -> Settings {
        let (rule, mut arrangement) = (rules::of(self.arrangement.subject), self.arrangement);
        if rule.stays && self.occurrences > 1 {
            arrangement.off_delay = arrangement.off_delay.max(shift);
        }
        // The rules are valid at every rate, and an arrangement is checked before it is stored.
        rule.settings(self.first, &arrangement).unwrap_or_default()
    }

    /// Evaluates a figure. Unit of `now` and `shift`: ticks
    fn step(&mut self, figure: &Figure, now: u64, shift: u64) -> Option<Step> {
        let (value, settings) = (rules::doubled(figure.value), self.settings(shift));
        if !self.point.is_abnormal() && settings.beyond(value) {
            (self.number, self.kind) = (figure.number, figure.kind);
        }
        self.point.step(&settings, value, now)
    }

    /// The state change due by suppression logic or by time; `fault`: the signals are wrong. Unit of `now` and `shift`:
    /// ticks
    fn next(&mut self, fault: bool, now: u64, shift: u64) -> Option<Step> {
        let fault = fault && rules::is_suppressed_by_fault(self.arrangement.subject, self.first);
        let action = match self.point.state() {
            State::SuppressedByDesign if !fault => Action::Unsuppress,
            state if fault && !state.is_set_aside() => Action::SuppressByDesign,
            _ => return self.point.hold(&self.settings(shift), now),
        };
        self.act(action, now, shift)
    }

    /// Does an action; `None` if it has no effect. Unit of `now` and `shift`: ticks
    fn act(&mut self, action: Action, now: u64, shift: u64) -> Option<Step> {
        self.point.act(&self.settings(shift), action, now).done()
    }

    /// Notes a state change and returns its message; an alarm that leaves Normal gets the next of all `numbers`, unless
    /// it returns within a shift.
    fn record(&mut self, step: Step, Numbers { last, shift }: &mut Numbers) -> Alarm {
        let by_number = matches!(step.event, Event::Shelve | Event::OutOfService);
        let returns = self.alarm != 0 && step.at.saturating_sub(self.at) < *shift;
        if step.from == State::Normal && !by_number && !returns {
            *last = last.wrapping_add(1);
            self.alarm = *last;
        }
        if step.event == Event::AlarmOccurs {
            self.occurrences = if returns { self.occurrences.saturating_add(1) } else { 1 };
        }
        (self.event, self.at) = (step.event.into(), step.at);
        self.message()
    }

    /// The last state change, with the latest figure.
    fn message(&self) -> Alarm {
        let MonitoredAlarm { event, alarm, number, kind, at, .. } = *self;
        let Arrangement { axis, subject, priority, .. } = self.arrangement;
        let (value, limit) = (rules::halved(self.point.value().unwrap_or_default()), self.first.into());
        let (state, category) = (self.point.state().into(), rules::of(subject).category.into());
        Alarm { alarm, axis, subject, state, at, number, value, limit, event, priority, category, kind }
    }
}

/// Numbers of alarms.
#[derive(Clone, Copy, Debug)]
struct Numbers {
    /// The last that was given.
    last: u32,
    /// An alarm that returns within this time keeps its number. Unit: ticks
    shift: u64,
}

/// All alarms of the device.
#[derive(Clone, Debug)]
pub(super) struct Alarms<const AXES: usize> {
    of_axes: [[MonitoredAlarm; OF_AXIS.len()]; AXES],
    of_device: [MonitoredAlarm; 1],
    numbers: Numbers,
    /// When the next state change may be due by time. Unit: ticks
    due: u64,
    /// Updated when no state change is due any more, since the lamp is set at every sample.
    conditions: Conditions,
}

impl<const AXES: usize> Alarms<AXES> {
    pub(super) fn new(ticks_per_second: u32) -> Alarms<AXES> {
        let of_axis = |axis| OF_AXIS.each_ref().map(|rule| MonitoredAlarm::new(rule, axis, ticks_per_second));
        Alarms {
            of_axes: core::array::from_fn(of_axis),
            of_device: [MonitoredAlarm::new(&OF_DEVICE, 0, ticks_per_second)],
            numbers: Numbers { last: 0, shift: rules::ticks(rules::SHIFT, ticks_per_second) },
            due: NEVER,
            conditions: Conditions::default(),
        }
    }

    fn all(&self) -> impl Iterator<Item = &MonitoredAlarm> {
        self.of_axes.iter().flatten().chain(&self.of_device)
    }

    /// The alarm that matches, to be changed; the change may make another one due.
    fn find(
        &mut self,
        matches: impl Fn(&MonitoredAlarm) -> bool,
    ) -> Option<(&mut MonitoredAlarm, &mut Numbers)> {
        self.due = 0;
        let mut all = self.of_axes.iter_mut().flatten().chain(&mut self.of_device);
        Some((all.find(|alarm| matches(alarm))?, &mut self.numbers))
    }

    /// Evaluates a figure. Unit of `now`: ticks
    pub(super) fn step(&mut self, figure: &Figure, now: u64) -> Option<Alarm> {
        let (alarm, numbers) = self.find(|alarm| alarm.is_about(figure.axis, figure.subject))?;
        let step = alarm.step(figure, now, numbers.shift)?;
        Some(alarm.record(step, numbers))
    }

    /// Evaluates the first figure of something that begins anew: what came before does not return. Unit of `now`: ticks
    pub(super) fn begin(&mut self, figure: &Figure, now: u64) -> Option<Alarm> {
        let (alarm, _) = self.find(|alarm| alarm.is_about(figure.axis, figure.subject))?;
        alarm.occurrences = 0;
        self.step(figure, now)
    }

    /// Sets the limit that a person gives for a share; nothing is shown about the moves yet. Unit: per mille, ticks
    pub(super) fn set_limit(&mut self, axis: u8, subject: Subject, limit: u32, now: u64) -> Option<Alarm> {
        let (alarm, _) = self.find(|alarm| alarm.is_about(axis, subject))?;
        alarm.first = rules::first_of_share(limit);
        self.begin(&Figure::new(axis, subject, 0), now)
    }

    /// A person's action on the alarm of this number; `None` if it has no effect. Unit of `now`: ticks
    pub(super) fn act(&mut self, number: u32, action: Action, now: u64) -> Option<Alarm> {
        let (alarm, numbers) = self.find(|alarm| alarm.alarm == number && number != 0)?;
        let step = alarm.act(action, now, numbers.shift)?;
        Some(alarm.record(step, numbers))
    }

    /// Changes the settings of an alarm; if they are refused, the settings before stay in force.
    pub(super) fn arrange(&mut self, request: &Arrangement) -> Arranged {
        let found = self.find(|alarm| alarm.is_about(request.axis, request.subject));
        let Some((alarm, _)) = found else { return Arranged::new(*request, Some(NO_ALARM)) };
        let refused = rules::of(request.subject).settings(alarm.first, request).err();
        if refused.is_none() {
            alarm.arrangement = *request;
        }
        Arranged::new(alarm.arrangement, refused)
    }

    /// Whether [`Alarms::next`] must be called. Unit: ticks
    pub(super) fn is_due(&self, now: u64) -> bool {
        now >= self.due
    }

    /// The next state change due by suppression logic or by time; to be called until there is none. Unit: ticks
    pub(super) fn next(&mut self, now: u64) -> Option<Alarm> {
        let Alarms { of_axes, of_device, numbers, due, .. } = self;
        *due = NEVER;
        let groups = of_axes.iter_mut().map(|alarms| &mut alarms[..]).chain([&mut of_device[..]]);
        for alarms in groups {
            let mut signals = alarms.iter().filter(|alarm| alarm.arrangement.subject == Subject::Signal);
            let fault = signals.any(|alarm| alarm.point.is_abnormal());
            for alarm in alarms {
                if let Some(step) = alarm.next(fault, now, numbers.shift) {
                    // There may be more.
                    *due = 0;
                    return Some(alarm.record(step, numbers));
                }
                *due = alarm.point.due(&alarm.settings(numbers.shift)).min(*due);
            }
        }
        self.conditions = self.evaluate_conditions();
        None
    }

    /// The alarms that are not normal.
    pub(super) fn not_normal(&self) -> impl Iterator<Item = Alarm> + '_ {
        self.all().filter(|alarm| alarm.point.state() != State::Normal).map(MonitoredAlarm::message)
    }

    /// For the lamp, as of the last time that [`Alarms::next`] returned `None`.
    pub(super) fn conditions(&self) -> Conditions {
        self.conditions
    }

    fn evaluate_conditions(&self) -> Conditions {
        let mut conditions = Conditions::default();
        for alarm in self.all() {
            match alarm.point.state() {
                State::Unacknowledged if alarm.arrangement.priority > AlarmPriority::Low => {
                    conditions.unacknowledged = true;
                }
                State::Unacknowledged
                | State::ReturnedToNormalUnacknowledged
                | State::LatchedUnacknowledged => conditions.low_or_cleared = true,
                State::Acknowledged | State::LatchedAcknowledged => conditions.acknowledged = true,
                // Shelved, suppressed and out-of-service alarms do not light the lamp.
                _ => (),
            }
        }
        conditions
    }
}
