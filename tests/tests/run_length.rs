//! How long the shipped detector runs: to a false alarm while nothing changes, to the alarm after a change.
//!
//! A subgroup is eight moves and "sd" is that of its mean. The charts beside it are Nyström twins of this
//! repository and the published values they are checked against in `published_drift.rs`.

use stillpoint_core::baseline::Evidence;
use stillpoint_core::drift::{Direction, Drift, Finding, Moment, SUBGROUP};
use stillpoint_core::drift::{DriftConfig, DriftSettings};
use stillpoint_tests::promise::{Cell, Count, cells};
use stillpoint_tests::published::{Row, rows};
use stillpoint_tests::rounds::{rounds, seed};
use stillpoint_tests::run_length::{ewma, limit_for, two_sided};
use stillpoint_tests::scatter::{Scatter, Shape, TYPICAL};

const NORMAL: Shape = Shape::Normal(0.1);
/// Deviation of a subgroup's mean. Unit: ticks
const DEVIATION: f64 = TYPICAL * 0.1 / 2.828_427_124_746_19;

/// Settings for a run length in control and a smallest change. Unit: subgroups, deviations of a subgroup
fn watch(subgroups: f64, smallest: f64, baseline: u32) -> DriftSettings {
    let hours = subgroups * f64::from(SUBGROUP) / 730.5;
    let config = DriftConfig {
        false_alarms_per_axis_month: (3600.0 / hours) as f32,
        smallest_change_permille: 0,
        smallest_change: (smallest * DEVIATION).round() as u32,
        moves_per_hour: 3600,
        baseline,
        baseline_minutes: 0,
        // The published charts know no quiet part.
        quiet_permille: 0,
        ..DriftConfig::at(1_000_000)
    };
    DriftSettings::new(config).expect("valid settings")
}

/// One more move while nothing changes.
fn feed(drift: &mut Drift, watch: &DriftSettings, scatter: &mut Scatter) -> Option<Finding> {
    drift.step(watch, Evidence::Value(scatter.time() as u32), &Moment::default())
}

/// Detectors that know their baseline well, so that what is measured is the chart.
fn learnt(watch: &DriftSettings, scatter: &mut Scatter, count: usize) -> Vec<Drift> {
    let one = |_| {
        let mut drift = Drift::default();
        // False drifts are no part of the baseline.
        while drift.is_learning() {
            feed(&mut drift, watch, scatter);
        }
        while feed(&mut drift, watch, scatter).is_none() {}
        drift.rearm();
        drift
    };
    (0..count).map(one).collect()
}

/// Subgroups up to the alarm, one run after the other; `change` gives the shift of a subgroup in sd.
fn lengths(
    watch: &DriftSettings,
    from: &[Drift],
    scatter: &mut Scatter,
    short: u64,
    change: impl Fn(u32) -> f64,
) -> Vec<f64> {
    let run = |k: usize| {
        let mut drift = from[k % from.len()];
        for subgroup in 1.. {
            let shift = (change(subgroup) * DEVIATION) as f32;
            let found = (0..SUBGROUP).filter_map(|_| {
                drift.step(watch, Evidence::Value((scatter.time() + shift) as u32), &Moment::default())
            });
            if found.last().is_some_and(|finding| finding.is_drift()) {
                return f64::from(subgroup);
            }
        }
        unreachable!("a run ends with an alarm")
    };
    (0..rounds(short) as usize).map(run).collect()
}

fn mean(lengths: &[f64]) -> f64 {
    lengths.iter().sum::<f64>() / lengths.len() as f64
}

#[test]
fn in_control_it_runs_as_long_as_wanted_and_finds_changes_nearly_as_soon_as_can_be() {
    println!("wanted  in control | shift sd: found after, beside the CUSUM of the same length, in subgroups");
    for (wanted, runs) in [(465.44, 8000), (1000.0, 6000), (10_000.0, 3000)] {
        let watch = watch(wanted, 1.0, 100_000);
        let mut scatter = Scatter::new(NORMAL, 0.0, seed(11));
        let from = learnt(&watch, &mut scatter, 20);
        let length = mean(&lengths(&watch, &from, &mut scatter, runs, |_| 0.0));
        assert!((length / wanted - 1.0).abs() < 0.1, "wanted {wanted}, runs for {length}");
        let h = limit_for(0.5, length);
        let delays = [0.5, 1.0, 2.0].map(|shift| {
            let delay = mean(&lengths(&watch, &from, &mut scatter, 4000, |_| shift));
            (shift, delay, two_sided(0.5, h, shift, 0.0))
        });
        println!(
            "{wanted:7.0} {length:10.0} | {}",
            delays.map(|(s, ours, best)| format!("{s}: {ours:.2} ({best:.2})")).join("  ")
        );
        let (_, ours, best) = delays[1];
        assert!(ours <= 1.3 * best, "1 sd after {ours}, the best chart after {best}");
    }
}

