//! In: recordings of moves with an effort column. Out: mass and friction of the axis, or why they can't be stated.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::option_value::positive;
use super::output::{Form, notify, print};
use super::recording_options::{Columns, Scale};
use crate::analysis::identify::{LEAST_RATE_HZ, Stretch, identify};
use crate::error::Error;
use crate::measure::MovesWithEffort;
use crate::report::identified::{self, Units};
use crate::trace::choice::ratio;
use crate::trace::{Choice, Trace};

/// Find mass and friction of an axis from position and effort of ordinary moves
///
/// Effort is the force, torque or current that the drive applies. Ask for its value averaged over the sample period: one
/// that is picked once a period beside a feedforward that steps makes the mass some percent wrong. Moves both ways, short
/// and long, slow and fast, show the most. Several files are recordings of one axis.
///
/// Stillpoint only computes. Moving an axis to record it belongs to a qualified person and the manual of the machine.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// Recordings of one axis
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Column of the effort: force, torque or current; by name or number
    #[arg(long, value_name = "COL")]
    effort: String,
    /// What the effort column is multiplied with, such as newtons per ampere; negative if it pushes the other way
    #[arg(long, value_name = "X", allow_hyphen_values = true)]
    effort_scale: Option<String>,
    /// Name of the unit of the effort, after its scale
    #[arg(long, value_name = "UNIT")]
    effort_unit: Option<String>,
    /// Mass or inertia of the motor alone, in the unit of the result: prints the ratio of the load to it
    #[arg(long, value_name = "M", value_parser = positive, allow_negative_numbers = true)]
    rotor: Option<f64>,
    /// How the result is printed; in JSON a parameter that is refused is null
    #[arg(long, value_enum, default_value = "table")]
    format: Form,
    #[command(flatten)]
    columns: Columns,
    #[command(flatten)]
    scale: Scale,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint identify moves.csv --effort current --effort-scale 35.2 --effort-unit N
  stillpoint identify monday.csv tuesday.csv --effort 'Torque [Nm]' --rotor 0.0004 --format json

Exit status: 0 done, also if parameters are refused, 1 a recording can't be used, 2 wrong arguments.";

/// Prints what the moves show.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let scale = arguments.effort_scale.as_deref().map(|text| ratio("--effort-scale", text)).transpose()?;
    let effort = Some(arguments.effort.clone());
    let choice = Choice { effort, without_command: true, ..arguments.columns.choice(&arguments.scale)? };
    let mut recordings = Vec::new();
    for (place, file) in arguments.files.iter().enumerate() {
        if arguments.files[..place].contains(file) {
            // Its rows would count twice, and the uncertainty would come out too small.
            return Err(Error::Option {
                option: "FILE".to_owned(),
                value: file.display().to_string(),
                wrong: "is given twice".to_owned(),
                remedy: "give each recording once".to_owned(),
            });
        }
        recordings.push(MovesWithEffort::read(Trace::open(file, &choice)?, scale)?);
    }
    let period = one_axis(&arguments.files, &recordings)?;
    let stretches: Vec<Stretch> =
        recordings.iter().flat_map(|recording| recording.stretches(period)).collect();
    let result = identify(&stretches, period);
    let unit = recordings.first().map_or_else(String::new, |recording| recording.unit.clone());
    let units = Units { position: unit, effort: arguments.effort_unit.clone(), rotor: arguments.rotor };
    print(&match arguments.format {
        Form::Json => identified::json(&result)?,
        Form::Table => identified::table(&result, &units),
    })?;
    for (file, recording) in arguments.files.iter().zip(&recordings) {
        recording.notes.iter().for_each(|note| notify(format_args!("{}: {note}", file.display())));
    }
    Ok(ExitCode::SUCCESS)
}

/// The sample period that all recordings have. Unit: s
fn one_axis(files: &[PathBuf], recordings: &[MovesWithEffort]) -> Result<f64, Error> {
    let Some(first) = recordings.first() else { return Ok(1.0) };
    for (file, recording) in files.iter().zip(recordings) {
        let rate = 1.0 / recording.period_s;
        let wrong = if recording.unit != first.unit {
            format!("positions are in {}, those of {} in {}", recording.unit, files[0].display(), first.unit)
        } else if (recording.period_s / first.period_s - 1.0).abs() > 0.01 {
            let before = 1.0 / first.period_s;
            format!("has {rate:.1} rows a second, {} has {before:.1}", files[0].display())
        } else if rate < LEAST_RATE_HZ {
            format!("{rate:.1} rows a second are too few to see acceleration; {LEAST_RATE_HZ} are needed")
        } else {
            continue;
        };
        let remedy = "record one axis with one unit and one rate, or give each file by itself".to_owned();
        return Err(Error::Recording { file: file.display().to_string(), line: 1, wrong, remedy });
    }
    Ok(first.period_s)
}
