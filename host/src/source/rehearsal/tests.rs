//! Nuisances, measured over the moves of the virtual machine, beside the same moves without them.

use clap::ValueEnum;
use stillpoint_core::Reading;

use crate::decode::{Decoder, DeviceEvent};

use super::axis::Axis;
use super::conditions::{Change, Conditions, Products, Response};
use super::monitor::Monitor;
use super::nuisance::Nuisance;
use super::transplanter::axes;

const RATE: u32 = 20_000;
const MS_PER_SAMPLE: f64 = 0.05;
/// Length of a run. Unit: samples
const MINUTE: usize = 60 * RATE as usize;
const HOUR: f64 = 3600.0;
const SHUTTLE: usize = 0;
const DIBBLE: usize = 1;
const TURNTABLE: usize = 2;
const AXES: [usize; 3] = [SHUTTLE, DIBBLE, TURNTABLE];

/// The readings of a minute, from a time on; `age` as in `Axis::set_age`.
fn readings(axis: usize, nuisances: &[Nuisance], seed: u64, from: f64, age: f64) -> Vec<Reading> {
    let data = axes()[axis].clone().with_nuisances(nuisances);
    let mut axis = Axis::new(data, seed, RATE).unwrap().later(from);
    axis.set_age(age);
    axis.take(MINUTE).collect()
}

/// Settling time of each move in ms, 0 if inside from the command end on; deliberately independent of the core.
fn settling(axis: usize, readings: &[Reading]) -> Vec<f64> {
    let window = [0.05, 0.02, 0.05][axis] * axes()[axis].counts_per_unit.to_f64();
    let (mut command, mut end, mut inside_from, mut found) = (0, 0, 0, Vec::new());
    for (index, reading) in readings.iter().enumerate() {
        if reading.command != command {
            if end > 0 && index - end > 400 {
                assert!(index - inside_from >= 200, "every move settles");
                found.push(MS_PER_SAMPLE * inside_from.saturating_sub(end) as f64);
            }
            (command, end) = (reading.command, index);
        }
        if f64::from((reading.command - reading.feedback).abs()) > window {
            inside_from = index + 1;
        }
    }
    found
}

/// What [`Response`] refers to: the mean on the turntable, half of whose moves settle at once; else the median.
fn middle(axis: usize, mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    if axis == TURNTABLE { times.iter().sum::<f64>() / times.len() as f64 } else { times[times.len() / 2] }
}

fn middle_of(axis: usize, nuisances: &[Nuisance], seed: u64, from: f64, age: f64) -> f64 {
    middle(axis, settling(axis, &readings(axis, nuisances, seed, from, age)))
}

/// The slowdown by cold and product that is intended in the middle of the minute.
fn intended(axis: usize, nuisances: &[Nuisance], seed: u64, from: f64) -> f64 {
    let plain = Response {
        product: Change { load: 1.0, ..Change::NONE },
        cold: Change { viscous: 1.0, ..Change::NONE },
        slow_hump: 0.0,
    };
    let factors = Conditions::new(nuisances, plain, seed, axes()[axis].stream()).next_move(from + 30.0);
    factors.load * factors.viscous - 1.0
}

/// Checks that settling is slower, or faster, by what is intended: off by less than a third of it and 1 %.
fn check(axis: usize, nuisances: &[Nuisance], seed: u64, from: f64) {
    let [without, with] = [&[], nuisances].map(|nuisances| middle_of(axis, nuisances, seed, from, 0.0));
    let (found, intended) = (with / without - 1.0, intended(axis, nuisances, seed, from));
    let what = format!("{} {nuisances:?}, seed {seed}, at {from} s", axes()[axis].name);
    println!("{what}: {without:.2} to {with:.2} ms, {found:+.3} for {intended:+.3}");
    assert!((found - intended).abs() < intended.abs() / 3.0 + 0.01, "{what}: {found} for {intended}");
}

#[test]
fn a_cold_axis_is_slower_and_a_warm_one_is_not() {
    for axis in AXES {
        for from in [0.0, 900.0, 4.0 * HOUR] {
            check(axis, &[Nuisance::WarmUp], 2, from);
        }
        assert!((0.08..=0.2).contains(&intended(axis, &[Nuisance::WarmUp], 2, -30.0)));
    }
}

#[test]
fn an_axis_is_slower_by_night_and_faster_by_day() {
    for axis in AXES {
        for (hour, sign) in [(6.0, 1.0), (18.0, -1.0)] {
            let intended = sign * intended(axis, &[Nuisance::DailyTemperature], 3, HOUR * hour);
            assert!((0.025..=0.1).contains(&intended), "{intended}");
            check(axis, &[Nuisance::DailyTemperature], 3, HOUR * hour);
        }
    }
}

