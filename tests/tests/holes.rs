//! Missing samples: where the window time was not observed a move is untrusted; where it was, they are a caution.

use stillpoint_core::{Axis, Definition, Event, Outcome, Parameters, Reading, Reasons, Record, Settings};
use stillpoint_tests::run::{MeasuredMove, run, steady};

/// Sample period. Unit: ticks of a microsecond
const PERIOD: u32 = 1000;
/// Sample that follows the last entry: the command ends at sample 60, and feedback comes inside at 70.
const ENTRY: usize = 70;

/// A move of 1000 counts at 1 kHz, from sample 50 to 60; the error is 30 until sample 69 and 0 from `ENTRY` on.
fn readings() -> Vec<Reading> {
    let signal = |k: i32| {
        let command = ((k - 49) * 100).clamp(0, 1000);
        let error = if (50..ENTRY as i32).contains(&k) { 30 } else { 0 };
        (command, command - error)
    };
    steady(PERIOD, (0..500).map(signal)).collect()
}

fn parameters(definition: Definition) -> Parameters {
    Parameters {
        window: 5,
        definition,
        synchronous: true,
        ..Parameters::at(1_000_000).with_window_time_ms(10)
    }
}

/// The move of the recording without the samples from `first` on, `missing` of them.
fn with_hole(definition: Definition, readings: &[Reading], first: usize, missing: usize) -> Record {
    let mut axis = Axis::new(Settings::new(parameters(definition)).expect("settings of a test are valid"));
    for (k, reading) in readings.iter().enumerate() {
        if k == first + missing {
            axis.gap();
        }
        if !(first..first + missing).contains(&k) {
            axis.step(*reading);
        }
    }
    axis.finish();
    let Some(Event::Move(record)) = axis.event() else { panic!("one move") };
    record
}

/// Issue of holes: 1 to 300 ms from just after the entry gave `settled` without a reason. The window time is then not
/// observed. Common practice, no source.
#[test]
fn a_hole_within_the_window_time_is_untrusted_by_every_definition() {
    for definition in [Definition::LastEntry, Definition::Iso9283, Definition::TargetReached] {
        for first in [ENTRY + 1, ENTRY + 4, ENTRY + 9] {
            for missing in [1, 3, 10, 30, 300] {
                let record = with_hole(definition, &readings(), first, missing);
                let found = (record.outcome, record.reasons.has(Reasons::GAP), record.settling);
                assert_eq!(found, (Outcome::Untrusted, true, None), "{definition:?}, {missing} from {first}");
            }
        }
    }
}

/// Samples are missing, the move stands: outside for less than the window time, moving for less than the rest time,
/// and after the target was reached.
#[test]
fn a_short_hole_elsewhere_is_a_caution() {
    for (first, missing) in [(52, 3), (53, 1), (62, 1), (63, 4), (ENTRY + 30, 2), (ENTRY + 30, 200)] {
        let record = with_hole(Definition::LastEntry, &readings(), first, missing);
        let whole = with_hole(Definition::LastEntry, &readings(), 600, 0);
        assert_eq!(record.settling, whole.settling, "{missing} from {first}");
        assert!(record.settling.is_some());
        assert_eq!(record.reasons, whole.reasons.with(Reasons::HOLE), "{missing} from {first}");
        assert_eq!((record.gaps, record.longest_gap), (1, (missing as u32 + 1) * PERIOD));
    }
}

/// The last sample outside, the first inside, the command end, and stretches longer than window time and rest time.
#[test]
fn a_hole_where_it_matters_is_untrusted() {
    for (first, missing) in [(ENTRY - 1, 1), (ENTRY, 1), (59, 1), (58, 2), (51, 20), (56, 30)] {
        let record = with_hole(Definition::LastEntry, &readings(), first, missing);
        assert_eq!(record.outcome, Outcome::Untrusted, "{missing} from {first}");
        assert!(record.reasons.has(Reasons::GAP) && !record.reasons.has(Reasons::HOLE));
        let times = [record.first_entry, record.confirmation, record.stabilization, record.settling_wider];
        assert_eq!(times, [None; 4], "{missing} from {first}");
        assert_eq!((record.gaps, record.longest_gap), (1, (missing as u32 + 1) * PERIOD));
    }
}

/// A jump or a clock that stands, within a dwell that has not lasted the window time.
#[test]
fn every_fault_within_the_window_time_is_untrusted() {
    let run = |change: &dyn Fn(usize, &mut Reading)| {
        let mut readings = readings();
        readings.iter_mut().enumerate().for_each(|(k, reading)| change(k, reading));
        let parameters = Parameters { jump: 200, ..parameters(Definition::LastEntry) };
        let MeasuredMove { record, curve } = run(parameters, readings).moves.swap_remove(0);
        (record.outcome, record.reasons, curve.len())
    };
    let still = run(&|k, reading| reading.tick -= if k > ENTRY + 3 { PERIOD } else { 0 });
    // A curve of one meaningless point was shown.
    assert_eq!(still, (Outcome::Untrusted, Reasons::CLOCK, 0));
    // Both counters jump, so the error stays.
    let jump = run(&|k, reading| {
        if k > ENTRY + 3 {
            (reading.command, reading.feedback) = (reading.command, reading.feedback + 1000);
        }
    });
    assert!(jump.1.has(Reasons::JUMP), "{jump:?}");
}

/// A rest that is closed for its length contains the sample that closes it, which the record was made without.
#[test]
fn the_sample_that_closes_a_long_rest_belongs_to_it() {
    let period = 1 << 24;
    let signal = |k: i32| (if k < 4 { 0 } else { 100 }, if k < 4 { 0 } else { 100 - i32::from(k == 69) });
    let parameters = Parameters { window: 5, synchronous: true, ..Parameters::at(1_000_000) };
    let found = run(parameters, steady(period, (0..80).map(signal)));
    let record = found.moves[0].record;
    // The command end is sample 4; sample 69 is the first later than 2^30 ticks, and its error is 1.
    assert_eq!(record.held, 65 << 24);
    assert_eq!(
        record.rest_error,
        Some((256 + 33) / 66),
        "66 samples, one of them with an error of one count"
    );
    assert_eq!(record.peak_following_error, 1);
}
