//! A level that hovers about the limit of a drift gives one story, not a row of alarms.

use stillpoint_core::drift::{DriftConfig, DriftSettings};
use stillpoint_tests::nuisance::calendar::HOUR;
use stillpoint_tests::nuisance::cells::Cell;
use stillpoint_tests::nuisance::detector::{Detector, Shipped};
use stillpoint_tests::nuisance::moves::{Fault, Moves};
use stillpoint_tests::rounds::rounds;

const PER_HOUR: u32 = 7200;
/// Before the level changes, long enough for the default baseline. Unit: h
const GOOD: u32 = 10;
/// A shift with the changed level. Unit: h
const SHIFT: u32 = 8;
/// The smallest change, relative to the baseline.
const SMALLEST: f64 = 0.1;

/// How many alarms begin while the level stays changed by this part of the smallest change.
fn annunciations(part: f64, seed: u64) -> usize {
    let config = DriftConfig { moves_per_hour: PER_HOUR, baseline_minutes: 60, ..DriftConfig::at(1_000_000) };
    let mut detector = Shipped::new(DriftSettings::new(config).expect("a valid configuration"));
    let mut moves = Moves::new(&Cell::PLAIN, PER_HOUR, seed);
    for _ in 0..GOOD * PER_HOUR {
        detector.step(&moves.step());
    }
    let from = f64::from(GOOD) * HOUR;
    moves.set_fault(Fault { size: part * SMALLEST, from, over: 0.0, until: f64::INFINITY });
    let (mut stands, mut begun) = (false, 0);
    for _ in 0..SHIFT * PER_HOUR {
        let drifts = detector.step(&moves.step()).drift.is_some();
        begun += usize::from(drifts && !stands);
        stands = drifts;
    }
    begun
}

/// Every level from none to twice the smallest change, for a shift at two moves a second.
#[test]
fn a_level_that_hovers_gives_at_most_two_alarms_in_a_shift() {
    let mut found = 0;
    for eighths in 0..=16 {
        let part = f64::from(eighths) / 8.0;
        let counts: Vec<usize> = (0..rounds(4) as u64).map(|seed| annunciations(part, seed)).collect();
        println!("{part} of the smallest change: {counts:?} alarms");
        assert!(counts.iter().all(|count| *count <= 2), "{part} of the smallest change: {counts:?} alarms");
        found += usize::from(counts.iter().all(|count| *count > 0));
    }
    assert!(found >= 7, "levels above the smallest change are found: {found}");
}
