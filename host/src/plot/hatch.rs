//! In: a frame and a limit. Out: what lies beyond the limit, crossed by lines as on a drawing.

use super::canvas::{Area, Canvas, Stroke};
use super::frame::Frame;

const LINE: Stroke = Stroke::solid("#b9b9b9", 0.8);
/// Between two lines. Unit: pixel
const APART: f64 = 11.0;

/// Crosses what lies above `limit`, a value of the scale of the frame.
pub(super) fn above(canvas: &mut Canvas, frame: &Frame, limit: f64) {
    let (left, right, top, bottom) = (frame.area.left, frame.area.right(), frame.area.top, frame.y(limit));
    let area = Area { left, top, width: right - left, height: (bottom - top).max(0.0) };
    within(canvas, area);
}

/// Crosses an area.
pub(super) fn within(canvas: &mut Canvas, area: Area) {
    let Area { left, top, height, .. } = area;
    let count = ((area.width + height) / APART) as usize;
    canvas.clipped(area, |canvas| {
        for x in (0..=count).map(|at| left + at as f64 * APART) {
            canvas.line((x, top), (x - height, area.bottom()), LINE);
        }
    });
}
