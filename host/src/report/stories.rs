//! In: what a monitor sends, as it comes. Out: the story of each drift when it begins and when it ends.

use std::collections::BTreeMap;

use stillpoint_core::wire::drift::Drift;

use super::move_times::MoveTimes;
use super::story::{Since, Story, moves_since};
use crate::decode::DeviceEvent;

/// Axis and number of a kind.
type Key = (u8, u32);

/// Words for an instant, read beside another one. Unit: ticks
pub type When<'a> = &'a dyn Fn(u64, u64) -> String;

/// What is known of the drifts of a monitor so far.
#[derive(Clone, Debug, Default)]
pub struct Stories {
    /// Unit: ticks/s
    ticks_per_second: f64,
    times: MoveTimes,
    /// By axis, as set. Unit: alarms/month
    by_chance: BTreeMap<u8, f64>,
    kinds: BTreeMap<Key, History>,
}

/// What is known of a kind.
#[derive(Clone, Copy, Debug, Default)]
struct History {
    stands: bool,
    is_provisional: bool,
    /// When a drift was first found. Unit: ticks
    first: Option<u64>,
}

/// The begin or the end of a drift.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DriftChange {
    /// Of the axis, from 0.
    pub axis: u8,
    /// Number of the kind.
    pub kind: u32,
    /// Whether the drift begins.
    pub begins: bool,
    /// When it was found, in words; none if its move is not known.
    pub found: Option<String>,
    /// Its sentence.
    pub text: String,
}

impl Stories {
    /// Nothing known yet of a monitor with this tick rate. Unit: ticks/s
    pub fn new(ticks_per_second: f64) -> Stories {
        Stories { ticks_per_second, ..Stories::default() }
    }

    /// Adds an event; returns the drift that begins or ends with it.
    pub fn push(&mut self, event: &DeviceEvent, when: When) -> Option<DriftChange> {
        match event {
            DeviceEvent::Hello { ticks_per_second, .. } => {
                self.ticks_per_second = f64::from(*ticks_per_second);
            }
            DeviceEvent::Settings(settings) if !settings.pending => {
                let milli = settings.parameters.drift.false_alarms_per_axis_month_milli;
                self.by_chance.insert(settings.axis, f64::from(milli) / 1000.0);
            }
            DeviceEvent::Move(decoded) => self.times.push(decoded),
            DeviceEvent::Baseline(baseline) => {
                self.kinds.entry((baseline.axis, baseline.kind)).or_default().is_provisional =
                    baseline.provisional;
            }
            DeviceEvent::Restart(restart) => {
                let goes_on = |key: &Key| key.0 != restart.axis || restart.kind != 0 && restart.kind != key.1;
                self.kinds.retain(|key, _| goes_on(key));
            }
            DeviceEvent::Drift(drift) => return self.drift(drift, when),
            _ => (),
        }
        None
    }

    fn drift(&mut self, drift: &Drift, when: When) -> Option<DriftChange> {
        let key = (drift.axis, drift.kind);
        let found = self.times.before(key, drift.number, 0);
        let history = self.kinds.entry(key).or_default();
        let stood = history.stands;
        history.stands = drift.is_drift();
        let (begins, history) = (history.stands, *history);
        if begins == stood {
            return None;
        }
        if begins && history.first.is_none() {
            self.kinds.entry(key).or_default().first = found;
        }
        let beside = found.unwrap_or_default();
        let story = Story {
            drift,
            ticks_per_second: self.ticks_per_second,
            since: self.since(drift, when),
            by_chance: self.by_chance.get(&drift.axis).copied(),
            is_provisional: history.is_provisional,
            first: history.first.map(|first| when(first, beside)),
        };
        let (axis, kind, text) = (drift.axis, drift.kind, story.text(stood)?);
        Some(DriftChange { axis, kind, begins, found: found.map(|found| when(found, found)), text })
    }

