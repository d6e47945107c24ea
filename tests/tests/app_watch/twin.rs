//! In: moves as a monitor reported them. Out: messages of the stages of the core for the same moves, without any bytes.

use stillpoint_core::baseline::Evidence;
use stillpoint_core::causes::Causes;
use stillpoint_core::drift;
use stillpoint_core::drift::DriftSettings;
use stillpoint_core::kind::{Arrival, Kinds};
use stillpoint_core::wire::drift::{Baseline, Drift};
use stillpoint_core::wire::message::Message;
use stillpoint_core::{Record, Settings, wire};

use crate::machine::{drift_config, parameters};

/// What is known of one kind.
#[derive(Default)]
struct Row {
    drift: drift::Drift,
    settled: Vec<u32>,
    unsettled: u32,
    from: Option<u64>,
    provisional: bool,
    complete: bool,
    promise: drift::Promise,
}

/// The same moves through the stages of the core, without any bytes.
pub(crate) fn twin(moves: &[(u32, Record)]) -> Vec<Message<'static>> {
    let settings = Settings::new(parameters()).expect("settings");
    let sent =
        wire::settings::Parameters { drift: drift_config(), baseline_minutes: 1, ..(&parameters()).into() };
    let watch = DriftSettings::new(sent.drift_config()).expect("a valid configuration");
    let (mut table, mut causes, mut messages) = (Kinds::<8>::default(), Causes::default(), vec![]);
    let mut rows: [Row; 8] = Default::default();
    for (place, (kind, record)) in moves.iter().enumerate() {
        let Some(assigned) = table.step(&settings, record) else { continue };
        assert_eq!((assigned.number, assigned.arrival == Arrival::New), (*kind, record.number <= 3));
        let Some(evidence) = Evidence::of(record) else { continue };
        // A move is over when the next one begins.
        let at = moves.get(place + 1).map_or(record.start + 140_000, |(_, next)| next.start) / 1_000_000;
        let circumstances = causes.step(&watch, at as u32, 0);
        let row = &mut rows[assigned.row];
        let stood = row.drift.stands().is_some();
        let found = causes.judge(&circumstances, &mut row.drift, &watch, evidence);
        messages.extend(row.baseline(*kind, &watch, evidence, at));
        let Some(found) = found else { continue };
        if (found.is_drift(), found.promise) != (stood, row.promise) {
            messages.push(Message::Drift(Drift {
                axis: 0,
                kind: *kind,
                number: record.number,
                change: found.change,
                score: found.score,
                direction: found.direction.into(),
                since: found.since,
                smallest: found.smallest,
                promise: found.promise.into(),
                moves: row.drift.moves(),
                since_earliest: found.since_within.0,
                since_latest: found.since_within.1,
                middle: found.middle,
                returned: found.returned,
            }));
        }
        row.promise = found.promise;
    }
    messages
}

impl Row {
    /// The message with the first limits, and the one of the complete baseline. Unit of `at`: s
    fn baseline(
        &mut self,
        kind: u32,
        watch: &DriftSettings,
        evidence: Evidence,
        at: u64,
    ) -> Option<Message<'static>> {
        if self.complete {
            return None;
        }
        let from = *self.from.get_or_insert(at);
        match evidence {
            Evidence::Value(value) => self.settled.push(value),
            Evidence::Unsettled => self.unsettled += 1,
        }
        let provisional = self.drift.is_learning();
        if provisional && (!self.drift.has_limits() || self.provisional) {
            return None;
        }
        (self.complete, self.provisional) = (!provisional, true);
        let mean =
            self.settled.iter().map(|value| f64::from(*value)).sum::<f64>() / self.settled.len() as f64;
        let settling_median = self.drift.quantile(0.5).expect("a median");
        Some(Message::Baseline(Baseline {
            axis: 0,
            kind,
            at: 0,
            moves: self.settled.len() as u32,
            settling_median,
            settling_p95: self.drift.quantile(0.95).expect("a quantile"),
            settling_mean: mean.round() as u32,
            unsettled: self.unsettled,
            from: from * 1_000_000,
            median_is_empty: self.drift.is_empty_at(watch, settling_median),
            provisional,
        }))
    }
}
