//! In: trends as lines. Out: what got worse and what known causes explain, in a sentence each, and tables for people with one
//! row per kind: how it settles, how that goes on, what did not settle, and what it cost.

use jiff::tz::TimeZone;

use super::super::number::{fixed, plain};
use super::super::printable::printable;
use super::super::table::{Column, DASH, drawn, fitted};
use super::super::wall_time;
use super::{HOUR, LEAST_P, TrendLine};

/// Tables are at most this wide. Unit: characters
const WIDTH: usize = 80;
/// A kind slower than its baseline by less than this ratio gets no sentence.
const SLOWER: f64 = 1.1;
/// Nor if chance makes a trend like this more often, and no change is certain.
const CHANCE: f64 = 0.01;

/// Sentences and the tables, ending in a line break. Times are those of the zone.
pub fn table(lines: &[TrendLine], zone: &TimeZone) -> String {
    let has_limit = lines.iter().any(|line| !line.time_to_limit.is_empty());
    let tables =
        [Some(&SETTLING[..]), Some(&COURSE), Some(&UNSETTLED), Some(&COST), has_limit.then_some(&LIMIT)];
    let tables = tables.into_iter().flatten().map(|cells| format!("\n{}", shown(cells, lines, zone)));
    let times = format!("times in {}\n", wall_time::zone(zone));
    sentences(lines, zone) + &explained(lines) + &times + &tables.collect::<String>()
}

/// Which kinds got worse and why that is no chance.
fn sentences(lines: &[TrendLine], zone: &TimeZone) -> String {
    let found = slower(lines, zone) + &lines.iter().filter_map(failing).collect::<String>();
    match found.is_empty() {
        true => "nothing is certainly slower than its baseline by a tenth\n".to_owned(),
        false => found,
    }
}

/// What known causes explain: those of an axis once.
fn explained(lines: &[TrendLine]) -> String {
    let mut sentences: Vec<String> = Vec::new();
    for line in lines {
        let of_axis = line.explained.iter().map(|text| format!("{}, {text}\n", printable(&line.axis)));
        let new: Vec<String> = of_axis.filter(|sentence| !sentences.contains(sentence)).collect();
        sentences.extend(new);
    }
    sentences.concat()
}

/// Which kinds got slower, the worst first.
fn slower(lines: &[TrendLine], zone: &TimeZone) -> String {
    let ratio =
        |line: &TrendLine| line.last_s.unwrap_or(f64::INFINITY) / line.compared_s().unwrap_or(f64::NAN);
    let mut found: Vec<(&TrendLine, String)> = lines
        .iter()
        .filter(|line| ratio(line) > SLOWER)
        .map(|line| (line, reasons(line, zone).join(", ")))
        .filter(|(_, why)| !why.is_empty())
        .collect();
    found.sort_by(|a, b| ratio(b.0).total_cmp(&ratio(a.0)));
    let sentence = |(line, why): &(&TrendLine, String)| {
        let unit = if line.last_s.is_some() { " ms" } else { "" };
        let (now, baseline) = (now(line), ms(line.compared_s()));
        format!("slower: {}, {} {now}{unit}, baseline {baseline} ms ({why})\n", name(line), line.measure)
    };
    found.iter().map(sentence).collect()
}

/// A kind whose share of unsettled moves has risen.
fn failing(line: &TrendLine) -> Option<String> {
    line.unsettled_rose.filter(|rose| *rose)?;
    let percent = |share: Option<f64>| fixed(100.0 * share.unwrap_or(f64::NAN), 1);
    let (now, before) = (percent(line.unsettled_share_now), percent(line.unsettled_share_before));
    let p = probability(line.unsettled_exact_p);
    Some(format!("fails more often: {}, {now} % unsettled, before {before} % (p {p})\n", name(line)))
}

/// Axis and kind.
fn name(line: &TrendLine) -> String {
    format!("{} {}", printable(&line.axis), printable(&line.kind))
}

/// Evidence beyond chance that a kind got slower. The monitor dates its drift; the steps of the trend are found apart from it,
/// between intervals.
fn reasons(line: &TrendLine, zone: &TimeZone) -> Vec<String> {
    let since = line.drift_since_s.map(|since| format!(" since {}", minute(since, zone))).unwrap_or_default();
    let drift = line.drifts_up.filter(|drifts| *drifts).map(|_| format!("drift stands{since}"));
    let changed = line.slower_since_s.map(|since| format!("step up at {}", minute(since, zone)));
    let rises = line.slope_s_per_h.is_some_and(|slope| slope > 0.0);
    let p = line.mann_kendall_p.filter(|p| rises && *p < CHANCE);
    [drift, changed, p.map(|p| format!("rising, p {}", probability(Some(p))))].into_iter().flatten().collect()
}

