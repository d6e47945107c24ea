//! What a nuisance makes of the shipped detector, for a short time. `--bench nuisance` watches 60 axes for three months.

use stillpoint_core::drift::{DriftConfig, DriftSettings};
use stillpoint_tests::nuisance::cells::{Cell, Nuisance, cells};
use stillpoint_tests::nuisance::detector::Shipped;
use stillpoint_tests::nuisance::run::{LIMIT, Size, faults, find, summary, watch};
use stillpoint_tests::rounds::rounds;
use stillpoint_tests::scatter::Shape;

const PER_HOUR: u32 = 7200;

fn fresh() -> Shipped {
    let config = DriftConfig { moves_per_hour: PER_HOUR, ..DriftConfig::at(1_000_000) };
    Shipped::new(DriftSettings::new(config).expect("a valid configuration"))
}

/// Four axis-months of each stationary cell.
#[test]
fn stationary_moves_give_no_more_alarms_than_twice_the_promise() {
    let size = Size { axes: rounds(8) as u32, months: 0.5, moves_per_hour: PER_HOUR };
    for cell in cells().into_iter().filter(Cell::is_stationary) {
        let found = watch(&cell, fresh, size);
        println!("{cell}: {} alarms in {} months, {:?}", found.alarms, found.months, found.promises);
        let shares: f64 = found.promises.values().sum();
        assert!((shares - 1.0).abs() < 1e-9, "{cell}: {shares}");
        assert!(found.rate() <= 2.0, "{cell}: {found:?}");
    }
}

#[test]
fn faults_are_found_where_there_is_no_nuisance() {
    let size = Size { axes: rounds(12) as u32, months: 0.0, moves_per_hour: PER_HOUR };
    let cell = Cell { nuisance: Nuisance::None, shape: Shape::Normal(0.1), alike: 0.0 };
    for (fault, outcomes) in faults().iter().zip(find(&cell, fresh, size, &faults())) {
        let (found, after) = summary(&outcomes);
        println!("{fault:?}: found on {found}, after {after:?} s");
        if fault.size > 0.0 {
            assert_eq!(found, outcomes.len(), "{fault:?}: {outcomes:?}");
        } else {
            let promised = outcomes.len() as f64 * LIMIT / (3600.0 * 730.5);
            assert!(found as f64 <= 2.0 * promised, "{found}, {promised} promised");
        }
    }
}
