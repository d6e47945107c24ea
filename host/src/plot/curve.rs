//! In: one move. Out: the picture of its settling curve: settling time against window.

use super::canvas::{ASIDE, Anchor, Area, Canvas, QUIET, Stroke};
use super::frame::{self, Frame};
use super::scale::{self, Scale};
use super::{caption, text_fit};
use crate::report::move_report::MoveReport;
use crate::report::number;

const CURVE: Stroke = Stroke::solid("#0b4f83", 2.0);
const SET: Stroke = Stroke::solid("#9a3d00", 1.6).dashed("8 4");
/// Fill where the move did not settle.
const NEVER: &str = "#efefef";
/// Room above the frame for title and label. Unit: pixel
const ABOVE: f64 = 56.0;

/// Draws the settling curve of the move called `name` into `outer`; with what ± is.
pub(super) fn draw(canvas: &mut Canvas, outer: Area, (report, plus_minus): (&MoveReport, &str), name: &str) {
    caption::title(canvas, outer, &format!("{name}: settling curve"));
    let area = frame::inner(outer, ABOVE);
    let curve = usable(report);
    let settled: Vec<(f64, f64)> = curve.iter().filter_map(|(w, s)| s.map(|s| (*w, s))).collect();
    if settled.is_empty() {
        return frame::empty(canvas, area, "This move settled for no window, so it has no settling curve.");
    }
    let frame = scaled(area, report, &curve, &settled);
    let longest = settled.iter().map(|point| point.1).fold(report.last_entry_s().0.unwrap_or(0.0), f64::max);
    let (factor, unit) = scale::time_unit(longest);
    never(canvas, &frame, &curve);
    frame.grid(canvas);
    let path: Vec<(f64, f64)> = settled.iter().map(|(w, s)| (*w, s * factor)).collect();
    canvas.clipped(area, |canvas| canvas.path(&frame.all(&stairs(&path)), CURVE));
    for point in path.iter().filter(|point| frame.x.place(point.0) <= 1.0) {
        canvas.circle(
            (frame.x(point.0), frame.y(point.1)),
            2.2,
            CURVE.colour,
            Stroke::solid(CURVE.colour, 0.0),
        );
    }
    frame.edges(
        canvas,
        &format!("window, half-width ({}), log scale", report.unit),
        &format!("settling time ({unit})"),
    );
    one_count(canvas, &frame, report);
    set_window(canvas, &frame, (report, plus_minus), factor);
}

/// The same as stairs: between two points a window settles no later than the narrower of them.
pub(super) fn stairs(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut stairs: Vec<(f64, f64)> =
        points.windows(2).flat_map(|pair| [pair[0], (pair[1].0, pair[0].1)]).collect();
    stairs.extend(points.last());
    stairs
}

/// Points that can be drawn on a log scale, the set window among them, narrowest first.
fn usable(report: &MoveReport) -> Vec<(f64, Option<f64>)> {
    let mut usable: Vec<(f64, Option<f64>)> = report
        .settling_curve
        .iter()
        .filter(|(window, settling)| {
            window.is_finite() && *window > 0.0 && settling.is_none_or(f64::is_finite)
        })
        .copied()
        .collect();
    usable.sort_by(|a, b| a.0.total_cmp(&b.0));
    usable
}

/// Windows so wide that settling is zero show nothing new beyond the first of them, nor do those so narrow
/// that nothing settles; both are cut, the set window never.
fn scaled(area: Area, report: &MoveReport, curve: &[(f64, Option<f64>)], settled: &[(f64, f64)]) -> Frame {
    let set = Some(report.window).filter(|w| w.is_finite() && *w > 0.0);
    let slowest = settled.iter().rposition(|point| point.1 > 0.0);
    let widest = slowest.map_or(settled[0], |at| settled[(at + 1).min(settled.len() - 1)]).0;
    let narrowest = settled[0].0;
    let low = curve.first().map_or(narrowest, |point| point.0).max(narrowest / 3.0);
    let low = set.map_or(low, |w| low.min(w / 2.0));
    let high = set.map_or(widest, |w| widest.max(w * 2.0));
    let (entry, uncertainty) = report.last_entry_s();
    let upper = entry.map_or(0.0, |s| s + 2.0 * uncertainty.unwrap_or(0.0));
    let longest = settled.iter().map(|point| point.1).fold(upper, f64::max);
    let (factor, _) = scale::time_unit(longest);
    let top = if longest > 0.0 { 1.12 * longest * factor } else { 10.0 };
    Frame { area, x: Scale::log(low, high), y: Scale::linear(0.0, top) }
}

