//! In: published quantiles, intervals and lines. Out: whether the host's analysis agrees.

use serde_json::Value;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
use stillpoint::analysis::bootstrap::bootstrap;
use stillpoint::analysis::quantile::{MAD_TO_SD, median, quantile_sorted, sorted};
use stillpoint::analysis::regression::least_squares;
use stillpoint_tests::moments::Moments;
use stillpoint_tests::outliers::{Definition, grubbs, mad, quantile};
use stillpoint_tests::published::{json, near, rows};

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(number).collect()
}

#[track_caller]
fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

#[track_caller]
fn close(got: f64, expected: &Value, tolerance: f64, what: &str) {
    let expected = number(expected);
    let allowed = tolerance * expected.abs().max(1.0);
    assert!((got - expected).abs() <= allowed, "{what}: {got}, published {expected}");
}

/// The 20-value table and 200 values of an exponential variable: where P² can be held against all values.
#[test]
fn sample_quantiles() {
    for case in cases("published/04_p2_quantile.json") {
        let published = &case["true_sample_quantile_linear"];
        if published.is_number() {
            let values = sorted(&numbers(&case["data"]));
            let found = quantile_sorted(&values, number(&case["p"])).expect("values");
            close(found, published, 1e-12, &case["id"].to_string());
        }
    }
}

fn cases(file: &str) -> Vec<Value> {
    let cases = json(file)["cases"].as_array().expect("cases").clone();
    assert!(!cases.is_empty(), "{file} has cases");
    cases
}

/// scipy 1.17.1 on Hollander & Wolfe's sample; Monte Carlo, so within 0.01.
#[test]
fn bootstrap_intervals() {
    let published = json("published/04_bootstrap.json");
    let values = numbers(&published["data"]);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let found = bootstrap(&values, mean, 0.95, 100_000, 1).expect("enough values");
    let bca = found.bca.expect("the mean varies");
    close(found.estimate, &published["mean"], 1e-12, "mean");
    // Reference for the interval: the standard error of a mean, and Student's interval for it.
    let mut moments = Moments::default();
    values.iter().for_each(|value| moments.step((value * 100.0).round() as i64));
    let count = values.len() as f64;
    let error = moments.deviation().expect("values") / 100.0 / count.sqrt();
    let student = StudentsT::new(0.0, 1.0, count - 1.0).expect("a distribution").inverse_cdf(0.975);
    let ends = &published["t_interval95"];
    close(found.estimate - student * error, &ends[0], 1e-9, "Student's lower end");
    close(found.estimate + student * error, &ends[1], 1e-9, "Student's upper end");
    // Drawn means scatter about the mean with the deviation that divides by the count.
    close(error * ((count - 1.0) / count).sqrt(), &published["se_theory"], 1e-9, "error of drawn means");
    let width = (found.percentile.1 - found.percentile.0) / (2.0 * 1.96);
    near(width, number(&published["se_boot"]), 0.003, "the same from an interval of drawn means");
    let middle = |values: &[f64]| median(values).unwrap_or(f64::NAN);
    let medians = bootstrap(&values, middle, 0.95, 100_000, 2).expect("enough values").percentile;
    for (got, expected) in [
        (found.percentile, &published["bootstrap_percentile_mean95"]),
        (bca, &published["bootstrap_bca_mean95"]),
        (medians, &published["bootstrap_percentile_median95"]),
    ] {
        let expected = numbers(expected);
        assert!(
            (got.0 - expected[0]).abs() <= 0.01 && (got.1 - expected[1]).abs() <= 0.01,
            "{got:?} {expected:?}"
        );
    }
}

