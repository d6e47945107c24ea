//! In: sequences of values. Out: whether drift detection finds a change in them, as tables.

use std::println;
use std::vec::Vec;

use super::*;

/// Settling time of move `k`: about 50 ms with a scatter of 10 %, a fixed pseudorandom sequence.
fn good(k: u32) -> u32 {
    let mixed = |k: u32| (k.wrapping_mul(2_654_435_761).rotate_left(7).wrapping_mul(0x9E37_79B1)) >> 16;
    let sum: u32 = (0..4).map(|part| mixed(4 * k + part + 17) % 8000).sum();
    34_000 + sum
}

fn settings() -> DriftSettings {
    DriftSettings::new(DriftConfig { baseline_minutes: 0, ..DriftConfig::at(1_000_000) }).unwrap()
}

/// Findings of good moves to which `change` was applied.
fn findings(moves: u32, change: impl Fn(u32, u32) -> Evidence) -> (Drift, Vec<Finding>) {
    let (settings, mut drift) = (settings(), Drift::default());
    let findings =
        (1..=moves).filter_map(|k| drift.step(&settings, change(k, good(k)), &Moment::default())).collect();
    (drift, findings)
}

#[track_caller]
fn check(moves: u32, change: impl Fn(u32, u32) -> Evidence, drifts: bool) -> Option<Finding> {
    let (_, findings) = findings(moves, change);
    let found = findings.iter().find(|finding| finding.is_drift());
    assert_eq!(found.is_some(), drifts, "{:?}, last {:?}", found, findings.last());
    found.copied()
}

#[test]
fn lasting_changes_are_found_and_outliers_are_not() {
    use Evidence::{Unsettled, Value};
    check(20_000, |_, time| Value(time), false);
    // One move in fifty takes ten times as long, from the first on.
    check(20_000, |k, time| Value(if k % 50 == 0 { 10 * time } else { time }), false);
    check(5000, |k, time| if k == 3000 { Unsettled } else { Value(time) }, false);
    // Of the smallest change, 10 %, a half is quiet.
    for change in [105, 95] {
        check(20_000, |k, time| Value(if k > 3000 { time / 100 * change } else { time }), false);
    }
    for (change, moves) in [(11_i32, 300), (-11, 300), (30, 40), (-30, 40)] {
        let slowed = |k: u32, time: u32| {
            Value(if k > 3000 { (i64::from(time) * i64::from(100 + change) / 100) as u32 } else { time })
        };
        let found = check(3000 + moves, slowed, true).unwrap();
        assert_eq!(found.direction, if change > 0 { Direction::Up } else { Direction::Down }, "{change} %");
        assert!(found.since.abs_diff(3000) < 60, "{change} % since {}", found.since);
        let estimate = found.change as f32 / 500.0;
        assert!(
            estimate / change as f32 > 0.25 && estimate.abs() < 1.7 * change.abs() as f32,
            "{change} %: {estimate} %"
        );
    }
    // A ramp of 10 % over 2000 moves.
    check(5400, |k, time| Value(time + time / 1000 * k.saturating_sub(3000) / 20), true);
    // Moves that no longer settle: one in three.
    check(3200, |k, time| if k > 3000 && k % 3 == 0 { Unsettled } else { Value(time) }, true);
}

/// Every settling time is 0, inside from the command end on; later 3000 ticks, more than the smallest change.
#[test]
fn a_baseline_needs_no_scatter() {
    for value in [0, 7, 1 << 31, u32::MAX - 5] {
        check(3000, |_, _| Evidence::Value(value), false);
    }
    let found = check(3040, |k, _| Evidence::Value(if k > 3000 { 3000 } else { 0 }), true).unwrap();
    assert_eq!((found.direction, found.since, found.promise), (Direction::Up, 3000, Promise::Held));
}

