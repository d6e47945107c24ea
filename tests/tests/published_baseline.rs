//! Moments and quantiles of published group 04 through the shipped baseline.

use serde_json::Value;
use stillpoint_tests::moments::Moments;
use stillpoint_tests::published::{json, near, numbers, rows};
use stillpoint_tests::quantile::Quantile;

/// Correct digits: −log10 of the relative error, 15 if there is none. Source: NIST StRD, "LRE".
fn digits(found: f64, certified: &str) -> f64 {
    let certified: f64 = certified.parse().unwrap();
    let error = ((found - certified) / certified).abs();
    if error == 0.0 { 15.0 } else { (-error.log10()).min(15.0) }
}

/// Correct digits of mean, deviation and autocorrelation.
fn correct(moments: &Moments, scale: f64, certified: &Value, names: [&str; 3]) -> [f64; 3] {
    let certified = names.map(|value| certified[value].as_str().unwrap());
    let found = [moments.mean(), moments.deviation()].map(|found| found.unwrap() / scale);
    let found = [found[0], found[1], moments.autocorrelation().unwrap()];
    core::array::from_fn(|k| digits(found[k], certified[k]))
}

/// Source: NIST Statistical Reference Datasets, univariate; certified values from the file headers.
///
/// The sets are made whole numbers by their last printed decimal, as ticks are.
#[test]
fn nist_univariate_sets_to_13_digits() {
    let Some(file) = json("published/04_nist_strd_univariate.json") else { return };
    let mut ran = 0;
    for set in file["sets"].as_array().unwrap() {
        let (name, data) = (set["name"].as_str().unwrap(), set["file"].as_str().unwrap());
        let data = rows(&format!("published/{data}")).unwrap();
        assert_eq!(data.len() as u64, set["n"].as_u64().unwrap(), "{name}");
        let scale = if name == "NumAcc2" || name == "NumAcc4" { 10.0 } else { 1.0 };
        let mut moments = Moments::default();
        for row in &data {
            let whole = row.number("y") * scale;
            assert!((whole - whole.round()).abs() < 1e-7, "{name}: {whole}");
            moments.step(whole.round() as i64);
        }
        let found = correct(&moments, scale, &set["certified"], ["mean", "sd_n_minus_1", "r1"]);
        let again = correct(&moments, scale, &set["recomputed_exact_rational"], ["mean", "sd", "r1"]);
        assert_eq!(set["agrees"], serde_json::json!([true, true, true]), "{name}: certified and exact");
        // What sums in floating point make of the deviation is never nearer by more than the last bit.
        let exact: f64 = set["recomputed_exact_rational"]["sd"].as_str().unwrap().parse().unwrap();
        let ours = (moments.deviation().unwrap() / scale - exact).abs();
        for other in ["naive_one_pass_sd_float64", "f32_two_pass_sd"] {
            let off = (set[other].as_f64().unwrap() - exact).abs();
            assert!(ours <= off + f64::EPSILON * exact, "{name}: off by {ours}, {other} by {off}");
        }
        println!("{name}: {found:.1?} correct digits of mean, deviation and autocorrelation");
        assert!(found.iter().chain(&again).all(|digits| *digits >= 13.0), "{name}: {found:?} {again:?}");
        ran += 1;
    }
    assert_eq!(ran, 6);
}

/// Source: Jain & Chlamtac 1985, Table I: all markers after every value from the sixth on, as printed.
#[test]
fn p2_follows_the_published_table() {
    let Some(file) = json("published/04_p2_quantile.json") else { return };
    for case in file["cases"].as_array().unwrap() {
        let mut quantile = Quantile::new(case["p"].as_f64().unwrap());
        for (k, value) in case["data"].as_array().unwrap().iter().enumerate() {
            quantile.step(value.as_f64().unwrap());
            let table = |name: &str, k: Option<usize>| k.and_then(|k| case[name].get(k)).cloned();
            let heights = quantile.heights();
            // The exact table begins with the fifth value, the printed one with the sixth.
            if let Some(exact) = table("computed_heights_exact", k.checked_sub(4)) {
                let exact = heights.into_iter().zip(numbers(&exact));
                exact.for_each(|(found, exact)| near(found, exact, 1e-12, &format!("value {k}")));
            }
            if let Some(places) = table("published_positions", k.checked_sub(5)) {
                let places: Vec<u64> =
                    places.as_array().unwrap().iter().map(|place| place.as_u64().unwrap()).collect();
                assert_eq!(quantile.places().map(u64::from).to_vec(), places, "value {k}");
            }
            if let Some(printed) = table("published_heights_after_obs6_20", k.checked_sub(5)) {
                let printed = heights.into_iter().zip(numbers(&printed));
                printed.for_each(|(found, printed)| near(found, printed, 0.017, &format!("value {k}")));
            }
        }
    }
}

/// Sources: the same and, of 200 exponential values, an exact run of the published rules; river 0.26.1 stats.Quantile.
#[test]
fn p2_ends_as_published() {
    let Some(file) = json("published/04_p2_quantile.json") else { return };
    for case in file["cases"].as_array().unwrap() {
        let mut quantile = Quantile::new(case["p"].as_f64().unwrap());
        numbers(&case["data"]).into_iter().for_each(|value| quantile.step(value));
        let (found, id) = (quantile.value().unwrap(), case["id"].to_string());
        for told in ["final_exact", "river_stats_Quantile"] {
            near(found, case[told].as_f64().unwrap(), 1e-12 * found.max(1.0), &id);
        }
        if let Some(printed) = case["published_final"].as_f64() {
            near(found, printed, 0.005, &id);
            let markers = numbers(&case["final_markers"]);
            let heights = quantile.heights().into_iter().zip(markers);
            heights.for_each(|(found, marker)| near(found, marker, 1e-12, &id));
        }
    }
}
