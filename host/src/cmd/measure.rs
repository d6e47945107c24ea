//! In: recordings, and what is asked of their moves. Out: a table, JSON lines or CSV; a picture if asked.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, ValueEnum};
use stillpoint_core::settings::Definition;
use stillpoint_core::unit::{Fraction, PositionFactor};

use super::output::{Form, Output};
use super::progress;
use crate::error::Error;
use crate::measure::{Ask, Measured, Summary, measure};
use crate::plot::album::Album;
use crate::plot::{self, Format};
use crate::trace::{Choice, Trace, choice::fraction};

/// Measure every move of a recording
///
/// Reads command and feedback from CSV or similar text as drives and oscilloscopes export it, and
/// finds out by itself how it is written: delimiter, decimal comma, header, units, encoding.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// Recordings; `-` reads standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Half-width of the position window, in the unit of the recording
    #[arg(long, value_name = "W", allow_negative_numbers = true)]
    window: String,
    /// How long feedback must stay inside to count; 0 for not at all
    #[arg(long, value_name = "T", default_value = "10", allow_negative_numbers = true)]
    window_time_ms: f64,
    /// How long the command must stand to end a move; never less than three samples
    #[arg(long, value_name = "T", default_value = "20", allow_negative_numbers = true)]
    rest_time_ms: f64,
    /// Which definition of settling time is reported
    #[arg(long, value_enum, default_value = "last-entry")]
    definition: Wording,
    /// How the moves are printed
    #[arg(long, value_enum, default_value = "table")]
    format: Form,
    /// Draw the moves; the name ends in .svg, .png or .html
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Number of the move to draw large; the slowest one if left out
    #[arg(long, value_name = "N", requires = "plot")]
    plot_move: Option<u32>,
    #[command(flatten)]
    columns: Columns,
    #[command(flatten)]
    scale: Scale,
}

#[derive(Args)]
#[command(next_help_heading = "How the recording is written (found out if left out)")]
struct Columns {
    /// Time column by name or number, its unit after a colon: `t:ms`
    #[arg(long, value_name = "COL")]
    time: Option<String>,
    /// Column of the commanded position, by name or number
    #[arg(long, value_name = "COL")]
    command: Option<String>,
    /// Column of the measured position, by name or number
    #[arg(long, value_name = "COL")]
    feedback: Option<String>,
    /// Rows per second, where there is no time column
    #[arg(long, value_name = "HZ")]
    rate: Option<String>,
    /// Between columns
    #[arg(long, value_name = "CHAR")]
    delimiter: Option<char>,
    /// Decimal sign
    #[arg(long, value_name = "CHAR")]
    decimal: Option<char>,
}

#[derive(Args)]
#[command(next_help_heading = "Scales")]
struct Scale {
    /// Name of the unit of position
    #[arg(long, value_name = "UNIT")]
    unit: Option<String>,
    /// The columns hold counts, and so many make one unit; a fraction is exact: 1048576/375
    #[arg(long, value_name = "N")]
    counts_per_unit: Option<String>,
    /// Instead: encoder increments / motor revolutions (0x608F)
    #[arg(long, value_name = "A/B", conflicts_with = "counts_per_unit", requires = "feed_constant")]
    encoder_resolution: Option<String>,
    /// With it: motor / shaft revolutions (0x6091)
    #[arg(long, value_name = "A/B", requires = "encoder_resolution")]
    gear_ratio: Option<String>,
    /// With it: feed in units / shaft revolutions (0x6092)
    #[arg(long, value_name = "A/B", requires = "encoder_resolution")]
    feed_constant: Option<String>,
    /// Feedback counts / command counts, where the two differ; negative if they count opposite ways
    #[arg(long, value_name = "A/B", allow_hyphen_values = true)]
    command_scale: Option<String>,
    /// Smallest step of the encoder, in the unit of the recording
    #[arg(long, value_name = "S")]
    encoder_step: Option<String>,
    /// Fastest the machine can move, in units per second; faster feedback is a fault of the signal
    #[arg(long, value_name = "V")]
    max_speed: Option<f64>,
}

