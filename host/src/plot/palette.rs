//! In: nothing. Out: how the lines of several groups or recordings look, so that they are told apart in print and by anyone.

use super::canvas::{INK, Stroke};

/// Reference first: steel blue and dashed; the present: ink. Each line has its own dashes, as colours alone would not do.
pub(super) const STROKES: [Stroke; 6] = [
    Stroke::solid("#2f6690", 2.0).dashed("9 4"),
    Stroke::solid(INK, 2.2),
    Stroke::solid("#9a3d00", 2.2).dashed("3 3"),
    Stroke::solid("#2c6e49", 2.2).dashed("12 3 3 3"),
    Stroke::solid("#7a2e7e", 2.2).dashed("6 2 2 2 2 2"),
    Stroke::solid("#5c5c00", 2.2).dashed("1 3"),
];
