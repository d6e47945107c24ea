//! In: a shift. Out: the page of it, from which its text is made too.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::{Arguments, AxisSettings, Shift, counts};
use crate::page::about;
use crate::page::model::{Block, Column, Page, Row, Sign, Stamp, Table};
use crate::plot::lanes::{self, Lane};
use crate::report::glance::{Glance, State};
use crate::report::move_report::MoveReport;
use crate::report::number::{fixed, milliseconds, plain, plain_to};
use crate::report::table::DASH;
use crate::report::trend::TrendLine;
use crate::report::trend::table::{duration, of_interval};
use crate::report::wall_time;
use crate::store::alarms::AlarmLine;
use crate::store::holes::HoleLine;
use crate::store::journal_entries::Entry;
use crate::store::time;

/// Width of a picture. Unit: pixel
const WIDTH: f64 = 900.0;

/// The page; times are those of the zone.
pub(super) fn page(arguments: &Arguments, shift: &Shift, zone: &TimeZone) -> Page {
    let made = about::instant(Timestamp::now(), zone);
    let mut page = Page {
        about: "Stillpoint, report of a shift".to_owned(),
        heading: period(shift, zone),
        verdict: Some(Stamp {
            sign: Sign::Plain,
            heading: answer(shift, zone),
            text: [
                Some(format!("{}. Times are in {}.", counts(&shift.axes), wall_time::zone(zone))),
                shift.caution.map(str::to_owned),
            ]
            .into_iter()
            .flatten()
            .collect(),
        }),
        blocks: vec![Block::Table(axes(&shift.axes, zone))],
        foot: about::foot(&made),
    };
    let mut add =
        |heading: &str, block: Block| page.blocks.extend([Block::Heading(heading.to_owned()), block]);
    add("What changed", changes(shift, zone));
    add("Alarms", alarms(shift, zone));
    add("Drifts", list(super::super::alarms::stories(&shift.drifts, zone), "No drift stood."));
    add("Explained by known causes", list(shift.explained.lines().map(str::to_owned).collect(), "Nothing."));
    add("Each kind of moves, and its cost", Block::Table(kinds(&shift.kinds)));
    add("What was not seen", holes(&shift.holes, zone));
    add("Settings in force", Block::Table(settings(shift)));
    add("Where this comes from", Block::Facts(facts(arguments, &made)));
    page
}

/// The same with a picture, lines to sign on, and what a person must know who works by it.
pub(super) fn to_hand_over(arguments: &Arguments, shift: &Shift, zone: &TimeZone) -> Page {
    let mut page = page(arguments, shift, zone);
    page.blocks.splice(
        1..1,
        lanes::drawn(&shift.axes.iter().map(lane).collect::<Vec<Lane>>(), WIDTH).map(Block::Picture),
    );
    let lines = ["Handed over by, date", "Taken over by, date"].map(str::to_owned).to_vec();
    page.blocks.extend([Block::Heading("Signatures".to_owned()), Block::Lines(lines)]);
    about::safety(&mut page);
    page
}

/// An axis as it is drawn.
fn lane(glance: &Glance) -> Lane {
    Lane {
        name: glance.axis.clone(),
        state: glance.state.word().to_owned(),
        needs_action: glance.state.needs_action(),
        measure: glance.measure.clone(),
        now_s: glance.now_s,
        normal_s: glance.normal_s,
        limit_s: glance.limit_s,
    }
}

fn facts(arguments: &Arguments, made: &str) -> Vec<(String, String)> {
    let facts = [
        ("Store", arguments.within.store.display().to_string()),
        ("Read with", about::program()),
        ("Page made", made.to_owned()),
    ];
    facts.map(|(name, value)| (name.to_owned(), value)).to_vec()
}

fn list(texts: Vec<String>, none: &str) -> Block {
    if texts.is_empty() { Block::Text(none.to_owned()) } else { Block::List(texts) }
}

/// An instant that the store has written, in the zone.
fn local(at: &str, zone: &TimeZone) -> String {
    time::parse("at", at, 0).map_or_else(|_| at.to_owned(), |at| wall_time::second(at, zone))
}

