//! Charts of published group 04: CUSUM and EWMA run lengths, limits, worked examples, ramps.
//!
//! The run lengths are computed by a Nyström twin of this repository (R spc 0.6.7 and another twin made the
//! tables); the shipped sum and the shipped limits are then held against the same tables.

use serde_json::Value;
use stillpoint_core::baseline::moments::Moments;
use stillpoint_core::drift::cusum::Cusum;
use stillpoint_core::drift::limit::Limits;
use stillpoint_core::drift::spread::Scatter as Known;
use stillpoint_tests::normal::{below, gauss_legendre};
use stillpoint_tests::published::{Row, json, rows};
use stillpoint_tests::run_length::{ewma, ewma_narrow_start, one_sided, two_sided};
use stillpoint_tests::scatter::{Scatter, Shape};

#[track_caller]
fn near(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found}, published {expected}");
}

/// Half a unit of the last digit that was printed.
fn print(text: &str) -> f64 {
    let decimals = text.split_once('.').map_or(0, |(_, decimals)| decimals.len() as i32);
    0.500_001 * f64::powi(10.0, -decimals)
}

fn numbers(list: &Value) -> Vec<f64> {
    list.as_array().expect("a list").iter().map(|number| number.as_f64().expect("a number")).collect()
}

/// Sources: Lucas & Crosier 1982, Montgomery's table, Siegmund 1985, as the file names them.
#[test]
fn cusum_run_lengths() {
    let Some(rows) = rows("published/04_arl_cusum.csv") else { return };
    assert!(rows.len() == 60);
    for row in rows {
        let [k, h, shift] = ["k", "h", "shift_sigma"].map(|column| row.number(column));
        let what = format!("k {k} h {h} shift {shift}");
        let check = |found: f64, column: &str| near(found, row.number(column), 1e-6 * found, &what);
        check(one_sided(k, h, shift, 0.0), "ARL_one_sided");
        check(two_sided(k, h, shift, 0.0), "ARL_two_sided");
        check(two_sided(k, h, shift, h / 2.0), "ARL_two_sided_FIR_h/2");
        for (column, found) in [
            ("published_two_sided", two_sided(k, h, shift, 0.0)),
            ("published_FIR", two_sided(k, h, shift, h / 2.0)),
        ] {
            let text = row.text(column);
            if !text.is_empty() {
                // One head start is printed as 1.32 where 1.3254 is meant.
                near(found, row.number(column), 1.2 * print(text), &format!("{what}: {column}"));
            }
        }
    }
}

/// Sources: Lucas & Saccucci 1990, Table 3; narrow first limits by R spc ("vacl").
#[test]
fn ewma_run_lengths() {
    let Some(rows) = rows("published/04_arl_ewma.csv") else { return };
    assert!(rows.len() > 50);
    for row in rows {
        let [lambda, limit, shift] = ["lambda", "L", "shift_sigma"].map(|column| row.number(column));
        let what = format!("lambda {lambda} limit {limit} shift {shift}");
        let found = ewma(lambda, limit, shift);
        near(found, row.number("ARL_two_sided_fixed_limits"), 1e-6 * found, &what);
        let narrow = ewma_narrow_start(lambda, limit, shift);
        near(narrow, row.number("ARL_two_sided_time_varying_limits(vacl)"), 1e-6 * narrow, &what);
        let text = row.text("published");
        if !text.is_empty() {
            near(found, row.number("published"), print(text), &what);
        }
    }
}

/// Sources: Brook & Evans 1972, Vance 1986 Table 1, SAS/QC 1999, Crowder 1987 Table 1.
#[test]
fn published_points() {
    let Some(file) = json("published/04_arl_published_points.json") else { return };
    let cases = file["cases"].as_array().unwrap();
    let exact = |k: usize| cases[k]["exact"].as_f64().unwrap();
    for (shift, length) in cases[2]["exact"].as_object().unwrap() {
        let length = length.as_f64().unwrap();
        near(one_sided(0.0, 10.0, shift.parse().unwrap(), 0.0), length, 1e-6 * length, shift);
        near(length, cases[2]["published"][shift].as_f64().unwrap(), 0.07, "Vance, as printed");
    }
    for (found, case) in [
        (one_sided(0.5, 3.0, 0.0, 0.0), 0),
        (one_sided(0.5, 3.0, 1.5, 0.0), 1),
        (one_sided(0.25, 8.0, 2.5, 0.0), 3),
        (ewma(0.25, 3.0, 1.0), 4),
        (0.5 / below(-3.0), 5),
        (ewma(0.5, 2.0, 0.0), 6),
        (ewma(0.05, 2.0, 0.0), 7),
    ] {
        near(found, exact(case), 1e-6 * found, &cases[case]["what"].to_string());
        near(found, cases[case]["published"].as_f64().unwrap(), 0.031, "as printed");
    }
}