/// NIST/SEMATECH e-Handbook 7.2.6.2 (quantiles), 1.3.5.17.1 (Grubbs); scipy (MAD).
#[test]
fn quantiles_and_outliers() {
    let cases = cases("published/04_quantiles_robust.json");
    let [quantiles, outlier, spread] = cases.as_slice() else { panic!("{} cases", cases.len()) };
    let values = numbers(&quantiles["data"]);
    // By name, for the table of published entries.
    use Definition::{R1, R2, R3, R4, R5, R6, R7, R8, R9};
    let definitions = [R1, R2, R3, R4, R5, R6, R7, R8, R9];
    assert_eq!(definitions, Definition::ALL);
    for definition in definitions {
        let name = format!("{definition:?}");
        let got = quantile(&values, number(&quantiles["p"]), definition).expect("values");
        close(got, &quantiles["computed"][&name], 1e-12, &name);
        if quantiles["published"][&name].is_number() {
            close(got, &quantiles["published"][&name], 0.5e-4 / 95.0, &name);
        }
    }
    let found = grubbs(&numbers(&outlier["data"]), 0.05).expect("scatter");
    assert_eq!(found.index, 7);
    close(found.statistic, &outlier["computed"]["G"], 1e-9, "G");
    // Printed 2.4687, cut rather than rounded: 2.46876.
    close(found.statistic, &outlier["published"]["G"], 1e-4 / 2.4687, "G as printed");
    close(found.critical, &outlier["published"]["crit_one_sided_05"], 0.5e-3 / 2.032, "critical");
    let values = numbers(&spread["data"]);
    close(median(&values).expect("values"), &spread["computed"]["median"], 1e-12, "median");
    close(MAD_TO_SD, &spread["computed"]["constant"], 1e-12, "MAD of a normal variable");
    close(mad(&values).expect("values"), &spread["computed"]["mad_raw"], 1e-12, "MAD");
    close(MAD_TO_SD * mad(&values).expect("values"), &spread["computed"]["mad_normal"], 1e-12, "scaled MAD");
}

/// Quantiles of the distributions that intervals rest on, against scipy, from the library that is used for them.
/// χ² and F, which nothing here rests on, are in `published_constants.rs`.
#[test]
fn distribution_quantiles() {
    let published = json("published/04_distribution_quantiles.json");
    for (p, expected) in published["normal_quantile"].as_object().expect("a table") {
        close(Normal::standard().inverse_cdf(p.parse().expect("p")), expected, 1e-9, p);
    }
    for (freedom, expected) in published["t_quantile_975"].as_object().expect("a table") {
        let t = StudentsT::new(0.0, 1.0, freedom.parse().expect("degrees")).expect("a distribution");
        close(t.inverse_cdf(0.975), expected, 1e-9, freedom);
    }
}

/// NIST StRD Norris: certified figures to 1e-12; the library's line is used for bends and checked by itself here.
#[test]
fn least_squares_line() {
    let published = json("published/04_nist_strd_regression.json");
    let set = &published["sets"][0];
    let file = format!("published/{}", set["file"].as_str().expect("a file"));
    let points = rows(&file);
    let [time, values] =
        ["x", "y"].map(|column| points.iter().map(|row| row.number(column)).collect::<Vec<_>>());
    let line = least_squares(&time, &values).expect("points");
    let exact = numbers(&set["exact"]);
    assert!((line.intercept / exact[0] - 1.0).abs() < 1e-12 && (line.slope / exact[1] - 1.0).abs() < 1e-12);
    // The standard deviations of the coefficients, from the residuals of the line.
    let n = time.len() as f64;
    let mean = time.iter().sum::<f64>() / n;
    let power: f64 = time.iter().map(|time| (time - mean).powi(2)).sum();
    let residual = |(time, value): (&f64, &f64)| (value - line.intercept - line.slope * time).powi(2);
    let residuals: f64 = time.iter().zip(&values).map(residual).sum();
    let slope_sd = (residuals / (n - 2.0) / power).sqrt();
    let intercept_sd = slope_sd * (power / n + mean * mean).sqrt();
    let certified = &set["certified_estimate_sd"];
    for (got, expected) in [
        (line.intercept, &certified[0][0]),
        (intercept_sd, &certified[0][1]),
        (line.slope, &certified[1][0]),
        (slope_sd, &certified[1][1]),
    ] {
        assert!((got / number(expected) - 1.0).abs() < 1e-12, "{got}, certified {expected}");
    }
}
