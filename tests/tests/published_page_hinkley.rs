//! Charts of Page and Hinkley of published group 04, and when the shipped sum and watch find the same change.

use stillpoint_core::baseline::Evidence;
use stillpoint_core::drift::Cusum;
use stillpoint_core::drift::{Direction, Drift, Moment, SUBGROUP};
use stillpoint_core::drift::{DriftConfig, DriftSettings};
use stillpoint_tests::page_hinkley::PageHinkley;
use stillpoint_tests::published::{json, numbers};
use stillpoint_tests::scatter::TYPICAL;

/// Values before their mean grows by 1.2 deviations. Source: `04_change_point.json`, of the same data
const CHANGE: usize = 80;

/// The classic chart is the shipped sum. Source: asserted by the file, which says Page–Hinkley with a fixed mean.
#[test]
fn the_classic_chart() {
    let file = json("published/04_page_hinkley.json");
    let case = &file["cases"][0];
    let charts = case["classic"].as_array().unwrap();
    assert_eq!(charts.len(), 4);
    for chart in charts {
        let [mean, delta, limit] = ["mu0", "delta", "lam"].map(|name| chart[name].as_f64().unwrap());
        let mut sum = Cusum::default();
        let alarm = (1..).zip(numbers(&case["data"])).find(|&(step, value)| {
            sum.step((value - mean) as f32, delta as f32, f32::MAX, step);
            f64::from(sum.sum()) > limit
        });
        assert_eq!(alarm.map(|found| u64::from(found.0)), chart["first_alarm_1based"].as_u64());
    }
}

/// Values from the change to the shipped watch's first drift, as settling times of 50 ms with a tenth of scatter.
///
/// The values before the change are repeated `times` times; the shortest run length that can be set is about 800 moves.
fn watched(values: &[f64], times: usize) -> Option<usize> {
    // The published charts know no quiet part.
    let config = DriftConfig {
        moves_per_hour: 1,
        baseline: (CHANGE * times) as u32,
        baseline_minutes: 0,
        quiet_permille: 0,
        ..DriftConfig::at(1_000_000)
    };
    let (watch, mut drift) = (DriftSettings::new(config).expect("valid settings"), Drift::default());
    let mut finds = |value: &f64| {
        let time = Evidence::Value((TYPICAL * (1.0 + 0.1 * value)) as u32);
        drift
            .step(&watch, time, &Moment::default())
            .is_some_and(|found| found.is_drift() && found.direction == Direction::Up)
    };
    let (before, after) = values.split_at(CHANGE);
    assert!(!before.repeat(times).iter().any(&mut finds), "nothing has changed before");
    after.iter().position(finds).map(|place| place + 1)
}

/// Source: river 0.26.1. The shipped watch learns its scatter, too, for which eighty values are few.
#[test]
fn rivers_chart_and_the_shipped_watch() {
    let file = json("published/04_page_hinkley.json");
    let case = &file["cases"][0];
    let values = numbers(&case["data"]);
    let charts = case["river_PageHinkley"].as_array().unwrap();
    assert_eq!(charts.len(), 3);
    let mut latest = 0;
    for published in charts {
        let params = &published["params"];
        let number = |name: &str| params[name].as_f64().unwrap();
        let chart = PageHinkley {
            least: params["min_instances"].as_u64().unwrap() as u32,
            allowance: number("delta"),
            limit: number("threshold"),
            fading: number("alpha"),
            both: params["mode"] == "both",
        };
        let published: Vec<u64> = published["alarms_1based"]
            .as_array()
            .unwrap()
            .iter()
            .map(|alarm| alarm.as_u64().unwrap())
            .collect();
        assert_eq!(chart.signals(&values), published, "{chart:?}");
        latest = latest.max(published[0]);
    }
    let [short, long] = [1, 25].map(|times| watched(&values, times).expect("the change is found"));
    let latest = latest as usize - CHANGE;
    println!("found after {latest} values by the last of river's charts, by the shipped watch after {long}");
    println!("with {CHANGE} values before instead of {}: after {short}", 25 * CHANGE);
    assert!(long <= latest + 2 * SUBGROUP as usize, "{long}, river {latest}");
}
