//! In: a number and a settling time. Out: an invented move and its samples; the one that all tests of the library share.

use stillpoint_core::wire::record::Move;
use stillpoint_core::{CurvePoint, Outcome, Parameters, Reasons, Record, Settings, Speed};

use super::axis_context::AxisContext;
use super::clock::Clock;
use super::move_report::MoveReport;

/// Window of every invented move. Unit: mm
pub(crate) const WINDOW: f64 = 0.01;

/// The axis of every invented move: 1000 counts per mm, ticks of 1 µs.
pub(crate) fn axis() -> AxisContext {
    let settings = Settings::new(Parameters { window: 10, ..Parameters::at(1_000_000) }).unwrap();
    AxisContext {
        file: "tray.csv".to_owned(),
        name: "tray shuttle".to_owned(),
        unit: "mm".to_owned(),
        window: WINDOW,
        counts_per_unit: 1000.0,
        clock: Clock::new(settings.ticks_per_second, 0.0),
        settings,
    }
}

/// A record with plausible numbers; without a settling time it is unsettled. Unit: s
pub(crate) fn record(number: u32, settling_s: Option<f64>) -> Record {
    let start = 900_000 * u64::from(number);
    let settling = settling_s.map(|seconds| (seconds * 1e6).round() as u32);
    let is_settled = settling.is_some();
    Record {
        number,
        start,
        command_end: start + 150_000,
        travel: 60_000,
        outcome: if is_settled { Outcome::Settled } else { Outcome::Unsettled },
        reasons: if is_settled { Reasons::NONE } else { Reasons::OUTSIDE },
        settling,
        settling_u: 210,
        settling_95: 400,
        first_entry: settling.map(|ticks| ticks / 5),
        confirmation: settling.map(|ticks| ticks + 10_000),
        stabilization: settling.map(|ticks| ticks / 5 * 4),
        window_entries: 7,
        overshoot: 412,
        peak_following_error: 12_500,
        error_at_command_end: 500,
        rest_error: is_settled.then_some(-102),
        rest_noise_rms: is_settled.then_some(220),
        peak_speed: Speed { distance: 780, time: 1000 },
        // The rest of it as in an empty frame: a number added to the record needs no value here.
        ..Record::from(&Move::default())
    }
}

/// The report of that record, with the fields filled that tests need.
pub(crate) fn report(number: u32, settling_s: Option<f64>) -> MoveReport {
    let record = record(number, settling_s);
    let point = |(window, settling)| CurvePoint { window, settling };
    let half = record.settling.map(|ticks| ticks / 2);
    let curve = [(100, half), (10, record.settling), (5, None)].map(point);
    MoveReport {
        ringing_hz: Some(60.1),
        ringing_u_hz: Some(0.2),
        damping_ratio: Some(0.08),
        signature: Some("ringing".to_owned()),
        ..MoveReport::new(&axis(), &record, curve)
    }
}

/// Shape of the error after command end: time from command end (s) to error (mm).
pub(crate) type Shape = fn(f64) -> f64;

/// A 60 Hz oscillation with 8 % damping, 0.5 mm at command end.
pub(crate) fn ringing(t: f64) -> f64 {
    let omega = std::f64::consts::TAU * 60.0;
    0.5 * (-0.08 * omega * t).exp() * (omega * t).cos()
}

/// A monotone decay with a time constant of 25 ms, 0.3 mm at command end.
pub(crate) fn lag(t: f64) -> f64 {
    0.3 * (-t / 0.025).exp()
}

/// Stick-slip hunting that never stays inside.
pub(crate) fn hunting(t: f64) -> f64 {
    lag(t) + 0.016 * (std::f64::consts::TAU * 4.0 * t).sin()
}

/// Samples every 0.5 ms: 150 ms of motion with a following error, then `rest_s` of `shape`.
pub(crate) fn points(shape: Shape, rest_s: f64, seed: u32) -> Vec<(f64, f64)> {
    let mut state = seed.wrapping_mul(2_654_435_761) | 1;
    let mut noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (f64::from(state >> 16) / 65_536.0 - 0.5) * 0.003
    };
    let count = (rest_s * 2000.0) as i32;
    (-300..count)
        .map(|i| {
            let t = f64::from(i) * 0.0005;
            let moving = (std::f64::consts::PI * (t + 0.15) / 0.15).sin().max(0.0);
            let error = if t < 0.0 { shape(0.0) + 12.0 * moving } else { shape(t) };
            // One count is one micrometre.
            (t, ((error + noise()) * 1000.0).round() / 1000.0)
        })
        .collect()
}

/// A move whose numbers are measured on `points`, simply: last sample outside, no interpolation.
pub(crate) fn measured(number: u32, points: &[(f64, f64)]) -> MoveReport {
    let settling = |window: f64| {
        let outside = points.iter().rposition(|(t, error)| *t >= 0.0 && error.abs() > window);
        outside.map_or(Some(0.0), |at| points.get(at + 20).map(|_| points[at + 1].0.max(0.0)))
    };
    let windows = (0..48).map(|i| 2.0 * 2f64.powf(-f64::from(i) / 4.0));
    MoveReport {
        first_entry_s: points.iter().find(|(t, e)| *t >= 0.0 && e.abs() <= WINDOW).map(|point| point.0),
        settling_curve: windows.map(|window| (window, settling(window))).collect(),
        ..report(number, settling(WINDOW))
    }
}
