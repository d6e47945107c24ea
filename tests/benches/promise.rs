//! In: nothing, or axes and months each. Out: false alarms of the shipped detector at its default settings, cell by cell.
//!
//! `cargo bench -p stillpoint-tests --bench promise` simulates 200 axes for a quarter of a month in every cell:
//! 263 million moves each, 50 axis-months, every axis with a baseline of its own. Some minutes.
//! `cargo bench -p stillpoint-tests --bench promise -- 20 1` watches 20 axes for a month each.

use std::time::Instant;

use stillpoint_core::drift::DriftConfig;
use stillpoint_tests::promise::{Cell, cells};
use stillpoint_tests::scatter::Shape;

fn main() {
    let numbers: Vec<f64> = std::env::args().filter_map(|argument| argument.parse().ok()).collect();
    let (axes, months) = match numbers[..] {
        [axes, months] => (axes as u32, months),
        _ => (200, 0.25),
    };
    println!("one false alarm a month is promised; 7200 moves an hour, smallest change 10 % of 50 ms");
    println!(
        "scatter           alike  baseline  alarms/months   smallest ms  ns/move  what the monitor says"
    );
    // Beyond what is promised, to see that the monitor says so.
    let beyond = [0.6, 0.9].map(|alike| Cell { shape: Shape::Normal(0.1), alike, baseline: 500 });
    for cell in cells().into_iter().chain(beyond) {
        let clock = Instant::now();
        let count = cell.watch(DriftConfig::at(1_000_000), axes, months);
        let per_move = clock.elapsed().as_secs_f64() * 1e9 / (count.months * 7200.0 * 730.5);
        println!(
            "{:<17} {:<6} {:<9} {:>5}/{:<8} {:>11.1} {:>9.1}  {:?}",
            format!("{:?}", cell.shape),
            cell.alike,
            cell.baseline,
            count.alarms,
            count.months,
            f64::from(count.smallest) / 1000.0,
            per_move,
            count.promises
        );
    }
}
