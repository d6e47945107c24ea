//! EWMA and individuals charts of published group 04, and how the shipped sum compares with them.
//!
//! The product has no EWMA: the plain one here is the rival that the shipped sum has to match.

use stillpoint_core::drift::Limits;
use stillpoint_core::drift::Scatter as Known;
use stillpoint_tests::chart::{Average, Chart, Sums, run_length};
use stillpoint_tests::moments::Moments;
use stillpoint_tests::published::{json, near, numbers, print, rows};
use stillpoint_tests::run_length::{ewma, ewma_narrow_start, ewma_ramp};

/// Sources: Lucas & Saccucci 1990, Table 3; narrow first limits by R spc ("vacl").
#[test]
fn run_lengths() {
    let Some(rows) = rows("published/04_arl_ewma.csv") else { return };
    assert_eq!(rows.len(), 108);
    for row in rows {
        let [lambda, limit, shift] = ["lambda", "L", "shift_sigma"].map(|column| row.number(column));
        let what = format!("lambda {lambda} limit {limit} shift {shift}");
        let found = ewma(lambda, limit, shift);
        for column in ["ARL_two_sided_fixed_limits", "ARL_python_nystrom"] {
            near(found, row.number(column), 1e-6 * found, &what);
        }
        let narrow = ewma_narrow_start(lambda, limit, shift);
        near(narrow, row.number("ARL_two_sided_time_varying_limits(vacl)"), 1e-6 * narrow, &what);
        let text = row.text("published");
        if !text.is_empty() {
            near(found, row.number("published"), print(text), &what);
        }
        if found < 120.0 {
            for (length, start) in [(found, false), (narrow, true)] {
                let (mean, error) = run_length(&Average::new(lambda, limit, start), 2000, |_| shift);
                near(mean, length, 4.0 * error, &format!("{what}, simulated"));
            }
        }
    }
}

/// The shipped sum with the shipped limit of a run length and for a smallest change, all else known.
fn shipped(length: f64, smallest: f64) -> Sums {
    let known = Known { variance: 1.0, skewness: 0.0, kurtosis: 0.0, estimation: 0.0, dependent: false };
    let limits = Limits::new(length as f32, smallest as f32, &known, f32::INFINITY);
    Sums::new(limits.allowance.into(), limits.up.into(), true)
}

/// Of every shift, the EWMA of the table that finds it first, beside the shipped sum of the same run length.
#[test]
fn the_shipped_sum_is_as_fast_as_the_best_average() {
    let Some(rows) = rows("published/04_arl_ewma.csv") else { return };
    let column = "ARL_two_sided_fixed_limits";
    println!("shift sd: found after, by the best EWMA of run length 500, in values");
    for shift in [0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0] {
        // Charts of this table with a run length of 500.
        let of_500 = |row: &&stillpoint_tests::published::Row| {
            ["0.03,2.437", "0.05,2.615", "0.1,2.814", "0.2,2.962", "0.5,3.071", "1.0,3.09"]
                .contains(&format!("{},{}", row.text("lambda"), row.text("L")).as_str())
        };
        let at_shift = rows.iter().filter(of_500).filter(|row| row.number("shift_sigma") == shift);
        let best = at_shift.map(|row| row.number(column)).fold(f64::INFINITY, f64::min);
        let (found, error) = run_length(&shipped(500.0, shift), 10_000, |_| shift);
        println!("{shift:5}: {found:6.2} {best:6.2}");
        assert!(found - 4.0 * error <= 1.1 * best, "shift {shift}: {found}, the best EWMA {best}");
    }
}

