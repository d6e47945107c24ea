//! In: a recording and how to read and measure it. Out: all its moves, in memory.

use std::path::{Path, PathBuf};

use stillpoint_core::Fraction;

use super::measuring::Measuring;
use super::output::notify;
use super::progress;
use super::recording_options::{Columns, Scale};
use crate::error::Error;
use crate::measure::{MeasureOptions, Measured, measure};
use crate::report::move_report::MoveReport;
use crate::trace::{Choice, Layout, Trace};

/// Moves of one or more recordings of an axis, and what they were recorded with.
#[derive(Clone, Debug, Default)]
pub(super) struct Recorded {
    /// In the order of the recordings, and of time in each; with settling curves as fine as the samples, or the core's own.
    pub(super) moves: Vec<MoveReport>,
    /// Name of the unit of position.
    pub(super) unit: String,
    /// Smallest change of feedback, the largest of all recordings. Unit: that of position
    pub(super) encoder_step: f64,
    /// The longest of all recordings. Unit: s
    pub(super) sample_period_s: f64,
    /// What was noticed of the recordings as a whole, a sentence each.
    pub(super) notes: Vec<String>,
}

/// How recordings are read and measured.
pub(super) struct Reader {
    choice: Choice,
    options: MeasureOptions,
    /// Whether moves are measured with a window of two encoder steps, as none is given.
    finds_window: bool,
    /// Whether settling curves are as fine as the samples.
    fine_curves: bool,
}

/// The narrowest window worth measuring with. Unit: encoder steps
const NARROWEST: u64 = 2;

impl Reader {
    /// Without a window, moves are measured with that of two encoder steps of their recording.
    pub(super) fn new(
        window: Option<Fraction>,
        measuring: &Measuring,
        (columns, scale): (&Columns, &Scale),
    ) -> Result<Reader, Error> {
        Ok(Reader {
            choice: columns.choice(scale)?,
            options: measuring.options(window.unwrap_or(Fraction::ONE), scale)?,
            finds_window: window.is_none(),
            fine_curves: true,
        })
    }

    /// With the settling curves that a monitor reports, so that a recording says the same as a store.
    pub(super) fn with_own_curves(self) -> Reader {
        Reader { fine_curves: false, ..self }
    }

    /// Measures all recordings; the first that can't be used ends it, since a part of the moves would mislead.
    pub(super) fn all(&self, paths: &[PathBuf]) -> Result<Recorded, Error> {
        let mut all = Recorded::default();
        for path in paths {
            self.add(path, &mut all)?;
        }
        Ok(all)
    }

    fn add(&self, path: &Path, all: &mut Recorded) -> Result<(), Error> {
        let name = path.display().to_string();
        let mut trace = open(path, &self.choice)?;
        let layout = trace.layout();
        if !all.unit.is_empty() && all.unit != layout.unit {
            return Err(other_unit(&name, &layout.unit, &all.unit));
        }
        let options = self.options(&name, layout)?;
        let step = options.encoder_step.map_or_else(|| encoder_step(layout), Fraction::to_f64);
        all.unit = layout.unit.clone();
        all.encoder_step = all.encoder_step.max(step);
        all.sample_period_s = all.sample_period_s.max(layout.sample_period_s);
        let bar = progress::bar(&name, path.metadata().ok().map(|data| data.len()));
        let axis = path.file_stem().map_or_else(|| name.as_str().into(), |stem| stem.to_string_lossy());
        let on_move = |measured: Measured| {
            all.moves.push(match self.fine_curves {
                true => MoveReport { settling_curve: measured.curve, ..measured.report },
                false => measured.report,
            });
            Ok(())
        };
        let on_bytes = |bytes| bar.set_position(bytes);
        let summary = measure(&mut trace, (&name, &axis), &options, self.fine_curves, on_move, on_bytes)?;
        bar.finish_and_clear();
        all.notes.extend(summary.notes.iter().map(|note| placed(&name, note)));
        summary.notes.iter().for_each(|note| notify(placed(&name, note)));
        summary.stopped.map_or(Ok(()), Err)
    }

    /// The options for one recording.
    fn options(&self, name: &str, layout: &Layout) -> Result<MeasureOptions, Error> {
        if !self.finds_window {
            return Ok(self.options);
        }
        let steps = Fraction::new(NARROWEST * u64::from(layout.encoder_step.max(1)), 1);
        let window = steps.and_then(|steps| steps.times(layout.counts_per_unit.inverse()));
        let window = match self.options.encoder_step {
            Some(step) => Fraction::new(NARROWEST, 1).and_then(|steps| steps.times(step)),
            None => window,
        };
        let window = window.map_err(|unusable| Error::Recording {
            file: name.to_owned(),
            line: 1,
            wrong: format!("two encoder steps of it are no window: {unusable}"),
            remedy: "give --window W".to_owned(),
        })?;
        Ok(MeasureOptions { window, ..self.options })
    }
}

/// Smallest change of feedback. Unit: that of position
pub(super) fn encoder_step(layout: &Layout) -> f64 {
    f64::from(layout.encoder_step.max(1)) / layout.counts_per_unit.to_f64()
}

/// Recordings of different units.
pub(super) fn other_unit(name: &str, unit: &str, others: &str) -> Error {
    Error::Recording {
        file: name.to_owned(),
        line: 1,
        wrong: format!("its unit is {unit}, that of the recordings before it {others}"),
        remedy: "record alike, or give --unit and the scales".to_owned(),
    }
}

/// Opens a recording; `-` is standard input.
pub(super) fn open(path: &Path, choice: &Choice) -> Result<Trace, Error> {
    if path.as_os_str() == "-" {
        return Trace::from_reader("standard input", std::io::stdin(), choice);
    }
    Trace::open(path, choice)
}

/// A note with its file, in the shape of an error message.
pub(super) fn placed(name: &str, note: &str) -> String {
    let mark = if note.starts_with("line ") { "," } else { ":" };
    format!("{name}{mark} {note}")
}
