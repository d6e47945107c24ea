//! Slow pulse trains, late pulses, jogs, turning points: where a move begins and ends, at any sample rate.
//!
//! The commands are made here from formulas; the truth is in the formula. No source: what a command means is ours.

use std::f64::consts::TAU;

use stillpoint_core::{Axis, Event, Outcome, Parameters, Reading, Record, Settings};
use stillpoint_tests::chance::Chance;
use stillpoint_tests::rounds::{rounds, seed};

/// What an axis found: its moves, small excursions, unresolved stops, and whether a move was under way at the end.
struct Found {
    moves: Vec<Record>,
    small: u32,
    turns: u32,
    under_way: bool,
}

/// Steps through a command sampled at this rate; feedback is `errors` behind it.
fn measure(parameters: Parameters, hz: f64, command: &[i32], errors: impl Fn(usize) -> i32) -> Found {
    let mut axis = Axis::new(Settings::new(parameters).expect("settings of a test are valid"));
    let mut moves = vec![];
    let mut collect = |axis: &mut Axis| {
        while let Some(event) = axis.event() {
            if let Event::Move(record) = event {
                moves.push(record);
            }
        }
    };
    for (k, &command) in command.iter().enumerate() {
        let tick = instant(k, hz) as u32;
        axis.step(Reading { tick, command, feedback: command.wrapping_sub(errors(k)) });
        collect(&mut axis);
    }
    let under_way = axis.finish();
    collect(&mut axis);
    Found { moves, small: axis.small(), turns: axis.turning_points(), under_way }
}

fn parameters(window: u32) -> Parameters {
    Parameters { window, synchronous: true, ..Parameters::at(1_000_000).with_window_time_ms(10) }
}

/// The instant of sample `k`. Unit: ticks
fn instant(k: usize, hz: f64) -> u64 {
    (k as f64 * 1e6 / hz).round() as u64
}

/// To `travel` counts with a power of the time that remains, then a rest: 2 is constant deceleration, 3 constant jerk.
fn decelerating(travel: i32, power: i32, scale_s: f64, phase: f64, hz: f64, offset: f64) -> Vec<i32> {
    let duration = f64::from(travel).powf(1.0 / f64::from(power)) * scale_s;
    let samples = ((0.3 + duration + 6.0 * scale_s + 1.0) * hz) as usize;
    let at = |k: usize| {
        let remaining = (duration + 0.3 - (k as f64 + offset) / hz).max(0.0);
        let counts = (remaining / scale_s).powi(power) + phase;
        travel - (counts.floor() as i32).min(travel)
    };
    (0..samples).map(at).collect()
}

#[test]
fn no_decelerating_train_is_cut() {
    let mut chance = Chance::new(seed(1));
    let (mut cut, mut made) = (vec![], 0);
    for hz in [100.0, 165.0, 250.0, 1000.0] {
        for travel in [12_000, 500, 6001, 37] {
            for _ in 0..rounds(if travel > 1000 { 160 } else { 600 }) {
                let scale_s = 0.005 * 50_f64.powf(chance.uniform());
                let (phase, offset) = (chance.uniform(), chance.uniform());
                let power = 2 + (made % 3 == 2) as i32;
                let command = decelerating(travel, power, scale_s, phase, hz, offset);
                let window = [1, 5, 20][made / 3 % 3];
                let found = measure(parameters(window), hz, &command, |_| 0);
                made += 1;
                let travels: Vec<i32> = found.moves.iter().map(|of| of.travel).collect();
                let end = command.iter().rposition(|at| *at != travel).expect("it moves") + 1;
                let ends: Vec<u64> = found.moves.iter().map(|of| of.command_end).collect();
                if travels != [travel] || ends != [instant(end, hz)] || found.under_way {
                    cut.push((hz, travel, power, scale_s, phase, window, travels));
                }
            }
        }
    }
    println!("ran {made} trains, {} cut", cut.len());
    assert!(cut.is_empty(), "{} of {made} are cut, first {:?}", cut.len(), cut[0]);
}

/// From rest, constant acceleration: the first pulses are up to 100 ms apart, and belong to the move.
#[test]
fn a_slow_start_belongs_to_its_move() {
    let mut chance = Chance::new(seed(2));
    for case in 0..rounds(200) {
        let hz = [250.0, 1000.0, 4000.0][case as usize % 3];
        let scale_s = 0.004 * 25_f64.powf(chance.uniform());
        let (phase, offset) = (chance.uniform(), chance.uniform());
        let at = |k: usize| {
            let since = ((k as f64 + offset) / hz - 0.5).max(0.0) / scale_s;
            ((since * since + phase).floor() as i32).min(2000)
        };
        let command: Vec<i32> = (0..((1.0 + 46.0 * scale_s) * hz) as usize).map(at).collect();
        let start = command.iter().position(|at| *at != 0).expect("it moves") - 1;
        let found = measure(parameters(5), hz, &command, |_| 0);
        let moves: Vec<(u64, i32)> = found.moves.iter().map(|of| (of.start, of.travel)).collect();
        assert_eq!(moves, [(instant(start, hz), 2000)], "{hz} Hz, {scale_s} s, phase {phase}");
        assert_eq!((found.small, found.under_way), (0, false));
    }
}