/// The figure of the last interval, in ms.
fn now(line: &TrendLine) -> String {
    line.last_s.map_or("not settled".to_owned(), |last| fixed(1e3 * last, 1))
}

/// The same with its unit.
pub(crate) fn now_with_unit(line: &TrendLine) -> String {
    now(line) + if line.last_s.is_some() { " ms" } else { "" }
}

/// `2026-05-04 14:02`. Unit: s since 1970, UTC
pub(crate) fn minute(second: f64, zone: &TimeZone) -> String {
    // Beside no instant of its day.
    wall_time::minute((second * 1e6) as i64, i64::MIN, zone)
}

/// A time in ms.
pub(crate) fn ms(seconds: Option<f64>) -> String {
    seconds.map_or(DASH.to_owned(), |seconds| fixed(1e3 * seconds, 1))
}

/// Heading, when it is dropped for lack of width (0: never), and the cell of a line.
type Cells = (&'static str, u8, fn(&TrendLine, &TimeZone) -> String);

/// One table, as far as it fits.
fn shown(cells: &[Cells], lines: &[TrendLine], zone: &TimeZone) -> String {
    let column = |(at, (heading, spare, cell)): (usize, &Cells)| Column {
        heading: (*heading).to_owned(),
        spare: *spare,
        is_text: at < 2,
        cells: lines.iter().map(|line| cell(line, zone)).collect(),
    };
    let (mut columns, dropped) = fitted(cells.iter().enumerate().map(column).collect(), WIDTH);
    let note = format!("Too narrow for: {}\n", dropped.join(", "));
    drawn(&mut columns) + if dropped.is_empty() { "" } else { &note }
}

fn axis(line: &TrendLine) -> String {
    printable(&line.axis)
}

/// The number of the kind, as its description ends with it.
fn number(line: &TrendLine) -> String {
    let number =
        line.kind.rsplit_once("(kind ").map_or(line.kind.as_str(), |(_, end)| end.trim_end_matches(')'));
    printable(number)
}

/// The last interval beside the baseline of the statistic that is followed.
const SETTLING: [Cells; 6] = [
    ("axis", 0, |line, _| axis(line)),
    ("kind", 0, |line, _| printable(&line.kind)),
    ("mean\nms", 0, |line, _| ms(line.last_mean_s)),
    ("median\nms", 0, |line, _| ms(line.last_median_s)),
    ("p95\nms", 0, |line, _| ms(line.last_p95_s)),
    ("baseline\nms", 1, |line, _| compared(line)),
];

const COURSE: [Cells; 8] = [
    ("axis", 0, |line, _| axis(line)),
    ("kind", 0, |line, _| number(line)),
    ("of", 6, |line, _| line.measure.clone()),
    ("slope\nms/h", 0, |line, _| slope(line)),
    ("p", 2, |line, _| probability(line.mann_kendall_p)),
    ("since", 3, since),
    ("steps", 4, |line, _| line.change_points.len().to_string()),
    ("restarts", 5, |line, _| line.restarts.len().to_string()),
];

const UNSETTLED: [Cells; 8] = [
    ("axis", 0, |line, _| axis(line)),
    ("kind", 0, |line, _| number(line)),
    ("unsettled\n%", 0, |line, _| percent(line.unsettled_share)),
    ("before\n%", 0, |line, _| percent(line.unsettled_share_before)),
    ("now\n%", 0, |line, _| percent(line.unsettled_share_now)),
    ("p", 0, |line, _| probability(line.unsettled_exact_p)),
    ("intervals", 2, |line, _| line.intervals.to_string()),
    ("not\nsettled", 1, |line, _| line.not_settled_intervals.to_string()),
];

const COST: [Cells; 10] = [
    ("axis", 0, |line, _| axis(line)),
    ("kind", 0, |line, _| number(line)),
    ("moves", 0, |line, _| (line.moves + line.unsettled + line.interrupted).to_string()),
    ("counted\nfrom ms", 1, |line, _| ms(line.baseline_s)),
    ("of", 4, |line, _| line.baseline_from.clone()),
    ("lost s", 0, |line, _| bound(line, line.lost_against_baseline_s)),
    ("of it in\nwarm-up", 3, |line, _| whole(line.warm_up_lost_s)),
    ("against\nzero s", 2, |line, _| bound(line, Some(line.lost_s))),
    ("parts", 0, |line, _| whole(line.lost_against_baseline_parts)),
    ("parts\nof zero", 5, |line, _| whole(line.lost_parts)),
];

const LIMIT: [Cells; 4] = [
    ("axis", 0, |line, _| axis(line)),
    ("kind", 0, |line, _| number(line)),
    ("limit\nms", 0, |line, _| ms(line.limit_s)),
    ("reached", 0, limit),
];

/// The baseline of the statistic that is followed, with its name: `median 50.0`.
fn compared(line: &TrendLine) -> String {
    match line.compared_s() {
        Some(_) => format!("{} {}", line.measure, ms(line.compared_s())),
        None => DASH.to_owned(),
    }
}

/// Since when the drift stands; without one, when the first step came that stays. The year is in the sentences.
fn since(line: &TrendLine, zone: &TimeZone) -> String {
    let day = |second: f64| wall_time::day((second * 1e6) as i64, zone);
    let drift = line.drift_since_s.map(|since| format!("drift {}", day(since)));
    let step = || line.since_s.map(|since| format!("step {}", day(since)));
    drift.or_else(step).unwrap_or(DASH.to_owned())
}

/// Slope with its interval. Unit: ms per hour
pub(crate) fn slope(line: &TrendLine) -> String {
    if line.slope_s_per_h.is_none() {
        return if line.settles_now.is_none() { "too few intervals" } else { DASH }.to_owned();
    }
    let ends = [line.slope_s_per_h, line.slope_low_s_per_h, line.slope_high_s_per_h];
    let [middle, low, high] = ends.map(|s| s.map_or(DASH.to_owned(), |s| plain(1e3 * s)));
    format!("{middle} ({low} to {high})")
}

fn whole(value: Option<f64>) -> String {
    value.map_or(DASH.to_owned(), |value| fixed(value, 0))
}

/// Seconds, marked where they are a lower bound.
fn bound(line: &TrendLine, seconds: Option<f64>) -> String {
    let mark = if line.lost_at_least && seconds.is_some() { "≥ " } else { "" };
    format!("{mark}{}", whole(seconds))
}

fn percent(share: Option<f64>) -> String {
    share.map_or(DASH.to_owned(), |share| fixed(100.0 * share, 1))
}

fn probability(p: Option<f64>) -> String {
    p.map_or(DASH.to_owned(), |p| if p <= LEAST_P { "< 0.001".to_owned() } else { fixed(p, 3) })
}

/// Since when the figure is beyond the limit, or when it will be, in words.
pub(crate) fn limit(line: &TrendLine, zone: &TimeZone) -> String {
    if let Some(since) = line.beyond_since_s {
        let from = if since <= line.from_s { " or earlier" } else { "" };
        return format!("beyond since {}{from}{}", minute(since, zone), of_interval(line.interval_s));
    }
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

/// Beside the beginning of an interval: no instant within it is known. Unit: s
pub(crate) fn of_interval(length: f64) -> String {
    format!(" (interval of {})", duration(length))
}

/// Minutes, hours or days, whichever reads best.
pub(crate) fn duration(seconds: f64) -> String {
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

    #[track_caller]
    fn check(line: TrendLine, expected: &[&str]) {
        let text = table(&[line], &TimeZone::UTC);
        assert!(expected.iter().all(|part| text.contains(part)), "{expected:?} in {text}");
    }

    #[test]
    fn one_row_per_kind_and_open_ends_are_words() {
        check(line(), &["tray shuttle", "out, long", " median 50.0\n", " 59.", "< 0.001", " 12 "]);
        check(line(), &[" 1.5 ", " 1.2 ", " 2.9 "]);
        let since = Some(1_795_632_900.0);
        check(TrendLine { since_s: since, ..line() }, &["step 11-25 18:55"]);
        check(TrendLine { since_s: Some(0.0), drift_since_s: since, ..line() }, &["drift 11-25 18:55"]);
        let limit = |word: &str, earliest, likely, latest| TrendLine {
            time_to_limit: word.to_owned(),
            limit_earliest_s: earliest,
            limit_likely_s: likely,
            limit_latest_s: latest,
            ..line()
        };
        check(limit("not-before", Some(7200.0), None, None), &["not before 2.0 h"]);
        check(limit("between", Some(540.0), Some(900.0), Some(6e5)), &["in 9 min to 6.9 d, likely 15 min"]);
        check(limit("between", Some(0.0), None, Some(300.0)), &["within 5 min\n"]);
        check(limit("unknown", None, None, None), &["unknown\n"]);
        check(limit("unknown", Some(0.0), Some(900.0), None), &["any time, likely 15 min"]);
        let (beyond_since_s, interval_s) = (Some(1_795_632_900.0), 300.0);
        check(
            TrendLine { beyond_since_s, interval_s, ..line() },
            &["beyond since 2026-11-25 18:55 (interval of 5 min)\n"],
        );
        let from_s = 1_795_632_900.0;
        let words = "beyond since 2026-11-25 18:55 or earlier (interval of 5 min)\n";
        check(TrendLine { beyond_since_s, interval_s, from_s, ..line() }, &[words]);
        let time_to_limit = "reached".to_owned();
        check(TrendLine { last_s: None, time_to_limit, ..line() }, &["not settled", "already"]);
        check(TrendLine { settles_now: None, slope_s_per_h: None, ..line() }, &["too few intervals"]);
        check(TrendLine { axis: "\u{1b}[2J".to_owned(), ..TrendLine::default() }, &["\u{FFFD}[2J", "–"]);
        let empty = table(&[], &TimeZone::UTC);
        assert_eq!(empty.lines().count(), 2 + 4 * 3, "{empty}");
    }

    #[test]
    fn tables_fit_eighty_columns() {
        let kind = "-1234.5 mm at 12340 mm/s (kind 12)".to_owned();
        let axis = "gripper_turntable".to_owned();
        let wide = TrendLine { axis, kind, lost_against_baseline_parts: Some(1e6), ..line() };
        let drift_since_s = Some(1_795_632_900.0);
        let long = TrendLine { limit_latest_s: Some(6e6), drift_since_s, since_s: drift_since_s, ..line() };
        let text = table(&[wide, long], &TimeZone::UTC);
        let tables: Vec<&str> = text.lines().skip_while(|line| !line.is_empty()).collect();
        assert!(tables.iter().all(|line| line.chars().count() <= WIDTH), "{text}");
    }

    #[test]
    fn what_got_slower_comes_first_with_its_reasons() {
        check(
            line(),
            &[
                "slower: tray shuttle out, long, median 59.",
                " ms, baseline 50.0 ms (step up at 1970-01-01 ",
                "rising, p < 0.001)",
                "fails more often: tray shuttle out, long, 2.9 % unsettled, before 1.2 % (p < 0.001)",
            ],
        );
        let drifts = TrendLine { drifts_up: Some(true), ..TrendLine::default() };
        let of = |drift_since_s| TrendLine { baseline_median_s: Some(0.01), drift_since_s, ..drifts.clone() };
        check(of(None), &["not settled, baseline 10.0 ms (drift stands)"]);
        check(of(Some(1_795_632_900.0)), &["10.0 ms (drift stands since 2026-11-25 18:55)"]);
        check(
            TrendLine { last_s: Some(0.052), unsettled_rose: None, ..line() },
            &["nothing is certainly slower"],
        );
    }

    #[test]
    fn times_are_those_of_a_zone_that_is_named_once() {
        let zone = TimeZone::fixed(jiff::tz::offset(2));
        let since = Some(1_795_632_900.0);
        let text = table(&[TrendLine { slower_since_s: since, drift_since_s: since, ..line() }], &zone);
        let words = ["times in UTC+02\n", "step up at 2026-11-25 20:55", "drift 11-25 20:55"];
        assert_eq!(words.map(|words| text.matches(words).count()), [1; 3], "{text}");
    }

    #[test]
    fn what_causes_explain_is_printed_once_for_an_axis() {
        let explained = vec!["job 7: 4.5 % faster".to_owned()];
        let of = |axis: &str| TrendLine { axis: axis.to_owned(), explained: explained.clone(), ..line() };
        let text = table(&[of("tray"), of("tray"), of("dibble")], &TimeZone::UTC);
        let sentences = "\ntray, job 7: 4.5 % faster\ndibble, job 7: 4.5 % faster\n";
        assert_eq!((text.matches("job 7").count(), text.contains(sentences)), (2, true), "{text}");
    }

    #[test]
    fn columns_of_baselines_have_names_of_their_own() {
        let text = table(&[line()], &TimeZone::UTC);
        assert_eq!((text.matches("baseline\n").count(), text.matches(" counted").count()), (1, 1), "{text}");
    }

    #[test]
    fn each_statistic_is_compared_with_its_own() {
        let of = |measure: &str| TrendLine {
            measure: measure.to_owned(),
            last_s: Some(0.1),
            drifts_up: Some(true),
            baseline_mean_s: Some(0.05),
            baseline_median_s: Some(0.04),
            baseline_p95_s: Some(0.095),
            ..TrendLine::default()
        };
        check(of("mean"), &["mean 100.0 ms, baseline 50.0 ms"]);
        check(of("median"), &["median 100.0 ms, baseline 40.0 ms"]);
        check(of("p95"), &["nothing is certainly slower"]);
    }
}
