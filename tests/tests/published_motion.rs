//! In: published tables of moves and following errors. Out: whether the rehearsal's profile agrees.

use stillpoint::source::rehearsal::profile::Profile;
use stillpoint_tests::published::rows;

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    let allowed = relative * expected.abs().max(1e-6);
    assert!((got - expected).abs() <= allowed, "{what}: {got}, published {expected}");
}

#[test]
fn moves_have_the_published_times_and_peaks() {
    for row in rows("published/06_motion_profiles.csv") {
        let [distance, v_max, a_max] = ["D_mm", "vmax", "amax"].map(|column| row.number(column));
        let j_max = (!row.text("jmax").is_empty()).then(|| row.number("jmax"));
        let profile = Profile::new(distance, v_max, a_max, j_max).unwrap();
        let segments = profile.segments();
        let jerk_time = if row.text("T_jerk").is_empty() { 0.0 } else { row.number("T_jerk") };
        for (name, got, expected) in [
            ("duration", profile.duration(), row.number("T_total_s")),
            ("acceleration time", segments.acceleration_time, row.number("T_acc")),
            ("cruise time", segments.cruise_time, row.number("T_cruise")),
            ("jerk time", segments.jerk_time, jerk_time),
            ("peak speed", segments.peak_speed, row.number("v_peak")),
            ("peak acceleration", segments.peak_acceleration, row.number("a_peak")),
        ] {
            close(got, expected, 1e-12, &format!("{name} of {distance} mm"));
        }
        close(distance_by_simpson(&profile), distance, 1e-9, &format!("integral of {distance} mm"));
        println!("checked: {distance} mm, {}", row.text("class"));
    }
}

/// Integral of the speed, exact: Simpson's rule has no error on the parabolas between the edges.
fn distance_by_simpson(profile: &Profile) -> f64 {
    let s = profile.segments();
    let hold = s.acceleration_time - 2.0 * s.jerk_time;
    let lengths = [s.jerk_time, hold, s.jerk_time, s.cruise_time, s.jerk_time, hold, s.jerk_time];
    let (mut start, mut distance) = (0.0, 0.0);
    for length in lengths {
        let speed = |part: f64| profile.velocity(start + part * length);
        distance += length / 6.0 * (speed(0.0) + 4.0 * speed(0.5) + speed(1.0));
        start += length;
    }
    distance
}

type Matrix<const N: usize> = [[f64; N]; N];

fn product<const N: usize>(a: &Matrix<N>, b: &Matrix<N>) -> Matrix<N> {
    std::array::from_fn(|row| std::array::from_fn(|column| (0..N).map(|k| a[row][k] * b[k][column]).sum()))
}

/// Matrix exponential of `a × t` by its series, on a part small enough to converge, then squared back.
fn exponential<const N: usize>(a: &Matrix<N>, t: f64) -> Matrix<N> {
    let size = a.iter().flatten().fold(0.0_f64, |size, &x| size.max(x.abs())) * t;
    let halvings = (size * 8.0).max(1.0).log2().ceil() as i32;
    let part = a.map(|row| row.map(|x| x * t / 2_f64.powi(halvings)));
    let identity: Matrix<N> = std::array::from_fn(|row| std::array::from_fn(|c| f64::from(row == c)));
    let (mut sum, mut term) = (identity, identity);
    for power in 1..20 {
        term = product(&term, &part).map(|row| row.map(|x| x / f64::from(power)));
        for (row, added) in sum.iter_mut().flatten().zip(term.iter().flatten()) {
            *row += added;
        }
    }
    (0..halvings).fold(sum, |power, _| product(&power, &power))
}

fn after<const N: usize>(a: &Matrix<N>, t: f64, state: [f64; N]) -> [f64; N] {
    exponential(a, t).map(|row| row.iter().zip(state).map(|(x, y)| x * y).sum())
}

/// Follows a long trapezoid; state: error and its change, then speed and acceleration of the command.
/// Returns the following error at the end of the cruise and at the command end.
fn follow(plant: &Matrix<4>, v_max: f64, a_max: f64, rise: f64) -> [f64; 2] {
    let profile = Profile::new(v_max * (v_max / a_max + 60.0 * rise), v_max, a_max, None).unwrap();
    let segments = profile.segments();
    let mut state = [0.0; 4];
    let mut errors = [0.0; 3];
    let lengths = [segments.acceleration_time, segments.cruise_time, segments.acceleration_time];
    let mut t = 0.0;
    for (index, length) in lengths.into_iter().enumerate() {
        state[3] = profile.acceleration(t + 0.5 * length);
        state = after(plant, length, state);
        t += length;
        errors[index] = state[0];
        close(v_max + state[2], v_max + profile.velocity(t), 1e-9, "speed of the command");
    }
    [errors[1], errors[2]]
}

#[test]
fn lags_follow_as_published() {
    for row in rows("published/02_following_error_closed_form.csv") {
        let (speed, cruise_error) = (row.number("V"), row.number("fe_at_constant_velocity"));
        if row.text("zeta").is_empty() {
            let (tau, acceleration) = (row.number("tau_or_wn"), row.number("a"));
            let end_error = row.number("fe_at_command_end_after_linear_decel");
            let decay = acceleration * tau * tau * (1.0 - (-speed / acceleration / tau).exp());
            close(speed * tau, cruise_error, 1e-12, "closed form, cruise");
            close(decay, end_error, 1e-12, "closed form, command end");
            // e' = v − e/τ; the second state is unused.
            let plant = [[-1.0 / tau, 0.0, 1.0, 0.0], [0.0; 4], [0.0, 0.0, 0.0, 1.0], [0.0; 4]];
            let [cruise, end] = follow(&plant, speed, acceleration, tau);
            close(cruise, cruise_error, 1e-9, "simulated, cruise");
            close(end, end_error, 1e-9, "simulated, command end");
        } else {
            let (omega, zeta) = (row.number("tau_or_wn"), row.number("zeta"));
            close(2.0 * zeta * speed / omega, cruise_error, 1e-12, "closed form, cruise");
            // e'' = a + 2ζω·x' − ω²·e with x' = v − e'; the states are e and e'.
            let damping = 2.0 * zeta * omega;
            let plant = [
                [0.0, 1.0, 0.0, 0.0],
                [-omega * omega, -damping, damping, 1.0],
                [0.0, 0.0, 0.0, 1.0],
                [0.0; 4],
            ];
            let [cruise, _] = follow(&plant, speed, 10.0 * speed, 1.0 / (zeta * omega));
            close(cruise, cruise_error, 1e-9, "simulated, cruise");
        }
        println!("checked: {}, {speed} mm/s", row.text("model"));
    }
}

#[test]
fn tails_reach_the_window_when_published() {
    for row in rows("published/02_first_order_tail.csv") {
        let [tau, start, window, settling] =
            ["tau_s", "E0", "W", "t_settle_s"].map(|column| row.number(column));
        close(tau * (start / window).ln(), settling, 1e-12, "closed form");
        let [error] = after(&[[-1.0 / tau]], settling, [start]);
        close(error, window, 1e-12, "simulated");
        println!("checked: tau {tau} s from {start} to {window}");
    }
}
