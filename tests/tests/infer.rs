//! The command end inferred from feedback alone, beside the true one of simulated moves.
//!
//! The invented transplanter outputs its true command, so each inferred settling time has a known error.
//! Ideal followers of planned profiles check the method itself: symmetric, with and without a jerk
//! limit, and with a stop slower or quicker than the start.

use stillpoint::source::rehearsal::axis::Axis as Simulated;
use stillpoint::source::rehearsal::profile::Profile;
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::{Axis, Event, Outcome, Parameters, Reading, Record, Settings};
use stillpoint_firmware::infer::{INFERRED, Inference, Limits};
use stillpoint_tests::run::run;

const RATE: u32 = 4000;
const PERIOD: u32 = 1_000_000 / RATE;
/// A quarter of a second of delay.
const SAMPLES: usize = 1024;

/// Records of the core from feedback alone, and the number of command ends not found.
fn inferred(parameters: Parameters, readings: impl Iterator<Item = Reading>) -> (Vec<Record>, u32) {
    let settings = Settings::new(parameters).unwrap();
    let limits = Limits { still: parameters.window / 4, rest: 80, period: PERIOD };
    let (mut infer, mut axis, mut records) = (Inference::<SAMPLES>::default(), Axis::new(settings), vec![]);
    let mut collect = |axis: &mut Axis, infer: &Inference<SAMPLES>| {
        while let Some(event) = axis.event() {
            if let Event::Move(mut record) = event {
                infer.mark_record(&mut record, parameters.window, axis.curve());
                records.push(record);
            }
        }
    };
    let mut offset = None;
    for reading in readings {
        let Some(delayed) = infer.step(&limits, reading.tick, reading.feedback) else { continue };
        offset.get_or_insert(delayed.reading.tick);
        if delayed.gap {
            axis.gap();
        }
        if axis.step(delayed.reading).event {
            collect(&mut axis, &infer);
        }
    }
    axis.finish();
    collect(&mut axis, &infer);
    // The core counts from its first reading, the truth from tick zero.
    let offset = u64::from(offset.unwrap_or(0));
    records.iter_mut().for_each(|record| record.command_end += offset);
    (records, infer.not_found())
}

fn mean_and_spread(values: &[f64]) -> (f64, f64) {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (mean, (squares / values.len() as f64).sqrt())
}

/// An axis of the transplanter, how worn it is, and the window to settle in. Unit of `window`: unit
struct Case {
    axis: usize,
    age: f64,
    window: f64,
}

/// Bias and spread of inferred minus true settling, and the part inside the 95 % interval.
/// Unit of `bias` and `spread`: ms
#[track_caller]
fn check(case: Case, bias: std::ops::Range<f64>, spread: f64, covered: f64) {
    let data = axes()[case.axis].clone();
    let window = (case.window * data.counts_per_unit.to_f64()) as u32;
    let parameters = Parameters { window, synchronous: true, ..Parameters::at(1_000_000) };
    let mut simulated = Simulated::new(data.clone(), 3, RATE).unwrap();
    simulated.set_age(case.age);
    let readings: Vec<Reading> = simulated.take(60 * RATE as usize).collect();
    let truth = run(parameters, readings.iter().copied()).moves;
    let (records, unfound) = inferred(parameters, readings.iter().copied());
    assert!(records.iter().all(|record| record.reasons.has(INFERRED) && record.rest_error.is_none()));
    let (mut errors, mut inside) = (vec![], 0);
    for real in &truth {
        let close = |record: &&Record| record.command_end.abs_diff(real.record.command_end) < 40_000;
        let Some(record) = records.iter().find(close) else { continue };
        let (Some(found), Some(expected)) = (record.settling, real.record.settling) else { continue };
        assert!(record.settling_u > real.record.settling_u);
        errors.push((f64::from(found) - f64::from(expected)) / 1000.0);
        inside += usize::from(found.abs_diff(expected) <= record.settling_95);
    }
    let ((mean, about), part) = (mean_and_spread(&errors), inside as f64 / errors.len() as f64);
    println!(
        "{} worn {}, window {}: {} of {} moves, {unfound} not found; settling {mean:+.2} ms, spread {about:.2} ms, {part:.3} inside",
        data.name,
        case.age,
        case.window,
        errors.len(),
        truth.len()
    );
    assert!(errors.len() >= 100 && errors.len() * 100 >= truth.len() * 95, "{} moves", errors.len());
    assert!(bias.contains(&mean) && about <= spread && part >= covered);
}

