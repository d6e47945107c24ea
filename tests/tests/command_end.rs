//! The expected command end, and times that are interpolated, on stops whose truth is plain arithmetic.

use stillpoint_core::{Definition, Outcome, Parameters, Reading, Reasons, Record};
use stillpoint_tests::run::{run, steady};

/// Unit: ticks
const PERIOD: u32 = 1000;

/// The record of a jump to 1000 counts whose errors are these, one a sample, then zero.
fn jump(parameters: Parameters, errors: &[i32]) -> Record {
    let after = errors.iter().copied().chain([0; 60]).map(|error| (1000, 1000 - error));
    let found = run(parameters, steady(PERIOD, [(0, 0); 40].into_iter().chain(after)));
    assert_eq!(found.moves[0].record.outcome, Outcome::Settled);
    found.moves[0].record
}

fn parameters(definition: Definition, synchronous: bool) -> Parameters {
    Parameters { window: 10, definition, synchronous, ..Parameters::at(1_000_000) }
}

/// From 110 to 10 in a sample: the reading changes at 10.5, 995 ticks after the sample at 110.
const ERRORS: [i32; 4] = [310, 210, 110, 10];

#[test]
fn a_jump_ended_half_a_sample_before_it_was_seen_on_average() {
    let of = |synchronous| jump(parameters(Definition::LastEntry, synchronous), &ERRORS);
    let (shared, own) = (of(true), of(false));
    assert_eq!((shared.settling, shared.command_end_u), (Some(2995), 0));
    assert_eq!((own.settling, own.command_end), (Some(3495), shared.command_end));
    // A uniform value over the sample period: ± 0.475 of it, and u a √12th of it.
    assert!((475..520).contains(&own.settling_95), "{}", own.settling_95);
    assert!((289..300).contains(&own.command_end_u), "{}", own.command_end_u);
    assert!(shared.settling_95 < 20, "{}", shared.settling_95);
}

#[test]
fn inside_from_the_command_end_on_is_zero_on_any_clock() {
    let of = |synchronous| jump(parameters(Definition::LastEntry, synchronous), &[10, 5]);
    let times = |record: Record| (record.settling, record.first_entry, record.settling_95);
    assert_eq!(times(of(true)), (Some(0), Some(0), 0));
    // Command and feedback came between the same two samples: which came first by how much is not known.
    let own = of(false);
    assert_eq!(times(own), (Some(0), Some(0), 952));
    assert!(own.reasons.has(Reasons::COARSE));
}

#[test]
fn a_reached_target_counts_from_the_interpolated_entry() {
    let record = jump(parameters(Definition::TargetReached, true), &ERRORS);
    assert_eq!(record.settling, Some(2995 + 10_000));
    assert!(record.settling_95 < 20, "{}", record.settling_95);
}

#[test]
fn a_swing_through_the_whole_window_in_a_sample_is_a_first_crossing() {
    // 110 to −90 passes the edge at 10.5 after 497.5 ticks, with no sample inside.
    let record = jump(parameters(Definition::Iso9283, true), &[310, 110, -90, -110, -10]);
    assert_eq!(record.first_entry, Some(3995));
    assert_eq!(record.settling, Some(3995 - 1498));
    assert!(record.reasons.has(Reasons::FEW));
}

#[test]
fn other_windows_settle_in_order_of_their_size() {
    let errors = [3000, 2000, 1500, 1200, 1060, 1045, 1030, 1008, 1003, 980, 940, 700];
    let parameters = Parameters { window: 1000, ..parameters(Definition::LastEntry, false) };
    let after = errors.into_iter().chain([0; 60]).map(|error| (100_000, 100_000 - error));
    let readings: Vec<Reading> = steady(PERIOD, [(0, 0); 40].into_iter().chain(after)).collect();
    let found = run(parameters, readings);
    let record = found.moves[0].record;
    let (wider, narrower) = (record.settling_wider.unwrap(), record.settling_narrower.unwrap());
    let settling = record.settling.unwrap();
    // 1050 is left for good at the fifth sample, 950 at the tenth; half a sample more to the expected command end.
    assert_eq!((wider, narrower), (5500, 10_500));
    assert!(wider < settling && settling < narrower, "{settling}");
    for point in &found.moves[0].curve {
        let time = point.settling.unwrap_or(u32::MAX);
        assert!(if point.window >= 1000 { time <= settling } else { time >= settling }, "{point:?}");
    }
}