/// A smooth move, by the minimum-jerk polynomial. Unit: counts, at each sample
fn smooth(travel: f64, samples: usize) -> impl Iterator<Item = f64> {
    (1..=samples).map(move |k| {
        let part: f64 = k as f64 / samples as f64;
        travel * part.powi(3) * (10.0 - 15.0 * part + 6.0 * part * part)
    })
}

/// Adds levels after the last one, rounded.
fn append(command: &mut Vec<i32>, levels: impl Iterator<Item = f64>) {
    let from = *command.last().expect("it begins at a level");
    command.extend(levels.map(|level| from + level.round() as i32));
}

fn stand(command: &mut Vec<i32>, samples: usize) {
    append(command, std::iter::repeat_n(0.0, samples));
}

/// First and last change after sample `from`: start and end of a move there.
fn span(command: &[i32], from: usize, to: usize) -> (usize, usize) {
    let changes: Vec<usize> = (from + 1..to).filter(|&k| command[k] != command[k - 1]).collect();
    (changes[0] - 1, *changes.last().expect("it moves"))
}

/// A jog of up to five counts after a stop that rested, then a real move after 30 ms to 3 s: start and travel of that
/// move are its own.
#[test]
fn a_jog_within_the_window_is_an_event_of_its_own() {
    let mut chance = Chance::new(seed(3));
    for case in 0..rounds(100) {
        let rest = (30.0 * 100_f64.powf(chance.uniform())) as usize;
        let jog = (1.0 + 5.0 * chance.uniform()).floor() * if case % 2 == 0 { 1.0 } else { -1.0 };
        let mut command = vec![0; 100];
        append(&mut command, smooth(10_000.0, 200));
        stand(&mut command, 400);
        append(&mut command, [jog].into_iter());
        stand(&mut command, rest);
        let jogged = command.len() - 1;
        append(&mut command, smooth(-10_000.0, 200));
        let (start, end) = span(&command, jogged, command.len());
        stand(&mut command, 400);
        let found = measure(parameters(5), 1000.0, &command, |_| 0);
        let moves: Vec<_> = found.moves.iter().map(|of| (of.start, of.command_end, of.travel)).collect();
        let second = (instant(start, 1000.0), instant(end, 1000.0), -10_000);
        assert_eq!(moves.len(), 2, "{rest} ms after a jog of {jog}");
        assert_eq!((moves[0].2, moves[1]), (10_000, second), "{rest} ms after a jog of {jog}");
        assert_eq!(found.small, 1);
    }
}

/// A sine gives no moves: of any amplitude and period, at any rate, quantised, also sampled and held.
#[test]
fn a_sine_gives_no_moves() {
    let mut chance = Chance::new(seed(4));
    let (mut made, mut wrong) = (0, vec![]);
    for _ in 0..rounds(400) {
        let hz = 2.0 * 2000_f64.powf(chance.uniform());
        let amplitude = 1e6_f64.powf(chance.uniform());
        let held = [1, 1, 1, 2, 3, if hz > 500.0 { 10 } else { 1 }][(6.0 * chance.uniform()) as usize];
        let period_s = held as f64 * (10.0 + 3000.0 * chance.uniform().powi(3)) / hz;
        let quantum = if chance.uniform() < 0.5 { 1 } else { 1 + (200_f64.powf(chance.uniform())) as i32 };
        let window =
            quantum as u32 + if chance.uniform() < 0.5 { 0 } else { (20.0 * chance.uniform()) as u32 };
        let phase = chance.uniform();
        let at = |k: usize| {
            let turn = (k / held * held) as f64 / hz / period_s + phase;
            ((turn * TAU).sin() * amplitude / f64::from(quantum)).round() as i32 * quantum
        };
        let command: Vec<i32> = (0..6000 * held).map(at).collect();
        let lag = [0, window as i32 * 10][made % 2];
        let found = measure(parameters(window), hz, &command, |_| lag);
        made += 1;
        if !found.moves.is_empty() {
            wrong.push((hz, amplitude, period_s * hz, quantum, window, held, lag, found.moves.len()));
        }
    }
    println!("ran {made} sines, {} gave moves", wrong.len());
    assert!(wrong.is_empty(), "{} of {made}: {wrong:?}", wrong.len());
}

