//! In: moves and text. Out: what all pictures say in the same way: titles, asides, the line of counts.

use super::canvas::{ASIDE, Anchor, Area, Canvas, TITLE};
use super::frame::{self, Frame};
use super::{Sheet, Shown, scale, words};
use crate::report::line::MoveLine;
use crate::report::{number, summary};

/// The title of one picture, over its frame.
pub(super) fn title(canvas: &mut Canvas, outer: Area, text: &str) {
    // Bold letters are wider than the estimate by about a seventh.
    let text = words::shortened(text, TITLE.size * 1.14, outer.width - frame::RIGHT - 14.0);
    canvas.text((outer.left + 14.0, outer.top + 20.0), Anchor::Start, TITLE, &text);
}

/// A remark over the right end of a frame.
pub(super) fn aside_right(canvas: &mut Canvas, frame: &Frame, text: &str) {
    canvas.text((frame.area.right(), frame.area.top - 8.0), Anchor::End, ASIDE, text);
}

/// Points that are numbers and in order of time; nothing else may reach a picture.
pub(super) fn finite(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    points.iter().copied().filter(|(t, error)| t.is_finite() && error.is_finite()).collect()
}

/// The move of the first two pictures: the chosen one, else the slowest settled one, else the first.
pub(super) fn chosen<'a>(sheet: &'a Sheet<'a>) -> Option<&'a Shown<'a>> {
    sheet.moves.get(place(sheet.moves.iter().map(|shown| shown.line), sheet.chosen)?)
}

/// What a move is called: by its number, and by its axis where there are several.
pub(super) fn name(sheet: &Sheet, line: &MoveLine) -> String {
    let is_only_axis = sheet.moves.iter().all(|shown| shown.line.axis == line.axis);
    if is_only_axis {
        format!("Move {}", line.number)
    } else {
        format!("Move {} of {}", line.number, line.axis)
    }
}

/// The place of that move in `lines`; none only when there are no lines.
pub(super) fn place<'a>(
    lines: impl ExactSizeIterator<Item = &'a MoveLine>,
    chosen: Option<usize>,
) -> Option<usize> {
    let count = lines.len();
    let settled = lines.enumerate().filter_map(|(at, line)| line.settling_s.map(|settling| (at, settling)));
    let slowest = settled.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(at, _)| at);
    chosen.filter(|at| *at < count).or(slowest).or((count > 0).then_some(0))
}

/// File, axis, definition and window of what is shown, then the moves by outcome.
pub(super) fn subject(lines: &[&MoveLine]) -> Vec<String> {
    if lines.is_empty() {
        return vec![summary::counts_text([])];
    }
    let settling = summary::settling_text(lines.iter().copied()).map(|text| format!("; {text}"));
    vec![
        format!("{} · axis {}", several(lines, |l| l.file.clone()), several(lines, |l| l.axis.clone())),
        format!(
            "definition {} · position window ± {} · window time {}",
            several(lines, |l| l.definition.clone()),
            several(lines, |l| length(l.window, &l.unit)),
            several(lines, |l| format!("{} ms", number::plain(1e3 * l.window_time_s)))
        ),
        format!("{}{}", summary::counts_text(lines.iter().copied()), settling.unwrap_or_default()),
    ]
}

/// The values of `of` that occur: by name up to three, then only how many more.
fn several(lines: &[&MoveLine], of: impl Fn(&MoveLine) -> String) -> String {
    let mut values: Vec<String> = Vec::new();
    let mut more = std::collections::HashSet::new();
    for value in lines.iter().map(|line| of(line)) {
        if values.contains(&value) {
            continue;
        }
        if values.len() < 3 { values.push(value) } else { _ = more.insert(value) }
    }
    let rest = if more.is_empty() { String::new() } else { format!(" and {} more", more.len()) };
    values.join(", ") + &rest
}

/// How one quantity of length is written in a picture.
pub(super) fn length(value: f64, unit: &str) -> String {
    format!("{} {unit}", scale::signed(number::plain(value)))
}