fn period(shift: &Shift, zone: &TimeZone) -> String {
    let end = |at: &Option<String>| at.as_ref().map(|at| local(at, zone));
    match (end(&shift.since), end(&shift.until)) {
        (Some(since), Some(until)) => format!("{since} to {until}"),
        (Some(since), None) => format!("From {since} on"),
        (None, Some(until)) => format!("Until {until}"),
        (None, None) => "All that the store holds".to_owned(),
    }
}

/// Unit: s
fn ms(seconds: Option<f64>) -> String {
    seconds.map_or(DASH.to_owned(), |seconds| fixed(1e3 * seconds, 1))
}

/// Unit: s since 1970, UTC
fn minute(second: f64, zone: &TimeZone) -> String {
    wall_time::day((second * 1e6) as i64, zone)
}

/// The worst axis in a sentence.
fn answer(shift: &Shift, zone: &TimeZone) -> String {
    let Some(worst) = shift.axes.first() else { return "The store holds no moves".to_owned() };
    if !worst.state.needs_action() {
        return match shift.axes.iter().all(|glance| glance.state == State::Steady) {
            true => "Every axis is steady".to_owned(),
            false => "Nothing needs action, but not every axis can be judged".to_owned(),
        };
    }
    // Beside no instant of its day, so that the date is whole.
    let since = |since| wall_time::minute((since * 1e6) as i64, i64::MIN, zone);
    let interval = worst.since_interval_s.map_or(String::new(), of_interval);
    let since = worst.since_s.map_or(String::new(), |at: f64| format!(" since {}{interval}", since(at)));
    let now = match worst.now_s {
        Some(_) => format!("{} {} ms", worst.measure, ms(worst.now_s)),
        None => "half or more do not settle".to_owned(),
    };
    let limit = worst.limit_s.map_or(String::new(), |_| format!(", limit {} ms", ms(worst.limit_s)));
    let others = shift.axes.iter().skip(1).filter(|glance| glance.state.needs_action()).count();
    let others = match others {
        0 => String::new(),
        1 => "; one more axis needs action".to_owned(),
        others => format!("; {others} more axes need action"),
    };
    let state = worst.state.word();
    format!("{} is {state}{since}: {now}, normal {} ms{limit}{others}", worst.axis, ms(worst.normal_s))
}

/// Each axis in a row, the worst first.
fn axes(axes: &[Glance], zone: &TimeZone) -> Table {
    let row = |glance: &Glance| Row {
        cells: vec![
            glance.axis.clone(),
            glance.state.word().to_owned(),
            glance.since_s.map_or(DASH.to_owned(), |since| minute(since, zone)),
            now(&glance.measure, glance.now_s),
            ms(glance.normal_s),
            ms(glance.limit_s),
            lost(glance.lost_s, glance.lost_at_least),
            format!("{} of {}", glance.unsettled, glance.moves),
        ],
        remark: glance.to_s.map_or(String::new(), |to| {
            let late = glance.since_interval_s.map_or(String::new(), |length| {
                format!("; since: some time in the {} from then", duration(length))
            });
            format!("by its worst kind, {}; now: the interval until {}{late}", glance.kind, minute(to, zone))
        }),
        is_bold: glance.state.needs_action(),
    };
    let columns = vec![
        Column::text("axis"),
        Column::text("state"),
        Column::text("since"),
        Column::number("now ms"),
        Column::number("normal ms"),
        Column::number("limit ms"),
        Column::number("lost s"),
        Column::number("unsettled"),
    ];
    let measures = axes.iter().map(|glance| glance.measure.as_str());
    let caption = format!(
        "{} Normal is the baseline; lost are seconds against it, ≥ where some moves did not settle. – is not known.",
        statistic(measures)
    );
    Table { caption, columns, rows: axes.iter().map(row).collect() }
}

