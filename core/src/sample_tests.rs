//! In: counters and time stamps. Out: the samples that the stage makes of them, as a table.

use super::*;
use crate::settings::Parameters;

#[track_caller]
fn check(scale: (i32, i32), readings: &[(u32, i32, i32)], expected: &[(u32, i32, i32, Faults)]) {
    let parameters = Parameters { command_scale: scale, jump: 1000, ..Parameters::at(1_000_000) };
    let settings = Settings::new(parameters).unwrap();
    let mut sampler = Sampler::default();
    for (k, (&(tick, command, feedback), &expected)) in readings.iter().zip(expected).enumerate() {
        let reading = Reading { tick, command, feedback };
        let found = if k == 0 {
            sampler.begin(&settings, reading);
            (0, 0, sampler.error(), Faults::NONE)
        } else {
            let sample = sampler.step(&settings, reading);
            (sample.elapsed, sample.command_change, sample.error, sample.faults)
        };
        assert_eq!(found, expected, "at tick {tick}");
    }
}

#[test]
fn counters_and_time_stamps_wrap() {
    check(
        (1, 1),
        &[(u32::MAX, i32::MAX, i32::MAX), (9, i32::MIN, i32::MAX), (19, i32::MIN, i32::MIN)],
        &[(0, 0, 0, Faults::NONE), (10, 1, 1, Faults::NONE), (10, 0, 0, Faults::NONE)],
    );
}

#[test]
fn a_scaled_command_loses_nothing() {
    let thirds = [(0, 0, 0), (1, 1, 0), (2, 2, 0), (3, 3, 2), (4, 0, 0)];
    check(
        (2, 3),
        &thirds,
        &[(0, 0, 0), (1, 0, 0), (1, 1, 1), (1, 1, 0), (1, -2, 0)].map(|(t, c, e)| (t, c, e, Faults::NONE)),
    );
    check((-1, 2), &[(0, 10, -5), (1, 12, -5)], &[(0, 0, 0, Faults::NONE), (1, -1, -1, Faults::NONE)]);
}

#[test]
fn a_clock_that_stops_or_goes_back_and_a_jump_are_marked() {
    check(
        (1, 1),
        &[(5, 0, 0), (5, 0, 0), (3, 0, 0), (4, 0, 1001)],
        &[
            (0, 0, 0, Faults::NONE),
            (0, 0, 0, Faults::CLOCK),
            (0, 0, 0, Faults::CLOCK),
            (1, 0, -1001, Faults::JUMP),
        ],
    );
}