#[test]
fn every_product_has_its_settling_level() {
    for level in [-0.08, -0.04, 0.04, 0.08] {
        let is_level =
            |seed: &u64| (intended(SHUTTLE, &[Nuisance::ProductChanges], *seed, 0.0) - level).abs() < 1e-9;
        let seed = (1..100).find(is_level).unwrap();
        AXES.iter().for_each(|axis| check(*axis, &[Nuisance::ProductChanges], seed, 0.0));
    }
}

/// Moves pair by pair: those of the quick hump are as without.
#[test]
fn the_dibble_has_two_humps_and_no_other_axis_has() {
    let run = |axis, nuisances: &[Nuisance]| readings(axis, nuisances, 4, 0.0, 0.0);
    let [without, with] = [&[] as &[Nuisance], &[Nuisance::TwoHumps]]
        .map(|nuisances| settling(DIBBLE, &run(DIBBLE, nuisances)));
    assert_eq!(without.len(), with.len());
    let slow: Vec<bool> = without.iter().zip(&with).map(|(a, b)| *b > 1.3 * a).collect();
    let share = slow.iter().filter(|slow| **slow).count() as f64 / slow.len() as f64;
    assert!((0.1..0.5).contains(&share), "{share} slow");
    let of = |hump| with.iter().zip(&slow).filter(move |(_, slow)| **slow == hump).map(|(ms, _)| *ms);
    let (quick, slow) = (of(false).fold(0.0, f64::max), of(true).fold(f64::INFINITY, f64::min));
    println!("{share:.2} slow; quick up to {quick:.1} ms, slow from {slow:.1} ms on");
    assert!(middle(DIBBLE, of(true).collect()) > 1.5 * middle(DIBBLE, of(false).collect()));
    for axis in [SHUTTLE, TURNTABLE] {
        assert!(run(axis, &[]) == run(axis, &[Nuisance::TwoHumps]), "{axis}");
    }
}

#[test]
fn a_retensioned_belt_settles_as_new_and_other_wear_stays() {
    let belt = &[Nuisance::RetensionedBelt];
    let run = |axis, nuisances, age| readings(axis, nuisances, 5, 0.0, age);
    assert!(run(SHUTTLE, belt, 0.59) == run(SHUTTLE, &[], 0.59), "not yet");
    let [new, worn, repaired] = [(&[] as &[Nuisance], 0.0), (&[], 0.61), (belt, 0.61)]
        .map(|(n, age)| middle_of(SHUTTLE, n, 5, 0.0, age));
    println!("new {new:.2} ms, worn {worn:.2} ms, retensioned {repaired:.2} ms");
    assert!(worn > 2.0 * new && repaired == new, "new {new}, worn {worn}, retensioned {repaired}");
    for axis in [DIBBLE, TURNTABLE] {
        assert!(run(axis, belt, 0.61) == run(axis, &[], 0.61), "{axis}");
        assert!(run(axis, belt, 0.61) != run(axis, belt, 0.0), "{axis} wears");
    }
}

/// Last samples of each rest: rms about their mean.
fn rest_noise(readings: &[Reading]) -> f64 {
    let ends = readings.windows(401).filter(|part| part[399].command != part[400].command);
    let rests = ends.filter(|part| part[..400].iter().all(|reading| reading.command == part[0].command));
    let variances: Vec<f64> = rests
        .map(|part| {
            let feedback: Vec<f64> = part[..400].iter().map(|reading| f64::from(reading.feedback)).collect();
            let mean = feedback.iter().sum::<f64>() / 400.0;
            feedback.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / 399.0
        })
        .collect();
    (variances.iter().sum::<f64>() / variances.len() as f64).sqrt()
}

/// The axis itself moves as before: feedback differs by the noise alone.
#[test]
fn a_noisy_sensor_shows_in_the_feedback_alone() {
    for axis in AXES {
        let [quiet, noisy] = [&[] as &[Nuisance], &[Nuisance::SensorNoise]]
            .map(|nuisances| readings(axis, nuisances, 6, 0.0, 0.0));
        let rms = axes()[axis].noise_rms;
        let far = quiet.iter().zip(&noisy).map(|(a, b)| f64::from((a.feedback - b.feedback).abs()));
        // Noise is at most 3.47 rms.
        assert!(far.fold(0.0, f64::max) <= 21.0 * 3.47 * rms + 1.0);
        let found = [rest_noise(&quiet), rest_noise(&noisy)];
        println!(
            "{}: {found:?} counts, {:?}",
            axes()[axis].name,
            [&quiet, &noisy].map(|r| middle(axis, settling(axis, r)))
        );
        assert!((found[1] / (20.0 * rms) - 1.0).abs() < 0.2, "axis {axis}: {found:?}");
    }
}

