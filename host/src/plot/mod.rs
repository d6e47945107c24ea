//! In: measured moves and their samples. Out: SVG, PNG and HTML pictures.

mod canvas;
mod curve;
pub mod decimate;
mod frame;
mod outcome;
mod overlay;
mod page;
mod raster;
mod scale;
mod sheet;
mod stop;
mod thin;
mod told;
mod words;

#[cfg(test)]
pub(crate) mod fake;
#[cfg(test)]
mod tests;

pub use page::html;
pub use raster::png;
pub use sheet::svg;

use crate::report::line::MoveLine;

/// The samples of one move, already decimated, in order of time.
#[derive(Clone, Debug, Default)]
pub struct Stretch {
    /// Time from command end (s), error = command − feedback (unit of the axis).
    pub points: Vec<(f64, f64)>,
}

/// A move with its samples.
#[derive(Clone, Copy, Debug)]
pub struct Shown<'a> {
    /// The measured move.
    pub line: &'a MoveLine,
    /// Its samples.
    pub stretch: &'a Stretch,
}

/// What one sheet of pictures shows.
#[derive(Clone, Debug)]
pub struct Sheet<'a> {
    /// The moves, all in one picture from command end.
    pub moves: Vec<Shown<'a>>,
    /// Place in `moves` of the one whose stop and settling curve are drawn; none, or a place that does
    /// not exist: the slowest settled one, else the first.
    pub chosen: Option<usize>,
    /// The first line.
    pub heading: String,
    /// What a reader should be careful about, one sentence each.
    pub notes: &'a [String],
}

/// Why there is no picture.
#[derive(Debug, thiserror::Error)]
pub enum PlotError {
    /// The SVG cannot be drawn.
    #[error("the picture cannot be turned into PNG: {0}; write it as SVG instead")]
    Raster(String),
    /// The page cannot be put together.
    #[error("the HTML page cannot be put together: {0}; write the picture as SVG instead")]
    Page(#[from] minijinja::Error),
}
