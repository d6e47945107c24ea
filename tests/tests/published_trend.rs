//! In: published tests of trend, change and difference. Out: whether the host's analysis agrees.
//!
//! Figures that the host doesn't give are made from those it gives; the line that does it says how.

use serde_json::Value;
use stillpoint::analysis::change_point::{Model, change_points, split};
use stillpoint::analysis::mann_kendall::{mann_kendall, two_sided, variance, variance_factor};
use stillpoint::analysis::order::ranks;
use stillpoint::analysis::rank_sum::rank_sum;
use stillpoint::analysis::regression::PrefixSums;
use stillpoint::analysis::theil_sen::theil_sen;
use stillpoint_tests::pettitt::pettitt;
use stillpoint_tests::published::{json, near, print};

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
    let cases = json(file)["cases"].as_array().expect("cases").clone();
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
            // Five values have ten pairs: the 95 % interval needs rank 0.9999. scipy uses the first, we an open end.
            assert_eq!(values.len(), 5, "{id}");
            continue;
        }
        // scipy doesn't interpolate: its ends are the slopes next to ours.
        let scipy = &computed["scipy_theilslopes"];
        let width = number(&scipy["high"]) - number(&scipy["low"]);
        near(line.low, number(&scipy["low"]), width / 10.0, id);
        near(line.high, number(&scipy["high"]), width / 10.0, id);
    }
}

/// The same cases by pymannkendall 1.4.3 and scipy.
#[test]
fn trends_by_other_libraries() {
    for case in cases("published/04_trend_mann_kendall.json") {
        let (time, values, computed) = (numbers(&case["t"]), numbers(&case["y"]), &case["computed"]);
        let id = case["id"].as_str().expect("a name");
        let test = mann_kendall(&values, 1.0).expect("enough values");
        let line = theil_sen(&time, &values, 0.95, 1.0).expect("enough values");
        close(values.len() as f64, &computed["n"], 0.0, id);
        let untied: Vec<f64> = (0..values.len()).map(|place| place as f64).collect();
        close(variance(&untied), &computed["var_S_no_ties"], 1e-12, id);
        // Tau-b leaves out the pairs that are tied; no time is.
        let pairs = |count: f64| count * (count - 1.0) / 2.0;
        let tied: f64 = ranks(&values).1.into_iter().map(|size| pairs(size as f64)).sum();
        let all = pairs(values.len() as f64);
        let tau_b = test.statistic as f64 / (all * (all - tied)).sqrt();
        close(tau_b, &computed["kendall_tau_b"], 1e-12, id);
        close(line.slope, &computed["scipy_theilslopes"]["slope"], 1e-12, id);
        close(line.intercept, &computed["scipy_theilslopes"]["intercept"], 1e-12, id);
        let other = &case["pymannkendall_1.4.3"];
        close(test.statistic as f64, &other["s"], 0.0, id);
        close(test.variance, &other["var_s"], 1e-12, id);
        close(test.z, &other["z"], 1e-12, id);
        near(test.p / number(&other["p"]), 1.0, 1e-9, id);
        close(test.tau, &other["tau"], 1e-12, id);
        let by_place = theil_sen(&untied, &values, 0.95, 1.0).expect("enough values").slope;
        close(by_place, &other["slope_unit_spacing"], 1e-12, id);
    }
}

/// The same cases as EnvStats and NSM3 print them.
#[test]
fn trends_as_printed() {
    for case in cases("published/04_trend_mann_kendall.json") {
        let (time, values) = (numbers(&case["t"]), numbers(&case["y"]));
        let (id, published) = (case["id"].as_str().expect("a name"), &case["published"]);
        let test = mann_kendall(&values, 1.0).expect("enough values");
        let line = theil_sen(&time, &values, 0.95, 1.0).expect("enough values");
        for (name, found) in [
            ("slope", line.slope),
            ("intercept", line.intercept),
            ("z", test.z),
            ("C", test.statistic as f64),
            // Cut rather than rounded: −0.05625.
            ("slope_approx", (line.slope * 1000.0).trunc() / 1000.0),
        ] {
            if published[name].is_number() {
                near(found, number(&published[name]), print(&published[name].to_string()), id);
            }
        }
        if let Some(p) = published["p"].as_f64() {
            near(test.p / p, 1.0, 1e-6, id);
        }
    }
}

