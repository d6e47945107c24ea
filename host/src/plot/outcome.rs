//! In: the outcome of a move. Out: how it is drawn: colour, dash and mark, each of which identifies it alone.

use stillpoint_core::Outcome;

use super::canvas::{Canvas, Stroke};

/// Mark at the end of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mark {
    Disc,
    Cross,
    Square,
    Triangle,
}

/// How the moves of one outcome look.
#[derive(Clone, Copy, Debug)]
pub(super) struct Style {
    pub(super) stroke: Stroke,
    mark: Mark,
}

/// Diameter of the dot of a settled move where there are many. Unit: pixel
const DOT: f64 = 2.8;
/// The same of up to so many.
const LARGE_DOT: f64 = 5.0;
const FEW: usize = 100;

/// Colours differ for the colour-blind (blue, orange, dark purple, grey) and in lightness.
pub(super) fn style(outcome: Outcome) -> Style {
    let (colour, width, dash, mark) = match outcome {
        Outcome::Settled => ("#2f7fb8", 1.3, "", Mark::Disc),
        Outcome::Unsettled => ("#b34700", 1.9, "9 4", Mark::Cross),
        Outcome::Interrupted => ("#4b2a78", 1.7, "9 3 2 3", Mark::Square),
        Outcome::Untrusted => ("#6b6b6b", 1.7, "2 3", Mark::Triangle),
    };
    Style { stroke: Stroke::solid(colour, width).dashed(dash), mark }
}

impl Style {
    /// Its mark beside another line.
    pub(super) const fn with_stroke(self, stroke: Stroke) -> Self {
        Self { stroke, ..self }
    }

    /// Its mark in another colour.
    pub(super) const fn coloured(self, colour: &'static str) -> Self {
        Self { stroke: Stroke { colour, ..self.stroke }, ..self }
    }

    /// Its mark in grey, where something else is to be seen over it.
    pub(super) const fn faint(self) -> Self {
        self.coloured("#7d97ab")
    }

    /// Its stroke, fainter where `crowd` lines lie over each other.
    pub(super) fn in_a_crowd(self, crowd: usize) -> Stroke {
        let opacity = (6.0 / crowd.max(1) as f64).sqrt().clamp(0.35, 1.0);
        Stroke { opacity, ..self.stroke }
    }

    /// The same mark, small, at many points.
    pub(super) fn signs(&self, canvas: &mut Canvas, places: &[(f64, f64)]) {
        let colour = self.stroke.colour;
        let (line, edge) = (Stroke::solid(colour, 1.4), Stroke::solid(colour, 0.4));
        match self.mark {
            Mark::Disc => {
                let size = if places.len() > FEW { DOT } else { LARGE_DOT };
                canvas.signs(places, "h0", "none", Stroke::solid(colour, size));
            }
            Mark::Cross => canvas.signs(places, "m-3-3l6 6m0-6l-6 6", "none", line),
            Mark::Square => canvas.signs(places, "m-2.5-2.5h5v5h-5z", colour, edge),
            Mark::Triangle => canvas.signs(places, "m0-3.5l3.5 6h-7z", colour, edge),
        }
    }

    /// Its mark at a point.
    pub(super) fn mark(&self, canvas: &mut Canvas, (x, y): (f64, f64)) {
        let edge = Stroke::solid(self.stroke.colour, 1.8);
        match self.mark {
            Mark::Disc => canvas.circle((x, y), 3.6, "#fff", edge),
            Mark::Cross => {
                canvas.line((x - 4.5, y - 4.5), (x + 4.5, y + 4.5), edge);
                canvas.line((x - 4.5, y + 4.5), (x + 4.5, y - 4.5), edge);
            }
            Mark::Square => {
                let corners =
                    [(x - 4.0, y - 4.0), (x + 4.0, y - 4.0), (x + 4.0, y + 4.0), (x - 4.0, y + 4.0)];
                canvas.shape(&corners, edge.colour);
            }
            Mark::Triangle => {
                canvas.shape(&[(x, y - 5.0), (x + 5.0, y + 4.0), (x - 5.0, y + 4.0)], edge.colour);
            }
        }
    }
}