/// Windows for which the move did not settle, shaded and labelled.
fn never(canvas: &mut Canvas, frame: &Frame, curve: &[(f64, Option<f64>)]) {
    let Some((window, _)) = curve.iter().rfind(|point| point.1.is_none()) else { return };
    let area = frame.area;
    let right = frame.x(*window).clamp(area.left, area.right());
    if right - area.left < 2.0 {
        return;
    }
    let bottom = area.bottom();
    canvas.shape(&[(area.left, area.top), (right, area.top), (right, bottom), (area.left, bottom)], NEVER);
    let text = "not settled";
    let middle = (area.left + right) / 2.0;
    if text_fit::width(text, ASIDE.size) < right - area.left {
        canvas.text((middle, bottom - 10.0), Anchor::Middle, ASIDE, text);
    } else if right - area.left > 16.0 {
        canvas.text_upwards((middle + 4.0, area.top + area.height / 2.0), ASIDE, text);
    }
}

/// Where one feedback count lies: no window near it can be judged.
fn one_count(canvas: &mut Canvas, frame: &Frame, report: &MoveReport) {
    let count = 1.0 / report.counts_per_unit;
    if !count.is_finite() || !(0.0..=1.0).contains(&frame.x.place(count)) {
        return;
    }
    let x = frame.x(count);
    canvas.line((x, frame.area.top), (x, frame.area.bottom()), Stroke::solid(QUIET, 1.0).dashed("1 3"));
    let text_at = (x + 5.0, frame.area.top + 16.0);
    canvas.text(text_at, Anchor::Start, ASIDE, "one count");
}

/// The set window: its line, its settling time with its uncertainty, and the time read off at the axis.
fn set_window(canvas: &mut Canvas, frame: &Frame, (report, plus_minus): (&MoveReport, &str), factor: f64) {
    if !(report.window > 0.0 && report.window.is_finite()) {
        return;
    }
    let window = caption::length(report.window, &report.unit);
    let (settling, uncertainty) = report.last_entry_s();
    let settling = settling.filter(|s| s.is_finite());
    let result = settling.map_or(report.outcome.word().to_owned(), |s| settled((s, uncertainty), plus_minus));
    let text = format!("set window ± {window}: {result}");
    let side = frame::side(frame, report.window, &text);
    frame::mark(canvas, frame, (report.window, 0, side), SET, &text);
    let Some(settling) = settling else { return };
    let (x, y) = (frame.x(report.window), frame.y(settling * factor));
    canvas.line((frame.area.left, y), (x, y), Stroke::solid(SET.colour, 1.0).dashed("2 3"));
    let reach = 2.0 * uncertainty.filter(|u| u.is_finite()).unwrap_or(0.0) * factor;
    let (above, below) = (frame.y(settling * factor + reach), frame.y(settling * factor - reach));
    let (above, below) = (above.max(frame.area.top), below.min(frame.area.bottom()));
    let whisker = Stroke::solid(SET.colour, 1.6);
    canvas.line((x, above), (x, below), Stroke::solid(SET.colour, 3.0));
    for end in [above, below] {
        canvas.line((x - 6.0, end), (x + 6.0, end), whisker);
    }
    canvas.circle((x, y), 4.5, "#fff", Stroke::solid(SET.colour, 2.0));
}

/// A settling time with its uncertainty and which one that is.
fn settled((settling_s, uncertainty_s): (f64, Option<f64>), plus_minus: &str) -> String {
    let known = uncertainty_s.filter(|u| *u > 0.0).map_or(String::new(), |_| format!(" ({plus_minus})"));
    format!("settled in {} ms{known}", number::milliseconds(settling_s, uncertainty_s))
}
