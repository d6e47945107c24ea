use super::*;
use crate::sample::{Reading, Sampler};
use crate::settings::Parameters;

const REST: u32 = 20;

/// Start, command end and travel of each move in the commands, one per millisecond.
fn moves(window: u32, commands: impl IntoIterator<Item = i32>) -> std::vec::Vec<(u64, u64, i32, bool)> {
    let parameters = Parameters { window, rest_time: REST, ..Parameters::at(1000) };
    let settings = Settings::new(parameters).unwrap();
    let (mut sampler, mut motion) = (Sampler::default(), Motion::default());
    let mut found = std::vec![];
    for (tick, command) in (0..).zip(commands) {
        let reading = Reading { tick, command, feedback: 0 };
        if tick == 0 {
            sampler.begin(&settings, reading);
            continue;
        }
        let sample = sampler.step(&settings, reading);
        if motion.step(&settings, sample, sampler.now()) == Phase::End {
            let course = motion.course();
            found.push((course.start, course.command_end, course.travel, course.joined_late));
        }
    }
    found
}

/// The command stands at each level for so many samples.
fn stairs(levels: &[(i32, usize)]) -> std::vec::Vec<i32> {
    levels.iter().flat_map(|&(level, samples)| std::iter::repeat_n(level, samples)).collect()
}

#[track_caller]
fn check(levels: &[(i32, usize)], expected: &[(u64, u64, i32, bool)]) {
    assert_eq!(moves(5, stairs(levels)), expected);
}

#[test]
fn the_end_is_the_last_change_before_a_rest() {
    check(&[(0, 30), (100, 21)], &[(29, 30, 100, false)]);
    check(&[(0, 30), (100, 20)], &[]);
    check(&[(0, 30), (50, 1), (100, 1), (150, 40)], &[(29, 32, 150, false)]);
    check(&[(0, 30), (100, 30), (0, 30)], &[(29, 30, 100, false), (59, 60, -100, false)]);
    check(&[(0, 30), (100, 10), (0, 30)], &[(29, 40, 0, false)]);
}

#[test]
fn a_move_seen_only_in_part_says_so() {
    check(&[(0, 1), (50, 1), (100, 40)], &[(0, 2, 100, true)]);
    check(&[(0, 19), (100, 40)], &[(18, 19, 100, true)]);
}

#[test]
fn what_stays_within_the_window_is_no_move() {
    check(&[(0, 30), (5, 40), (0, 40)], &[]);
    check(&[(0, 30), (6, 40)], &[(29, 30, 6, false)]);
    check(&[(0, 30), (4, 2000), (8, 2000), (0, 60)], &[(4029, 4030, -8, false)]);
}

#[test]
fn slow_pulse_trains_do_not_split_a_move() {
    // Pulses of a constant deceleration: 100 of them, ever slower, the last pauses beyond the rest time.
    let distance = |k: i32| (f64::from(100 - k)).sqrt();
    let mut levels = std::vec![(0, 50)];
    levels.extend((1..100).map(|k| (k, ((distance(k) - distance(k + 1)) * 60.0) as usize + 1)));
    levels.push((100, 2000));
    let found = moves(5, stairs(&levels));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].2, 100);
}

#[test]
fn a_command_that_never_rests_gives_no_move() {
    for amplitude in [3.0, 40.0, 1000.0, 1e6] {
        for period in [50.0, 400.0, 3000.0, 20_000.0] {
            let sine =
                (0..200_000).map(|k| (f64::from(k) * core::f64::consts::TAU / period).sin() * amplitude);
            assert_eq!(
                moves(0, sine.map(|level| level.round() as i32)),
                [],
                "{amplitude} counts, {period} ms"
            );
        }
    }
}