/// What the shipped limits are if everything is known. Unit: deviations
fn shipped(k: f64, run_length: f64) -> f64 {
    let known = Known { variance: 1.0, skewness: 0.0, kurtosis: 0.0, doubt: 0.0, dependent: false };
    let limits = Limits::new(run_length as f32, 2.0 * k as f32, &known, f32::INFINITY);
    assert_eq!((limits.allowance, limits.up), (k as f32, limits.down));
    f64::from(limits.up)
}

/// Source: R spc xcusum.crit and xewma.crit.
#[test]
fn critical_limits() {
    let Some(rows) = rows("published/04_critical_limits.csv") else { return };
    for row in rows {
        let [part, length] = ["k_or_lambda", "ARL0"].map(|column| row.number(column));
        let limit = |column: &str| row.number(column);
        if row.text("type") == "hcrit" {
            near(
                one_sided(part, limit("limit_one_sided_or_two"), 0.0, 0.0),
                length,
                1e-6 * length,
                "one side",
            );
            near(two_sided(part, limit("limit_two_sided"), 0.0, 0.0), length, 1e-6 * length, "two sides");
            near(shipped(part, length), limit("limit_two_sided"), 0.02, "the shipped limit");
        } else {
            near(ewma(part, limit("limit_one_sided_or_two"), 0.0), length, 1e-6 * length, "EWMA");
        }
    }
}

/// The shipped limit, put back into the twin, runs as long as asked: Siegmund's formula at the lengths
/// and reference values that occur.
#[test]
fn shipped_limits_run_as_long_as_asked() {
    for k in [0.1, 0.25, 0.5, 1.0] {
        for ask in [500.0, 1e4, 1e6] {
            let found = two_sided(k, shipped(k, ask), 0.0, 0.0);
            println!("k {k}, asked for {ask}: runs for {found:.0}");
            near(found / ask, 1.0, if k < 0.9 { 0.03 } else { 0.06 }, &format!("k {k} ask {ask}"));
        }
    }
}

/// Runs of the shipped sum over simulated normal deviations; mean and its standard error.
fn simulated(row: &Row, both: bool, deviation: impl Fn(u32) -> f64) -> (f64, f64) {
    let column = |name: &str| row.number(name) as f32;
    let (k, h) = match both {
        true => (column("k"), column("h")),
        false => (column("k_or_lambda"), column("h_or_L")),
    };
    let mut scatter = Scatter::new(Shape::Normal(0.1), 0.0, 5);
    let lengths: Vec<f64> = (0..4000)
        .map(|_| {
            let (mut up, mut down) = (Cusum::default(), Cusum::default());
            let alarm = (1..).find(|&step| {
                let value = scatter.deviate() + deviation(step) as f32;
                up.step(value, k, h, step);
                down.step(-value, k, h, step);
                up.sum() > h || both && down.sum() > h
            });
            f64::from(alarm.expect("a run ends"))
        })
        .collect();
    let count = lengths.len() as f64;
    let mean = lengths.iter().sum::<f64>() / count;
    let variance = lengths.iter().map(|length| (length - mean).powi(2)).sum::<f64>() / (count - 1.0);
    (mean, (variance / count).sqrt())
}

/// The shipped sum itself against the published run lengths, to four standard errors.
#[test]
fn the_shipped_sum_runs_as_published() {
    let Some(rows) = rows("published/04_arl_cusum.csv") else { return };
    for row in rows.iter().filter(|row| row.number("ARL_two_sided") < 500.0) {
        let shift = row.number("shift_sigma");
        let (mean, error) = simulated(row, true, |_| shift);
        let what = format!("k {} h {} shift {shift}", row.text("k"), row.text("h"));
        near(mean, row.number("ARL_two_sided"), 4.0 * error, &what);
    }
}

/// Source: Gan 1992 Table 1 by R spc; the ramp begins after the first value. The rows of the EWMA are left out: there is none in the core.
#[test]
fn ramps() {
    let Some(rows) = rows("published/04_arl_linear_drift.csv") else { return };
    let mut ran = 0;
    for row in rows.iter().filter(|row| row.text("chart") == "one-sided CUSUM") {
        let slope = row.number("drift_sigma_per_sample");
        let (mean, error) = simulated(row, false, |step| slope * f64::from(step - 1));
        near(mean, row.number("ARL_spc"), 4.0 * error, &format!("ramp of {slope}"));
        ran += 1;
    }
    assert_eq!(ran, 11);
}

