//! In: the kinds, drifts and alarms that a monitor reports during a shift. Out: a sentence for each kind and each alarm.

use std::collections::BTreeMap;

use stillpoint_core::wire::alarm::{Alarm, AlarmEvent};
use stillpoint_core::wire::drift::{Direction, Drift, Kind, Promise};

use crate::decode::DeviceEvent;
use crate::report::describe::{self, Typical};
use crate::report::number::fixed;
use crate::report::printable::printable;

/// What is known of an axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Its name.
    pub name: String,
    /// Name of its unit.
    pub unit: String,
    /// Unit: counts/unit
    pub counts_per_unit: f64,
    /// Unit: ticks/s
    pub ticks_per_second: f64,
}

/// What the monitor has reported of one kind.
#[derive(Clone, Copy, Debug, Default)]
struct KindHistory {
    kind: Option<Kind>,
    /// When a drift was first found, and the drift. Unit: s
    first: Option<(f64, Drift)>,
    /// How often a drift was found.
    count: usize,
    last: Drift,
}

/// What the monitor has reported of one subject of alarm on one axis.
#[derive(Clone, Copy, Debug)]
struct AlarmHistory {
    first: Alarm,
    /// How often the alarm occurred.
    count: usize,
    last: Alarm,
}

/// The kinds and alarms of a shift so far.
#[derive(Clone, Debug)]
pub struct WatchSummary {
    axes: Vec<Axis>,
    kinds: BTreeMap<(u8, u32), KindHistory>,
    alarms: Vec<AlarmHistory>,
}

impl WatchSummary {
    /// Nothing reported yet of these axes.
    pub fn new(axes: Vec<Axis>) -> WatchSummary {
        WatchSummary { axes, kinds: BTreeMap::new(), alarms: Vec::new() }
    }

    /// Adds what was reported at a time from the start of the shift; anything but kinds, drifts and alarms is ignored.
    /// Unit: s
    pub fn push(&mut self, event: &DeviceEvent, second: f64) {
        match event {
            DeviceEvent::Kind(kind) => self.kind(kind.axis, kind.kind).kind = Some(*kind),
            DeviceEvent::Drift(drift) => {
                let history = self.kind(drift.axis, drift.kind);
                if drift.is_drift() && !history.last.is_drift() {
                    history.count += 1;
                    history.first = history.first.or(Some((second, *drift)));
                }
                history.last = *drift;
            }
            DeviceEvent::Alarm(alarm) => self.alarm(alarm),
            _ => (),
        }
    }

    fn kind(&mut self, axis: u8, kind: u32) -> &mut KindHistory {
        self.kinds.entry((axis, kind)).or_default()
    }

    fn alarm(&mut self, alarm: &Alarm) {
        let count = usize::from(alarm.event == AlarmEvent::AlarmOccurs);
        let is_same = |history: &&mut AlarmHistory| {
            (history.last.axis, history.last.subject) == (alarm.axis, alarm.subject)
        };
        match self.alarms.iter_mut().find(is_same) {
            Some(history) => (history.count, history.last) = (history.count + count, *alarm),
            None => self.alarms.push(AlarmHistory { first: *alarm, count, last: *alarm }),
        }
    }

    /// A sentence for each kind, in the order of axes, then one for each subject an axis gave alarms of.
    pub fn text(&self) -> String {
        let axis = |number: u8| self.axes.get(usize::from(number));
        let kinds = self
            .kinds
            .iter()
            .filter_map(|((number, kind), history)| Some(history.sentence(axis(*number)?, *kind)));
        let alarms =
            self.alarms.iter().filter_map(|history| Some(history.sentence(axis(history.last.axis)?)));
        kinds.chain(alarms).collect()
    }
}

impl AlarmHistory {
    fn sentence(&self, axis: &Axis) -> String {
        let minute = fixed(self.first.at as f64 / axis.ticks_per_second / 60.0, 1);
        let alarm = describe::alarm(&printable(&axis.name), &self.last);
        format!("{alarm} at the end; first in minute {minute}, came {}\n", times(self.count))
    }
}