/// From ten seconds before a time on: whether the axis moves in the eight seconds before it, and in those from two on
/// after it.
fn moves_about(axis: usize, nuisances: &[Nuisance], time: f64) -> [bool; 2] {
    let readings = readings(axis, nuisances, 7, time - 10.0, 0.0);
    let moves = |part: &[Reading]| part.iter().any(|reading| reading.command != part[0].command);
    let second = RATE as usize;
    let after = &readings[12 * second..20 * second];
    if !moves(after) {
        let noise = (4.0 * axes()[axis].noise_rms).ceil() as i32 + 1;
        assert!(after.iter().all(|reading| (reading.feedback - after[0].feedback).abs() <= 2 * noise));
    }
    [moves(&readings[second..9 * second]), moves(after)]
}

#[test]
fn the_machine_stands_still_in_breaks_and_at_the_weekend() {
    for axis in AXES {
        for (nuisance, begins, ends) in [
            (Nuisance::Breaks, 2.0 * HOUR, 2.25 * HOUR),
            (Nuisance::Breaks, 4.25 * HOUR, 4.5 * HOUR),
            (Nuisance::Weekend, 8.0 * HOUR, 72.0 * HOUR),
            (Nuisance::Weekend, 176.0 * HOUR, 240.0 * HOUR),
        ] {
            assert_eq!(moves_about(axis, &[nuisance], begins), [true, false], "{nuisance:?} {axis}");
            assert_eq!(moves_about(axis, &[nuisance], ends), [false, true], "{nuisance:?} {axis}");
            assert_eq!(moves_about(axis, &[], begins), [true, true], "{axis} without");
        }
    }
}

/// The command is sample by sample the one without nuisances; the seed decides about the rest.
#[test]
fn travel_and_number_of_moves_stay_and_the_seed_repeats() {
    let pauses = [Nuisance::Breaks, Nuisance::Weekend];
    let others: Vec<Nuisance> =
        Nuisance::value_variants().iter().copied().filter(|nuisance| !pauses.contains(nuisance)).collect();
    let commands = |readings: &[Reading]| readings.iter().map(|reading| reading.command).collect::<Vec<_>>();
    for axis in AXES {
        let plain = readings(axis, &[], 8, 0.0, 0.61);
        let each = others.iter().map(std::slice::from_ref).chain([others.as_slice()]);
        for nuisances in each {
            let found = readings(axis, nuisances, 8, 0.0, 0.61);
            assert!(commands(&found) == commands(&plain), "{nuisances:?} {axis}");
        }
        let all = |seed| readings(axis, &others, seed, 0.0, 0.61);
        assert!(all(8) == all(8) && all(8) != all(9) && all(8) != plain, "{axis}");
    }
}

/// A machine whose first product ends after little more than half an hour, over that end.
#[test]
fn each_move_has_the_product_that_the_machine_works_on() {
    const PRODUCTS: [Nuisance; 1] = [Nuisance::ProductChanges];
    let products = |seed| Products::new(&PRODUCTS, seed).unwrap();
    let ends = |seed: &u64| {
        let mut products = products(*seed);
        let first = products.number(0.0);
        products.number(1850.0) != first
    };
    let seed = (1..1000).find(ends).expect("one of them ends early");
    let machine = axes().map(|axis| axis.with_nuisances(&PRODUCTS));
    let (mut monitor, axes) = Monitor::with_axes(machine, seed, 200, None).unwrap();
    let (mut bytes, mut moves, mut decoder) = (Vec::new(), Vec::new(), Decoder::default());
    while monitor.seconds() < 1900.0 {
        monitor.step(&mut bytes);
        decoder.push(&bytes, &mut |event| {
            if let DeviceEvent::Move(decoded) = event {
                moves.push(*decoded);
            }
        });
        bytes.clear();
    }
    let rate = f64::from(axes[0].settings.ticks_per_second);
    let mut expected = [0; 3].map(|_| products(seed));
    let wrong = moves.iter().filter(|decoded| {
        let second = decoded.record.start as f64 / rate;
        expected[usize::from(decoded.axis)].number(second) != decoded.job
    });
    let wrong = wrong.count();
    let mut jobs: Vec<u32> = moves.iter().map(|decoded| decoded.job).collect();
    jobs.sort_unstable();
    jobs.dedup();
    assert!(moves.len() > 5000 && jobs.len() == 2 && !jobs.contains(&0), "{} {jobs:?}", moves.len());
    assert_eq!(wrong, 0);
}
