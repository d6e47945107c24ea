//! Settling of textbook systems: published group 02, each row through the core.
//!
//! Sources: closed forms with mpmath (`02_second_order_exact`, `02_first_order_tail`,
//! `02_zeta_from_overshoot`, `02_following_error_closed_form`), python-control 0.10.2
//! (`02_step_info`, `02_control_published`), Ogata Example 5-1 and Nise Example 4.5 (`02_textbook`).
//! Responses are integrated here and sampled, so a settling time may differ from the exact one by
//! the stated tolerance for sampled records: one sample. Most agree far better.

use stillpoint_core::Parameters;
use stillpoint_tests::published::{json, rows};
use stillpoint_tests::response::System;
use stillpoint_tests::run::{MeasuredMove, run, steady};

/// Counts per unit of the final value.
const UNIT: f64 = (1 << 29) as f64;
const LEAD: usize = 100;
/// Unit: ticks per sample
const PERIOD: u32 = 1000;

/// Figures of the core for a unit step. Unit of times: s
struct Step {
    measured: MeasuredMove,
    dt: f64,
}

impl Step {
    /// `window` is a fraction of the final value.
    fn new(mut system: System, last: f64, window: f64, seconds: f64, dt: f64) -> Step {
        let mut signals = vec![(0, 0); LEAD];
        for k in 0..(seconds / dt) as usize {
            let feedback = if k == 0 { 0.0 } else { system.output(1.0) / last };
            signals.push(((UNIT) as i32, (feedback * UNIT).round() as i32));
            system.advance(1.0, dt);
        }
        let parameters = Parameters {
            window: (window * UNIT) as u32,
            window_time: 0,
            rest_time: 20 * PERIOD,
            jump: u32::MAX,
            synchronous: true,
            ..Parameters::at(1_000_000)
        };
        let moves = run(parameters, steady(PERIOD, signals)).moves;
        assert_eq!(moves.len(), 1);
        Step { measured: moves[0].clone(), dt }
    }

    fn seconds(&self, ticks: Option<u32>) -> f64 {
        f64::from(ticks.expect("a time")) / f64::from(PERIOD) * self.dt
    }

    #[track_caller]
    fn settles(&self, expected: f64, what: &str) {
        let found = self.seconds(self.measured.record.settling);
        assert!((found - expected).abs() <= self.dt, "{what}: settles {found}, published {expected}");
    }

    #[track_caller]
    fn enters(&self, expected: f64, what: &str) {
        let found = self.seconds(self.measured.record.first_entry);
        assert!((found - expected).abs() <= self.dt, "{what}: enters {found}, published {expected}");
    }

    /// The peak lies between samples, so the tolerance is the curvature over half a sample.
    #[track_caller]
    fn overshoots(&self, percent: f64, what: &str) {
        let found = f64::from(self.measured.record.overshoot) / UNIT * 100.0;
        assert!((found - percent).abs() <= 1e-3, "{what}: overshoots {found} %, published {percent} %");
    }

    /// The settling curve brackets the exact time at every published window.
    #[track_caller]
    fn curve_brackets(&self, window: f64, expected: f64, what: &str) {
        let counts = window * UNIT;
        let at = |settling: Option<u32>| settling.map_or(f64::INFINITY, |ticks| self.seconds(Some(ticks)));
        let wider = self.measured.curve.iter().rev().find(|point| f64::from(point.window) >= counts);
        let narrower = self.measured.curve.iter().find(|point| f64::from(point.window) <= counts);
        let (low, high) = (
            wider.map_or(0.0, |point| at(point.settling)),
            narrower.map_or(f64::INFINITY, |point| at(point.settling)),
        );
        let fits = low - self.dt <= expected && expected <= high + self.dt;
        assert!(fits, "{what}: curve says {low} to {high}, published {expected}");
    }
}