/// How a kind settles now, with the name of the statistic: `median 41.2`. Unit: s
fn now(measure: &str, seconds: Option<f64>) -> String {
    seconds.map_or(DASH.to_owned(), |_| format!("{measure} {}", ms(seconds)))
}

/// Which statistic `now` and `normal` are, and why not the same one in all rows.
fn statistic<'a>(measures: impl Iterator<Item = &'a str>) -> &'static str {
    let mut means: Vec<bool> =
        measures.filter(|measure| !measure.is_empty()).map(|measure| measure == "mean").collect();
    means.sort_unstable();
    means.dedup();
    match means[..] {
        [true] => {
            "Now and normal are means of the moves that settled: hardly any move settles near the median."
        }
        [false, true] => {
            "Now and normal are medians, unsettled moves as the latest; but means of the moves that settled where hardly any \
             move settles near the median: don't compare one with the other."
        }
        _ => "Now and normal are medians, unsettled moves as the latest.",
    }
}

/// Unit: s
fn lost(seconds: Option<f64>, at_least: bool) -> String {
    let mark = if at_least { "≥ " } else { "" };
    seconds.map_or(DASH.to_owned(), |seconds| format!("{mark}{}", fixed(seconds, 0)))
}

/// The journal in sentences.
fn changes(shift: &Shift, zone: &TimeZone) -> Block {
    let sentence = |entry: &Entry| {
        let axis = entry.axis.map_or(String::new(), |number| format!(", {}", axis_name(shift, number)));
        // The monitor writes its settings as the program has them; they stand below in the words of people.
        let text = match entry.what == "settings" && entry.text.starts_with("in force: ") {
            true => "came into force".to_owned(),
            false => entry.text.clone(),
        };
        format!("{}, {}{axis}, {}: {text}", local(&entry.at, zone), entry.who, entry.what)
    };
    let mut sentences: Vec<String> = Vec::new();
    for sentence in shift.changes.iter().map(sentence) {
        // A monitor that is identified again sends its settings again.
        if !sentences.contains(&sentence) {
            sentences.push(sentence);
        }
    }
    list(sentences, "Nothing was written down.")
}

/// The name of an axis of the first monitor that has this number.
fn axis_name(shift: &Shift, number: u8) -> String {
    let known = shift.settings.iter().find(|known| known.axis_number == number);
    known.map_or(format!("axis {number}"), |known| known.axis.clone())
}

fn alarms(shift: &Shift, zone: &TimeZone) -> Block {
    let row = |(alarm, stop): (&AlarmLine, &Option<MoveReport>)| Row {
        cells: vec![
            local(&alarm.at, zone),
            alarm.axis.clone(),
            alarm.alarm.to_string(),
            alarm.subject.clone(),
            alarm.state.clone(),
            alarm.priority.unwrap_or(DASH).to_owned(),
            alarm.who.clone().unwrap_or(DASH.to_owned()),
        ],
        remark: evidence(alarm, stop.as_ref()),
        is_bold: alarm.next.is_some(),
    };
    let rows: Vec<Row> = shift.alarms.iter().zip(&shift.evidence).map(row).collect();
    if rows.is_empty() {
        return Block::Text("No alarms.".to_owned());
    }
    let columns = ["at", "axis"].map(Column::text).into_iter().chain([Column::number("no.")]);
    let columns = columns.chain(["subject", "state", "priority", "who"].map(Column::text)).collect();
    let caption =
        "A row for each step in the life of an alarm; bold: somebody must do something yet.".to_owned();
    Block::Table(Table { caption, columns, rows })
}

/// The stop that raised an alarm, or the last one of many that did, and what to do next.
fn evidence(alarm: &AlarmLine, stop: Option<&MoveReport>) -> String {
    let stop = stop.map(|report| {
        let outcome = match report.settling_s {
            Some(settling) => format!("settled in {} ms", milliseconds(settling, report.settling_u_s)),
            None => report.outcome.word().to_owned(),
        };
        let reason = if report.reason.is_empty() { String::new() } else { format!(", {}", report.reason) };
        // The sums of a drift and the evidence of a share grow over many moves.
        let raised = match alarm.subject.as_str() {
            "drift" | "settling limit" | "unsettled limit" => "raised by many moves, the last of them move",
            _ => "raised by move",
        };
        format!("{raised} {}: {outcome}{reason}", report.number)
    });
    let next = alarm
        .next
        .as_ref()
        .map(|next| format!("next: stillpoint device SOURCE {next} --store PATH --who NAME"));
    [stop, next].into_iter().flatten().collect::<Vec<String>>().join("; ")
}

