//! In: what a monitor reports during a shift. Out: a sentence for each kind, each cause and each alarm.

use std::collections::BTreeMap;

use stillpoint_core::wire::alarm::{Alarm, AlarmEvent, Subject};
use stillpoint_core::wire::drift::{Drift, Explained, Kind, Promise, Restart};

use super::recent::Recent;
use crate::decode::DeviceEvent;
use crate::report::describe::{self, Typical};
use crate::report::explained;
use crate::report::number::fixed;
use crate::report::printable::printable;
use crate::report::stories::{DriftChange, Stories};
use crate::report::story::{BEGUN_ANEW, Growth};

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
#[derive(Clone, Debug, Default)]
struct KindHistory {
    kind: Option<Kind>,
    /// Whether it has a baseline, be it provisional.
    has_baseline: bool,
    /// The last drift that began.
    begun: Option<DriftChange>,
    /// The end of that drift.
    ended: Option<DriftChange>,
    /// How often a drift was found.
    count: usize,
    last: Drift,
    recent: Recent,
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
    stories: Stories,
    /// The last of each axis, cause and key.
    causes: BTreeMap<(u8, u8, u32), Explained>,
}

impl WatchSummary {
    /// Nothing reported yet of these axes.
    pub fn new(axes: Vec<Axis>) -> WatchSummary {
        let ticks_per_second = axes.first().map_or(1.0, |axis| axis.ticks_per_second);
        let stories = Stories::new(ticks_per_second);
        WatchSummary { axes, kinds: BTreeMap::new(), alarms: Vec::new(), stories, causes: BTreeMap::new() }
    }

    /// Adds what was reported; events that no sentence is about are ignored.
    pub fn push(&mut self, event: &DeviceEvent) {
        let ticks_per_second = self.axes.first().map_or(1.0, |axis| axis.ticks_per_second);
        let change = self.stories.push(event, &|tick, _| minute(tick, ticks_per_second));
        match event {
            DeviceEvent::Kind(kind) => self.kind(kind.axis, kind.kind).kind = Some(*kind),
            DeviceEvent::Move(decoded) => {
                let history = self.kinds.get_mut(&(decoded.axis, decoded.kind));
                history.into_iter().for_each(|history| history.recent.push(decoded, ticks_per_second));
            }
            DeviceEvent::Baseline(baseline) => self.kind(baseline.axis, baseline.kind).has_baseline = true,
            DeviceEvent::Drift(drift) => self.kind(drift.axis, drift.kind).drift(drift, change),
            DeviceEvent::Explained(explained) => {
                let key = (explained.axis, explained.cause as u8, explained.key);
                self.causes.insert(key, *explained);
            }
            DeviceEvent::Alarm(alarm) => self.alarm(alarm),
            DeviceEvent::Restart(restart) => self.begin_anew(restart, ticks_per_second),
            _ => (),
        }
    }