/// There and back, or onward, with dwells of 4 to 40 samples: each is found as a move, or named as a turning point.
#[test]
fn slow_recorders_find_every_dwell_or_name_it() {
    let mut chance = Chance::new(seed(5));
    let (mut dwells, mut found_moves, mut named) = (0, 0, 0);
    for case in 0..rounds(300) {
        let hz = 2.0 * 10_f64.powf(chance.uniform());
        let quantum = [1, 10, 1000][case as usize % 3];
        let window = [5, 100, 1000][case as usize / 3 % 3];
        let mut command = vec![0; 10];
        let mut expected = 0;
        for _ in 0..12 {
            let travel =
                (20_000.0 + 50_000.0 * chance.uniform()) * if chance.uniform() < 0.5 { -1.0 } else { 1.0 };
            let levels: Vec<f64> = smooth(travel, 3 + (20.0 * chance.uniform()) as usize).collect();
            let quantised =
                levels.iter().map(|level| (level / f64::from(quantum)).round() * f64::from(quantum));
            append(&mut command, quantised);
            stand(&mut command, 4 + (36.0 * chance.uniform().powi(2)) as usize);
            expected += 1;
        }
        let lag = [0, 2000][case as usize % 2];
        let found = measure(parameters(window), hz, &command, |_| lag);
        dwells += expected;
        found_moves += found.moves.len();
        named += found.turns as usize + usize::from(found.under_way);
        let all = found.moves.len() + found.turns as usize + usize::from(found.under_way);
        assert!(all >= expected, "{hz} Hz: {all} of {expected}, case {case}");
    }
    println!("ran {dwells} dwells: {found_moves} found, {named} named");
    assert!(found_moves * 10 >= dwells * 9, "{found_moves} of {dwells}");
}

/// Steps of a millimetre at 10 Hz, of 1000 counts, in a window as wide: once two stops of three were lost.
#[test]
fn a_coarse_command_loses_no_stop() {
    for dwell in [12, 20, 40] {
        let mut command = vec![0; 30];
        let mut expected = vec![];
        for travel in [40_000.0, 30_000.0, -70_000.0, 25_000.0, 25_000.0, -50_000.0] {
            let levels = smooth(travel, 20).map(|level| (level / 1000.0).round() * 1000.0);
            append(&mut command, levels);
            stand(&mut command, dwell);
            expected.push(travel as i32);
        }
        let found = measure(parameters(1000), 10.0, &command, |k| [300, -300][k % 2]);
        let travels: Vec<i32> = found.moves.iter().map(|of| of.travel).collect();
        assert_eq!(travels, expected, "dwells of {dwell} samples, {} named", found.turns);
    }
}

/// Feedback never comes inside, and the next move begins with changes far below the window.
#[test]
fn an_unsettled_stop_ends_where_a_fine_profile_begins() {
    for rest in [30, 100, 700] {
        let mut command = vec![0; 100];
        append(&mut command, smooth(100_000.0, 300));
        stand(&mut command, rest);
        let rested = command.len() - 1;
        append(&mut command, smooth(-100_000.0, 3000));
        let (start, _) = span(&command, rested, command.len());
        stand(&mut command, 400);
        let found = measure(parameters(500), 1000.0, &command, |k| if k < 200 { 0 } else { 600 });
        let moves: Vec<_> = found.moves.iter().map(|of| (of.travel, of.outcome)).collect();
        assert_eq!(moves, [(100_000, Outcome::Unsettled), (-100_000, Outcome::Unsettled)], "rest of {rest}");
        let first = found.moves[0];
        assert_eq!(
            first.command_end + first.held,
            instant(start, 1000.0),
            "the rest ends before the first change"
        );
        assert_eq!(found.moves[1].start, instant(start, 1000.0));
    }
}

/// A late pulse continues its move: the command end, travel, extremes and gaps are those of the whole.
#[test]
fn a_late_pulse_continues_its_move() {
    let mut command = vec![0; 100];
    append(&mut command, smooth(1000.0, 50));
    let end = command.len() - 1;
    stand(&mut command, 40);
    append(&mut command, [3.0].into_iter());
    stand(&mut command, 300);
    // Outside at 20 counts for 60 ms after the first end, with an excursion to 90 before the late pulse.
    let error = |k: usize| match k {
        0..100 => 0,
        k if k == end + 20 => -90,
        k if k < end + 60 => 20,
        _ => 0,
    };
    let found = measure(parameters(5), 1000.0, &command, error);
    let [record] = found.moves[..] else { panic!("{} moves", found.moves.len()) };
    assert_eq!((record.travel, record.outcome), (1003, Outcome::Settled));
    assert_eq!(record.command_end, instant(end + 41, 1000.0));
    // Beyond the target of 1003 by 87; settled at 60 ms after the first end, 19 after the second.
    assert_eq!((record.peak_following_error, record.overshoot), (90, 87));
    assert!((18_000..=19_000).contains(&record.settling.unwrap()), "{record:?}");
}
