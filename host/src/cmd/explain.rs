//! In: recordings of an axis, or a store. Out: why its stops are slow, and what to change, as text or JSON.

use std::io::{self, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use jiff::tz::TimeZone;

use super::measuring::{self, Measuring};
use super::moves::Within;
use super::output::{Form, notify, width};
use super::recording_options::{Columns, Scale};
use super::recordings::{Reader, Recorded};
use crate::error::Error;
use crate::report::explain::table::table;
use crate::report::explain::{AxisMoves, Explained};

/// Find out why stops are slow, and what to change
///
/// Says kind by kind which signature prevails, the evidence of it, what to change first and next, and what that costs;
/// then which part of the rest errors follows direction or distance, and how the ringing frequency changes. What too few
/// moves can't show is not said. The section Advice of core/METHOD.md defines each number.
#[derive(Args)]
#[command(after_help = EXAMPLES, override_usage = USAGE)]
pub struct Arguments {
    /// Recordings of one axis
    #[arg(required_unless_present = "store", conflicts_with = "store", value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Half-width of the position window, in the unit of the recording
    #[arg(long, value_name = "W", required_unless_present = "store", conflicts_with = "store")]
    #[arg(allow_negative_numbers = true)]
    window: Option<String>,
    #[command(flatten)]
    within: Option<Within>,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "table")]
    format: Form,
    #[command(flatten)]
    measuring: Measuring,
    #[command(flatten)]
    columns: Columns,
    #[command(flatten)]
    scale: Scale,
}

const USAGE: &str = "stillpoint explain --window <W> [OPTIONS] <FILE>...
       stillpoint explain --store <PATH> [OPTIONS]";

const EXAMPLES: &str = "\
Examples:
  stillpoint explain axis.csv --window 0.05
  stillpoint explain monday/*.csv --window 0.05 --format json
  stillpoint explain --store shift.store --axis tray_shuttle --since 2h

Tuning moves the machine: follow the manuals of drive and machine, and leave it to a qualified person.

Exit status: 0 done, also where too few moves were recorded; 1 a recording can't be used; 2 wrong arguments.";

/// Measures or reads the moves, and explains them.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let (axes, caution) = match &arguments.within {
        Some(within) => stored(within)?,
        None => (vec![recorded(arguments)?], None),
    };
    let explained = Explained::new(&axes);
    let text = match arguments.format {
        Form::Json => explained.json()?,
        Form::Table => {
            table(&explained, width())
                + &caution.map_or(String::new(), |caution| format!("Caution: {caution}\n"))
        }
    };
    io::stdout().write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}

/// The moves of the recordings, as those of one axis.
fn recorded(arguments: &Arguments) -> Result<AxisMoves, Error> {
    let window = arguments.window.as_deref().map(measuring::window).transpose()?;
    let reader = Reader::new(window, &arguments.measuring, (&arguments.columns, &arguments.scale))?;
    let Recorded { moves, encoder_step, .. } = reader.with_own_curves().all(&arguments.files)?;
    let first = moves.first().map_or(String::new(), |report| report.axis.clone());
    let name = match arguments.files.len() {
        1 => first,
        count => format!("{first} and {} more", count - 1),
    };
    Ok(AxisMoves { name, moves, encoder_step })
}

/// The moves of a store, axis by axis; and what must stand beside what is said of them.
fn stored(within: &Within) -> Result<(Vec<AxisMoves>, Option<&'static str>), Error> {
    let store = within.open()?;
    if let Some(text) = within.no_moves(&store, &TimeZone::system())? {
        notify(text);
    }
    let mut axes: Vec<AxisMoves> = Vec::new();
    store.moves(&within.query(&store, true)?, &mut |report| {
        let is_of = |axis: &AxisMoves| {
            axis.moves.last().is_some_and(|last| (&last.file, &last.axis) == (&report.file, &report.axis))
        };
        match axes.last_mut().filter(|axis| is_of(axis)) {
            Some(axis) => axis.moves.push(report.clone()),
            // A store does not hold the encoder step: a count is one.
            None => axes.push(AxisMoves {
                name: report.axis.clone(),
                moves: vec![report.clone()],
                encoder_step: 1.0 / report.counts_per_unit,
            }),
        }
        Ok(())
    })?;
    let caution = store.caution(&store.find_axes(within.axis.as_deref())?)?;
    Ok((axes, caution))
}
