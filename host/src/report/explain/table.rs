//! In: why stops are slow. Out: text for people: the answer, then each kind with its evidence and levers.

use jiff::tz::TimeZone;

use super::kind::{KindLine, ShareLine};
use super::offset::{KindOffsetLine, OffsetLine};
use super::{AxisLine, Explained, NoteLine};
use crate::report::number::{self, plain};
use crate::report::printable::printable;
use crate::report::table::{Column, drawn, fitted};
use crate::report::wall_time;

/// What the ranges are.
const NOTE: &str = "In brackets and from … to: 95 % intervals, in which the median or the share of all such moves lies; single \
    moves scatter more widely. A median without one is of too few moves, of equal ones, or of moves that follow each other \
    too closely.";
/// Blanks before what follows a heading.
const INDENT: usize = 2;
/// Widest word before a sentence, with its colon and blank.
const LABEL: usize = 11;

/// The text; `width` in characters limits its lines. Times are those of the zone.
pub fn table(explained: &Explained, width: usize, zone: &TimeZone) -> String {
    if explained.axes.is_empty() {
        return "No moves were found\n".to_owned();
    }
    let mut text = explained.axes.iter().map(|axis| of_axis(axis, width, zone) + "\n").collect::<String>();
    text += &hanging("", NOTE, (0, width));
    text += &hanging("Caution: ", explained.caution, (0, width));
    text
}

fn of_axis(axis: &AxisLine, width: usize, zone: &TimeZone) -> String {
    let (window, time) = (number::plain_to(axis.window, 6), plain(1e3 * axis.window_time_s));
    let mut text = hanging("", &printable(&answer(axis)), (0, width));
    let mut measured = format!("window ± {window} {} for {time} ms, {}", axis.unit, axis.definition);
    measured += &note("not counted, as settling is not known", axis.omitted);
    if !axis.omitted_reason.is_empty() {
        measured += &format!(" (mostly: {})", axis.omitted_reason);
    }
    measured += &note("left out, as measured with another window", axis.measured_otherwise);
    text += &hanging("", &printable(&measured), (0, width));
    if let Some(note) = axis.note.as_ref().filter(|note| note.left_out > 0) {
        text += &hanging("", &printable(&since(note, zone)), (0, width));
    }
    for kind in &axis.kinds {
        text += "\n";
        text += &of_kind(kind, width);
    }
    if !axis.swings.is_empty() {
        text += &("\n".to_owned() + &hanging("Swings: ", &printable(&axis.swings), (0, width)));
    }
    text + "\n" + &of_offset(&axis.offset, &axis.unit, width)
}

/// Since when, and how to see what was before.
fn since(note: &NoteLine, zone: &TimeZone) -> String {
    let (at, moves) = (wall_time::second(note.at, zone), number::count(note.left_out, "move"));
    let (text, zone) = (&note.text, wall_time::zone(zone));
    format!(
        "since the note \"{text}\" of {at} ({zone}); left out before it: {moves}, which --until with that time explains"
    )
}

fn note(what: &str, moves: usize) -> String {
    if moves == 0 { String::new() } else { format!("; {what}: {}", number::count(moves, "move")) }
}

/// The answer in a sentence: what is wrong with the kind that settles last.
pub fn answer(axis: &AxisLine) -> String {
    let settling = |kind: &&KindLine| kind.median_settling_s.unwrap_or(f64::INFINITY);
    let name = &axis.axis;
    let Some(slowest) = axis.kinds.iter().rev().max_by(|a, b| settling(a).total_cmp(&settling(b))) else {
        return format!("{name}: no move says anything of settling");
    };
    let KindLine { kind, prevails, .. } = slowest;
    let slow = if axis.kinds.len() == 1 { "" } else { "the slowest kind, " };
    let beside = slowest.causes.iter().find(|cause| cause.signature != *prevails);
    let cause = match (*prevails, beside) {
        ("clean", Some(cause)) => {
            format!("mostly clean, but {} of {} moves {}", cause.stops, slowest.moves, cause.signature)
        }
        ("clean", None) => "settles within 10 ms: nothing to gain".to_owned(),
        ("mixed", _) => "no signature prevails".to_owned(),
        ("too few moves", _) => "too few moves to say why".to_owned(),
        ("unsure", _) => "no rule says why".to_owned(),
        (signature, _) => format!("{signature} prevails"),
    };
    format!("{name}: {slow}{kind}: {cause}")
}