#[test]
fn second_order_systems_settle_at_the_exact_times() {
    let table = rows("published/02_second_order_exact.csv");
    for row in &table {
        let zeta = row.number("zeta");
        let step = |window| Step::new(System::second_order(1.0, zeta), 1.0, window, 90.0, 1e-3);
        for (percent, name) in [(5.0, "5"), (2.0, "2"), (1.0, "1"), (0.5, "0.5"), (0.1, "0.1")] {
            let found = step(percent / 100.0);
            let what = format!("zeta {zeta}, {name} %");
            let exact = row.number(&format!("wn_ts_{name}pct_exact"));
            found.settles(exact, &what);
            found.curve_brackets(percent / 100.0, exact, &what);
            found.overshoots(row.number("overshoot_pct"), &what);
            if name == "5" || name == "2" {
                found.enters(row.number(&format!("wn_t_first_entry_{name}pct")), &what);
            }
        }
        println!("ran 02 second order, zeta {zeta}");
    }
}

#[test]
fn first_order_tails_settle_after_tau_times_the_logarithm() {
    let table = rows("published/02_first_order_tail.csv");
    for row in &table {
        let (tau, start, window) = (row.number("tau_s"), row.number("E0"), row.number("W"));
        let step = Step::new(System::new(&[1.0], &[tau, 1.0]), 1.0, window / start, tau * 12.0, tau * 1e-4);
        step.settles(row.number("t_settle_s"), &format!("tau {tau}"));
        println!("ran 02 first order, tau {tau}, {start} to {window}");
    }
}

#[test]
fn overshoot_gives_the_damping() {
    let table = rows("published/02_zeta_from_overshoot.csv");
    for row in &table {
        let (percent, zeta) = (row.number("overshoot_pct"), row.number("zeta"));
        let step = Step::new(System::second_order(1.0, zeta), 1.0, 0.02, 40.0, 1e-3);
        step.overshoots(percent, &format!("zeta {zeta}"));
        println!("ran 02 overshoot {percent} %");
    }
}

#[test]
fn the_systems_of_step_info_settle_at_the_exact_times() {
    let file = json("published/02_step_info.json");
    for system in file["systems"].as_array().unwrap() {
        let name = system["name"].as_str().unwrap();
        let part = |name: &str| -> Vec<f64> {
            system[name].as_array().unwrap().iter().map(|part| part.as_f64().unwrap()).collect()
        };
        let dense = &system["step_info_dense_grid_200001"];
        let exact = &system["exact"];
        let seconds = system["T_dense"].as_f64().unwrap();
        let dt = seconds / 100_000.0;
        for (window, key) in [(0.02, "settling_2pct"), (0.05, "settling_5pct")] {
            let last = exact["final"].as_f64().unwrap();
            let found = Step::new(System::new(&part("num"), &part("den")), last, window, seconds, dt);
            found.settles(exact[key].as_f64().unwrap(), name);
            found.overshoots(exact["overshoot_pct"].as_f64().unwrap(), name);
            if key == "settling_2pct" {
                // The library reports the next point of its own grid.
                let library = dense["SettlingTime"].as_f64().unwrap();
                let ours = found.seconds(found.measured.record.settling);
                assert!((ours - library).abs() <= 2.0 * dt, "{name}: {ours}, step_info {library}");
            }
        }
        println!("ran 02 step_info {name}");
    }
}

#[test]
fn published_examples_agree_to_their_printed_digits() {
    let file = json("published/02_textbook.json");
    for case in file["cases"].as_array().unwrap() {
        let (what, computed) = (case["desc"].as_str().unwrap(), &case["computed"]);
        let (frequency, zeta) = (case["wn"].as_f64().unwrap(), case["zeta"].as_f64().unwrap());
        for (window, key) in [(0.02, "ts2_exact"), (0.05, "ts5_exact")] {
            let dt = 1e-3 / frequency;
            let step = Step::new(System::second_order(frequency, zeta), 1.0, window, 30.0 / frequency, dt);
            step.settles(computed[key].as_f64().unwrap(), what);
            step.overshoots(computed["overshoot_pct"].as_f64().unwrap(), what);
        }
        println!("ran 02 textbook: {what}");
    }
    let jump = &file["critical"]["jump_2pct"];
    for side in ["below", "above"] {
        let zeta = jump[format!("zeta_{side}")].as_f64().unwrap();
        let step = Step::new(System::second_order(1.0, zeta), 1.0, 0.02, 20.0, 1e-3);
        step.settles(jump[format!("ts_{side}")].as_f64().unwrap(), "jump of the 2 % time");
        println!("ran 02 jump of the 2 % time, zeta {zeta}");
    }
}

