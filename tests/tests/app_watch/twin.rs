//! In: moves as a monitor reported them. Out: messages of the stages of the core for the same moves, without any bytes.

use stillpoint_core::baseline::Evidence;
use stillpoint_core::baseline::Quantiles;
use stillpoint_core::drift;
use stillpoint_core::drift::DriftSettings;
use stillpoint_core::kind::{Arrival, Kinds};
use stillpoint_core::wire::drift::{Baseline, Drift};
use stillpoint_core::wire::message::Message;
use stillpoint_core::{Record, Settings, wire};

use crate::machine::{BASELINE, drift_config, parameters};

/// The same moves through the stages of the core, without any bytes.
pub(crate) fn twin(moves: &[(u32, Record)]) -> Vec<Message<'static>> {
    let settings = Settings::new(parameters()).expect("settings");
    let sent = wire::settings::Parameters { drift: drift_config(), ..(&parameters()).into() };
    let watch = DriftSettings::new(sent.drift_config()).expect("a valid configuration");
    let (mut table, mut messages) = (Kinds::<8>::default(), vec![]);
    let mut rows: [(drift::Drift, Quantiles, bool, drift::Promise); 8] = Default::default();
    for (kind, record) in moves {
        let Some(place) = table.step(&settings, record) else { continue };
        assert_eq!((place.number, place.arrival == Arrival::New), (*kind, record.number <= 3));
        let (drift, settling, stood, promise) = &mut rows[place.row];
        let Some(evidence) = Evidence::of(record) else { continue };
        if let Evidence::Value(value) = evidence
            && settling.count() < BASELINE
        {
            settling.step(value);
            if settling.count() == BASELINE {
                let (settling_median, settling_p95) =
                    (settling.median().expect("enough"), settling.p95().expect("enough"));
                let moves = BASELINE;
                let baseline = Baseline {
                    axis: 0,
                    kind: *kind,
                    at: 0,
                    moves,
                    settling_median,
                    settling_p95,
                    ..Baseline::default()
                };
                messages.push(Message::Baseline(baseline));
            }
        }
        let Some(found) = drift.step(&watch, evidence) else { continue };
        let stands = found.is_drift_after(*stood);
        if (stands, found.promise) != (*stood, *promise) {
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
                moves: drift.moves(),
                ..Drift::default()
            }));
        }
        (*stood, *promise) = (stands, found.promise);
    }
    messages
}