/// Source: NIST/SEMATECH e-Handbook 6.3.2.3, through the shipped sum.
#[test]
fn the_handbooks_cusum() {
    let Some(file) = json("published/04_nist_handbook_charts.json") else { return };
    let case = &file["cases"][0];
    let [target, k, h] = ["target", "k", "h"].map(|name| case[name].as_f64().unwrap());
    let (mut up, mut down, mut signals) = (Cusum::default(), Cusum::default(), vec![]);
    for (step, value) in (1..).zip(numbers(&case["data"])) {
        up.step((value - target) as f32, k as f32, f32::MAX, step);
        down.step((target - value) as f32, k as f32, f32::MAX, step);
        let row = step as usize - 1;
        for (sum, column) in [(up.sum(), 1), (down.sum(), 2)] {
            let sum = f64::from(sum);
            near(
                sum,
                case["published_rows_dev_Shi_Slo_cum_2dp"][row][column].as_f64().unwrap(),
                0.0051,
                "printed",
            );
            near(sum, case["exact_rows"][row][column].as_f64().unwrap(), 1e-5, "exact, in single precision");
        }
        if f64::from(up.sum().max(down.sum())) > h {
            signals.push(step);
        }
    }
    let published: Vec<u32> = numbers(&case["all_signal_obs"]).iter().map(|step| *step as u32).collect();
    assert_eq!(signals, published);
}

/// Source: NIST/SEMATECH e-Handbook 6.3.2.4 and 6.3.2.2: what the twin calls a limit, and the exact mean.
#[test]
fn the_handbooks_ewma_and_individuals() {
    let Some(file) = json("published/04_nist_handbook_charts.json") else { return };
    let case = &file["cases"][1];
    let [lambda, target, s] = ["lam", "target", "s"].map(|name| case[name].as_f64().unwrap());
    let mut average = target;
    for (row, value) in numbers(&case["data"]).iter().enumerate() {
        average += lambda * (value - average);
        near(average, case["published_2dp"][row].as_f64().unwrap(), 0.0051, "printed");
    }
    let edge = 3.0 * s * (lambda / (2.0 - lambda)).sqrt();
    near(target + edge, case["unrounded_UCL_LCL"][0].as_f64().unwrap(), 1e-9, "upper limit");
    let case = &file["cases"][2];
    let data = numbers(&case["data"]);
    let mut moments = Moments::default();
    data.iter().for_each(|value| moments.step((value * 10.0).round() as i64));
    let center = moments.mean().unwrap() / 10.0;
    near(center, case["exact"]["center"].as_f64().unwrap(), 1e-12, "center");
    let ranges: f64 = data.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
    let range = ranges / (data.len() - 1) as f64;
    near(center + 3.0 * range / 1.128, case["exact"]["UCL"].as_f64().unwrap(), 1e-9, "upper limit");
}

/// The classic chart of Page and Hinkley is the shipped sum. River's variant is another chart and left out.
#[test]
fn page_and_hinkley() {
    let Some(file) = json("published/04_page_hinkley.json") else { return };
    let case = &file["cases"][0];
    for chart in case["classic"].as_array().unwrap() {
        let [mean, delta, limit] = ["mu0", "delta", "lam"].map(|name| chart[name].as_f64().unwrap());
        let mut sum = Cusum::default();
        let alarm = (1..).zip(numbers(&case["data"])).find(|&(step, value)| {
            sum.step((value - mean) as f32, delta as f32, f32::MAX, step);
            f64::from(sum.sum()) > limit
        });
        assert_eq!(alarm.map(|found| u64::from(found.0)), chart["first_alarm_1based"].as_u64());
    }
}

/// Integrals over the range of n normal values; the source is every textbook's table.
#[test]
fn control_chart_constants() {
    let Some(rows) = rows("published/04_control_chart_constants.csv") else { return };
    let nodes = gauss_legendre(160);
    for row in rows {
        let n = row.number("n");
        let mean: f64 = nodes
            .iter()
            .map(|(x, weight)| 9.0 * weight * (1.0 - below(9.0 * x).powf(n) - below(-9.0 * x).powf(n)))
            .sum();
        near(mean, row.number("d2"), 1e-9, "d2");
        near(3.0 / (mean * n.sqrt()), row.number("A2"), 1e-9, "A2");
    }
}
