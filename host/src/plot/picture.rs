//! In: nothing. Out: what every picture that stands in a figure can do.

use super::canvas::{Area, Canvas};

/// What can stand in a figure.
pub trait Picture {
    /// How high it is drawn. Unit: pixel
    fn height(&self) -> f64;

    /// Draws it into `outer`.
    fn draw(&self, canvas: &mut Canvas, outer: Area);
}