/// Values documented elsewhere, as python-control's own tests print them, to the stated 1e-2.
///
/// One of them, 9.11 s for (1-s)/(s^2+s+1), is a grid point 1.3 % above the exact 8.99301 s
/// (`02_step_info`); there the exact time is what has to be met, and the other is shown to be off.
#[test]
fn documented_step_responses_agree() {
    let file = json("published/02_control_published.json");
    let systems: [(&[f64], &[f64]); 3] = [
        (&[1.0, 5.0, 5.0], &[1.0, 1.65, 5.0, 6.5, 2.0]),
        (&[-1.0, 1.0], &[1.0, 1.0, 1.0]),
        (&[-1.0, 1.0], &[1.0, 1.0]),
    ];
    for (case, (numerator, denominator)) in file["cases"].as_array().unwrap().iter().zip(systems) {
        let value = |name: &str| case[name].as_f64().unwrap();
        let what = case["sys"].as_str().unwrap();
        let last = value("SteadyStateValue");
        let step = Step::new(System::new(numerator, denominator), last, 0.02, 40.0, 1e-3);
        let settling = step.seconds(step.measured.record.settling);
        if value("SettlingTime") == 9.11 {
            step.settles(8.993009675379517, what);
            println!("02 documented: {what} says 9.11 s where 8.99301 s is exact");
        } else {
            assert!((settling / value("SettlingTime") - 1.0).abs() < 1e-2, "{what}: settling {settling}");
        }
        let overshoot = f64::from(step.measured.record.overshoot) / UNIT * 100.0;
        assert!((overshoot - value("Overshoot")).abs() <= 1e-2 * overshoot, "{what}: overshoot {overshoot}");
        println!("ran 02 documented: {what}");
    }
}

/// Lag at constant velocity and at the command end, through the core's following error.
#[test]
fn following_errors_agree_with_the_closed_form() {
    let table = rows("published/02_following_error_closed_form.csv");
    for row in &table {
        let (speed, lag) = (row.number("V"), row.number("fe_at_constant_velocity"));
        let first_order = row.text("model").starts_with("first-order");
        let constant = row.number("tau_or_wn");
        let mut system = if first_order {
            System::new(&[1.0], &[constant, 1.0])
        } else {
            System::second_order(constant, row.number("zeta"))
        };
        let decelerating = row.text("a").parse::<f64>().map_or(0.0, |a| speed / a);
        let (cruise, dt) = (0.6, 2e-5);
        let total = cruise + decelerating;
        let position = |instant: f64| {
            let slowing = (instant - cruise).clamp(0.0, decelerating);
            let share = if decelerating > 0.0 { slowing / decelerating / 2.0 } else { 0.0 };
            speed * (instant.min(cruise) + slowing * (1.0 - share))
        };
        let counts = 1e6;
        let mut signals = vec![(0, 0); LEAD];
        for k in 0..((total + 0.5) / dt) as usize {
            let command = position((k as f64 + 1.0) * dt);
            // The mean of both ends of the sample integrates a ramp exactly.
            system.advance((position(k as f64 * dt) + command) / 2.0, dt);
            signals.push(((command * counts) as i32, (system.output(command) * counts) as i32));
        }
        let parameters = Parameters {
            window: 1000,
            window_time: 0,
            rest_time: 20_000,
            synchronous: true,
            ..Parameters::at(1_000_000)
        };
        let record = run(parameters, steady(20, signals)).moves[0].record;
        let peak = f64::from(record.peak_following_error) / counts;
        // With damping the lag swings beyond its steady value at first; a first-order one never does.
        if first_order {
            assert!((peak / lag - 1.0).abs() < 1e-4, "peak {peak}, published {lag}");
        } else {
            assert!(peak >= lag * 0.9999, "peak {peak}, published steady {lag}");
            let end = f64::from(record.error_at_command_end) / counts;
            assert!((end / lag - 1.0).abs() < 1e-3, "lag after a long cruise {end}, published {lag}");
        }
        if let Ok(at_end) = row.text("fe_at_command_end_after_linear_decel").parse::<f64>() {
            let end = f64::from(record.error_at_command_end) / counts;
            assert!((end / at_end - 1.0).abs() < 2e-3, "at command end {end}, published {at_end}");
        }
        println!("ran 02 following error: {} {constant}", row.text("model"));
    }
}