impl KindHistory {
    fn sentence(&self, axis: &Axis, kind: u32) -> String {
        let typical = self.kind.map(|kind| {
            let seconds = f64::from(kind.speed_time) / axis.ticks_per_second;
            let distance = |counts: u32| f64::from(counts) / axis.counts_per_unit;
            let speed = if seconds > 0.0 { distance(kind.speed_distance) / seconds } else { 0.0 };
            Typical { forward: kind.forward, distance: distance(kind.distance), speed }
        });
        let which = describe::kind(kind, typical, &printable(&axis.unit));
        let milliseconds = |ticks: f64| format!("{} ms", fixed(ticks / axis.ticks_per_second * 1e3, 1));
        let found = match self.first {
            Some((second, drift)) => {
                let direction = if drift.direction == Direction::Up { "slower" } else { "faster" };
                let by = milliseconds(f64::from(drift.change).abs());
                let minute = fixed(second / 60.0, 1);
                let stands = if self.last.is_drift() { "stands" } else { "does not stand" };
                format!(
                    "{direction} by {by} when found, in minute {minute}; came {}, {stands} at the end",
                    times(self.count)
                )
            }
            None => {
                let smallest = milliseconds(f64::from(self.last.smallest));
                match self.last.promise {
                    Promise::Learning => "no drift, but too few moves yet to be sure".to_owned(),
                    Promise::NoBaseline => "not watched: half of its first moves did not settle".to_owned(),
                    Promise::Dependent => {
                        "no drift; its moves depend on each other, false alarms may be more than promised"
                            .to_owned()
                    }
                    Promise::Short | Promise::Held => {
                        format!("no drift; changes from {smallest} on are found")
                    }
                }
            }
        };
        format!("{}, {which}: {found}\n", printable(&axis.name))
    }
}

fn times(count: usize) -> String {
    if count == 1 { "once".to_owned() } else { format!("{count} times") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::alarm::{AlarmState, Subject};

    fn axis(name: &str) -> Axis {
        let (name, unit) = (name.to_owned(), "mm".to_owned());
        Axis { name, unit, counts_per_unit: 100.0, ticks_per_second: 1e6 }
    }

    fn drift(axis: u8, kind: u32, score: u32, promise: Promise) -> DeviceEvent {
        DeviceEvent::Drift(Drift {
            axis,
            kind,
            score,
            promise,
            change: -1500,
            smallest: 700,
            ..Drift::default()
        })
    }

    fn alarm(at: u64, event: AlarmEvent, state: AlarmState) -> DeviceEvent {
        let (alarm, axis, subject) = (4, 1, Subject::Drift);
        DeviceEvent::Alarm(Alarm { alarm, axis, subject, at, event, state, ..Alarm::default() })
    }

    #[test]
    fn every_kind_and_every_alarm_has_a_sentence() {
        let mut watch = WatchSummary::new(vec![axis("shuttle"), axis("dibble")]);
        let kind = Kind { axis: 1, kind: 1, forward: true, distance: 2500, ..Kind::default() };
        let kind = Kind { speed_distance: 50, speed_time: 2000, ..kind };
        for (second, event) in [
            (1.0, DeviceEvent::Kind(Kind { axis: 0, forward: false, ..kind })),
            (1.0, DeviceEvent::Kind(kind)),
            (9.0, drift(0, 1, 0, Promise::Held)),
            (9.0, drift(1, 2, 0, Promise::NoBaseline)),
            (90.0, drift(1, 1, 256, Promise::Short)),
            (91.0, drift(1, 1, 300, Promise::Held)),
            (92.0, drift(1, 1, 200, Promise::Held)),
            (99.0, drift(1, 1, 256, Promise::Held)),
            (90.0, alarm(90_000_000, AlarmEvent::AlarmOccurs, AlarmState::Unacknowledged)),
            (95.0, alarm(95_000_000, AlarmEvent::ReturnToNormal, AlarmState::Normal)),
            (99.0, alarm(99_000_000, AlarmEvent::AlarmOccurs, AlarmState::Unacknowledged)),
            (99.0, drift(9, 1, 256, Promise::Held)),
        ] {
            watch.push(&event, second);
        }
        let expected = "\
shuttle, -25 mm at 250 mm/s (kind 1): no drift; changes from 0.7 ms on are found
dibble, +25 mm at 250 mm/s (kind 1): slower by 1.5 ms when found, in minute 1.5; came 2 times, stands at the end
dibble, kind 2: not watched: half of its first moves did not settle
dibble: alarm 4, settling drifts: unacknowledged at the end; first in minute 1.5, came 2 times
";
        assert_eq!(watch.text(), expected);
    }
}