/// Hamed & Rao's variance for the Nile from pymannkendall 1.4.3, run beside this: all lags, and the first five.
#[test]
fn autocorrelation_widens_the_variance() {
    let nile = cases("published/04_trend_mann_kendall.json").pop().expect("cases");
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

/// The same cases as R counts and as they were printed.
#[test]
fn rank_sums_in_other_words() {
    for (place, case) in cases("published/04_rank_sum.json").iter().enumerate() {
        let (x, y) = (numbers(&case["x"]), numbers(&case["y"]));
        let (id, computed) = (case["id"].as_str().expect("a name"), &case["computed"]);
        let [test, back] = [(&x, &y), (&y, &x)].map(|(x, y)| rank_sum(x, y).expect("enough values"));
        close(back.statistic, &computed["U2"], 0.0, id);
        // Half a pair nearer to the middle, in deviations of the statistic.
        let off = test.statistic - (x.len() * y.len()) as f64 / 2.0;
        close(two_sided((off.abs() - 0.5) * test.z / off), &computed["p_asymptotic_cc"], 1e-9, id);
        for (name, found) in [
            ("W", test.statistic),
            ("p_two_sided_exact", test.p),
            ("p", test.p),
            // One side of a statistic that lies above the middle has half of it.
            ("p_greater_exact", test.p / 2.0),
        ] {
            if case["r_verified"].get(name).is_some() {
                close(found, &case["r_verified"][name], 1e-12, id);
            }
        }
        let words = [
            format!("W={}, one-sided p={:.4} ", test.statistic, test.p / 2.0),
            format!("U1={}, p={:.4} exact", test.statistic, test.p),
            format!("z={:.6}, p={:.7} ", test.z, two_sided(test.z)),
        ];
        let published = case["published"].as_str().expect("words");
        assert!(published.starts_with(&words[place]), "{published}: {}", words[place]);
    }
}

/// Page's data with Pettitt's figures (1979); Nile with R strucchange and ruptures; a made shift of 1.2 sd.
#[test]
fn changes() {
    for case in cases("published/04_change_point.json") {
        let values = numbers(&case["data"]);
        let (id, computed) = (case["id"].as_str().expect("a name"), &case["computed"]);
        let test = pettitt(&values).expect("enough values");
        let published = if computed["K"].is_number() { computed } else { &computed["pettitt"] };
        let [t, k, p] = if published.is_array() {
            [0, 1, 2].map(|i| &published[i])
        } else {
            ["t", "K", "p"].map(|key| &published[key])
        };
        close(test.before as f64, t, 0.0, id);
        close(test.statistic, k, 1e-9, id);
        assert!((test.p / number(p) - 1.0).abs() < 1e-9, "{id}: p {}", test.p);
        let (published, keys) = (&computed["least_squares_split"], ["t", "rss", "rss0"]);
        let published = if published.is_object() {
            keys.map(|key| &published[key])
        } else {
            [0, 1, 2].map(|i| &computed["ls"][i])
        };
        if !published[0].is_number() {
            continue;
        }
        let time: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
        let found =
            split(&PrefixSums::new(&time, &values), 0..values.len(), Model::Level, 1).expect("a split");
        close(found.at as f64, published[0], 0.0, id);
        close(found.after, published[1], 1e-9, id);
        close(found.before, published[2], 1e-9, id);
        assert_eq!(
            change_points(&time, &values, Model::Level),
            [found.at],
            "{id}: one change, as ruptures finds"
        );
    }
}

/// Alexandersson's SNHT (1986), R strucchange, ruptures 1.1.10; the third case was made with a change at its truth.
#[test]
fn changes_by_other_libraries() {
    for case in cases("published/04_change_point.json") {
        let (values, computed) = (numbers(&case["data"]), &case["computed"]);
        let id = case["id"].as_str().expect("a name");
        let time: Vec<f64> = (0..values.len()).map(|i| i as f64).collect();
        let sums = PrefixSums::new(&time, &values);
        let found = split(&sums, 0..values.len(), Model::Level, 1).expect("a split");
        let published = &computed["snht"];
        let published = if published.is_object() {
            [&published["t"], &published["T0"]]
        } else {
            [&published[0], &published[1]]
        };
        if published[0].is_number() {
            // The reduction of the squares by the split, in variances of all values.
            let snht = (found.before - found.after) / found.before * (values.len() - 1) as f64;
            close(found.at as f64, published[0], 0.0, id);
            close(snht, published[1], 1e-9, id);
        }
        let mut ends = change_points(&time, &values, Model::Level);
        ends.push(values.len());
        let ends: Vec<f64> = ends.iter().map(|end| *end as f64).collect();
        for published in ["ruptures_Dynp_l2", "ruptures_Pelt_l2"].map(|name| &computed[name]) {
            assert!(published.is_null() || numbers(published) == ends, "{id}: {ends:?}");
        }
        let r = &case["r_strucchange"];
        if r.is_object() {
            close(found.at as f64, &r["breakpoint"], 0.0, id);
            close(found.before, &r["RSS0"], 1e-12, id);
            close(found.after, &r["RSS1"], 1e-12, id);
        }
        // One of eighty values is on the other side by chance.
        if let Some(truth) = case["truth"].as_u64() {
            assert!(truth.abs_diff(found.at as u64) <= 1, "{id}: {}", found.at);
        }
    }
}

/// In the words of those who published the data; Page's probability is cut rather than rounded.
#[test]
fn changes_as_printed() {
    let found: Vec<_> = cases("published/04_change_point.json")
        .iter()
        .filter_map(|case| Some((case["published"].as_str()?.to_owned(), pettitt(&numbers(&case["data"]))?)))
        .collect();
    let [(page, of_page), (nile, of_nile)] = found.as_slice() else { panic!("{found:?}") };
    let (t, k, p) = (of_page.before, of_page.statistic, of_page.p - 5e-4);
    assert!(page.starts_with(&format!("change point t={t}, K_T={k}, p={p:.3} ")), "{page}: {of_page:?}");
    let (t, year) = (of_nile.before, 1870 + of_nile.before);
    assert!(nile.starts_with(&format!("break after observation {t} ({year})")), "{nile}: {of_nile:?}");
}