#[test]
fn settling_is_inferred_within_the_stated_tolerance() {
    check(Case { axis: 0, age: 0.0, window: 0.05 }, -2.0..1.0, 4.0, 0.95);
    check(Case { axis: 0, age: 0.5, window: 0.05 }, -4.0..1.0, 12.0, 0.95);
    check(Case { axis: 1, age: 0.0, window: 0.01 }, -2.0..1.0, 2.0, 0.95);
    check(Case { axis: 1, age: 0.5, window: 0.01 }, -2.0..1.0, 2.0, 0.95);
    check(Case { axis: 2, age: 0.0, window: 0.05 }, -4.0..0.0, 2.0, 0.95);
    check(Case { axis: 2, age: 0.5, window: 0.05 }, -5.0..0.0, 2.0, 0.95);
}

/// A known limit: friction that makes the axis creep home looks like a command that ends late.
#[test]
fn creeping_home_is_seen_as_a_late_command() {
    let data = axes()[2].clone();
    let window = (0.05 * data.counts_per_unit.to_f64()) as u32;
    let parameters = Parameters { window, synchronous: true, ..Parameters::at(1_000_000) };
    let mut simulated = Simulated::new(data, 3, RATE).unwrap();
    simulated.set_age(1.0);
    let readings: Vec<Reading> = simulated.take(60 * RATE as usize).collect();
    let truth = run(parameters, readings.iter().copied()).moves;
    let (records, _) = inferred(parameters, readings.iter().copied());
    let late: Vec<f64> = truth
        .iter()
        .filter_map(|real| {
            let late = |record: &Record| record.command_end as f64 - real.record.command_end as f64;
            records.iter().map(late).find(|late| late.abs() < 40_000.0)
        })
        .collect();
    let (mean, spread) = mean_and_spread(&late);
    println!("{} of {} moves end {mean:.0} us late, spread {spread:.0} us", late.len(), truth.len());
    assert!(late.len() >= 100 && (5_000.0..20_000.0).contains(&mean), "{mean}");
}

#[test]
fn state_is_the_line_and_little_more() {
    assert!(size_of::<Inference<SAMPLES>>() <= 4 * SAMPLES + 500, "{}", size_of::<Inference<SAMPLES>>());
}

/// A perfect follower of `position` over `duration` seconds, out and home, with rests between.
fn followed(duration: f64, position: impl Fn(f64) -> f64) -> Vec<Reading> {
    let moving = (duration * f64::from(RATE)).ceil() as u32;
    let cycle = moving + 1000;
    let counts = |number: u32| {
        let t = f64::from((number % cycle).saturating_sub(1000)) / f64::from(RATE);
        let part = position(t.min(duration)) / position(duration);
        let out = (number / cycle).is_multiple_of(2);
        (100_000.0 * if out { part } else { 1.0 - part }).round() as i32
    };
    (0..8 * cycle)
        .map(|number| Reading { tick: number * PERIOD, command: counts(number), feedback: counts(number) })
        .collect()
}