#[test]
fn a_large_change_is_found_while_still_learning() {
    for before in [100, 200, 400] {
        let found =
            check(before + 200, |k, time| Evidence::Value(if k > before { 2 * time } else { time }), true);
        println!("twice as slow after {before} moves: found after {}", found.unwrap().since);
    }
}

#[test]
fn the_state_of_the_guarantee_is_known() {
    let promise = |moves, change: &dyn Fn(u32, u32) -> Evidence| findings(moves, change).0.promise();
    let as_is = |_, time| Evidence::Value(time);
    assert_eq!(promise(100, &as_is), Promise::Learning);
    assert_eq!(promise(2000, &as_is), Promise::Held);
    assert_eq!(promise(2000, &|_, _| Evidence::Unsettled), Promise::NoBaseline);
    // Thirty slow moves and thirty fast moves in turn.
    let turns = |k: u32, time: u32| Evidence::Value(time + k / 30 % 2 * 5000);
    assert_eq!(promise(4000, &turns), Promise::Dependent);
    let short =
        DriftSettings::new(DriftConfig { baseline: 48, baseline_minutes: 0, ..DriftConfig::at(1_000_000) })
            .unwrap();
    let mut drift = Drift::default();
    (1..4000).for_each(|k| _ = drift.step(&short, Evidence::Value(good(k)), &Moment::default()));
    assert_eq!(drift.promise(), Promise::Short);
}

#[test]
fn the_baseline_stays_when_the_sums_are_set_to_zero() {
    let (mut drift, _) = findings(3000, |_, time| Evidence::Value(time));
    let settings = settings();
    let slow = |drift: &mut Drift| {
        (1..400).find(|&k| {
            drift
                .step(&settings, Evidence::Value(good(k) + 10_000), &Moment::default())
                .is_some_and(|found| found.is_drift())
        })
    };
    let first = slow(&mut drift).unwrap();
    drift.rearm();
    assert!(slow(&mut drift).unwrap().abs_diff(first) <= 8);
}

/// Findings stay within their bounds for extreme values and settings.
#[test]
fn extreme_values_and_settings_stay_in_bounds() {
    let values: [&dyn Fn(u32) -> u32; 5] = [
        &|k| k.wrapping_mul(0x9E37_79B1),
        &|k| if k % 2 == 0 { 0 } else { u32::MAX },
        &|k| k,
        &|k| if k < 500 { 3 } else { u32::MAX },
        &|k| 1 << (k % 32),
    ];
    for (alarms, change, moves) in
        [(0.001, 1 << 30, 1_000_000), (1000.0, 1, 1), (1000.0, 1 << 30, 1), (0.001, 1, 1)]
    {
        let config = DriftConfig {
            false_alarms_per_axis_month: alarms,
            smallest_change: change,
            moves_per_hour: moves,
            ..DriftConfig::at(1_000_000)
        };
        let settings = DriftSettings::new(config).unwrap();
        for value in values {
            let mut drift = Drift::default();
            let findings: Vec<_> = (0..5000)
                .filter_map(|k| drift.step(&settings, Evidence::Value(value(k)), &Moment::default()))
                .collect();
            assert!(findings.len() > 600);
            assert!(
                findings.iter().all(|found| found.score <= 2 * LIMIT && found.since <= 5000),
                "{config:?}"
            );
        }
    }
}

/// Bits that every processor must give; computed once on a PC.
#[test]
fn the_same_numbers_everywhere() {
    let (_, findings) = findings(4000, |k, time| Evidence::Value(time + k / 16));
    let mixed = findings.iter().fold(0_u32, |mixed, finding| {
        mixed.rotate_left(5).wrapping_mul(31) ^ finding.score ^ finding.change as u32 ^ finding.smallest << 8
    });
    assert_eq!(mixed, 3_291_629_141);
}

#[test]
fn drift_detection_of_a_value_is_small() {
    let size = size_of::<Drift>();
    println!("{size} bytes a kind and value");
    assert!(size <= 248, "{size}");
}
