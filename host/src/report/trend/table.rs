//! In: trends as lines. Out: a table for people, one row per kind.

use comfy_table::{CellAlignment, Table, presets};

use super::super::number::{fixed, plain};
use super::super::printable::printable;
use super::{HOUR, TrendLine};

/// Stands for what is not known.
const DASH: &str = "–";

/// The table, ending in a line break.
pub fn table(lines: &[TrendLine]) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(HEADINGS);
    for line in lines {
        table.add_row(cells(line));
    }
    table.column_iter_mut().skip(3).for_each(|column| column.set_cell_alignment(CellAlignment::Right));
    table.lines().map(|line| line.trim_end().to_owned() + "\n").collect()
}

/// Headings of the table.
const HEADINGS: [&str; 10] = [
    "axis",
    "kind",
    "settling",
    "intervals",
    "now\nms",
    "slope\nms/h",
    "p",
    "changes",
    "limit in\nh",
    "lost against\nbaseline s",
];

/// One row of the table.
fn cells(line: &TrendLine) -> [String; 10] {
    let ms = |s: Option<f64>| s.map_or(DASH.to_owned(), |s| plain(1e3 * s));
    let slope = line.slope_s_per_h.map_or(DASH.to_owned(), |_| {
        let [middle, low, high] =
            [line.slope_s_per_h, line.slope_low_s_per_h, line.slope_high_s_per_h].map(ms);
        format!("{middle} ({low} to {high})")
    });
    [
        printable(&line.axis),
        printable(&line.kind),
        line.measure.clone(),
        line.intervals.to_string(),
        line.level_s.map_or(DASH.to_owned(), |level| fixed(1e3 * level, 1)),
        slope,
        line.mann_kendall_p
            .map_or(DASH.to_owned(), |p| if p < 0.001 { "< 0.001".to_owned() } else { fixed(p, 3) }),
        line.change_points.len().to_string(),
        limit(line),
        line.lost_against_baseline_s.map_or(DASH.to_owned(), |s| fixed(s, 0)),
    ]
}

/// When the limit is reached, in words.
fn limit(line: &TrendLine) -> String {
    let hours = |seconds: Option<f64>| seconds.map_or(DASH.to_owned(), |s| fixed(s / HOUR, 1));
    let (from, to) = (hours(line.limit_earliest_s), hours(line.limit_latest_s));
    match line.time_to_limit.as_str() {
        "" => DASH.to_owned(),
        "between" => format!("{from} to {to}"),
        "not-before" => format!("not before {from}"),
        word => word.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::line;
    use super::*;

    #[test]
    fn one_row_per_kind_and_open_ends_are_said() {
        let check = |line: TrendLine, expected: &[&str]| {
            let text = table(&[line]);
            let row = text.lines().last().unwrap();
            assert!(expected.iter().all(|part| row.contains(part)), "{text}");
        };
        check(line(), &["tray shuttle", "out, long", "median", " 60.0 ", "< 0.001", " 12"]);
        let open = TrendLine { time_to_limit: "not-before".to_owned(), limit_latest_s: None, ..line() };
        check(open, &["not before 2.0"]);
        check(TrendLine { axis: "\u{1b}[2J".to_owned(), ..TrendLine::default() }, &["\u{FFFD}[2J", "–"]);
        assert_eq!(table(&[]).lines().count(), 2);
    }
}
