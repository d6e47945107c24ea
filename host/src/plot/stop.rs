//! In: one move and its samples. Out: the picture of its stop: error against time from command end.

use stillpoint_core::Definition;

use super::canvas::{ASIDE, Anchor, Area, Canvas, INK, LABEL, QUIET, Stroke};
use super::frame::{self, Frame};
use super::scale::{self, Scale};
use super::{PlottedMove, caption, strips, text_fit, thin};
use crate::report::move_report::{MoveReport, definition_name};
use crate::report::number;

/// Largest part of the scale, in windows, that an error before the rest may claim. Beyond, the window
/// would be too thin to read; the error is cut there, and the label names it.
const MOST_WINDOWS: f64 = 8.0;
/// Fill of the position window: light enough for the line, dark enough for a grey print.
const BAND: &str = "#dbe9f4";
const BAND_EDGE: Stroke = Stroke::solid("#5a86ad", 1.0);
const ERROR: Stroke = Stroke::solid("#0b4f83", 1.6);
/// Where samples are missing.
const MISSING: Stroke = Stroke::solid(QUIET, 1.4).dashed("2 4");
const COMMAND_END: Stroke = Stroke::solid(INK, 1.4);
const LAST_ENTRY: Stroke = Stroke::solid("#9a3d00", 1.6).dashed("8 4");
const CONFIRMATION: Stroke = Stroke::solid("#5b3a8c", 1.6).dashed("2 3");
/// Rows of labels above the frame, and the title above them. Unit: pixel
const ABOVE: f64 = 88.0;

/// Draws the stop of one move into `outer`.
pub(super) fn draw(canvas: &mut Canvas, outer: Area, shown: &PlottedMove, name: &str) {
    let report = shown.report;
    caption::title(canvas, outer, &heading(report, name));
    let below = strips::height(&shown.samples.strips);
    let area = frame::inner(Area { height: outer.height - below, ..outer }, ABOVE);
    let points = caption::finite(&shown.samples.points);
    let span = span(report, &points);
    let seen: Vec<(f64, f64)> = points.iter().copied().filter(|p| p.0 >= span.0 && p.0 <= span.1).collect();
    if seen.is_empty() {
        return frame::empty(
            canvas,
            area,
            "No samples of this move were recorded, so its stop cannot be drawn.",
        );
    }
    let (low, high) = range((report.window, report.travel), &seen);
    let (factor, unit) = scale::time_unit(span.1.max(-span.0));
    let frame =
        Frame { area, x: Scale::linear(span.0 * factor, span.1 * factor), y: Scale::linear(low, high) };
    let path: Vec<(f64, f64)> = seen.iter().map(|(t, error)| (t * factor, *error)).collect();
    let gaps: Vec<(f64, f64)> =
        shown.samples.gaps.iter().map(|(from, to)| (from * factor, to * factor)).collect();
    band(canvas, &frame, report.window);
    frame.grid(canvas);
    band_edges(canvas, &frame, report.window);
    canvas.clipped(area, |canvas| error(canvas, &frame, &path, &gaps));
    leaving(canvas, &frame, &path);
    let time = format!("time from command end ({unit}){}", cut(report, &seen, low, high));
    frame.outline(canvas);
    frame.y_edge(canvas, &format!("command − feedback ({})", report.unit));
    marks(canvas, &frame, report, factor);
    if shown.samples.strips.is_empty() {
        return frame.x_edge(canvas, &frame.x_ticks(), &time);
    }
    let marks = instants(report, factor);
    let time = strips::Time { scale: frame.x, factor, gaps: &gaps, marks: &marks, label: &time };
    strips::draw(canvas, area, &shown.samples.strips, time);
}

/// The title of the picture; `name` is that of the move.
pub(super) fn heading(report: &MoveReport, name: &str) -> String {
    let travel = scale::signed(number::plain(report.travel));
    let outcome = match report.settling_s {
        Some(settling) => {
            let by = match report.definition {
                Definition::LastEntry => String::new(),
                other => format!(" by {}", definition_name(other)),
            };
            format!("settled in {} ms{by}", number::milliseconds(settling, report.settling_u_s))
        }
        None if report.reason.is_empty() => report.outcome.word().to_owned(),
        None => format!("{}, {}", report.outcome.word(), report.reason),
    };
    format!("{name}, {travel} {}: {outcome}", report.unit)
}

