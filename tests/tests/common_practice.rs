//! What every commissioning engineer knows. Source: common practice, no source.

use stillpoint_core::{Fraction, Outcome, Parameters, PositionFactor, Reasons};
use stillpoint_tests::run::{MeasuredMove, run, steady};

/// 24 bits, 60 mm per revolution.
const COUNTS: f64 = 16_777_216.0 / 60.0;

fn window() -> u32 {
    let factor =
        PositionFactor { encoder_resolution: (1 << 24, 1), gear_ratio: (1, 1), feed_constant: (60, 1) };
    let hundredth = Fraction::new(1, 100).unwrap();
    factor.counts_per_unit().unwrap().times(hundredth).unwrap().floor()
}

/// A 60 mm move of 500 ms, sampled at 1 kHz; its error then falls to 0.01 mm after `settle_ms`.
fn stop(settle_ms: f64, period_ms: f64) -> MeasuredMove {
    let travel = 60.0;
    let signals = (0..(1500.0 / period_ms) as i32).map(|k| {
        let instant = f64::from(k) * period_ms - 100.0;
        let part = (instant / 500.0).clamp(0.0, 1.0);
        let command = travel * part * part * (3.0 - 2.0 * part);
        let since = (instant - 500.0).max(0.0);
        // Half the travelled speed lags behind; the tail then falls from 1 mm to 0.01 mm in time.
        let error = part.sqrt() * 100_f64.powf(-since / settle_ms);
        ((command * COUNTS).round() as i32, ((command - error) * COUNTS).round() as i32)
    });
    let period = (period_ms * 1000.0) as u32;
    let parameters =
        Parameters { window: window(), window_time: 10_000, synchronous: true, ..Parameters::at(1_000_000) };
    let mut moves = run(parameters, steady(period, signals)).moves;
    assert_eq!(moves.len(), 1);
    moves.remove(0)
}

#[test]
fn a_hundredth_of_a_millimetre_is_2796_counts() {
    assert_eq!(window(), 2796);
}

#[test]
fn a_500_ms_move_that_needs_200_ms_more_costs_40_percent_on_top() {
    let record = stop(200.0, 1.0).record;
    let motion = (record.command_end - record.start) as f64;
    let settling = f64::from(record.settling.unwrap());
    assert!((motion - 500_000.0).abs() <= 1000.0, "the command moves for {motion} µs");
    assert!((settling / motion - 0.40).abs() < 0.005, "{settling} of {motion}");
}

#[test]
fn stops_of_200_and_70_and_3_ms_are_measured() {
    for expected in [200.0, 70.0, 3.0] {
        let record = stop(expected, 1.0).record;
        assert_eq!(record.outcome, Outcome::Settled);
        let found = f64::from(record.settling.unwrap()) / 1000.0;
        let spread = f64::from(record.settling_95) / 1000.0;
        assert!((found - expected).abs() < 1.0, "{expected} ms was measured as {found} ± {spread} ms");
        assert!(spread < 1.0, "{expected} ms is known to {spread} ms");
    }
}

/// With a scan of a few milliseconds, a stop of a few milliseconds can't be measured better; the record says so.
#[test]
fn a_few_milliseconds_are_as_good_as_the_scan() {
    let fine = stop(3.0, 0.25).record;
    assert!(!fine.reasons.has(Reasons::COARSE), "{}", fine.reasons);
    let coarse = stop(3.0, 2.0).record;
    assert_eq!(coarse.outcome, Outcome::Settled);
    assert!(coarse.reasons.has(Reasons::COARSE), "{}", coarse.reasons);
    assert!(coarse.settling.unwrap() <= 2 * 2000, "within two scans");
}

/// A triangular profile of speed, 100,000 counts in 200 ms: its peak is 1000 counts/ms. Eight samples at 100 Hz gave half.
#[test]
fn the_peak_speed_is_that_of_two_milliseconds_or_one_sample() {
    for (period, least) in [(250_u32, 985.0), (1000, 985.0), (2500, 980.0), (10_000, 940.0), (20_000, 890.0)]
    {
        let position = |k: i32| {
            let part = (f64::from(k) * f64::from(period) / 200_000.0 - 1.0).clamp(0.0, 1.0);
            let risen = if part < 0.5 { 2.0 * part * part } else { 1.0 - 2.0 * (1.0 - part).powi(2) };
            (risen * 100_000.0) as i32
        };
        // Feedback lags by more than the window until the end.
        let signals = (0..(600_000 / period) as i32)
            .map(|k| (position(k), position(k) - (position(k) - position(k - 1))));
        let parameters =
            Parameters { window: 5, window_time: 10_000, synchronous: true, ..Parameters::at(1_000_000) };
        let speed = run(parameters, steady(period, signals)).moves[0].record.peak_speed;
        let found = 1000.0 * f64::from(speed.distance) / f64::from(speed.time);
        assert!((least..=1001.0).contains(&found), "{found} counts/ms with a sample each {period} µs");
    }
}

/// A move that is over within one sample has no speed that was seen.
#[test]
fn a_move_within_one_sample_has_no_peak_speed() {
    let signals = (0..100).map(|k| if k < 50 { (0, 0) } else { (1000, 1000) });
    let parameters =
        Parameters { window: 5, window_time: 10_000, synchronous: true, ..Parameters::at(1_000_000) };
    let speed = run(parameters, steady(1000, signals)).moves[0].record.peak_speed;
    assert_eq!((speed.distance, speed.time), (0, 0));
}
