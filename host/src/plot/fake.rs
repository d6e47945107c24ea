//! In: a number and a settling time. Out: an invented move and its samples, for tests.

use crate::report::line::MoveLine;

/// Window of every invented move. Unit: mm
pub(crate) const WINDOW: f64 = 0.01;

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
pub(crate) fn measured(number: u32, points: &[(f64, f64)]) -> MoveLine {
    let settling = |window: f64| {
        let outside = points.iter().rposition(|(t, error)| *t >= 0.0 && error.abs() > window);
        outside.map_or(Some(0.0), |at| points.get(at + 20).map(|_| points[at + 1].0.max(0.0)))
    };
    let mut line = line(number, settling(WINDOW));
    line.first_entry_s = points.iter().find(|(t, e)| *t >= 0.0 && e.abs() <= WINDOW).map(|point| point.0);
    line.settling_curve = (0..48)
        .map(|i| 2.0 * 2f64.powf(-f64::from(i) / 4.0))
        .map(|window| (window, settling(window)))
        .collect();
    line
}

/// A move with plausible numbers; without a settling time it is unsettled.
pub(crate) fn line(number: u32, settling_s: Option<f64>) -> MoveLine {
    let start_s = 0.9 * f64::from(number);
    let settled = settling_s.is_some();
    MoveLine {
        file: "tray.csv".to_owned(),
        axis: "tray shuttle".to_owned(),
        number,
        start_s,
        command_end_s: start_s + 0.15,
        travel: 60.0,
        peak_speed: 780.0,
        unit: "mm".to_owned(),
        window: WINDOW,
        window_time_s: 0.01,
        definition: "last-entry".to_owned(),
        outcome: if settled { "settled" } else { "unsettled" }.to_owned(),
        reason: if settled { "" } else { "outside the window at the end of the rest" }.to_owned(),
        settling_s,
        settling_u_s: settling_s.map(|_| 0.000_21),
        first_entry_s: settling_s.map(|s| s * 0.2),
        confirmation_s: settling_s.map(|s| s + 0.01),
        stabilization_s: settling_s.map(|s| s * 0.8),
        window_entries: 7,
        overshoot: 0.412,
        peak_following_error: 12.5,
        error_at_command_end: 0.5,
        rest_error: settled.then_some(-0.000_4),
        rest_noise_rms: settled.then_some(0.000_86),
        counts_per_unit: 1000.0,
        ringing_hz: Some(60.1),
        ringing_u_hz: Some(0.2),
        damping_ratio: Some(0.08),
        tail_s: None,
        signature: Some("ringing".to_owned()),
        settling_curve: vec![(0.1, settling_s.map(|s| s * 0.5)), (0.01, settling_s), (0.005, None)],
        settling_95_s: settling_s.map(|_| 0.000_4),
        kind: None,
    }
}
