//! In: published tests of trend, change and difference. Out: whether the host's analysis agrees.

use serde_json::Value;
use stillpoint::analysis::bootstrap::bootstrap;
use stillpoint::analysis::change_point::{Model, change_points, pettitt, split};
use stillpoint::analysis::line::{Stretches, least_squares};
use stillpoint::analysis::mann_kendall::{mann_kendall, two_sided, variance_factor};
use stillpoint::analysis::quantile::{Definition, MAD_TO_SD, grubbs, mad, median, quantile};
use stillpoint::analysis::rank_sum::rank_sum;
use stillpoint::analysis::theil_sen::theil_sen;
use stillpoint_tests::published::{json, rows};

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

fn cases(file: &str) -> Vec<Value> {
    let Some(found) = json(file) else { return Vec::new() };
    let cases = found["cases"].as_array().expect("cases").clone();
    assert!(!cases.is_empty(), "{file} has cases");
    cases
}

/// US EPA Unified Guidance (2009) example 17-6 as printed by EnvStats; Hollander & Wolfe example 9.1; Nile
/// (Cobb 1978). EnvStats interpolates the interval by Gilbert, as we do; its print carries seven digits.
#[test]
fn mann_kendall_and_theil_sen() {
    for case in cases("published/04_trend_mann_kendall.json") {
        let (time, values, computed) = (numbers(&case["t"]), numbers(&case["y"]), &case["computed"]);
        let id = case["id"].as_str().expect("a name");
        let test = mann_kendall(&values, 1.0).expect("enough values");
        close(test.statistic as f64, &computed["S"], 0.0, id);
        close(test.variance, &computed["var_S_ties"], 1e-9, id);
        close(test.z, &computed["z_continuity"], 1e-9, id);
        assert!((test.p / number(&computed["p_two_sided"]) - 1.0).abs() < 1e-9, "{id}: p {}", test.p);
        let line = theil_sen(&time, &values, 0.95, 1.0).expect("enough values");
        close(line.slope, &computed["sen_slope"], 1e-9, id);
        close(line.intercept, &computed["sen_intercept_median_y_minus_b_median_t"], 1e-9, id);
        let published = &case["published"];
        if let Some(ends) = published["slope_CI95"].as_array() {
            close(test.tau, &published["tau_a"], 1e-7, id);
            close(line.low, &ends[0], 1e-6, id);
            close(line.high, &ends[1], 1e-6, id);
        }
        if !line.low.is_finite() {
            // Five values have ten pairs: the 95 % interval asks for rank 0.9999. scipy takes the first, we say open.
            assert_eq!(values.len(), 5, "{id}");
            continue;
        }
        // scipy doesn't interpolate: its ends are the slopes next to ours.
        let scipy = &computed["scipy_theilslopes"];
        let width = number(&scipy["high"]) - number(&scipy["low"]);
        close(line.low, &scipy["low"], width / 10.0, id);
        close(line.high, &scipy["high"], width / 10.0, id);
    }
}

/// Hamed & Rao's variance for the Nile from pymannkendall 1.4.3, run beside this: all lags, and the first five.
#[test]
fn autocorrelation_widens_the_variance() {
    let Some(nile) = cases("published/04_trend_mann_kendall.json").pop() else { return };
    let values = numbers(&nile["y"]);
    let residuals: Vec<f64> =
        values.iter().enumerate().map(|(year, value)| value + 2.6 * (year + 1) as f64).collect();
    for (lags, variance, z) in [
        (99, 241_565.356_916_626_9, -2.819_979_195_645_138_8),
        (5, 282_111.428_078_166, -2.609_473_498_565_488),
    ] {
        let test = mann_kendall(&values, variance_factor(&residuals, lags)).expect("enough values");
        assert!(
            (test.variance / variance - 1.0).abs() < 1e-9,
            "{lags} lags: {}, expected {variance}",
            test.variance
        );
        assert!((test.z - z).abs() < 1e-9, "{lags} lags: {}, expected {z}", test.z);
    }
}

/// R's example from Hollander & Wolfe 1973 p. 69; scipy's documentation; EPA TcCB as in EnvStats (ties, no
/// continuity correction in its z).
#[test]
fn rank_sums() {
    for case in cases("published/04_rank_sum.json") {
        let test = rank_sum(&numbers(&case["x"]), &numbers(&case["y"])).expect("enough values");
        let (id, computed) = (case["id"].as_str().expect("a name"), &case["computed"]);
        close(test.statistic, &computed["U1"], 0.0, id);
        close(test.z, &computed["z_nocc"], 1e-9, id);
        close(two_sided(test.z), &computed["p_asymptotic_nocc"], 1e-9, id);
        close(test.delta, &computed["cliffs_delta"], 1e-9, id);
        let exact = &computed["p_exact"];
        assert_eq!(test.is_exact, exact.is_number(), "{id}");
        close(test.p, if test.is_exact { exact } else { &computed["p_asymptotic_cc"] }, 1e-9, id);
    }
}

