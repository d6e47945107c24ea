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
    /// Its stroke, fainter where `crowd` lines lie over each other.
    pub(super) fn in_a_crowd(self, crowd: usize) -> Stroke {
        let opacity = (6.0 / crowd.max(1) as f64).sqrt().clamp(0.35, 1.0);
        Stroke { opacity, ..self.stroke }
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