/// Gan 1992, Table 1 (CUSUM, k 0.25 and h 8) and Gan 1991, Table 1 (EWMA, λ 0.242), both by R spc: a detector of the
/// same run length in control. Steeper ramps the EWMA finds sooner, by up to a fifth: see `published_ewma.rs`.
#[test]
fn ramps_are_found_as_soon_as_by_the_published_charts() {
    let rows = rows("published/04_arl_linear_drift.csv");
    println!("chart, ramp sd/subgroup: found after, by the chart, in subgroups");
    for (chart, length, steepest) in [
        ("one-sided CUSUM", two_sided(0.25, 8.0, 0.0, 0.0), 0.5),
        ("two-sided EWMA", ewma(0.242, 2.994_441_350_235_47, 0.0), 0.05),
    ] {
        let watch = watch(length, 0.5, 100_000);
        let mut scatter = Scatter::new(NORMAL, 0.0, seed(12));
        let from = learnt(&watch, &mut scatter, 20);
        let slope = |row: &Row| row.number("drift_sigma_per_sample");
        let ramps: Vec<_> = rows
            .iter()
            .filter(|row| row.text("chart") == chart && (0.005..=steepest).contains(&slope(row)))
            .map(|row| (slope(row), row.number("ARL_spc")))
            .collect();
        assert!(ramps.len() >= 3, "{chart}");
        for (slope, published) in ramps {
            let delay = mean(&lengths(&watch, &from, &mut scatter, 4000, |k| slope * f64::from(k - 1)));
            println!("{chart}, {slope:6}: {delay:6.2} {published:6.2}");
            assert!(delay <= 1.1 * published, "{chart}, {slope}: {delay} for {published}");
        }
    }
}

/// Moves up to the alarm after a slowdown, sorted.
fn slowdown(baseline: u32, before: u32, runs: u64) -> Vec<u32> {
    let watch =
        DriftSettings::new(DriftConfig { baseline, baseline_minutes: 0, ..DriftConfig::at(1_000_000) })
            .unwrap();
    let mut scatter = Scatter::new(NORMAL, 0.0, seed(13));
    let mut delays = vec![];
    while (delays.len() as u64) < rounds(runs) {
        let mut drift = Drift::default();
        (0..before).for_each(|_| _ = feed(&mut drift, &watch, &mut scatter));
        let found = (1..).find(|_| {
            let slow = Evidence::Value((scatter.time() * 1.1) as u32);
            drift
                .step(&watch, slow, &Moment::default())
                .is_some_and(|finding| finding.is_drift() && finding.direction == Direction::Up)
        });
        delays.extend(found);
    }
    delays.sort_unstable();
    delays
}

#[test]
fn a_tenth_slower_is_found_within_a_stated_number_of_moves() {
    println!(
        "50 ms with 10 % scatter becomes 55 ms; one false alarm a month is allowed. Moves up to the alarm:"
    );
    for (baseline, before, most) in
        [(5000, 5100, [125, 240]), (5000, 20_000, [125, 240]), (50_000, 60_000, [125, 240])]
    {
        let delays = slowdown(baseline, before, 1000);
        let found = [50, 95].map(|part| delays[delays.len() * part / 100]);
        println!("baseline of {baseline}, after {before} moves: median {}, p95 {}", found[0], found[1]);
        assert!(found[0] <= most[0] && found[1] <= most[1], "{found:?}, stated {most:?}");
    }
}

/// What the monitor reports of the promise in a cell.
fn promises(count: &Count) -> Vec<&str> {
    count.promises.keys().map(String::as_str).collect()
}

/// The default promise in small: 4 months in each of 20 cells. `--bench promise` watches 50 in each.
#[test]
fn no_more_false_alarms_than_twice_the_promise() {
    for cell in cells() {
        let count = cell.watch(DriftConfig::at(1_000_000), 8, 0.5);
        println!("{cell:?}: {} in {} months, {:?}", count.alarms, count.months, count.promises);
        assert!(f64::from(count.alarms) <= 2.0 * count.months, "{cell:?}: {count:?}");
        // Five hundred moves are too few to tell a half of 10 % from the whole; those of a day are enough.
        assert_eq!(promises(&count), ["Short"], "{cell:?}");
    }
}

/// A promise of a hundred a month is one that can be counted: it holds, and the limits are not far too wide.
#[test]
fn many_false_alarms_are_as_many_as_promised() {
    for cell in cells() {
        let count = cell.watch(
            // At the edge of a quiet part that is none.
            DriftConfig {
                false_alarms_per_axis_month: 100.0,
                quiet_permille: 0,
                ..DriftConfig::at(1_000_000)
            },
            20,
            0.1,
        );
        let part = f64::from(count.alarms) / count.months / 100.0;
        println!("{cell:?}: {part:.2} of the promise, {:?}", count.promises);
        assert!(part <= 2.0, "{cell:?}: {part}");
        assert!(part >= 0.2 || promises(&count) != ["Held"], "{cell:?}: {part}");
    }
}

#[test]
fn the_monitor_reports_where_nothing_is_promised() {
    for alike in [0.6, 0.9] {
        let count = Cell { shape: NORMAL, alike, baseline: 500 }.watch(DriftConfig::at(1_000_000), 4, 0.02);
        println!("autocorrelation {alike}: {} in {} months", count.alarms, count.months);
        assert_eq!(promises(&count), ["Dependent"], "{alike}");
    }
}