/// The time shown, from command end: enough after the confirmation to see that it holds, and a quarter
/// of that before command end; without a confirmation everything that was recorded. Unit: s
fn span(report: &MoveReport, points: &[(f64, f64)]) -> (f64, f64) {
    let (first, last) = match (points.first(), points.last()) {
        (Some(first), Some(last)) => (first.0, last.0),
        _ => return (0.0, 1.0),
    };
    let settled = report.settling_s.map(|s| report.confirmation_s.unwrap_or(s).max(s));
    let last = last.max(first + 1e-6);
    let end = match settled.filter(|end| end.is_finite()) {
        // A stop that is inside at once still gets room for some of its rest.
        Some(end) => (1.4 * end).max(end + 2.0 * report.window_time_s).max(0.02).min(last),
        None => last,
    };
    let end = if end > 0.0 { end } else { last };
    ((-0.25 * end.abs()).max(first), end)
}

/// The errors shown: the window with some room, and of the error up to [`MOST_WINDOWS`] or what it
/// still is in the last third, so that an offset or a hunting axis stays in the picture. The overshoot, an
/// error after command end against the direction of `travel`, is never cut.
fn range((window, travel): (f64, f64), seen: &[(f64, f64)]) -> (f64, f64) {
    let end = seen.last().map_or(0.0, |point| point.0);
    let after = |from: f64| seen.iter().filter(move |point| point.0 >= from).map(|point| point.1);
    let largest = |values: &mut dyn Iterator<Item = f64>| values.fold(0.0, |m: f64, e| m.max(e.abs()));
    let window = if window > 0.0 && window.is_finite() { window } else { largest(&mut after(0.0)) };
    let limit = (MOST_WINDOWS * window).max(1.15 * largest(&mut after(end * 2.0 / 3.0)));
    let low = after(0.0).fold(-1.6 * window, |m, e| m.min(1.1 * e));
    let high = after(0.0).fold(1.6 * window, |m, e| m.max(1.1 * e));
    let (low, high) = match travel {
        travel if travel > 0.0 => (low, high.min(limit)),
        travel if travel < 0.0 => (low.max(-limit), high),
        _ => (low.max(-limit), high.min(limit)),
    };
    // However far the error is off, the window has a little room on both sides.
    let room = 0.06 * (high - low);
    if room > 0.0 { (low.min(-room), high.max(room)) } else { (-1.0, 1.0) }
}

/// Top and bottom of the window in pixels; none without a window.
fn reach(frame: &Frame, window: f64) -> Option<(f64, f64)> {
    let is_usable = window > 0.0 && window.is_finite();
    // A window far below the error still shows as a hairline.
    let middle = frame.y(0.0);
    let half = (middle - frame.y(window)).max(0.75);
    let (top, bottom) = ((middle - half).max(frame.area.top), (middle + half).min(frame.area.bottom()));
    is_usable.then_some((top, bottom))
}

/// The window as an area, under the grid.
fn band(canvas: &mut Canvas, frame: &Frame, window: f64) {
    let Some((top, bottom)) = reach(frame, window) else { return };
    let (left, right) = (frame.area.left, frame.area.right());
    canvas.shape(&[(left, top), (right, top), (right, bottom), (left, bottom)], BAND);
}

/// The edges of the window, over the grid.
fn band_edges(canvas: &mut Canvas, frame: &Frame, window: f64) {
    let Some((top, bottom)) = reach(frame, window) else { return };
    for y in [top, bottom] {
        canvas.line((frame.area.left, y), (frame.area.right(), y), BAND_EDGE);
    }
}

/// The error as a line; where samples are missing it is dotted, and labelled if there is room.
fn error(canvas: &mut Canvas, frame: &Frame, path: &[(f64, f64)], gaps: &[(f64, f64)]) {
    let runs = thin::runs(path, gaps);
    for run in &runs {
        canvas.path(&frame.all(run), ERROR);
    }
    for pair in runs.windows(2) {
        let (Some(before), Some(after)) = (pair[0].last(), pair[1].first()) else { continue };
        let ends = frame.all(&[*before, *after]);
        canvas.path(&ends, MISSING);
        if ends[1].0 - ends[0].0 > text_fit::width("gap", ASIDE.size) {
            let middle = (ends[0].0 + ends[1].0) / 2.0;
            canvas.text((middle, frame.area.bottom() - 14.0), Anchor::Middle, ASIDE, "gap");
        }
    }
}