/// Ends of all seven moves, by at most this part of their duration. The feedback flickers by a count, so that a late end shows as one.
#[track_caller]
fn check_end(readings: &[Reading], duration: f64, part: f64) {
    let flicker = |reading: &Reading| Reading {
        feedback: reading.feedback + (reading.tick / PERIOD % 3) as i32,
        ..*reading
    };
    let parameters = Parameters { window: 40, synchronous: true, ..Parameters::at(1_000_000) };
    let (records, unfound) = inferred(parameters, readings.iter().map(flicker));
    assert_eq!((records.len(), unfound), (7, 0));
    let cycle = (duration * f64::from(RATE)).ceil() as usize + 1000;
    for (number, record) in records.iter().enumerate() {
        let planned = (number * cycle + 1000) as f64 / f64::from(RATE) + duration;
        let late = record.command_end as f64 / 1000.0 - planned * 1000.0;
        println!("{duration:.3} s: inferred {late:+.2} ms late, ± {}", record.settling_95);
        assert!(
            late.abs() <= part * duration * 1000.0 && late.abs() * 1000.0 <= f64::from(record.settling_95)
        );
        assert!(record.travel.abs_diff(100_000).min(record.travel.abs_diff(-100_000)) <= 3);
    }
}

#[track_caller]
/// Constant acceleration, speed 1, constant deceleration. Unit: s
fn check_trapezoid(start: f64, cruise: f64, stop: f64) {
    let readings = followed(start + cruise + stop, |t| {
        let (cruised, stopped) = ((t - start).clamp(0.0, cruise), (t - start - cruise).max(0.0));
        t.min(start).powi(2) / (2.0 * start) + cruised + stopped - stopped.powi(2) / (2.0 * stop)
    });
    check_end(&readings, start + cruise + stop, 0.02);
}

#[test]
fn planned_moves_end_where_they_were_planned_to() {
    for jerk in [None, Some(20_000.0), Some(200_000.0), Some(2_000_000.0)] {
        let profile = Profile::new(50.0, 500.0, 8000.0, jerk).unwrap();
        check_end(&followed(profile.duration(), |t| profile.position(t)), profile.duration(), 0.01);
    }
    check_trapezoid(0.05, 0.05, 0.1);
    check_trapezoid(0.1, 0.0, 0.05);
    check_trapezoid(0.1, 0.1, 0.02);
}

/// Out and back without a rest has no travel to scale by, and is no settling of the move before.
#[test]
fn what_cannot_be_inferred_is_untrusted() {
    let feedback = |number: u32| match number % 2000 {
        moving @ 1000..1800 => {
            (20_000.0 * (f64::from(moving - 1000) * std::f64::consts::PI / 800.0).sin().powi(2)) as i32
        }
        _ => 1250,
    };
    let readings = (0..20_000).map(|number| Reading {
        tick: number * PERIOD,
        command: 0,
        feedback: feedback(number).max(1250),
    });
    let (records, unfound) =
        inferred(Parameters { window: 40, synchronous: true, ..Parameters::at(1_000_000) }, readings);
    assert_eq!((records.len(), unfound), (9, 9));
    assert!(records.iter().all(|record| record.outcome == Outcome::Untrusted), "{records:?}");
}

#[test]
fn creep_and_pushes_are_no_moves() {
    let feedback = |number: u32| match number % 2000 {
        _ if number < 2000 => 0,
        pushed @ 0..50 => pushed as i32,
        _ => (number / 1000) as i32,
    };
    let readings =
        (0..40_000).map(|number| Reading { tick: number * PERIOD, command: 0, feedback: feedback(number) });
    let (records, unfound) =
        inferred(Parameters { window: 40, synchronous: true, ..Parameters::at(1_000_000) }, readings);
    assert_eq!((records.len(), unfound), (0, 0));
}

#[test]
fn a_gap_empties_the_line_and_is_reported() {
    let limits = Limits { still: 10, rest: 80, period: PERIOD };
    let mut infer = Inference::<SAMPLES>::default();
    let delayed = |infer: &mut Inference<SAMPLES>, from: u32| -> Vec<(u32, bool)> {
        let steps = (from..from + 2000).filter_map(|number| infer.step(&limits, number * PERIOD, 5));
        steps.map(|delayed| (delayed.reading.tick / PERIOD, delayed.gap)).collect()
    };
    let before = delayed(&mut infer, 0);
    assert_eq!((before.len(), before[0]), (2000 - SAMPLES + 1, (0, false)));
    infer.gap();
    let after = delayed(&mut infer, 3000);
    assert_eq!((after.len(), after[0], after[1]), (2000 - SAMPLES + 1, (3000, true), (3001, false)));
}