fn kinds(lines: &[TrendLine]) -> Table {
    let row = |line: &TrendLine| Row {
        cells: vec![
            line.axis.clone(),
            line.kind.clone(),
            now(&line.measure, line.last_s),
            ms(line.compared_s()),
            lost(line.lost_against_baseline_s, line.lost_at_least),
            (line.moves + line.unsettled + line.interrupted).to_string(),
            line.unsettled_share.map_or(DASH.to_owned(), |share| format!("{} %", fixed(100.0 * share, 1))),
        ],
        remark: String::new(),
        is_bold: false,
    };
    let mut columns = ["axis", "kind of move"].map(Column::text).to_vec();
    columns.extend(["now ms", "normal ms", "lost s", "moves", "unsettled"].map(Column::number));
    let caption = statistic(lines.iter().map(|line| line.measure.as_str())).to_owned();
    Table { caption, columns, rows: lines.iter().map(row).collect() }
}

fn holes(holes: &[HoleLine], zone: &TimeZone) -> Block {
    if holes.is_empty() {
        return Block::Text(
            "Nothing is known to be missing: the monitor reported no missing samples or frames, and in every 5 min there was a \
             move between the first and the last."
                .to_owned(),
        );
    }
    let row = |hole: &HoleLine| {
        let count = hole.count.map(|count| format!("{count} {} missing", hole.what));
        let length = hole.length_s.map(|length| format!("no move for {} min", plain(length as f64 / 60.0)));
        let axis = if hole.axis.is_empty() { "the monitor" } else { &hole.axis };
        let cause = if hole.cause.is_empty() { DASH } else { &hole.cause };
        Row {
            cells: vec![
                wall_time::second(hole.at, zone),
                axis.to_owned(),
                count.or(length).unwrap_or_default(),
                cause.to_owned(),
            ],
            remark: String::new(),
            is_bold: false,
        }
    };
    let columns = ["at", "axis", "what", "cause"].map(Column::text).to_vec();
    let caption = "Where there was no move, the axis stood or was not heard.".to_owned();
    Block::Table(Table { caption, columns, rows: holes.iter().map(row).collect() })
}

fn settings(shift: &Shift) -> Table {
    let row = |known: &AxisSettings| {
        let settings = &known.in_force;
        let limit = settings.limit_s.map_or(DASH.to_owned(), |(limit, kind)| {
            let of = if kind == 0 { String::new() } else { format!(", kind {kind}") };
            format!("{}{of}", ms(Some(limit)))
        });
        let inferred = if settings.is_inferred { "the command end is inferred from feedback" } else { "" };
        Row {
            cells: vec![
                known.axis.clone(),
                format!("± {} {}", plain_to(settings.window, 4), known.unit),
                ms(Some(settings.window_time_s)),
                ms(Some(settings.rest_time_s)),
                settings.definition.to_owned(),
                limit,
                settings
                    .unsettled_limit
                    .map_or(DASH.to_owned(), |share| format!("{} %", plain(100.0 * share))),
                settings.false_alarms.map_or("default".to_owned(), plain),
            ],
            remark: inferred.to_owned(),
            is_bold: false,
        }
    };
    let mut columns = vec![Column::text("axis"), Column::text("window")];
    columns.extend(["window time ms", "rest time ms"].map(Column::number));
    columns.push(Column::text("definition"));
    columns.extend(["monitor's limit ms", "unsettled at most", "false alarms a month"].map(Column::number));
    Table { caption: String::new(), columns, rows: shift.settings.iter().map(row).collect() }
}
