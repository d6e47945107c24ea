//! In: measured moves and their samples. Out: SVG, PNG and HTML pictures.
//!
//! How a command draws what it measures, reading the samples once and in bounded memory:
//!
//! ```
//! use stillpoint::plot::{self, StopTrace, album::Album, decimate::{Decimator, POINTS}};
//! # use stillpoint::report::move_report::MoveReport;
//! # let path = std::env::temp_dir().join(format!("stillpoint-{}.svg", std::process::id()));
//! # let measured: Vec<(MoveReport, Vec<(f64, f64)>)> = Vec::new();
//! plot::Format::of(&path)?; // an unknown extension is refused before anything is measured
//! let (mut album, mut reports) = (Album::default(), Vec::new());
//! for (report, samples) in measured {
//!     let mut points = Decimator::new(POINTS);
//!     for (t_s, error) in samples {
//!         points.push(t_s - report.command_end_s, error); // t_s on the recording's own clock
//!     }
//!     album.push(report.clone(), StopTrace { points: points.points(), ..StopTrace::default() }, false);
//!     reports.push(report);
//! }
//! plot::draw(&path, &album.sheet("Tray shuttle, Monday", &[]), &reports)?;
//! # std::fs::remove_file(&path).ok();
//! # Ok::<(), plot::PlotError>(())
//! ```
//!
//! While samples stream in, command end is not known yet: give the decimator the recording's clock, and move
//! the points afterwards with [`StopTrace::from_clock`].

// What lines and words are drawn with.
mod canvas;
mod text_fit;
pub mod names;
mod scale;
mod local_ticks;
mod frame;
mod picture;
mod hatch;
mod palette;

// The moves to be drawn.
pub mod decimate;
mod outcome;
mod caption;
pub mod album;
mod thin;
mod dots;
pub mod moments;

// The pictures.
pub mod strips;
mod stop;
mod curve;
mod overlay;
mod succession;
mod sheet;
pub mod spread;
pub mod lanes;
pub mod history;
pub mod course;

// The files.
mod raster;
mod page;
mod format;
pub mod figure;

#[cfg(test)]
mod tests;

pub use format::{Format, draw};
pub use page::html;
pub use raster::{png, tree};
pub use sheet::{drawn, svg};

use crate::report::move_report::MoveReport;

/// The samples of one stop, already decimated, in order of time.
#[derive(Clone, Debug, Default)]
pub struct StopTrace {
    /// Time from command end (s), error = command − feedback (unit of the axis).
    pub points: Vec<(f64, f64)>,
    /// Where samples are missing: times from command end of the samples before and after, in order (s).
    pub gaps: Vec<(f64, f64)>,
    /// What is drawn below the error, if anything is.
    pub strips: Vec<strips::Strip>,
}

impl StopTrace {
    /// From points and gaps on the recording's own clock (s), as a decimator gives them that was fed before command
    /// end was known.
    pub fn from_clock(points: Vec<(f64, f64)>, gaps: Vec<(f64, f64)>, command_end_s: f64) -> Self {
        Self {
            points: points.into_iter().map(|(t_s, error)| (t_s - command_end_s, error)).collect(),
            gaps: gaps.into_iter().map(|(from, to)| (from - command_end_s, to - command_end_s)).collect(),
            strips: Vec::new(),
        }
    }
}

impl StopTrace {
    /// Number of points, those of the strips among them.
    fn size(&self) -> usize {
        let lines = self.strips.iter().flat_map(|strip| &strip.lines);
        self.points.len() + lines.map(|line| line.points.len()).sum::<usize>()
    }
}

/// A move with its samples.
#[derive(Clone, Copy, Debug)]
pub struct PlottedMove<'a> {
    /// Its numbers.
    pub report: &'a MoveReport,
    /// Its samples.
    pub samples: &'a StopTrace,
}

/// ± is twice the standard uncertainty.
pub const TWICE_U: &str = "± 2u";
/// ± is the half-width of the 95 % interval, which stands in the reports for twice the standard uncertainty.
pub const IN_95_OF_100: &str = "± 95 %";

/// What one sheet of pictures shows.
#[derive(Clone, Debug)]
pub struct Sheet<'a> {
    /// The moves, all in one picture from command end.
    pub moves: Vec<PlottedMove<'a>>,
    /// Place in `moves` of the one whose stop and settling curve are drawn; none, or a place that does
    /// not exist: the slowest settled one, else the first.
    pub chosen: Option<usize>,
    /// What ± beside a settling time is: [`TWICE_U`] or [`IN_95_OF_100`].
    pub plus_minus: &'static str,
    /// The first line.
    pub heading: String,
    /// What a reader should be careful about, one sentence each.
    pub notes: &'a [String],
}

/// A picture by itself.
#[derive(Clone, Debug, Default)]
pub struct Drawn {
    /// What it shows.
    pub title: String,
    /// What is to be seen in it, for who can't see it.
    pub description: String,
    /// Width and height. Unit: pixel
    pub size: (f64, f64),
    /// The picture.
    pub svg: String,
}

/// Why there is no picture.
#[derive(Debug, thiserror::Error)]
pub enum PlotError {
    /// The file name has no known format.
    #[error("{0:?} is no picture that can be drawn: the name must end in .svg, .png or .html")]
    Extension(String),
    /// The file cannot be written.
    #[error("{path}: the picture cannot be written: {source}")]
    Write {
        /// Path of the file.
        path: String,
        /// The error of the operating system.
        source: std::io::Error,
    },
    /// The SVG cannot be drawn.
    #[error("the picture cannot be turned into PNG: {0}; write it as SVG instead")]
    Raster(String),
    /// The page cannot be put together.
    #[error("the HTML page cannot be put together: {0}; write the picture as SVG instead")]
    Page(#[from] minijinja::Error),
}

impl From<PlotError> for crate::error::Error {
    fn from(error: PlotError) -> Self {
        match error {
            PlotError::Extension(name) => crate::error::Error::Option {
                option: "--plot".to_owned(),
                value: name,
                wrong: "is no picture that can be drawn".to_owned(),
                remedy: "the name must end in .svg, .png or .html".to_owned(),
            },
            other => crate::error::Error::Picture(Box::new(other)),
        }
    }
}
