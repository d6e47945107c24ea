//! In: quantities beside the error of a stop. Out: a strip for each, below the picture of the stop, on its time axis.

use super::canvas::{ASIDE, Anchor, Area, Canvas, INK, QUIET, Stroke};
use super::frame::Frame;
use super::scale::Scale;
use super::{text_fit, thin};

/// A quantity over time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Strip {
    /// What it is, with its unit.
    pub label: String,
    /// Its lines, the one that counts first.
    pub lines: Vec<Line>,
}

/// A line of a strip.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Line {
    /// What it is; empty where the label of the strip says it.
    pub name: &'static str,
    /// Time from command end (s), value.
    pub points: Vec<(f64, f64)>,
    /// Where it has no values. Time from command end (s)
    pub gaps: Vec<(f64, f64)>,
}

/// Height of a strip, and of the room above it. Unit: pixel
const HEIGHT: f64 = 128.0;
const ABOVE: f64 = 14.0;
const STROKES: [Stroke; 2] = [Stroke::solid("#0b4f83", 1.4), Stroke::solid(INK, 1.2).dashed("6 4")];
const ZERO: Stroke = Stroke::solid(QUIET, 0.8);

/// Height of so many strips. Unit: pixel
pub(super) fn height(strips: &[Strip]) -> f64 {
    strips.len() as f64 * (HEIGHT + ABOVE)
}

/// The time axis that all strips share.
#[derive(Clone, Copy, Debug)]
pub(super) struct Time<'a> {
    pub(super) scale: Scale,
    /// From seconds to the unit of the scale.
    pub(super) factor: f64,
    /// Where samples are missing. Unit: that of the scale
    pub(super) gaps: &'a [(f64, f64)],
    /// Instants that are marked. Unit: that of the scale
    pub(super) marks: &'a [(f64, Stroke)],
    pub(super) label: &'a str,
}

/// Draws the strips below `above`; the time stands under the last one.
pub(super) fn draw(canvas: &mut Canvas, above: Area, strips: &[Strip], time: Time) {
    let mut top = above.bottom();
    for (place, strip) in strips.iter().enumerate() {
        let area = Area { top: top + ABOVE, height: HEIGHT, ..above };
        let is_last = place + 1 == strips.len();
        one(canvas, area, strip, time, is_last);
        top = area.bottom();
    }
}

fn one(canvas: &mut Canvas, area: Area, strip: &Strip, time: Time, is_last: bool) {
    let lines: Vec<Vec<(f64, f64)>> = strip.lines.iter().map(|line| seen(line, time)).collect();
    let values = || lines.iter().flatten().map(|point| point.1);
    let (low, high) = (values().fold(0.0, f64::min), values().fold(0.0, f64::max));
    // Room for the key on top.
    let (below, above) = (0.08 * (high - low), 0.3 * (high - low));
    let y = if high > low { Scale::linear(low - below, high + above) } else { Scale::linear(-1.0, 1.0) };
    let frame = Frame { area, x: time.scale, y };
    frame.grid(canvas);
    canvas.line((area.left, frame.y(0.0)), (area.right(), frame.y(0.0)), ZERO);
    canvas.clipped(area, |canvas| {
        for (at, stroke) in time.marks {
            canvas.line((frame.x(*at), area.top), (frame.x(*at), area.bottom()), *stroke);
        }
        for ((points, line), stroke) in lines.iter().zip(&strip.lines).zip(STROKES).rev() {
            broken(canvas, &frame, points, &scaled(&line.gaps, time), (time, stroke));
        }
    });
    key(canvas, area, strip, values().next().is_none());
    frame.outline(canvas);
    let ticks = frame.x_ticks();
    if is_last {
        frame.x_edge(canvas, &ticks, time.label);
    }
    frame.y_edge(canvas, "");
}

/// A line that breaks at its own gaps and at those of the samples; a point alone is a dot.
fn broken(
    canvas: &mut Canvas,
    frame: &Frame,
    points: &[(f64, f64)],
    gaps: &[(f64, f64)],
    (time, stroke): (Time, Stroke),
) {
    for run in thin::runs(points, time.gaps).into_iter().flat_map(|run| thin::runs(run, gaps)) {
        match frame.all(run)[..] {
            [alone] => canvas.circle(alone, stroke.width, stroke.colour, Stroke::solid(stroke.colour, 0.0)),
            ref run => canvas.path(run, stroke),
        }
    }
}

/// In the unit of the time axis.
fn scaled(gaps: &[(f64, f64)], time: Time) -> Vec<(f64, f64)> {
    gaps.iter().map(|(from, to)| (from * time.factor, to * time.factor)).collect()
}

/// The points that the time axis shows, in its unit.
fn seen(line: &Line, time: Time) -> Vec<(f64, f64)> {
    let (from, to) = time.scale.ends();
    let scaled = line.points.iter().map(|(t, value)| (t * time.factor, *value));
    scaled.filter(|(t, value)| (from..=to).contains(t) && value.is_finite()).collect()
}

/// The label of the strip and the names of its lines, in its upper corners.
fn key(canvas: &mut Canvas, area: Area, strip: &Strip, is_empty: bool) {
    let y = area.top + 16.0;
    let label = if is_empty { format!("{}: none recorded", strip.label) } else { strip.label.clone() };
    let label = text_fit::shortened(&label, ASIDE.size, 0.6 * area.width);
    canvas.text((area.left + 8.0, y), Anchor::Start, ASIDE, &label);
    let mut right = area.right() - 8.0;
    for (line, stroke) in strip.lines.iter().zip(STROKES).filter(|(line, _)| !line.name.is_empty()) {
        canvas.text((right, y), Anchor::End, ASIDE, line.name);
        right -= text_fit::width(line.name, ASIDE.size) + 6.0;
        canvas.line((right - 26.0, y - 4.0), (right, y - 4.0), stroke);
        right -= 44.0;
    }
}
