//! Weeks of a machine that works, wears and fails, in a store: it opens, is printed, and costs what an independent sum says.
//!
//! `tests/long year_store` makes a year of it.

use std::path::PathBuf;
use std::time::Instant;

use stillpoint::analysis::cost::Baseline;
use stillpoint::analysis::trend::TrendOptions;
use stillpoint::cmd::trend::Query;
use stillpoint::report::trend::{TrendLine, table};
use stillpoint::store::{Options, Store};
use stillpoint_tests::rounds::{rounds, seed};
use stillpoint_tests::shift::stock::{Size, Stock};
use stillpoint_tests::shift::year::{Span, moves};
use stillpoint_tests::stored::{AllSums, store_of};

/// Reference of the costs, shorter than any mean and any rest. Unit: s
const REFERENCE: f64 = 0.001;

/// A store in the folder for temporary files, removed when the test ends.
struct Place(PathBuf);

impl Place {
    fn new(name: &str) -> Place {
        let place = Place(std::env::temp_dir().join(format!("stillpoint-{}-{name}", std::process::id())));
        place.remove();
        place
    }

    fn remove(&self) {
        ["", "-wal", "-shm"].iter().for_each(|ending| {
            std::fs::remove_file(format!("{}{ending}", self.0.display())).ok();
        });
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        self.remove();
    }
}

/// The trend of every kind, as the command makes it.
fn trends(store: &Store, span: i64) -> Vec<TrendLine> {
    let options =
        TrendOptions { baselines: vec![Baseline::given(REFERENCE)], ..TrendOptions::new(span as f64) };
    let query = Query { store, axis: None, kind: None, within: (i64::MIN, i64::MAX), span, options };
    let found = query.lines().expect("a store");
    assert_eq!(found.too_short, 0);
    found.lines
}

/// Every kind against its sum.
fn check(lines: &[TrendLine], stocks: &[Stock], sums: &AllSums) {
    assert_eq!(lines.len(), sums.len());
    for ((axis, kind), sum) in sums {
        let known = &stocks[*axis].known;
        let named = |line: &&TrendLine| {
            line.axis == known.name
                && (line.kind.ends_with(&format!("(kind {kind})")) || *kind == 0 && line.kind == "none")
        };
        let line = lines.iter().find(named).unwrap_or_else(|| panic!("{} kind {kind}", known.name));
        assert_eq!([line.moves, line.unsettled, line.interrupted], sum.moves, "{} kind {kind}", known.name);
        let seconds = |ticks: u64| ticks as f64 / f64::from(known.settings.ticks_per_second);
        let (settling, rests) = (seconds(sum.settling), seconds(sum.rests));
        let against = settling - REFERENCE * sum.moves[0] as f64 + rests;
        let found = [Some(line.lost_s), Some(line.lost_rests_s), line.lost_against_baseline_s];
        for (found, expected) in found.into_iter().zip([settling + rests, rests, against]) {
            // To the millisecond.
            assert!(
                found.is_some_and(|found| (found - expected).abs() < 5e-4),
                "{found:?}, not {expected}: {line:?}"
            );
        }
    }
}

#[test]
fn weeks_in_a_store_open_are_printed_and_cost_what_they_cost() {
    let (place, weeks) = (Place::new("weeks"), rounds(1) as u32);
    let span = Span { days: 7 * weeks, pace: 20.0 };
    let stocks = Stock::all(Size { sound: 40, worn: 40, ages: 2 });
    let worked =
        moves(&stocks, span, seed(1), Some(0)).map(|(axis, worked)| (axis, worked.job, worked.record));
    let axes: Vec<_> = stocks.iter().map(|stock| stock.known.clone()).collect();
    let begun = Instant::now();
    let (store, sums) = store_of(&place.0, &axes, worked);
    let all: u64 = sums.values().flat_map(|sum| sum.moves).sum();
    println!("{weeks} weeks, {all} moves, logged in {:.0} s", begun.elapsed().as_secs_f64());
    drop(store);
    let store = Store::open(&place.0, &Options::default()).expect("it opens");
    for interval in [300, 3600, 86_400] {
        let begun = Instant::now();
        let lines = trends(&store, interval);
        println!("trend by {interval} s in {:.2} s", begun.elapsed().as_secs_f64());
        check(&lines, &stocks, &sums);
        let text = table::table(&lines, &jiff::tz::TimeZone::UTC);
        assert!(text.lines().filter(|line| line.contains(stocks[0].known.name)).count() >= 8, "{text}");
        println!("{text}");
    }
    let failed: u64 = sums.values().map(|sum| sum.moves[1] + sum.moves[2]).sum();
    assert!(failed > 0, "moves failed, or their costs were not checked");
}