    /// A drift that stands ends where its baseline is discarded. Unit: ticks/s
    fn begin_anew(&mut self, restart: &Restart, ticks_per_second: f64) {
        let is_meant = |(axis, kind): (u8, u32)| axis == restart.axis && [0, kind].contains(&restart.kind);
        for ((axis, kind), history) in self.kinds.iter_mut().filter(|(key, _)| is_meant(**key)) {
            history.has_baseline = false;
            if history.begun.is_some() && history.ended.is_none() {
                let (axis, kind, found) = (*axis, *kind, Some(minute(restart.at, ticks_per_second)));
                let text = BEGUN_ANEW.to_owned();
                history.ended = Some(DriftChange { axis, kind, begins: false, found, text });
            }
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

    /// A sentence for each limit of a person that was exceeded; for each kind, in the order of axes; for each cause; then
    /// for each other subject an axis gave alarms of.
    pub fn text(&self) -> String {
        let axis = |number: u8| self.axes.get(usize::from(number));
        let alarms = |of_limits: bool| {
            let histories = self.alarms.iter().filter(move |history| history.is_of_limit() == of_limits);
            histories.filter_map(move |history| Some(history.sentence(axis(history.last.axis)?)))
        };
        let kinds = self
            .kinds
            .iter()
            .filter_map(|((number, kind), history)| Some(history.sentence(axis(*number)?, *kind)));
        let causes = self.causes.values().filter_map(|explained| {
            let name = printable(&axis(explained.axis)?.name);
            Some(format!("{name}, {}\n", explained::text(explained)))
        });
        alarms(true).chain(kinds).chain(causes).chain(alarms(false)).collect()
    }
}

/// `minute 83.4`, from the first reading. Unit: ticks, ticks/s
fn minute(tick: u64, ticks_per_second: f64) -> String {
    format!("minute {}", fixed(tick as f64 / ticks_per_second / 60.0, 1))
}

impl AlarmHistory {
    /// Whether a person has set its limit.
    fn is_of_limit(&self) -> bool {
        matches!(self.last.subject, Subject::SettlingLimit | Subject::UnsettledLimit)
    }

    fn sentence(&self, axis: &Axis) -> String {
        let minute = minute(self.first.at, axis.ticks_per_second);
        let alarm = describe::alarm(&printable(&axis.name), &self.last);
        format!("{alarm} at the end; first in {minute}, came {}\n", times(self.count))
    }
}

impl KindHistory {
    fn drift(&mut self, drift: &Drift, change: Option<DriftChange>) {
        self.last = *drift;
        match change {
            Some(begun) if begun.begins => {
                (self.begun, self.ended) = (Some(begun), None);
                self.count += 1;
            }
            Some(ended) => self.ended = Some(ended),
            None => (),
        }
    }

    /// How far its drift is at the end. Unit: ticks/s
    fn growth(&self, ticks_per_second: f64) -> Growth {
        let last = self.recent.interval(ticks_per_second);
        Growth { last, ..Growth::of(&self.last, ticks_per_second) }
    }

    fn sentence(&self, axis: &Axis, kind: u32) -> String {
        let typical = self.kind.map(|kind| Typical::of(&kind, axis.counts_per_unit, axis.ticks_per_second));
        let which = describe::kind(kind, typical, &printable(&axis.unit));
        let milliseconds = |ticks: f64| format!("{} ms", fixed(ticks / axis.ticks_per_second * 1e3, 1));
        let found = match &self.begun {
            Some(begun) => {
                let at = begun.found.as_ref().map_or(String::new(), |found| format!("found in {found}, "));
                let end = match &self.ended {
                    Some(ended) => {
                        let at = ended.found.as_ref().map_or(String::new(), |found| format!(" in {found}"));
                        format!("{}{at}", ended.text)
                    }
                    None => format!("stands at the end{}", self.growth(axis.ticks_per_second).text()),
                };
                format!("{}; {at}came {}; {end}", begun.text, times(self.count))
            }
            None => {
                let smallest = milliseconds(f64::from(self.last.smallest));
                match self.last.promise {
                    Promise::Learning if !self.has_baseline => {
                        "not watched yet: too few moves for a baseline".to_owned()
                    }
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
    use crate::decode::DecodedMove;
    use stillpoint_core::Record;
    use stillpoint_core::wire::alarm::AlarmState;
    use stillpoint_core::wire::drift::{Baseline, Cause};
    use stillpoint_core::wire::record::Move;

    fn settled() -> Record {
        Record { settling: Some(1), ..(&Move::default()).into() }
    }

    fn axis(name: &str) -> Axis {
        let (name, unit) = (name.to_owned(), "mm".to_owned());
        Axis { name, unit, counts_per_unit: 100.0, ticks_per_second: 1e6 }
    }

    fn drift(axis: u8, kind: u32, score: u32, promise: Promise) -> DeviceEvent {
        DeviceEvent::Drift(Drift {
            axis,
            kind,
            number: 2,
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

    fn limit_exceeded(at: u64) -> DeviceEvent {
        let (alarm, axis, subject) = (9, 0, Subject::SettlingLimit);
        let (event, state) = (AlarmEvent::AlarmOccurs, AlarmState::Unacknowledged);
        DeviceEvent::Alarm(Alarm { alarm, axis, subject, at, event, state, ..Alarm::default() })
    }

    fn move_of_minute(number: u32) -> DeviceEvent {
        let record = Record { number, command_end: u64::from(number) * 60_000_000, ..settled() };
        let sent = Move { axis: 1, kind: 1, ..Move::default() };
        DeviceEvent::Move(Box::new(DecodedMove { record, ..DecodedMove::from(&sent) }))
    }

    /// A kind whose drift stands, with its baseline or without, and moves of 1 µs.
    fn text_of(events: &[DeviceEvent]) -> String {
        let mut watch = WatchSummary::new(vec![axis("shuttle"), axis("dibble")]);
        watch.push(&DeviceEvent::Kind(Kind { axis: 1, kind: 1, ..Kind::default() }));
        events.iter().for_each(|event| watch.push(event));
        watch.text()
    }

    #[test]
    fn a_kind_without_a_baseline_is_not_watched() {
        let learning = drift(1, 1, 0, Promise::Learning);
        let baseline = DeviceEvent::Baseline(Baseline { axis: 1, kind: 1, ..Baseline::default() });
        let none = text_of(std::slice::from_ref(&learning));
        assert!(none.ends_with(": not watched yet: too few moves for a baseline\n"), "{none}");
        let provisional = text_of(&[baseline.clone(), learning.clone()]);
        assert!(provisional.ends_with(": no drift, but too few moves yet to be sure\n"), "{provisional}");
        let restart = DeviceEvent::Restart(Restart { axis: 1, ..Restart::default() });
        assert_eq!(text_of(&[baseline, restart, learning]), none);
    }

    #[test]
    fn a_drift_that_stands_has_its_size_at_the_end() {
        let begun = Drift { axis: 1, kind: 1, score: 256, change: 1000, middle: 10_000, ..Drift::default() };
        let moves = (1..=9).map(|number| {
            let (command_end, settling) = (u64::from(number) * 60_000_000, Some(12_000));
            let sent = Move { axis: 1, kind: 1, ..Move::default() };
            let record = Record { number, command_end, settling, ..settled() };
            DeviceEvent::Move(Box::new(DecodedMove { record, ..DecodedMove::from(&sent) }))
        });
        let found = text_of(&[vec![DeviceEvent::Drift(begun)], moves.collect()].concat());
        let expected =
            "stands at the end; by the mean of the moves that settled, now slower by 2.0 ms (20.0 %)\n";
        assert!(found.contains("slower by 1.0 ms") && found.ends_with(expected), "{found}");
    }

    #[test]
    fn every_kind_and_every_alarm_has_a_sentence() {
        let mut watch = WatchSummary::new(vec![axis("shuttle"), axis("dibble")]);
        let kind = Kind { axis: 1, kind: 1, forward: true, distance: 2500, ..Kind::default() };
        let kind = Kind { speed_distance: 50, speed_time: 2000, ..kind };
        let explained = Explained { axis: 1, cause: Cause::Job, key: 7, ..Explained::default() };
        for event in [
            DeviceEvent::Kind(Kind { axis: 0, forward: false, ..kind }),
            DeviceEvent::Kind(kind),
            drift(0, 1, 0, Promise::Held),
            drift(1, 2, 0, Promise::NoBaseline),
            move_of_minute(2),
            drift(1, 1, 256, Promise::Short),
            drift(1, 1, 300, Promise::Held),
            drift(1, 1, 100, Promise::Held),
            drift(1, 1, 256, Promise::Held),
            alarm(90_000_000, AlarmEvent::AlarmOccurs, AlarmState::Unacknowledged),
            alarm(95_000_000, AlarmEvent::ReturnToNormal, AlarmState::Normal),
            alarm(99_000_000, AlarmEvent::AlarmOccurs, AlarmState::Unacknowledged),
            limit_exceeded(120_000_000),
            DeviceEvent::Explained(explained),
            DeviceEvent::Explained(Explained { permille: [-45; 12], ..explained }),
            drift(9, 1, 256, Promise::Held),
        ] {
            watch.push(&event);
        }
        let expected = "\
shuttle: alarm 9, too many moves settle later than their limit: unacknowledged at the end; first in minute 2.0, came once
shuttle, -25 mm at 250 mm/s (kind 1): no drift; changes from 0.7 ms on are found
dibble, +25 mm at 250 mm/s (kind 1): slower by 1.5 ms; again, first at minute 2.0; found in minute 2.0, came 2 times; stands at the end
dibble, kind 2: not watched: half of its first moves did not settle
dibble, job 7: 4.5 % faster
dibble: alarm 4, settling drifts: unacknowledged at the end; first in minute 1.5, came 2 times
";
        assert_eq!(watch.text(), expected);
    }
}
