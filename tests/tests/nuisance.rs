//! What nuisances make of the shipped detector, for a short time. `--bench nuisance` watches 60 axes for three months.

use stillpoint_core::drift::{DriftConfig, DriftSettings};
use stillpoint_tests::nuisance::axes::{MONTH, Size};
use stillpoint_tests::nuisance::calendar::HOUR;
use stillpoint_tests::nuisance::cells::{Cell, stationary};
use stillpoint_tests::nuisance::detector::Shipped;
use stillpoint_tests::nuisance::find::{LIMIT, faults, find, summary};
use stillpoint_tests::nuisance::watch::watch;
use stillpoint_tests::rounds::rounds;

const PER_HOUR: u32 = 7200;

fn fresh(moves_per_hour: u32) -> Shipped {
    let config = DriftConfig { moves_per_hour, ..DriftConfig::at(1_000_000) };
    Shipped::new(DriftSettings::new(config).expect("a valid configuration"))
}

/// Four axis-months of each stationary cell.
#[test]
fn stationary_moves_give_no_more_alarms_than_twice_the_promise() {
    let size = Size { axes: rounds(8) as u32, months: 0.5, moves_per_hour: PER_HOUR };
    for cell in stationary() {
        let found = watch(&cell, fresh, size);
        println!("{cell}: {} alarms in {} months, {:?}", found.count(), found.months, found.moves);
        assert!(found.rate() <= 2.0, "{cell}: {found:?}");
    }
}

#[test]
fn faults_are_found_where_there_is_no_nuisance() {
    let size = Size { axes: rounds(12) as u32, months: 0.0, moves_per_hour: PER_HOUR };
    for (fault, outcomes) in faults().iter().zip(find(&Cell::PLAIN, fresh, size, &faults())) {
        let (found, after) = summary(&outcomes);
        println!("{fault:?}: found on {found}, after {after:?} s");
        if fault.size > 0.0 {
            assert_eq!(found, outcomes.len(), "{fault:?}: {outcomes:?}");
        } else {
            let promised = outcomes.len() as f64 * LIMIT / (HOUR * MONTH);
            assert!(found as f64 <= 2.0 * promised, "{found}, {promised} promised");
        }
    }
}
