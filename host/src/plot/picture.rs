//! In: nothing. Out: what every picture that stands in a figure can do.

use super::canvas::{Area, Canvas};

/// What can stand in a figure.
pub trait Picture {
    /// How high it is drawn at this width. Unit: pixel
    fn height(&self, width: f64) -> f64;

    /// Draws it into `outer`.
    fn draw(&self, canvas: &mut Canvas, outer: Area);
}
