//! Costs against a ledger made by hand of the same moves: `ledger.csv`, whose comments hold the sums.

use stillpoint_core::wire::drift::Kind;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, Outcome, flag};

use super::frames::Start;
use super::trend::lines;
use super::*;

const LEDGER: &str = include_str!("ledger.csv");

/// Figures of a comment that starts with `=`: those of one kind.
fn sums() -> Vec<Vec<f64>> {
    let figures = |line: &str| line.split_whitespace().map(|word| word.parse().expect("a figure")).collect();
    LEDGER.lines().filter_map(|line| Some(figures(line.strip_prefix("# =")?))).collect()
}

/// A row as the record of a monitor.
fn record(row: &csv::StringRecord) -> Move {
    let number = |place: usize| row[place].parse::<f64>().unwrap_or(0.0);
    let (outcome, flags) = match &row[3] {
        "settled" => (Outcome::Settled, flag::SETTLING),
        "unsettled" => (Outcome::Unsettled, 0),
        "interrupted" => (Outcome::Interrupted, 0),
        "untrusted" => (Outcome::Untrusted, 0),
        other => panic!("outcome {other}"),
    };
    Move {
        number: number(0) as u32,
        kind: number(1) as u32,
        start: (number(2) * 1e6) as u64 - 200_000,
        duration: 200_000,
        outcome,
        flags,
        travel: if number(1) == 1.0 { 60_000 } else { -60_000 },
        settling: (number(4) * 1e3).round() as u32,
        held: (number(5) * 1e3).round() as u64,
        ..Move::default()
    }
}

#[test]
fn costs_are_those_of_a_ledger_made_by_hand() {
    let place = Scratch::new("ledger");
    let mut start = Start::new(1);
    for (kind, forward) in [(1, true), (2, false)] {
        start.send(&Message::Kind(Kind { kind, forward, distance: 60_000, ..Kind::default() }));
    }
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(LEDGER.as_bytes());
    reader.records().for_each(|row| start.send(&Message::Move(record(&row.expect("a row")))));
    let mut log = place.log(&Options::default());
    // The monitor starts at the beginning of an interval.
    log.push(&start.bytes, BEGIN);
    log.finish().expect("room");
    let found = lines(&place.text(), &["--baseline-ms", "20"]);
    assert_eq!(found.len(), sums().len());
    for (line, sum) in found.iter().zip(sums()) {
        let names =
            ["moves", "unsettled", "interrupted", "lost_s", "lost_against_baseline_s", "lost_rests_s"];
        for (name, expected) in names.iter().zip(&sum[1..]) {
            let figure = line[name].as_f64().unwrap_or_else(|| panic!("{name} in {line}"));
            // To the microsecond, where the bar is a millisecond.
            assert!((figure - expected).abs() < 1e-6, "kind {}, {name}: {figure}, not {expected}", sum[0]);
        }
        assert_eq!(line["lost_at_least"], true);
    }
    let table = String::from_utf8(trend::trend(&place.text(), &[]).stdout).expect("UTF-8");
    assert!(table.contains('≥'), "{table}");
}
