//! In: trends as lines. Out: which kinds got slower, in a sentence each, and two tables for people, one row per kind in
//! each: how settling goes on, and what it cost.

use comfy_table::{CellAlignment, Table, presets};
use jiff::Timestamp;

use super::super::number::{fixed, plain};
use super::super::printable::printable;
use super::{HOUR, TrendLine};

/// Stands for what is not known.
const DASH: &str = "–";

/// A kind slower than its baseline by less than this ratio gets no sentence.
const SLOWER: f64 = 1.1;
/// Nor if chance makes a trend like this more often, and no change is certain.
const CHANCE: f64 = 0.01;

/// Sentences and both tables, ending in a line break.
pub fn table(lines: &[TrendLine]) -> String {
    let rows = |cells: fn(&TrendLine) -> Vec<String>| lines.iter().map(cells).collect::<Vec<_>>();
    format!("{}\n{}\n{}", slower(lines), drawn(&SETTLING, rows(settling)), drawn(&COST, rows(cost)))
}

/// Which kinds got slower and why that is no chance, the worst first.
fn slower(lines: &[TrendLine]) -> String {
    let ratio = |line: &TrendLine| line.last_s.unwrap_or(f64::INFINITY) / line.baseline_s.unwrap_or(f64::NAN);
    let mut found: Vec<(&TrendLine, String)> = lines
        .iter()
        .filter(|line| ratio(line) > SLOWER)
        .map(|line| (line, reasons(line).join(", ")))
        .filter(|(_, why)| !why.is_empty())
        .collect();
    found.sort_by(|a, b| ratio(b.0).total_cmp(&ratio(a.0)));
    let sentence = |(line, why): &(&TrendLine, String)| {
        let unit = if line.last_s.is_some() { " ms" } else { "" };
        let baseline = fixed(1e3 * line.baseline_s.unwrap_or(f64::NAN), 1);
        let (axis, kind, now) = (printable(&line.axis), printable(&line.kind), now(line));
        format!("slower: {axis} {kind}, {} {now}{unit}, baseline {baseline} ms ({why})\n", line.measure)
    };
    match found.is_empty() {
        true => "nothing is certainly slower than its baseline by a tenth\n".to_owned(),
        false => found.iter().map(sentence).collect(),
    }
}

/// Evidence beyond chance that a kind got slower.
fn reasons(line: &TrendLine) -> Vec<String> {
    let drift = line.drifts_up.filter(|drifts| *drifts).map(|_| "drift stands".to_owned());
    let change = line.change_points.last().filter(|change| change.2 > change.1);
    let change = change.and_then(|change| Some(format!("changed {} UTC", minute(change.0)?)));
    let rises = line.slope_s_per_h.is_some_and(|slope| slope > 0.0);
    let p = line.mann_kendall_p.filter(|p| rises && *p < CHANCE);
    [drift, change, p.map(|p| format!("rising, p {}", probability(Some(p))))].into_iter().flatten().collect()
}

/// The figure of the last interval, in ms.
fn now(line: &TrendLine) -> String {
    line.last_s.map_or("not settled".to_owned(), |last| fixed(1e3 * last, 1))
}

/// The minute of an instant, UTC.
fn minute(second: f64) -> Option<String> {
    Some(Timestamp::from_second(second as i64).ok()?.strftime("%Y-%m-%d %H:%M").to_string())
}

fn drawn(headings: &[&str], rows: Vec<Vec<String>>) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(headings);
    rows.into_iter().for_each(|row| {
        table.add_row(row);
    });
    table.column_iter_mut().skip(2).for_each(|column| column.set_cell_alignment(CellAlignment::Right));
    table.lines().map(|line| line.trim_end().to_owned() + "\n").collect()
}

/// Headings of the first table.
const SETTLING: [&str; 12] = [
    "axis",
    "kind",
    "settling",
    "intervals",
    "now\nms",
    "slope\nms/h",
    "p",
    "changes,\nthe last (UTC)",
    "restarts",
    "limit\nreached",
    "unsettled\n%",
    "unsettled\np",
];

fn settling(line: &TrendLine) -> Vec<String> {
    let ms = |s: Option<f64>| s.map_or(DASH.to_owned(), |s| plain(1e3 * s));
    let none = if line.settles_now.is_none() { "too few intervals" } else { DASH };
    let slope = line.slope_s_per_h.map_or(none.to_owned(), |_| {
        let [middle, low, high] =
            [line.slope_s_per_h, line.slope_low_s_per_h, line.slope_high_s_per_h].map(ms);
        format!("{middle} ({low} to {high})")
    });
    vec![
        printable(&line.axis),
        printable(&line.kind),
        line.measure.clone(),
        line.intervals.to_string(),
        now(line),
        slope,
        probability(line.mann_kendall_p),
        changes(line),
        line.restarts.len().to_string(),
        limit(line),
        unsettled(line),
        probability(line.unsettled_p),
    ]
}

/// Headings of the second table.
const COST: [&str; 11] = [
    "axis",
    "kind",
    "moves",
    "warm-up\nintervals",
    "warm-up\np",
    "baseline\nms",
    "from",
    "lost against\nbaseline s",
    "of it in\nwarm-up s",
    "lost against\nzero s",
    "lost\nparts",
];