#[derive(Clone, Copy, ValueEnum)]
enum Wording {
    /// Command end to the last entry into the window
    LastEntry,
    /// First crossing into the window to staying inside (ISO 9283, 7.4)
    #[value(name = "iso-9283")]
    Iso9283,
    /// Command end to the window held for the window time (CiA 402, statusword bit 10)
    TargetReached,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint measure axis.csv --window 0.01
  stillpoint measure axis.csv --window 0.01 --window-time-ms 20 --plot stops.html
  stillpoint measure scope.txt --rate 4000 --command 2 --feedback 3 --counts-per-unit 16777216/60 --window 0.01
  stillpoint measure monday/*.csv --window 0.05 --format jsonl > monday.jsonl";

impl Arguments {
    fn ask(&self) -> Result<Ask, Error> {
        Ok(Ask {
            window: fraction("--window", &self.window).map_err(|_| Error::window(&self.window))?,
            window_time_ms: self.window_time_ms,
            rest_time_ms: self.rest_time_ms,
            definition: match self.definition {
                Wording::LastEntry => Definition::LastEntry,
                Wording::Iso9283 => Definition::Iso9283,
                Wording::TargetReached => Definition::TargetReached,
            },
            command_scale: self.scale.command_scale()?,
            encoder_step: self.scale.fraction("--encoder-step", &self.scale.encoder_step)?,
            max_speed: self.scale.max_speed,
        })
    }

    fn choice(&self) -> Result<Choice, Error> {
        let Columns { time, command, feedback, rate, delimiter, decimal } = &self.columns;
        Ok(Choice {
            time: time.clone(),
            command: command.clone(),
            feedback: feedback.clone(),
            rate: rate.as_deref().map(|rate| fraction("--rate", rate)).transpose()?,
            unit: self.scale.unit.clone(),
            counts_per_unit: self.scale.counts_per_unit()?,
            delimiter: *delimiter,
            decimal: *decimal,
        })
    }
}

impl Scale {
    fn fraction(&self, option: &str, text: &Option<String>) -> Result<Option<Fraction>, Error> {
        text.as_deref().map(|text| fraction(option, text)).transpose()
    }

    fn counts_per_unit(&self) -> Result<Option<Fraction>, Error> {
        let Some(resolution) = self.fraction("--encoder-resolution", &self.encoder_resolution)? else {
            return self.fraction("--counts-per-unit", &self.counts_per_unit);
        };
        let pair = |option: &str, value: Fraction| -> Result<(u32, u32), Error> {
            let parts = (u32::try_from(value.numerator()), u32::try_from(value.denominator()));
            match parts {
                (Ok(upper), Ok(lower)) => Ok((upper, lower)),
                _ => Err(wrong(option, &value.to_string(), "needs more than 32 bits")),
            }
        };
        let gear = self.fraction("--gear-ratio", &self.gear_ratio)?.unwrap_or(Fraction::ONE);
        let feed = self.fraction("--feed-constant", &self.feed_constant)?.unwrap_or(Fraction::ONE);
        let factor = PositionFactor {
            encoder_resolution: pair("--encoder-resolution", resolution)?,
            gear_ratio: pair("--gear-ratio", gear)?,
            feed_constant: pair("--feed-constant", feed)?,
        };
        factor
            .counts_per_unit()
            .map(Some)
            .map_err(|unusable| wrong("--encoder-resolution", "", &unusable.to_string()))
    }

    fn command_scale(&self) -> Result<(i32, i32), Error> {
        let Some(text) = self.command_scale.as_deref() else { return Ok((1, 1)) };
        let (sign, digits) = text.strip_prefix('-').map_or((1, text), |digits| (-1, digits));
        let scale = fraction("--command-scale", digits)?;
        match (i32::try_from(scale.numerator()), i32::try_from(scale.denominator())) {
            (Ok(upper), Ok(lower)) => Ok((sign * upper, lower)),
            _ => Err(wrong("--command-scale", text, "needs more than 31 bits")),
        }
    }
}

fn wrong(option: &str, value: &str, wrong: &str) -> Error {
    let remedy = "give whole numbers such as 16777216/1".to_owned();
    Error::Option { option: option.to_owned(), value: value.to_owned(), wrong: wrong.to_owned(), remedy }
}

/// Measures all files; one that can't be used is told and the others are still measured.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let (ask, choice) = (arguments.ask()?, arguments.choice()?);
    if let Some(path) = &arguments.plot {
        Format::of(path)?;
    }
    let mut work =
        Work { arguments, ask, choice, output: Output::new(arguments.format)?, album: Album::default() };
    let mut notes = Vec::new();
    let mut status = ExitCode::SUCCESS;
    for file in &arguments.files {
        let name = file.display().to_string();
        match work.file(file, &name) {
            Ok(summary) => notes.extend(summary.notes.iter().map(|note| format!("{name}: {note}"))),
            Err(Error::Closed) => return Ok(ExitCode::SUCCESS),
            Err(error) => {
                eprintln!("stillpoint: {error}");
                status = ExitCode::from(1);
            }
        }
    }
    notes.iter().for_each(|note| eprintln!("{note}"));
    work.finish(&notes)?;
    Ok(status)
}

struct Work<'a> {
    arguments: &'a Arguments,
    ask: Ask,
    choice: Choice,
    output: Output,
    album: Album,
}

impl Work<'_> {
    fn file(&mut self, path: &Path, name: &str) -> Result<Summary, Error> {
        let mut trace = if path.as_os_str() == "-" {
            Trace::from_reader("standard input", std::io::stdin(), &self.choice)?
        } else {
            Trace::open(path, &self.choice)?
        };
        let bytes = path.metadata().ok().map(|data| data.len());
        let bar = progress::bar(name, bytes);
        let axis = path.file_stem().map_or_else(|| name.into(), |stem| stem.to_string_lossy());
        let (output, album, chosen) = (&mut self.output, &mut self.album, self.arguments.plot_move);
        let pictures = self.arguments.plot.is_some();
        let on_move = |measured: Measured| {
            output.take(&measured.line)?;
            if pictures {
                let is_chosen = chosen == Some(measured.line.number);
                album.take(measured.line, measured.stretch, is_chosen);
            }
            Ok(())
        };
        let summary =
            measure(&mut trace, (name, &axis), &self.ask, pictures, on_move, |bytes| bar.set_position(bytes));
        bar.finish_and_clear();
        summary
    }

    fn finish(self, notes: &[String]) -> Result<(), Error> {
        self.output.finish()?;
        let Some(path) = &self.arguments.plot else { return Ok(()) };
        let sheet = self.album.sheet("Stillpoint: moves and their stops", notes);
        let lines: Vec<_> = sheet.moves.iter().map(|shown| shown.line.clone()).collect();
        Ok(plot::draw(path, &sheet, &lines)?)
    }
}
