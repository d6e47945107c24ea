//! In: recordings and options. Out: their moves as a table, JSON lines or CSV; with `--plot` a picture too, with
//! `--limit-ms` a verdict on stderr and by the exit status 3, with `--report` the page on which it is signed.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::measuring::{Measuring, window};
use super::option_value::whole_from_1;
use super::output::{Output, OutputFormat, notify};
use super::progress;
use super::recording_options::{Columns, Scale};
use super::recordings;
use super::sign_off::{Collected, SignOffOptions};
use crate::error::Error;
use crate::measure::{MeasureOptions, Measured, Pictures, Summary, measure};
use crate::plot::album::Album;
use crate::plot::{self, Format};
use crate::trace::Choice;

/// Measure every move of a recording
///
/// Reads command and feedback from CSV or similar text as drives and oscilloscopes export it, and
/// finds out by itself how it is written: delimiter, decimal comma, header, units, encoding; also an
/// event log of one value a line. What it can't find out it asks for, with the option to type.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// Recordings; `-` reads standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Half-width of the position window, in the unit of the recording
    #[arg(long, value_name = "W", allow_negative_numbers = true)]
    window: String,
    #[command(flatten)]
    measuring: Measuring,
    /// How the moves are printed
    #[arg(long, value_enum, default_value = "table")]
    format: OutputFormat,
    /// Draw the moves; the name ends in .svg, .png or .html
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    /// Number of the move to draw large; without it the slowest one
    #[arg(long, value_name = "N", requires = "plot", value_parser = whole_from_1)]
    #[arg(allow_negative_numbers = true)]
    plot_move: Option<u32>,
    /// Draw speed, effort or both below the stop that is drawn large
    ///
    /// Speed is the distance over a stretch of time, which its label names: from one sample to the next, the steps of the
    /// encoder would be all there is to see. Effort needs --effort.
    #[arg(long, value_name = "WHAT", value_enum, value_delimiter = ',', requires = "plot")]
    show: Vec<Shown>,
    /// Column of the effort that is drawn: force, torque or current; by name or number
    #[arg(long, value_name = "COL", requires = "show")]
    effort: Option<String>,
    #[command(flatten)]
    sign_off: SignOffOptions,
    #[command(flatten)]
    columns: Columns,
    #[command(flatten)]
    scale: Scale,
}