/// Page's data with Pettitt's figures (1979); Nile with R strucchange and ruptures; a made shift of 1.2 sd.
#[test]
fn changes() {
    for case in cases("published/04_change_point.json") {
        let values = numbers(&case["data"]);
        let (id, computed) = (case["id"].as_str().expect("a name"), &case["computed"]);
        let test = pettitt(&values).expect("enough values");
        let told = if computed["K"].is_number() { computed } else { &computed["pettitt"] };
        let [t, k, p] =
            if told.is_array() { [0, 1, 2].map(|i| &told[i]) } else { ["t", "K", "p"].map(|key| &told[key]) };
        close(test.before as f64, t, 0.0, id);
        close(test.statistic, k, 1e-9, id);
        assert!((test.p / number(p) - 1.0).abs() < 1e-9, "{id}: p {}", test.p);
        let (told, keys) = (&computed["least_squares_split"], ["t", "rss", "rss0"]);
        let told =
            if told.is_object() { keys.map(|key| &told[key]) } else { [0, 1, 2].map(|i| &computed["ls"][i]) };
        if !told[0].is_number() {
            continue;
        }
        let time: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
        let found =
            split(&Stretches::new(&time, &values), 0..values.len(), Model::Level, 1).expect("a split");
        close(found.at as f64, told[0], 0.0, id);
        close(found.after, told[1], 1e-9, id);
        close(found.before, told[2], 1e-9, id);
        assert_eq!(
            change_points(&time, &values, Model::Level),
            [found.at],
            "{id}: one change, as ruptures finds"
        );
    }
}

/// scipy 1.17.1 on Hollander & Wolfe's sample; Monte Carlo, so within 0.01.
#[test]
fn bootstrap_intervals() {
    let Some(told) = json("published/04_bootstrap.json") else { return };
    let values = numbers(&told["data"]);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let found = bootstrap(&values, mean, 0.95, 100_000, 1).expect("enough values");
    let bca = found.bca.expect("the mean varies");
    close(found.figure, &told["mean"], 1e-12, "mean");
    let middle = |values: &[f64]| median(values).unwrap_or(f64::NAN);
    let medians = bootstrap(&values, middle, 0.95, 100_000, 2).expect("enough values").percentile;
    for (got, expected) in [
        (found.percentile, &told["bootstrap_percentile_mean95"]),
        (bca, &told["bootstrap_bca_mean95"]),
        (medians, &told["bootstrap_percentile_median95"]),
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
    use Definition::{R1, R2, R3, R4, R5, R6, R7, R8, R9};
    let cases = cases("published/04_quantiles_robust.json");
    let [quantiles, outlier, spread] = cases.as_slice() else { return };
    let values = numbers(&quantiles["data"]);
    for definition in [R1, R2, R3, R4, R5, R6, R7, R8, R9] {
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
    close(mad(&values).expect("values"), &spread["computed"]["mad_raw"], 1e-12, "MAD");
    close(MAD_TO_SD * mad(&values).expect("values"), &spread["computed"]["mad_normal"], 1e-12, "scaled MAD");
}

/// Quantiles of the distributions that intervals rest on, against scipy, from the library that is used for them.
#[test]
fn distribution_quantiles() {
    use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
    let Some(told) = json("published/04_distribution_quantiles.json") else { return };
    for (p, expected) in told["normal_quantile"].as_object().expect("a table") {
        close(Normal::standard().inverse_cdf(p.parse().expect("p")), expected, 1e-9, p);
    }
    for (freedom, expected) in told["t_quantile_975"].as_object().expect("a table") {
        let t = StudentsT::new(0.0, 1.0, freedom.parse().expect("degrees")).expect("a distribution");
        close(t.inverse_cdf(0.975), expected, 1e-9, freedom);
    }
}

/// NIST StRD Norris: certified figures to 1e-12; the library's line is used for bends and checked by itself here.
#[test]
fn least_squares_line() {
    let Some(told) = json("published/04_nist_strd_regression.json") else { return };
    let set = &told["sets"][0];
    let file = format!("published/{}", set["file"].as_str().expect("a file"));
    let points = rows(&file).expect("the data lies beside its figures");
    let [time, values] =
        ["x", "y"].map(|column| points.iter().map(|row| row.number(column)).collect::<Vec<_>>());
    let line = least_squares(&time, &values).expect("points");
    let certified = &set["certified_estimate_sd"];
    for (got, expected) in [
        (line.intercept, &certified[0][0]),
        (line.intercept_sd, &certified[0][1]),
        (line.slope, &certified[1][0]),
        (line.slope_sd, &certified[1][1]),
    ] {
        assert!((got / number(expected) - 1.0).abs() < 1e-12, "{got}, certified {expected}");
    }
}
