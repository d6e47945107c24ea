//! In: moves and text. Out: what all pictures write alike: titles, remarks, the line of counts.

use super::canvas::{ASIDE, Anchor, Area, Canvas, TITLE};
use super::frame::{self, Frame};
use super::{PlottedMove, Sheet, names, scale, text_fit};
use crate::report::move_report::{MoveReport, definition_name};
use crate::report::{number, summary};

/// The title of one picture, over its frame.
pub(super) fn title(canvas: &mut Canvas, outer: Area, text: &str) {
    // Bold letters are wider than the estimate by about a seventh.
    let text = text_fit::shortened(text, TITLE.size * 1.14, outer.width - frame::RIGHT - 14.0);
    canvas.text((outer.left + 14.0, outer.top + 20.0), Anchor::Start, TITLE, &text);
}

/// A remark over the right end of a frame.
pub(super) fn aside_right(canvas: &mut Canvas, frame: &Frame, text: &str) {
    canvas.text((frame.area.right(), frame.area.top - 8.0), Anchor::End, ASIDE, text);
}

/// Letters of a name beside others.
const NAME: usize = 30;

/// The different ones in their order.
fn distinct<'a>(values: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut known = std::collections::HashSet::new();
    values.filter(|value| known.insert(*value)).map(str::to_owned).collect()
}

/// The recordings of moves, each with a short name by which it is told from the others: that of its axis, or of its file where
/// files have the same axis.
#[derive(Clone, Debug)]
pub(super) struct Sources {
    files: Vec<String>,
    /// What they are called.
    pub(super) names: Vec<String>,
}

impl Sources {
    pub(super) fn of<'a>(reports: impl Iterator<Item = &'a MoveReport> + Clone) -> Self {
        let files = distinct(reports.clone().map(|report| report.file.as_str()));
        let axes = distinct(reports.map(|report| report.axis.as_str()));
        let names = names::short(if axes.len() == files.len() { &axes } else { &files }, NAME);
        Self { files, names }
    }

    /// The place of the recording of a move.
    pub(super) fn place(&self, report: &MoveReport) -> usize {
        self.files.iter().position(|file| *file == report.file).unwrap_or(0)
    }
}

/// Points that are numbers and in order of time; nothing else may reach a picture.
pub(super) fn finite(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    points.iter().copied().filter(|(t, error)| t.is_finite() && error.is_finite()).collect()
}

/// The move of the first two pictures: the chosen one, else the slowest settled one, else the first.
pub(super) fn chosen<'a>(sheet: &'a Sheet<'a>) -> Option<&'a PlottedMove<'a>> {
    sheet.moves.get(place(sheet.moves.iter().map(|shown| shown.report), sheet.chosen)?)
}

/// What a move is called: by its number, and by its axis where there are several.
pub(super) fn name(sheet: &Sheet, report: &MoveReport) -> String {
    let axes = distinct(sheet.moves.iter().map(|shown| shown.report.axis.as_str()));
    match axes.iter().position(|axis| *axis == report.axis).filter(|_| axes.len() > 1) {
        Some(at) => format!("Move {} of {}", report.number, names::short(&axes, NAME)[at]),
        None => format!("Move {}", report.number),
    }
}

/// The place of that move in `reports`; none only when there are no moves.
pub(super) fn place<'a>(
    reports: impl ExactSizeIterator<Item = &'a MoveReport>,
    chosen: Option<usize>,
) -> Option<usize> {
    let count = reports.len();
    let settled =
        reports.enumerate().filter_map(|(at, report)| report.settling_s.map(|settling| (at, settling)));
    let slowest = settled.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(at, _)| at);
    chosen.filter(|at| *at < count).or(slowest).or((count > 0).then_some(0))
}

/// File, axis, definition and window of what is shown, then the moves by outcome.
pub(super) fn subject(reports: &[&MoveReport]) -> Vec<String> {
    if reports.is_empty() {
        return vec![summary::counts_text([])];
    }
    let settling = summary::settling_text(reports.iter().copied()).map(|text| format!("; {text}"));
    let files = several(reports, |report| report.file.clone());
    let axes = format!("axis {}", several(reports, |report| report.axis.clone()));
    // Where there are several, each list gets a line.
    let subject = match reports.iter().all(|report| report.file == reports[0].file) {
        true => vec![format!("{files} · {axes}")],
        false => vec![files, axes],
    };
    let more = [
        format!(
            "definition {} · position window ± {} · window time {}",
            several(reports, |report| definition_name(report.definition).to_owned()),
            several(reports, |report| length(report.window, &report.unit)),
            several(reports, |report| format!("{} ms", number::plain(1e3 * report.window_time_s)))
        ),
        format!("{}{}", summary::counts_text(reports.iter().copied()), settling.unwrap_or_default()),
    ];
    subject.into_iter().chain(more).collect()
}

/// The values of `of` that occur: by name up to three, then only how many more.
fn several(reports: &[&MoveReport], of: impl Fn(&MoveReport) -> String) -> String {
    let mut values: Vec<String> = Vec::new();
    let mut more = std::collections::HashSet::new();
    for value in reports.iter().map(|report| of(report)) {
        if values.contains(&value) {
            continue;
        }
        if values.len() < 3 { values.push(value) } else { _ = more.insert(value) }
    }
    if values.len() > 1 {
        values = names::short(&values, NAME);
    }
    let rest = if more.is_empty() { String::new() } else { format!(" and {} more", more.len()) };
    values.join(", ") + &rest
}

/// How one quantity of length is written in a picture.
pub(super) fn length(value: f64, unit: &str) -> String {
    format!("{} {unit}", scale::signed(number::plain(value)))
}
