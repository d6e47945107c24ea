//! In: an area, two scales and their labels. Out: a drawn frame with grid and ticks, and where values lie in it.

use super::canvas::{Anchor, Area, Canvas, FAINT, Face, LABEL, QUIET, Stroke, TICK};
use super::scale::{Scale, Tick};
use super::text_fit;

/// Room left of a frame for tick values and the label of the axis. Unit: pixel
pub(super) const LEFT: f64 = 78.0;
/// Room right of a frame. Unit: pixel
pub(super) const RIGHT: f64 = 18.0;
const EDGE: Stroke = Stroke::solid(QUIET, 1.0);
/// Room below a frame for tick values and the label of the axis. Unit: pixel
pub(super) const BELOW: f64 = 46.0;

/// A rectangle with a horizontal and a vertical scale.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    pub(super) area: Area,
    pub(super) x: Scale,
    pub(super) y: Scale,
}

impl Frame {
    pub(super) fn x(&self, value: f64) -> f64 {
        self.area.left + self.area.width * self.x.place(value)
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        self.area.bottom() - self.area.height * self.y.place(value)
    }

    /// Where `points` lie, in pixels.
    pub(super) fn all(&self, points: &[(f64, f64)]) -> Vec<(f64, f64)> {
        points.iter().map(|(x, y)| (self.x(*x), self.y(*y))).collect()
    }

    /// Grid lines, to be drawn before the data.
    pub(super) fn grid(&self, canvas: &mut Canvas) {
        self.x_grid(canvas, &self.x_ticks());
        self.y_grid(canvas);
    }

    /// The upright ones, at these ticks.
    pub(super) fn x_grid(&self, canvas: &mut Canvas, ticks: &[Tick]) {
        for tick in ticks {
            let (x, stroke) = (self.x(tick.value), grid_stroke(tick.text.is_some()));
            canvas.line((x, self.area.top), (x, self.area.bottom()), stroke);
        }
    }

    /// The level ones.
    pub(super) fn y_grid(&self, canvas: &mut Canvas) {
        for tick in self.y_ticks() {
            let (y, stroke) = (self.y(tick.value), grid_stroke(tick.text.is_some()));
            canvas.line((self.area.left, y), (self.area.right(), y), stroke);
        }
    }

    /// Edges, tick values and labels, to be drawn after the data.
    pub(super) fn edges(&self, canvas: &mut Canvas, x_label: &str, y_label: &str) {
        self.outline(canvas);
        self.x_edge(canvas, &self.x_ticks(), x_label);
        self.y_edge(canvas, y_label);
    }

    /// The four edges alone.
    pub(super) fn outline(&self, canvas: &mut Canvas) {
        let Area { left, top, .. } = self.area;
        let (right, bottom) = (self.area.right(), self.area.bottom());
        canvas.path(&[(left, top), (right, top), (right, bottom), (left, bottom), (left, top)], EDGE);
    }

    /// What stands below: the values of these ticks and the label.
    pub(super) fn x_edge(&self, canvas: &mut Canvas, ticks: &[Tick], label: &str) {
        let Area { left, width, .. } = self.area;
        let (right, bottom) = (self.area.right(), self.area.bottom());
        for tick in ticks {
            let x = self.x(tick.value);
            let length = if tick.text.is_some() { 5.0 } else { 3.0 };
            canvas.line((x, bottom), (x, bottom + length), EDGE);
            tick.text.iter().for_each(|text| canvas.text((x, bottom + 18.0), Anchor::Middle, TICK, text));
        }
        // The label under a frame may be a sentence: it gets the whole width of the picture.
        let room = LEFT + width;
        let place =
            if text_fit::width(label, LABEL.size) > width { right - room / 2.0 } else { left + width / 2.0 };
        let label = text_fit::shortened(label, LABEL.size, room);
        canvas.text((place, bottom + 37.0), Anchor::Middle, LABEL, &label);
    }