/// Small arrows at the edge where the line leaves the frame, one for each excursion.
fn leaving(canvas: &mut Canvas, frame: &Frame, path: &[(f64, f64)]) {
    let (low, high) = frame.y.ends();
    for run in path.chunk_by(|a, b| (a.1 > high, a.1 < low) == (b.1 > high, b.1 < low)) {
        let (Some(first), Some(last)) = (run.first(), run.last()) else { continue };
        let x = (frame.x(first.0) + frame.x(last.0)) / 2.0;
        if first.1 > high {
            let y = frame.area.top;
            canvas.shape(&[(x - 4.5, y + 8.0), (x + 4.5, y + 8.0), (x, y + 1.0)], ERROR.colour);
        } else if first.1 < low {
            let y = frame.area.bottom();
            canvas.shape(&[(x - 4.5, y - 8.0), (x + 4.5, y - 8.0), (x, y - 1.0)], ERROR.colour);
        }
    }
}

/// How far the error reaches beyond the frame, as a remark; empty when it does not.
fn cut(report: &MoveReport, seen: &[(f64, f64)], low: f64, high: f64) -> String {
    let outside = seen.iter().map(|point| point.1).filter(|error| *error > high || *error < low);
    let largest = outside.fold(0.0, |m: f64, e| if e.abs() > f64::abs(m) { e } else { m });
    if largest == 0.0 {
        return String::new();
    }
    format!("; error cut, it reaches {}", caption::length(largest, &report.unit))
}

/// What is marked in the strips as well. Unit: that of the time axis
fn instants(report: &MoveReport, factor: f64) -> Vec<(f64, Stroke)> {
    let settling = report.last_entry_s().0.map(|at| (at, LAST_ENTRY));
    let confirmation = report.confirmation_s.map(|at| (at, CONFIRMATION));
    let all = [Some((0.0, COMMAND_END)), settling, confirmation].into_iter().flatten();
    all.filter(|(at, _)| at.is_finite()).map(|(at, stroke)| (at * factor, stroke)).collect()
}

fn marks(canvas: &mut Canvas, frame: &Frame, report: &MoveReport, factor: f64) {
    frame::mark(canvas, frame, (0.0, 2, Anchor::Start), COMMAND_END, "command end");
    window_name(canvas, frame, report);
    let (settling, uncertainty) = report.last_entry_s();
    let Some(settling) = settling.filter(|s| s.is_finite()) else {
        return caption::aside_right(canvas, frame, "no last entry to mark");
    };
    let entry = format!("last entry {} ms", number::milliseconds(settling, uncertainty));
    let Some(confirmation) = report.confirmation_s.filter(|s| s.is_finite()) else {
        let side = frame::side(frame, settling * factor, &entry);
        return frame::mark(canvas, frame, (settling * factor, 0, side), LAST_ENTRY, &entry);
    };
    let confirmed =
        format!("confirmation {} ms", number::milliseconds_beside(confirmation, report.settling_u_s));
    // Both labels on one side, the line nearer to them in the lower row: no line crosses a label.
    let sides = [(settling, &entry), (confirmation, &confirmed)]
        .map(|(t, text)| frame::side(frame, t * factor, text));
    let (side, entry_row) = if sides.contains(&Anchor::End) { (Anchor::End, 0) } else { (Anchor::Start, 1) };
    frame::mark(canvas, frame, (settling * factor, entry_row, side), LAST_ENTRY, &entry);
    frame::mark(canvas, frame, (confirmation * factor, 1 - entry_row, side), CONFIRMATION, &confirmed);
}

/// A sample of the band and its width, in the row of command end, whose own label stands at the left.
fn window_name(canvas: &mut Canvas, frame: &Frame, report: &MoveReport) {
    if !(report.window > 0.0 && report.window.is_finite()) {
        return;
    }
    let text = format!("window ± {}", caption::length(report.window, &report.unit));
    let text = text_fit::shortened(&text, LABEL.size, frame.area.width / 2.0);
    let (right, y) = (frame.area.right(), frame.area.top - 44.0);
    canvas.text((right, y), Anchor::End, LABEL, &text);
    let right = right - text_fit::width(&text, LABEL.size) - 6.0;
    let (left, top, bottom) = (right - 26.0, y - 11.0, y + 2.0);
    canvas.shape(&[(left, top), (right, top), (right, bottom), (left, bottom)], BAND);
    for y in [top, bottom] {
        canvas.line((left, y), (right, y), BAND_EDGE);
    }
}