/// What can be drawn below a stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Shown {
    /// Measured and commanded speed
    Speed,
    /// Force, torque or current
    Effort,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint measure axis.csv --window 0.01
  stillpoint measure axis.csv --window 0.01 --window-time-ms 20 --plot stops.html
  stillpoint measure axis.csv --window 0.01 --plot stop.png --show speed,effort --effort 'Current [A]'
  stillpoint measure scope.txt --window 0.01 --rate 4000 --counts-per-unit 16777216/60 --unit mm
  stillpoint measure drive.csv --window 0.01 --time t:ms
  stillpoint measure volts.csv --window 0.01 --command-scale 2.5 --feedback-scale -10/3 --unit mm
  stillpoint measure step.csv --window 0.01 --from 2.0
  stillpoint measure log.csv --window 0.01 --command X.SetPos --feedback X.ActPos
  stillpoint measure drive.csv --window 0.01 --following-error 'Position deviation'
  stillpoint measure turntable.csv --window 0.02 --wrap 360
  stillpoint measure monday/*.csv --window 0.05 --format jsonl > monday.jsonl
  stillpoint measure axis.csv --window 0.05 --limit-ms 40
  stillpoint measure axis.csv --window 0.05 --limit-ms 40 --limit-share 0.99 --report axis.pdf \\
      --name 'Tray shuttle' --changed 'belt 42 -> 68 Hz'

Exit status: 0 done, 1 a recording can't be used (the others are still measured), or more than a
tenth of its rows can't be read (its moves are still printed), 2 wrong arguments, 3 the moves are not
shown to keep the limit of --limit-ms: some don't, or they are too few.";

/// Measures all files; for one that can't be used an error is printed, and the others are still measured.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let options = arguments.measuring.options(window(&arguments.window)?, &arguments.scale)?;
    let choice = arguments.choice()?;
    if let Some(path) = &arguments.plot {
        Format::of(path)?;
    }
    let collected = arguments.sign_off.begin(&arguments.files)?;
    let output = Output::new(arguments.format)?;
    let mut work = Work { arguments, options, choice, output, album: Album::default(), collected };
    let (mut notes, mut status, mut measured) = (Vec::new(), 0, false);
    for file in &arguments.files {
        let name = file.display().to_string();
        let failure = match work.file(file, &name) {
            Ok(summary) => {
                notes.extend(summary.notes.iter().map(|note| recordings::placed(&name, note)));
                measured = true;
                summary.stopped
            }
            Err(error @ (Error::Closed | Error::Output(_))) => return Err(error),
            Err(error @ Error::Option { .. }) => {
                notify(format_args!("stillpoint: {name}: {error}"));
                status = status.max(error.status());
                work.lacks_one();
                None
            }
            Err(error) => {
                work.lacks_one();
                Some(error)
            }
        };
        if let Some(error) = failure {
            notify(format_args!("stillpoint: {error}"));
            status = status.max(error.status());
        }
    }
    notes.iter().for_each(notify);
    // Where nothing could be read, "no moves" would be wrong.
    let verdict = if measured { work.finish(&notes)? } else { 0 };
    Ok(ExitCode::from(if status == 0 { verdict } else { status }))
}

impl Arguments {
    fn choice(&self) -> Result<Choice, Error> {
        Ok(Choice { effort: self.effort_column()?, ..self.columns.choice(&self.scale)? })
    }

    /// The column of the effort, if effort is to be drawn.
    fn effort_column(&self) -> Result<Option<String>, Error> {
        let is_shown = self.show.contains(&Shown::Effort);
        let (option, wrong, remedy) = match (&self.effort, is_shown) {
            (Some(_), false) => ("--effort", "is not drawn", "add effort to --show, or leave --effort out"),
            (None, true) => ("--show", "needs a column", "give --effort COL: force, torque or current"),
            _ => return Ok(self.effort.clone()),
        };
        Err(Error::Option {
            option: option.to_owned(),
            value: self.effort.clone().unwrap_or_else(|| "effort".to_owned()),
            wrong: wrong.to_owned(),
            remedy: remedy.to_owned(),
        })
    }

    /// What is recorded for pictures.
    fn pictures(&self) -> Pictures {
        Pictures {
            stops: self.plot.is_some() || self.sign_off.has_page(),
            speed: self.show.contains(&Shown::Speed),
            effort: self.effort.is_some(),
        }
    }
}

struct Work<'a> {
    arguments: &'a Arguments,
    options: MeasureOptions,
    choice: Choice,
    output: Output,
    album: Album,
    /// For a sign-off.
    collected: Option<Collected>,
}

impl Work<'_> {
    fn file(&mut self, path: &Path, name: &str) -> Result<Summary, Error> {
        let mut trace = recordings::open(path, &self.choice)?;
        let bytes = path.metadata().ok().map(|data| data.len());
        let bar = progress::bar(name, bytes);
        let axis = path.file_stem().map_or_else(|| name.into(), |stem| stem.to_string_lossy());
        let (output, album, chosen) = (&mut self.output, &mut self.album, self.arguments.plot_move);
        let recorded = self.arguments.pictures();
        let pictures = recorded.stops;
        let mut collected = self.collected.as_mut();
        if let Some(collected) = &mut collected {
            collected.begin(name, trace.layout())?;
        }
        let on_move = |measured: Measured| {
            match output.write(&measured.report).map_err(Error::from) {
                // The picture is drawn and the verdict found even if the reader of stdout has gone.
                Err(Error::Closed) if pictures || collected.is_some() => output.close(),
                written => written?,
            }
            if let Some(collected) = &mut collected {
                collected.push(&measured.report);
            }
            if pictures {
                let is_chosen = chosen == Some(measured.report.number);
                album.push(measured.report, measured.samples, is_chosen);
            }
            Ok(())
        };
        let summary = measure(&mut trace, (name, &axis), &self.options, recorded, on_move, |bytes| {
            bar.set_position(bytes)
        });
        if let (Some(collected), Ok(summary)) = (&mut self.collected, &summary) {
            collected.add(path, name, trace.layout(), summary)?;
        }
        bar.finish_and_clear();
        summary
    }

    /// A recording can't be used, so that nothing can be signed.
    fn lacks_one(&mut self) {
        self.collected.iter_mut().for_each(Collected::lacks_one);
    }

    /// Prints what is printed at the end, draws, and returns the exit status of the verdict.
    fn finish(self, notes: &[String]) -> Result<u8, Error> {
        let written = self.output.finish().map_err(Error::from);
        let sheet = self.album.sheet("Stillpoint: moves and their stops", notes);
        if let Some(path) = &self.arguments.plot {
            if let (Some(number), None) = (self.arguments.plot_move, sheet.chosen) {
                notify(format_args!("there is no move {number} to draw large; the slowest one is instead"));
            }
            let reports: Vec<_> = sheet.moves.iter().map(|shown| shown.report.clone()).collect();
            plot::draw(path, &sheet, &reports)?;
        }
        let Some(collected) = self.collected else { return written.map(|()| 0) };
        let verdict = self.arguments.sign_off.finish(collected, &self.options, &sheet, notes)?;
        match written {
            // The verdict counts, though nobody read the moves to the end.
            Err(Error::Closed) => Ok(verdict),
            written => written.map(|()| verdict),
        }
    }
}
