//! In: what was found in the head of a recording. Out: how it is read, for people and for the core.

use core::fmt;
use stillpoint_core::Fraction;

/// One of the three columns that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Signal {
    /// When the row was taken.
    Time,
    /// Where the axis was told to be.
    Command,
    /// Where it is.
    Feedback,
}

impl Signal {
    /// All three, in the order in which rows hold them.
    pub const ALL: [Signal; 3] = [Signal::Time, Signal::Command, Signal::Feedback];

    /// The option that names its column.
    pub fn flag(self) -> &'static str {
        match self {
            Signal::Time => "--time",
            Signal::Command => "--command",
            Signal::Feedback => "--feedback",
        }
    }
}

impl fmt::Display for Signal {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.flag()[2..])
    }
}

/// How a recording is read.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Between columns; a blank stands for any run of blanks.
    pub delimiter: char,
    /// Decimal sign.
    pub decimal: char,
    /// Names of the time, command and feedback columns; time is `None` with a given rate.
    pub columns: (Option<String>, String, String),
    /// Name of the unit of position.
    pub unit: String,
    /// Unit: counts/unit
    pub counts_per_unit: Fraction,
    /// How fast `tick` counts. Unit: ticks/s
    pub ticks_per_second: u32,
    /// The recording's own clock at its first row. Unit: s
    pub origin_s: f64,
    /// Smallest change of feedback that was seen. Unit: counts
    pub encoder_step: u32,
    /// Median time between rows. Unit: s
    pub sample_period_s: f64,
    /// What a person should know about how the file was read.
    pub notes: Vec<String>,
}
