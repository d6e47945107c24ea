//! In: nothing, or axes, months each and moves per hour. Out: what the shipped detector makes of each nuisance, at its default
//! settings.
//!
//! `cargo bench -p stillpoint-tests --bench nuisance` watches 60 axes for three months of work at two moves a second in
//! every cell, 0.95 billion moves, every axis with a baseline of its own; then faults on 60 axes more. Ten minutes on 2 idle
//! cores. `cargo bench -p stillpoint-tests --bench nuisance -- 20 1 300` watches 20 axes for a month at five moves a minute.

use std::time::Instant;

use stillpoint_core::drift::{DriftConfig, DriftSettings};
use stillpoint_tests::nuisance::cells::{Cell, cells};
use stillpoint_tests::nuisance::detector::Shipped;
use stillpoint_tests::nuisance::run::{Size, faults, find, summary, watch};

fn main() {
    let numbers: Vec<f64> = std::env::args().filter_map(|argument| argument.parse().ok()).collect();
    let size = match numbers[..] {
        [axes, months] => Size { axes: axes as u32, months, moves_per_hour: 7200 },
        [axes, months, rate] => Size { axes: axes as u32, months, moves_per_hour: rate as u32 },
        _ => Size { axes: 60, months: 3.0, moves_per_hour: 7200 },
    };
    let config = DriftConfig { moves_per_hour: size.moves_per_hour, ..DriftConfig::at(1_000_000) };
    let settings = DriftSettings::new(config).expect("a valid configuration");
    let fresh = || Shipped::new(settings);
    let clock = Instant::now();
    println!("{size:?}; one false alarm a month of work is promised, smallest change 10 % of 50 ms");
    println!("\nnothing wrong           alarms/month  drift stands  promise, % of the moves");
    for cell in cells() {
        let found = watch(&cell, fresh, size);
        let promises = found.promises.iter().map(|(word, share)| format!("{word} {:.1}", 100.0 * share));
        println!(
            "{cell:<23} {:>12.2} {:>11.1} %  {}",
            found.rate(),
            100.0 * found.standing,
            promises.collect::<Vec<_>>().join(", ")
        );
    }
    println!("\nDrift to slower on {} axes: found on, after min on half and on 19 of 20 of them", size.axes);
    let names = ["no fault", "step 10 %", "20 %", "50 %", "day's ramp 10 %", "20 %", "50 %"];
    println!("{:<23} {}", "", names.map(|name| format!("{name:>17}")).join(""));
    cells().iter().for_each(|cell| faults_of(cell, fresh, size));
    println!("\n{:.0} s", clock.elapsed().as_secs_f64());
}

fn faults_of(cell: &Cell, fresh: impl Fn() -> Shipped + Sync, size: Size) {
    let found = find(cell, fresh, size, &faults()).into_iter().map(|outcomes| {
        let (found, after) = summary(&outcomes);
        let [half, most] = after
            .map(|after| if after.is_finite() { format!("{:.1}", after / 60.0) } else { "-".to_owned() });
        format!("{:>17}", format!("{found} {half} {most}"))
    });
    println!("{cell:<23} {}", found.collect::<String>());
}