fn of_kind(kind: &KindLine, width: usize) -> String {
    let mut text = printable(&kind.kind) + ": " + kind.prevails + "\n";
    let line = |label: &str, sentence: &str| {
        let label = if label.is_empty() { String::new() } else { format!("{:LABEL$}", format!("{label}: ")) };
        if sentence.is_empty() {
            String::new()
        } else {
            hanging(&label, &printable(sentence), (INDENT, width))
        }
    };
    text += &line("", &counted(kind));
    text += &line("", &signatures(kind));
    if let Some(needed) = kind.moves_needed {
        text += &line("", &format!("{needed} moves alike would show which signature prevails"));
    }
    if !kind.window_too_small.is_empty() {
        let too_small = format!("too small: {}; enlarge it, or measure more finely", kind.window_too_small);
        text += &line("Window", &too_small);
    }
    for cause in &kind.causes {
        text += &line("Evidence", &cause.evidence);
        text += &line("Lever", &cause.lever);
        text += &line("Second", &cause.second);
        text += &line("Trade-off", &cause.trade_off);
    }
    text + &line("Frequency", &frequency(kind))
}

/// The frequency, where one was found in any stop.
fn frequency(kind: &KindLine) -> String {
    let is_ringing = kind.signatures.iter().any(|share| share.signature == "ringing");
    match &kind.frequency {
        Some(trend) => trend.words(),
        None if is_ringing => format!("no trend: {}", kind.frequency_refused),
        None => String::new(),
    }
}

/// `43 moves, median settling 62.0 ms, 2 unsettled (5 %; 1 to 16 %)`.
fn counted(kind: &KindLine) -> String {
    let median = match kind.median_settling_s {
        Some(median) => format!("median settling {} ms", number::fixed(1e3 * median, 1)),
        None => "no median: half or more do not settle".to_owned(),
    };
    let share = percent(kind.unsettled as f64 / kind.moves as f64);
    let (moves, range) = (number::count(kind.moves, "move"), range(kind.unsettled_95));
    format!("{moves}, {median}, {} unsettled ({share} %; {range})", kind.unsettled)
}

/// `ringing 41 (95 %; 84 to 99 %), lag 2 (5 %; 1 to 16 %)`.
fn signatures(kind: &KindLine) -> String {
    let line = |share: &ShareLine| {
        let range = range(share.share_95);
        format!("{} {} ({} %; {range})", share.signature, share.stops, percent(share.share))
    };
    match kind.signatures.is_empty() {
        true => "no signature is known".to_owned(),
        false => kind.signatures.iter().map(line).collect::<Vec<_>>().join(", "),
    }
}

fn percent(share: f64) -> String {
    number::plain_to(100.0 * share, 2)
}

fn range([low, high]: [f64; 2]) -> String {
    format!("{} to {} %", percent(low), percent(high))
}

/// The rest errors of the kinds, and what they show.
fn of_offset(offset: &OffsetLine, unit: &str, width: usize) -> String {
    let mut text = "Rest errors by direction and position".to_owned();
    if offset.places > 0 {
        let (moves, places) = (number::count(offset.moves, "move"), number::count(offset.places, "place"));
        text += &format!(": {moves} to {places}");
    }
    text += "\n";
    if !offset.kinds.is_empty() {
        text += &rest_errors(&offset.kinds, unit, width);
    }
    for sentence in offset.finding.split("; ").filter(|sentence| !sentence.is_empty()) {
        text += &hanging("Shown: ", &printable(sentence), (INDENT, width));
    }
    if !offset.refused.is_empty() {
        text += &hanging("Not stated: ", &printable(&offset.refused), (INDENT, width));
    }
    text
}

fn rest_errors(kinds: &[KindOffsetLine], unit: &str, width: usize) -> String {
    let unit = printable(unit);
    let column = |heading: String, is_text: bool, cell: &dyn Fn(&KindOffsetLine) -> String| Column {
        heading,
        spare: 0,
        is_text,
        cells: kinds.iter().map(cell).collect(),
    };
    let ends = |kind: &KindOffsetLine| {
        kind.rest_error_95.map_or("–".to_owned(), |[low, high]| {
            format!("{} to {}", number::plain_to(low, 3), number::plain_to(high, 3))
        })
    };
    let columns = vec![
        column("kind".to_owned(), true, &|kind| printable(&kind.kind)),
        column("moves".to_owned(), false, &|kind| kind.moves.to_string()),
        column(format!("rest error\n{unit}"), false, &|kind| number::plain_to(kind.rest_error, 3)),
        column(format!("from … to\n{unit}"), false, &ends),
    ];
    let (mut columns, _) = fitted(columns, width);
    drawn(&mut columns)
}

/// A sentence in lines of at most `width`, a word at the least; those after the first stand below its beginning.
fn hanging(label: &str, sentence: &str, (indent, width): (usize, usize)) -> String {
    let left = indent + label.chars().count();
    let mut text = " ".repeat(indent) + label;
    let mut column = left;
    for (at, word) in sentence.split_whitespace().enumerate() {
        let length = word.chars().count();
        if at > 0 && column + 1 + length > width {
            text += &format!("\n{}", " ".repeat(left));
            column = left;
        } else if at > 0 {
            text += " ";
            column += 1;
        }
        text += word;
        column += length;
    }
    text + "\n"
}