fn cost(line: &TrendLine) -> Vec<String> {
    let whole = |s: Option<f64>| s.map_or(DASH.to_owned(), |s| fixed(s, 0));
    let parts = match (line.lost_against_baseline_parts, line.lost_parts) {
        (None, None) => DASH.to_owned(),
        (against, zero) => format!("{} of {}", whole(against), whole(zero)),
    };
    vec![
        printable(&line.axis),
        printable(&line.kind),
        line.moves.to_string(),
        line.warm_up_intervals.to_string(),
        probability(line.warm_up_p),
        line.baseline_s.map_or(DASH.to_owned(), |s| fixed(1e3 * s, 1)),
        line.baseline_from.clone(),
        whole(line.lost_against_baseline_s),
        whole(line.warm_up_lost_s),
        whole(Some(line.lost_s)),
        parts,
    ]
}

fn probability(p: Option<f64>) -> String {
    p.map_or(DASH.to_owned(), |p| if p < 0.001 { "< 0.001".to_owned() } else { fixed(p, 3) })
}

/// How many changes of level or slope, and in which interval the last began.
fn changes(line: &TrendLine) -> String {
    let Some((at, ..)) = line.change_points.last() else { return "0".to_owned() };
    let count = line.change_points.len();
    minute(*at).map_or(count.to_string(), |minute| format!("{count}, {minute}"))
}

/// Moves that did not settle: all, and how their share went.
fn unsettled(line: &TrendLine) -> String {
    let percent = |share: f64| fixed(100.0 * share, 1);
    match (line.unsettled_share, line.unsettled_share_before, line.unsettled_share_now) {
        (None, ..) => DASH.to_owned(),
        (Some(share), Some(before), Some(now)) if line.unsettled > 0 => {
            format!("{} (was {}, now {})", percent(share), percent(before), percent(now))
        }
        (Some(share), ..) => percent(share),
    }
}

/// When the limit is reached, in words.
fn limit(line: &TrendLine) -> String {
    let time = |seconds: Option<f64>| seconds.map_or(DASH.to_owned(), duration);
    let (from, to) = (time(line.limit_earliest_s), time(line.limit_latest_s));
    let text = match line.time_to_limit.as_str() {
        "" => return DASH.to_owned(),
        "reached" => return "already".to_owned(),
        "between" if from == duration(0.0) => format!("within {to}"),
        "between" => format!("in {from} to {to}"),
        "not-before" => format!("not before {from}"),
        _ if line.limit_likely_s.is_some() => "any time".to_owned(),
        word => word.to_owned(),
    };
    line.limit_likely_s.map_or(text.clone(), |likely| format!("{text}, likely {}", duration(likely)))
}

/// Minutes, hours or days, whichever reads best.
fn duration(seconds: f64) -> String {
    match seconds {
        seconds if seconds < 30.0 => "now".to_owned(),
        seconds if seconds < 1.5 * HOUR => format!("{} min", fixed(seconds / 60.0, 0)),
        seconds if seconds < 48.0 * HOUR => format!("{} h", fixed(seconds / HOUR, 1)),
        seconds => format!("{} d", fixed(seconds / HOUR / 24.0, 1)),
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::line;
    use super::*;

    fn check(line: TrendLine, expected: &[&str]) {
        let text = table(&[line]);
        assert!(expected.iter().all(|part| text.contains(part)), "{expected:?} in {text}");
    }

    #[test]
    fn one_row_per_kind_and_open_ends_are_words() {
        check(line(), &["tray shuttle", "out, long", "median", " 59.", "< 0.001", " 12 ", "asked"]);
        check(line(), &[" 1.5 (was 0.0, now 2.9) "]);
        let change_points = vec![(1_795_600_000.0, 0.01, 0.02), (1_795_632_900.0, 0.02, 0.05)];
        check(TrendLine { change_points, ..line() }, &["2, 2026-11-25 18:55"]);
        let limit = |word: &str, earliest, likely, latest| TrendLine {
            time_to_limit: word.to_owned(),
            limit_earliest_s: earliest,
            limit_likely_s: likely,
            limit_latest_s: latest,
            ..line()
        };
        check(limit("not-before", Some(7200.0), None, None), &["not before 2.0 h"]);
        check(limit("between", Some(540.0), Some(900.0), Some(6e5)), &["in 9 min to 6.9 d, likely 15 min"]);
        check(limit("between", Some(0.0), Some(0.0), Some(300.0)), &["within 5 min, likely now"]);
        check(limit("unknown", None, None, None), &["unknown "]);
        check(limit("unknown", Some(0.0), Some(900.0), None), &["any time, likely 15 min"]);
        let time_to_limit = "reached".to_owned();
        check(TrendLine { last_s: None, time_to_limit, ..line() }, &["not settled", "already"]);
        check(TrendLine { settles_now: None, slope_s_per_h: None, ..line() }, &["too few intervals"]);
        check(TrendLine { axis: "\u{1b}[2J".to_owned(), ..TrendLine::default() }, &["\u{FFFD}[2J", "–"]);
        assert_eq!(table(&[]).lines().count(), 1 + 1 + 2 + 1 + 2);
    }

    #[test]
    fn what_got_slower_comes_first_with_its_reasons() {
        check(
            line(),
            &[
                "slower: tray shuttle out, long, median 59.",
                " ms, baseline 50.0 ms (changed 1970-01-01 ",
                "rising, p < 0.001)",
            ],
        );
        let drifts = TrendLine { drifts_up: Some(true), ..TrendLine::default() };
        check(
            TrendLine { baseline_s: Some(0.01), ..drifts },
            &["not settled, baseline 10.0 ms (drift stands)"],
        );
        check(TrendLine { last_s: Some(0.052), ..line() }, &["nothing is certainly slower"]);
    }
}
