//! In: nothing. Out: false alarms of the shipped detector in simulated axis-months, cell by cell.
use std::time::Instant;
use stillpoint_core::baseline::reference::Evidence;
use stillpoint_core::drift::Drift;
use stillpoint_core::drift::watch::{Watch, Wish};
use stillpoint_tests::scatter::{Scatter, Shape};
fn main() {
    let arg = |k: usize, d: f64| std::env::args().nth(k).and_then(|a| a.parse().ok()).unwrap_or(d);
    let (runs, part) = (arg(1, 50.0) as u64, arg(2, 1.0));
    for shape in
        [Shape::Normal(0.1), Shape::Lognormal(0.1), Shape::Gamma(100), Shape::Lognormal(0.5), Shape::Gamma(4)]
    {
        for alike in [0.0, 0.3] {
            for baseline in [50, 500] {
                let watch = Watch::new(Wish { baseline, ..Wish::default() }).unwrap();
                let moves = (f64::from(watch.run_length()) * part) as u64;
                let clock = Instant::now();
                let (mut alarms, mut runs_with, mut max) = (0, 0, 0);
                let mut promise = std::collections::BTreeMap::new();
                let mut small = 0;
                let mut scatter = Scatter::new(shape, alike, 1);
                for _ in 0..runs {
                    let mut drift = Drift::default();
                    let mut here = 0;
                    for _ in 0..moves {
                        if let Some(f) = drift.step(&watch, Evidence::Value(scatter.time() as u32)) {
                            if f.is_drift() {
                                here += 1;
                                drift.rearm();
                            }
                            small = f.smallest;
                        }
                    }
                    alarms += here;
                    runs_with += u32::from(here > 0);
                    max = max.max(here);
                    *promise.entry(format!("{:?}", drift.promise())).or_insert(0) += 1;
                }
                println!(
                    "{shape:?} {alike} {baseline}: {alarms} alarms in {} months ({runs_with} runs, max {max}) smallest {small} {promise:?} {:.1} ns/move",
                    runs as f64 * part,
                    clock.elapsed().as_secs_f64() * 1e9 / (runs * moves) as f64
                );
            }
        }
    }
}
