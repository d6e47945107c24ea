//! Signal health on the invented transplanter: nothing is found on a sound axis, each fault is found.
//!
//! Sound includes following error, ringing, creep, a slipping coupling, encoder noise and loads that
//! vary. The faults are made of the same readings.

use stillpoint::source::rehearsal::axis::{Axis, AxisData};
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::{Parameters, Reading, Settings};
use stillpoint_firmware::health::{Finding, Health, Limits, Severity, Signal, most_change};

const RATE: u32 = 4000;
const SECONDS: usize = 40;

/// Limits with a window of 0.05 mm or degrees.
fn limits(data: &AxisData, command_scale: (i32, i32)) -> Limits {
    let window = (0.05 * data.counts_per_unit.to_f64()) as u32;
    let parameters = Parameters { window, command_scale, ..Parameters::at(1_000_000) };
    let most = most_change(16, u32::MAX, RATE);
    Limits::new(&Settings::new(parameters).unwrap(), 1_000_000 / RATE, (most, most))
}

fn findings(limits: &Limits, readings: impl Iterator<Item = Reading>) -> Vec<Finding> {
    let mut health = Health::default();
    readings.filter_map(|reading| health.step(limits, reading, 0)).collect()
}

fn readings(data: &AxisData, age: f64, rate: u32) -> impl Iterator<Item = Reading> {
    let mut axis = Axis::new(data.clone(), 7, rate).unwrap();
    axis.set_age(age);
    axis.take(SECONDS * rate as usize)
}

/// What is found on each axis after `change` was made to its readings.
#[track_caller]
fn check(change: impl Fn(Reading) -> Reading + Copy, scale: (i32, i32), expected: &[Finding]) {
    for data in axes() {
        let found = findings(&limits(&data, scale), readings(&data, 0.0, RATE).map(change));
        assert_eq!(found, expected, "{}", data.name);
    }
}

#[test]
fn a_sound_axis_gives_no_finding_however_worn() {
    for data in axes() {
        for (age, rate) in [(0.0, 1000), (0.0, 4000), (0.0, 10_000), (0.5, 4000), (1.0, 4000), (1.0, 10_000)]
        {
            for window in [0.01, 0.05, 0.5] {
                let window = (window * data.counts_per_unit.to_f64()) as u32;
                let settings = Settings::new(Parameters { window, ..Parameters::at(1_000_000) }).unwrap();
                let limits = Limits::new(&settings, 1_000_000 / rate, (1 << 14, 1 << 14));
                let found = findings(&limits, readings(&data, age, rate));
                assert_eq!(found, [], "{} worn {age} at {rate} Hz, window {window}", data.name);
            }
        }
    }
}

#[test]
fn a_missing_or_dead_channel_is_found() {
    check(|reading| Reading { feedback: 5, ..reading }, (1, 1), &[Finding::FeedbackMissing]);
    check(|reading| Reading { command: 5, ..reading }, (1, 1), &[Finding::CommandDead]);
    check(|reading| Reading { command: 5, feedback: 5, ..reading }, (1, 1), &[]);
}

#[test]
fn a_wrong_sign_is_found_with_the_right_scale() {
    let turned = |reading: Reading| Reading { feedback: -reading.feedback, ..reading };
    check(turned, (1, 1), &[Finding::WrongSign { proposed: Some((-1, 1)) }]);
    check(turned, (-1, 1), &[]);
    let turned_and_scaled = |reading: Reading| Reading { command: reading.command * -2, ..reading };
    check(turned_and_scaled, (1, 1), &[Finding::WrongSign { proposed: Some((-1, 2)) }]);
}

#[test]
fn a_wrong_ratio_is_found_and_the_right_one_proposed() {
    let finer = |reading: Reading| Reading { command: reading.command * 4, ..reading };
    check(finer, (1, 1), &[Finding::WrongRatio { proposed: (1, 4) }]);
    check(finer, (1, 4), &[]);
    let fifths = |reading: Reading| Reading { command: reading.command * 3 / 5, ..reading };
    check(fifths, (1, 1), &[Finding::WrongRatio { proposed: (5, 3) }]);
    check(fifths, (5, 3), &[]);
    check(|reading| reading, (-2, 1), &[Finding::WrongSign { proposed: Some((1, 1)) }]);
}

#[test]
fn swapped_taps_are_found() {
    let swapped =
        |reading: Reading| Reading { command: reading.feedback, feedback: reading.command, ..reading };
    check(swapped, (1, 1), &[Finding::Swapped]);
    let apart =
        |reading: Reading| Reading { command: reading.feedback, feedback: reading.command * 3, ..reading };
    check(apart, (1, 3), &[Finding::Swapped]);
}

#[test]
fn a_fast_counter_and_disturbed_lines_are_found() {
    let [shuttle, ..] = axes();
    let limits = limits(&shuttle, (1, 1));
    let steps = |positions: &[i32], illegal: u32| {
        let mut health = Health::default();
        let reading =
            |(tick, &position): (usize, &i32)| Reading { tick: tick as u32, command: 0, feedback: position };
        positions
            .iter()
            .enumerate()
            .filter_map(|at| health.step(&limits, reading(at), illegal))
            .collect::<Vec<_>>()
    };
    let near = Finding::RateNearLimit { signal: Signal::Feedback, change: 16_385 };
    assert_eq!(steps(&[0, 16_384, 0, -16_385, 0], 3), [near]);
    assert_eq!(near.severity(), Severity::Warning);
    assert_eq!(steps(&[0, 16_384], 4), [Finding::IllegalTransitions { count: 4 }]);
    assert_eq!(most_change(32, 4 * 500_000, RATE), 500);
}

#[test]
fn a_gap_is_no_fast_counter_and_judges_no_move() {
    let [shuttle, ..] = axes();
    let limits = limits(&shuttle, (1, 1));
    let mut health = Health::default();
    for (number, reading) in readings(&shuttle, 0.0, RATE).enumerate() {
        if number % 1000 > 300 && number % 1000 < 700 {
            health.gap();
            continue;
        }
        assert_eq!(health.step(&limits, reading, 0), None);
    }
}

#[test]
fn state_is_small() {
    assert!(size_of::<Health>() <= 88, "{} bytes", size_of::<Health>());
}