    /// What stands left: tick values and the label.
    pub(super) fn y_edge(&self, canvas: &mut Canvas, label: &str) {
        let Area { left, top, height, .. } = self.area;
        for tick in self.y_ticks() {
            let y = self.y(tick.value);
            let length = if tick.text.is_some() { 5.0 } else { 3.0 };
            canvas.line((left - length, y), (left, y), EDGE);
            tick.text.inspect(|text| canvas.text((left - 8.0, y + 4.5), Anchor::End, TICK, text));
        }
        let label = text_fit::shortened(label, LABEL.size, height + 40.0);
        canvas.text_upwards((left - LEFT + 14.0, top + height / 2.0), LABEL, &label);
    }

    pub(super) fn x_ticks(&self) -> Vec<Tick> {
        self.x.ticks((self.area.width / 95.0) as usize)
    }

    fn y_ticks(&self) -> Vec<Tick> {
        self.y.ticks((self.area.height / 42.0) as usize)
    }

    /// A sentence in the middle of the frame, for when there is nothing to draw.
    pub(super) fn message(&self, canvas: &mut Canvas, text: &str) {
        let face = Face { colour: QUIET, ..LABEL };
        let lines = text_fit::wrapped(text, face.size, self.area.width - 20.0);
        let top = self.area.top + self.area.height / 2.0 - 9.0 * lines.len() as f64;
        for (i, line) in lines.iter().enumerate() {
            let at = (self.area.left + self.area.width / 2.0, top + 18.0 * (i as f64 + 1.0));
            canvas.text(at, Anchor::Middle, face, line);
        }
    }
}

fn grid_stroke(is_major: bool) -> Stroke {
    Stroke::solid(FAINT, if is_major { 1.0 } else { 0.5 })
}

/// A frame with nothing in it but a sentence.
pub(super) fn empty(canvas: &mut Canvas, area: Area, text: &str) {
    let edge = Stroke::solid(FAINT, 1.0);
    let (right, bottom) = (area.right(), area.bottom());
    canvas.path(
        &[
            (area.left, area.top),
            (right, area.top),
            (right, bottom),
            (area.left, bottom),
            (area.left, area.top),
        ],
        edge,
    );
    Frame { area, x: Scale::linear(0.0, 1.0), y: Scale::linear(0.0, 1.0) }.message(canvas, text);
}

/// The part of `outer` for the frame, with `above` pixels over it for titles.
pub(super) fn inner(outer: Area, above: f64) -> Area {
    Area {
        left: outer.left + LEFT,
        top: outer.top + above,
        width: outer.width - LEFT - RIGHT,
        height: outer.height - above - BELOW,
    }
}

/// The side of a vertical line at `at` on which its label has room: right of it if possible.
pub(super) fn side(frame: &Frame, at: f64, text: &str) -> Anchor {
    let (left, right) = (frame.area.left, frame.area.right());
    let (x, room) = (frame.x(at).clamp(left, right), text_fit::width(text, LABEL.size));
    if x + 6.0 + room <= right + RIGHT || x - left < room { Anchor::Start } else { Anchor::End }
}

/// A vertical line at a value, its label above the frame in the given row and on the given side.
pub(super) fn mark(
    canvas: &mut Canvas,
    frame: &Frame,
    (at, row, side): (f64, u8, Anchor),
    stroke: Stroke,
    text: &str,
) {
    let (left, right) = (frame.area.left - LEFT, frame.area.right() + RIGHT);
    let x = frame.x(at).clamp(frame.area.left, frame.area.right());
    let y = frame.area.top - 8.0 - 18.0 * f64::from(row);
    let text = text_fit::shortened(text, LABEL.size, right - left);
    let width = text_fit::width(&text, LABEL.size);
    let beside = if side == Anchor::End { x - 6.0 - width } else { x + 6.0 };
    let start = beside.min(right - width).max(left);
    // A label with no room beside its line stands on it.
    let top = if start == beside { y - 11.0 } else { y + 4.0 };
    canvas.line((x, top), (x, frame.area.bottom()), stroke);
    if start == beside && side == Anchor::End {
        return canvas.text((x - 6.0, y), Anchor::End, LABEL, &text);
    }
    canvas.text((start, y), Anchor::Start, LABEL, &text);
}