    /// When the change came, if its moves are in memory.
    fn since(&self, drift: &Drift, when: When) -> Option<Since> {
        let (at, interval) = moves_since(drift)?;
        let key = (drift.axis, drift.kind);
        let words = |moves| {
            let found = self.times.before(key, drift.number, 0);
            let tick = self.times.before(key, drift.number, moves)?;
            Some(when(tick, found.unwrap_or(tick)))
        };
        let interval = interval.and_then(|[from, to]| Some([words(from)?, words(to)?]));
        Some(Since { at: words(at)?, interval })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decode::DecodedMove;
    use stillpoint_core::wire::drift::{Baseline, Promise, Restart};
    use stillpoint_core::wire::record::Move;
    use stillpoint_core::wire::settings::{DriftConfig, Parameters, Settings};

    fn minute(tick: u64, _: u64) -> String {
        format!("minute {}", tick / 60_000)
    }

    /// A move a minute from minute 1 on; ticks are milliseconds.
    fn a_move(number: u32) -> DeviceEvent {
        let sent = Move { kind: 1, number, start: u64::from(number) * 60_000, ..Move::default() };
        let record = stillpoint_core::Record { settling: Some(1), ..(&sent).into() };
        DeviceEvent::Move(Box::new(DecodedMove { record, ..DecodedMove::from(&sent) }))
    }

    fn drift(number: u32, score: u32, returned: bool) -> DeviceEvent {
        let interval = Drift { since: 80, since_earliest: 75, since_latest: 84, ..Drift::default() };
        let (change, middle, moves, promise) = (3, 50, number, Promise::Held);
        DeviceEvent::Drift(Drift {
            kind: 1,
            number,
            score,
            returned,
            change,
            middle,
            moves,
            promise,
            ..interval
        })
    }

    #[test]
    fn a_drift_a_repair_and_another_drift_are_three_sentences() {
        let mut stories = Stories::new(1000.0);
        let drift_config = DriftConfig { false_alarms_per_axis_month_milli: 1000, ..DriftConfig::default() };
        let parameters = Parameters { drift: drift_config, ..Parameters::default() };
        let settings = Settings { parameters, ..Settings::default() };
        let mut texts = vec![];
        let baseline = Baseline { kind: 1, provisional: true, ..Baseline::default() };
        let moves = |range: std::ops::RangeInclusive<u32>| range.map(a_move);
        let events = [DeviceEvent::Settings(settings), DeviceEvent::Baseline(baseline)]
            .into_iter()
            .chain(moves(1..=100))
            .chain([drift(100, 300, false), drift(100, 400, false)])
            .chain(moves(101..=120))
            .chain([drift(120, 0, true), DeviceEvent::Baseline(Baseline { kind: 1, ..Baseline::default() })])
            .chain(moves(121..=140))
            .chain([drift(140, 256, false)])
            .chain([DeviceEvent::Restart(Restart::default()), drift(140, 256, false)]);
        for event in events {
            texts.extend(stories.push(&event, &minute).map(|change| (change.begins, change.text)));
        }
        let (by, chance) =
            ("slower by 3.0 ms (6.0 %) since minute 81", "one such alarm a month comes by chance");
        let interval = "(minute 76 to minute 85)";
        let provisional = "against provisional limits: the baseline still grows";
        assert_eq!(
            texts,
            [
                (true, format!("{by} {interval}, {provisional}, {chance}")),
                (false, "back at baseline".to_owned()),
                (true, format!("{by} {interval}, {chance}; again, first at minute 100")),
                (true, format!("{by} {interval}, {chance}")),
            ]
        );
    }

    #[test]
    fn without_its_moves_a_change_has_no_time() {
        let mut stories = Stories::new(1000.0);
        let change = stories.push(&drift(100, 300, false), &minute).unwrap();
        assert_eq!((change.text.as_str(), change.found), ("slower by 3.0 ms (6.0 %)", None));
    }
}