/// Source: Gan 1991 Table 1, and R spc; the ramp begins after the first value.
#[test]
fn ramps() {
    let Some(rows) = rows("published/04_arl_linear_drift.csv") else { return };
    let mut ran = 0;
    println!("ramp sd/value: EWMA, the shipped sum of the same run length, in values");
    for row in rows.iter().filter(|row| row.text("chart") == "two-sided EWMA") {
        let [lambda, limit, slope] =
            ["k_or_lambda", "h_or_L", "drift_sigma_per_sample"].map(|column| row.number(column));
        let (what, exact) = (format!("ramp of {slope}"), ewma_ramp(lambda, limit, slope));
        near(exact, row.number("ARL_spc"), 1e-7 * exact, &what);
        // Gan printed 460 where 461 is right, and 94.6 where 94.7 is.
        let tolerance =
            if slope == 0.0001 || slope == 0.005 { 0.0023 * exact } else { print(row.text("published")) };
        near(exact, row.number("published"), tolerance, &what);
        let ramp = |step| slope * f64::from(step - 1);
        let (mean, error) = run_length(&Average::new(lambda, limit, false), 4000, ramp);
        near(mean, exact, 4.0 * error, &what);
        let (sum, error) = run_length(&shipped(ewma(lambda, limit, 0.0), 0.5), 4000, ramp);
        println!("{slope:6}: {exact:6.2} {sum:6.2}");
        if slope < 0.1 {
            assert!(sum - 4.0 * error <= 1.05 * exact, "{what}: {sum}, the EWMA {exact}");
        }
        ran += 1;
    }
    assert_eq!(ran, 8);
}

/// Source: NIST/SEMATECH e-Handbook 6.3.2.4.
#[test]
fn the_handbooks_average() {
    let Some(file) = json("published/04_nist_handbook_charts.json") else { return };
    let case = &file["cases"][1];
    let [lambda, target, s] = ["lam", "target", "s"].map(|name| case[name].as_f64().unwrap());
    let [data, printed, exact] = ["data", "published_2dp", "exact"].map(|name| numbers(&case[name]));
    let [mut fixed, mut narrow] = [false, true].map(|narrow| Average::new(lambda, 3.0, narrow));
    for (row, value) in data.iter().enumerate() {
        // It doesn't signal, with either limits.
        assert!(!fixed.step((value - target) / s) && !narrow.step((value - target) / s), "value {row}");
        near(target + s * fixed.average(), printed[row], 0.0051, "printed");
        near(target + s * fixed.average(), exact[row], 1e-9, "exact");
        let limits = numbers(&case["time_varying_limits"][row]);
        near(target + s * narrow.edge(), limits[0], 1e-9, "upper limit at the start");
        near(target - s * narrow.edge(), limits[1], 1e-9, "lower limit at the start");
    }
    let [printed, exact] = ["published_UCL_LCL", "unrounded_UCL_LCL"].map(|name| numbers(&case[name]));
    for (k, limit) in [target + s * fixed.edge(), target - s * fixed.edge()].into_iter().enumerate() {
        near(limit, printed[k], 1e-4, "limit as printed");
        near(limit, exact[k], 1e-9, "limit");
    }
}

/// Source: NIST/SEMATECH e-Handbook 6.3.2.2, through the shipped moments.
#[test]
fn the_handbooks_individuals() {
    let Some(file) = json("published/04_nist_handbook_charts.json") else { return };
    let case = &file["cases"][2];
    let tenths: Vec<i64> = numbers(&case["data"]).iter().map(|value| (value * 10.0).round() as i64).collect();
    let (mut moments, mut ranges) = (Moments::default(), Moments::default());
    tenths.iter().for_each(|value| moments.step(*value));
    tenths.windows(2).for_each(|pair| ranges.step((pair[1] - pair[0]).abs()));
    let [center, range] = [moments, ranges].map(|moments| moments.mean().unwrap() / 10.0);
    // The handbook's d2, as rounded there.
    assert!(case["constants"].as_str().unwrap().contains("d2=1.128 (n=2)"));
    let reach = 3.0 * range / 1.128;
    for (name, found) in
        [("center", center), ("MRbar", range), ("UCL", center + reach), ("LCL", center - reach)]
    {
        near(found, case["exact"][name].as_f64().unwrap(), 1e-9, name);
        let published = &case["published"][name];
        near(found, published.as_f64().unwrap(), print(&published.to_string()), name);
    }
}
