//! In: published tables of moves and following errors. Out: whether the rehearsal's profile agrees.
//!
//! The tables lie beside the workspace and are not shipped with it; without them a test says so
//! and checks nothing.

use std::io::Write;
use std::path::Path;

use stillpoint::source::rehearsal::profile::Profile;

const TABLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared/published");

/// Says something even when the test passes: the print macros would be captured.
fn say(line: &str) {
    let _ = writeln!(std::io::stderr(), "{line}");
}

/// The rows of a published table, or `None`, said aloud, if it isn't there.
fn rows(name: &str) -> Option<Vec<csv::StringRecord>> {
    let path = Path::new(TABLES).join(name);
    if !path.exists() {
        say(&format!("SKIPPED: {name} isn't beside this workspace; nothing was compared with it"));
        return None;
    }
    let mut reader = csv::Reader::from_path(path).unwrap();
    let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
    assert!(!rows.is_empty(), "{name} has no rows");
    say(&format!("{name}: comparing {} rows", rows.len()));
    Some(rows)
}

fn number(row: &csv::StringRecord, column: usize) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("column {column} of {row:?} is no number"))
}

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    let allowed = relative * expected.abs().max(1e-6);
    assert!((got - expected).abs() <= allowed, "{what}: {got}, published {expected}");
}

#[test]
fn moves_have_the_published_times_and_peaks() {
    for row in rows("06_motion_profiles.csv").unwrap_or_default() {
        let [distance, v_max, a_max] = [0, 1, 2].map(|column| number(&row, column));
        let j_max = (!row[3].is_empty()).then(|| number(&row, 3));
        let profile = Profile::new(distance, v_max, a_max, j_max).unwrap();
        let segments = profile.segments();
        let jerk_time = if row[7].is_empty() { 0.0 } else { number(&row, 7) };
        for (name, got, expected) in [
            ("duration", profile.duration(), number(&row, 4)),
            ("acceleration time", segments.acceleration_time, number(&row, 5)),
            ("cruise time", segments.cruise_time, number(&row, 6)),
            ("jerk time", segments.jerk_time, jerk_time),
            ("peak speed", segments.peak_speed, number(&row, 8)),
            ("peak acceleration", segments.peak_acceleration, number(&row, 9)),
        ] {
            close(got, expected, 1e-12, &format!("{name} of {row:?}"));
        }
        close(way_by_simpson(&profile), distance, 1e-9, &format!("way of {row:?}"));
        println!("checked: {distance} mm, {}", &row[10]);
    }
}

/// The speed added up again, exactly: Simpson's rule has no error on the parabolas between the edges.
fn way_by_simpson(profile: &Profile) -> f64 {
    let s = profile.segments();
    let hold = s.acceleration_time - 2.0 * s.jerk_time;
    let lengths = [s.jerk_time, hold, s.jerk_time, s.cruise_time, s.jerk_time, hold, s.jerk_time];
    let (mut start, mut way) = (0.0, 0.0);
    for length in lengths {
        let speed = |part: f64| profile.velocity(start + part * length);
        way += length / 6.0 * (speed(0.0) + 4.0 * speed(0.5) + speed(1.0));
        start += length;
    }
    way
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
    for row in rows("02_following_error_closed_form.csv").unwrap_or_default() {
        let (speed, cruise_error) = (number(&row, 3), number(&row, 5));
        if row[2].is_empty() {
            let (tau, acceleration) = (number(&row, 1), number(&row, 4));
            let decay = acceleration * tau * tau * (1.0 - (-speed / acceleration / tau).exp());
            close(speed * tau, cruise_error, 1e-12, "closed form, cruise");
            close(decay, number(&row, 6), 1e-12, "closed form, command end");
            // e' = v − e/τ; the second state is unused.
            let plant = [[-1.0 / tau, 0.0, 1.0, 0.0], [0.0; 4], [0.0, 0.0, 0.0, 1.0], [0.0; 4]];
            let [cruise, end] = follow(&plant, speed, acceleration, tau);
            close(cruise, cruise_error, 1e-9, "simulated, cruise");
            close(end, number(&row, 6), 1e-9, "simulated, command end");
        } else {
            let (omega, zeta) = (number(&row, 1), number(&row, 2));
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
        println!("checked: {}, {speed} mm/s", &row[0]);
    }
}

#[test]
fn tails_reach_the_window_when_published() {
    for row in rows("02_first_order_tail.csv").unwrap_or_default() {
        let [tau, start, window, settling] = [0, 1, 2, 3].map(|column| number(&row, column));
        close(tau * (start / window).ln(), settling, 1e-12, "closed form");
        let [left] = after(&[[-1.0 / tau]], settling, [start]);
        close(left, window, 1e-12, "simulated");
        println!("checked: tau {tau} s from {start} to {window}");
    }
}
