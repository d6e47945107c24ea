//! In: a comparison. Out: text for people: the answer, each kind between each two groups, and what other windows would show.

use super::curves::KindCurves;
use super::{Compared, GroupLine, PairLine};
use crate::report::number;
use crate::report::printable::printable;
use crate::report::table::{Column, drawn, fitted};

/// Most letters of a group's name as a heading; a longer one goes by its number.
const LONGEST_HEADING: usize = 14;

/// What the text says of the measurement.
#[derive(Clone, Debug)]
pub struct Heading {
    /// The window with its unit, and its window time: `± 0.05 mm for 10 ms`.
    pub window: String,
    /// Name of the definition of settling.
    pub definition: String,
    /// Name of the unit of position.
    pub unit: String,
}

/// The comparison as text. `width` in characters limits its tables.
pub fn table(compared: &Compared, curves: &[KindCurves], heading: &Heading, width: usize) -> String {
    let mut text = answer(compared, heading) + "\n\n";
    text += &groups(&compared.groups);
    text += &format!("window {}, {}\n", printable(&heading.window), heading.definition);
    let mut last = None;
    for pair in &compared.pairs {
        let names = (&pair.before, &pair.after);
        if last != Some(names) {
            text += &format!("\n{} → {}\n", printable(&pair.before), printable(&pair.after));
        }
        last = Some(names);
        text += &kind(pair);
    }
    for curves in curves {
        text += &windows(curves, &compared.groups, heading, width);
    }
    text
}

/// The answer in a sentence: of the kind with most moves.
pub fn answer(compared: &Compared, heading: &Heading) -> String {
    let Some(pair) = compared.pairs.iter().rev().max_by_key(|pair| pair.n_before.min(pair.n_after)) else {
        return "No moves were found".to_owned();
    };
    let (before, after) = (printable(&pair.before), printable(&pair.after));
    let at = format!("at {}", heading.window);
    let time = match (pair.shift_s, pair.shift_95_s) {
        (Some(shift), Some(ends)) => {
            format!(" by {} ({})", ms(shift.abs()), interval(sizes(shift, ends), pair.confidence))
        }
        _ => String::new(),
    };
    match pair.verdict {
        "faster" | "slower" => format!("{after} is {} than {before} {at}{time}", pair.verdict),
        verdict => format!("{before} and {after} {at}: {verdict}"),
    }
}

pub(super) fn groups(groups: &[GroupLine]) -> String {
    let line = |(number, group): (usize, &GroupLine)| {
        let omitted = match group.omitted {
            0 => String::new(),
            omitted => format!(", {}", say_nothing(omitted)),
        };
        let note = group.note.as_ref().map_or(String::new(), |note| format!("; {note}"));
        let count = moves(group.moves);
        printable(&format!("{}  {}: {count}{omitted}{note}", number + 1, group.name)) + "\n"
    };
    groups.iter().enumerate().map(line).collect()
}

/// `1 more says nothing of settling`.
pub(crate) fn say_nothing(moves: usize) -> String {
    format!("{moves} more {} nothing of settling", if moves == 1 { "says" } else { "say" })
}

/// A median in milliseconds, or why there is none.
pub(crate) fn middle(median: Option<f64>, moves: usize) -> String {
    match (median, moves) {
        (Some(median), _) => number::fixed(1e3 * median, 1),
        (None, 0) => "none".to_owned(),
        (None, _) => "unsettled".to_owned(),
    }
}

/// One kind between two groups.
fn kind(pair: &PairLine) -> String {
    let mut text = format!("  {}: {}\n", printable(&pair.kind), pair.verdict);
    text += &format!(
        "    median {} → {} ms; moves {} → {}, unsettled {} → {}\n",
        middle(pair.median_before_s, pair.n_before),
        middle(pair.median_after_s, pair.n_after),
        pair.n_before,
        pair.n_after,
        pair.unsettled_before,
        pair.unsettled_after
    );
    if let Some(ends) = pair.shift_95_s {
        let shift = pair.shift_s.map_or("not a number: one side is unsettled".to_owned(), ms);
        text += &format!("    median difference {shift}, {}\n", interval(ends, pair.confidence));
    }
    if !pair.reason.is_empty() {
        text += &format!("    {}\n", printable(&pair.reason));
    }
    text
}

/// The ends of an interval as sizes of a shift, where both ends have its sign.
pub(super) fn sizes(shift: f64, [low, high]: [Option<f64>; 2]) -> [Option<f64>; 2] {
    let turned = |end: Option<f64>| end.map(|end| -end);
    if shift < 0.0 { [turned(high), turned(low)] } else { [low, high] }
}

/// `95 % sure: -55.0 to -51.2 ms`.
pub(crate) fn interval([low, high]: [Option<f64>; 2], confidence: f64) -> String {
    let sure = format!("{} % sure:", number::plain(100.0 * confidence));
    match (low, high) {
        (Some(low), Some(high)) => {
            format!("{sure} {} to {} ms", number::fixed(1e3 * low, 1), number::fixed(1e3 * high, 1))
        }
        (Some(low), None) => format!("{sure} more than {}", ms(low)),
        (None, Some(high)) => format!("{sure} less than {}", ms(high)),
        (None, None) => "no end of its interval is known".to_owned(),
    }
}

fn moves(count: usize) -> String {
    number::count(count, "move")
}

fn ms(seconds: f64) -> String {
    format!("{} ms", number::fixed(1e3 * seconds, 1))
}

/// Medians of all groups for other windows; the smallest is marked.
fn windows(curves: &KindCurves, groups: &[GroupLine], heading: &Heading, width: usize) -> String {
    if curves.windows.is_empty() {
        return String::new();
    }
    let window = Column {
        heading: format!("window\n± {}", printable(&heading.unit)),
        spare: 0,
        is_text: false,
        cells: curves.windows.iter().map(|window| number::plain(*window)).collect(),
    };
    let column = |(at, (count, spreads)): (usize, &(usize, Vec<_>))| Column {
        heading: format!("{}\n{}", name(groups, at), moves(*count)),
        spare: at as u8,
        is_text: false,
        cells: (0..curves.windows.len()).map(|place| cell(curves, spreads, (at, place))).collect(),
    };
    let columns = std::iter::once(window).chain(curves.groups.iter().enumerate().map(column)).collect();
    let (mut columns, dropped) = fitted(columns, width);
    let by = if heading.definition == "last-entry" { "" } else { " by last entry" };
    let mut text =
        format!("\n{}, other windows{by}: median ms, * the shortest (not tested)\n", printable(&curves.kind));
    text += &drawn(&mut columns);
    if !dropped.is_empty() {
        text += &format!("Too narrow for: {}\n", dropped.join(", "));
    }
    text
}

fn cell(
    curves: &KindCurves,
    spreads: &[Option<crate::analysis::stop_curves::Spread>],
    (at, place): (usize, usize),
) -> String {
    let Some(spread) = spreads.get(place).copied().flatten() else { return "–".to_owned() };
    if spread.middle.is_infinite() {
        return "unsettled".to_owned();
    }
    let mark = if curves.best(place) == Some(at) { "*" } else { " " };
    number::fixed(1e3 * spread.middle, 1) + mark
}

/// The name of a group, or its number where that is too long for a heading.
fn name(groups: &[GroupLine], at: usize) -> String {
    let name = printable(&groups[at].name);
    if name.chars().count() <= LONGEST_HEADING { name } else { format!("no. {}", at + 1) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_move_says_nothing_and_two_say_nothing() {
        let words = [1, 2].map(say_nothing);
        assert_eq!(words, ["1 more says nothing of settling", "2 more say nothing of settling"]);
    }
}
