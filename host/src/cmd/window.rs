//! In: recordings of an axis. Out: which window and settling time its process can have, as text or JSON, with
//! a picture, or as a page to be handed over.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::measuring::{self, Measuring};
use super::option_value::{positive, probability};
use super::output::{Form, print, width};
use super::page_options::PageOptions;
use super::recording_options::{Columns, Scale};
use super::recordings::{Reader, Recorded};
use crate::analysis::window_limit::Wish;
use crate::error::Error;
use crate::plot::Format;
use crate::plot::figure::Figure;
use crate::plot::spread::{Bound, Chart, Series};
use crate::report::compare::curves::curves;
use crate::report::kind_moves::{KindMoves, by_kind};
use crate::report::number;
use crate::report::window::table::{answer, table};
use crate::report::window::{Basis, Choice, Cycle, KindLine, Windows, counts};

mod page;

/// Find out which position window and settling time an axis can have
///
/// Measures every stop, and states for each settling time the smallest window that a share of all such moves keeps from
/// then on, with a confidence: not what the recorded moves did, but what those to come will do if nothing changes. The
/// section Window of core/METHOD.md defines each number.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// Recordings of one axis
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// State the smallest window for this settling time only
    #[arg(long, value_name = "T", value_parser = not_negative, allow_negative_numbers = true)]
    settling_ms: Option<f64>,
    /// State the settling time for this half-width of the window only, in the unit of the recording
    #[arg(long, value_name = "W", conflicts_with = "settling_ms", allow_negative_numbers = true)]
    window: Option<String>,
    /// Share of all moves that must keep the window
    #[arg(long, value_name = "P", value_parser = probability, default_value = "0.95")]
    share: f64,
    /// Probability with which that is so
    #[arg(long, value_name = "C", value_parser = probability, default_value = "0.95")]
    confidence: f64,
    /// Time from part to part as it is now: states it, and parts per hour, for each settling time
    #[arg(long, value_name = "C", value_parser = positive, allow_negative_numbers = true)]
    cycle_s: Option<f64>,
    /// Wait for settling at each move that this cycle has now
    #[arg(long, value_name = "T", value_parser = not_negative, default_value = "0", requires = "cycle_s")]
    #[arg(allow_negative_numbers = true)]
    wait_ms: f64,
    /// Moves of a kind in a cycle
    #[arg(long, value_name = "N", value_parser = positive, default_value = "1", requires = "cycle_s")]
    #[arg(allow_negative_numbers = true)]
    moves_per_cycle: f64,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "table")]
    format: Form,
    /// Draw settling time against window; the name ends in .svg, .png or .html
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
    #[command(flatten)]
    measuring: Measuring,
    #[command(flatten)]
    page: PageOptions,
    #[command(flatten)]
    columns: Columns,
    #[command(flatten)]
    scale: Scale,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint window axis.csv
  stillpoint window monday/*.csv --settling-ms 40 --share 0.99
  stillpoint window axis.csv --window 0.05
  stillpoint window axis.csv --cycle-s 2.6 --wait-ms 140 --plot window.svg
  stillpoint window axis.csv --settling-ms 40 --report window.pdf

A cycle with another wait is taken to be as much longer or shorter as the waits of its moves.

Exit status: 0 done, also where too few moves were recorded; 1 a recording can't be used; 2 wrong arguments.";

/// Windows in the picture: all that are told apart.
const DRAWN_WINDOWS: usize = 200;
/// Kinds with a picture of their own; those with most moves.
const DRAWN_KINDS: usize = 3;

/// A time of 0 or more. Unit: ms
fn not_negative(text: &str) -> Result<f64, String> {
    let time: Option<f64> = text.parse().ok().filter(|time: &f64| time.is_finite() && *time >= 0.0);
    time.ok_or_else(|| "give milliseconds from 0, such as 40".to_owned())
}

/// Measures and states the windows.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    arguments.page.check()?;
    if let Some(path) = &arguments.plot {
        Format::of(path)?;
    }
    let (recorded, basis) = recorded(arguments)?;
    let kinds = by_kind(&[&recorded.moves], (basis.encoder_step, &basis.unit), counts);
    let windows = Windows::new(&kinds, &basis);
    if let Some(path) = &arguments.plot {
        figure(&windows, &kinds, &basis).draw(path)?;
    }
    arguments.page.write(|| page::page(&arguments.files, &recorded, (&windows, &kinds, &basis)))?;
    let text = match arguments.format {
        Form::Json => windows.json()?,
        Form::Table => table(&windows, &basis, width()),
    };
    print(&text)?;
    Ok(ExitCode::SUCCESS)
}

/// Reads and measures the recordings.
fn recorded(arguments: &Arguments) -> Result<(Recorded, Basis), Error> {
    let window = arguments.window.as_deref().map(measuring::window).transpose()?;
    let reader = Reader::new(window, &arguments.measuring, (&arguments.columns, &arguments.scale))?;
    let recorded = reader.all(&arguments.files)?;
    let choice = match (arguments.settling_ms, window) {
        (Some(time), _) => Choice::Settling(time * 1e-3),
        (None, Some(window)) => Choice::Window(window.to_f64()),
        (None, None) => Choice::Curve,
    };
    let cycle = arguments.cycle_s.map(|seconds| Cycle {
        seconds,
        wait: arguments.wait_ms * 1e-3,
        moves: arguments.moves_per_cycle,
    });
    let basis = Basis {
        wish: Wish { share: arguments.share, confidence: arguments.confidence },
        choice,
        cycle,
        unit: recorded.unit.clone(),
        encoder_step: recorded.encoder_step,
        sample_period_s: recorded.sample_period_s,
    };
    Ok((recorded, basis))
}

/// The kinds, those with most moves first.
fn shown<'a>(windows: &'a Windows, kinds: &'a [KindMoves<'a>]) -> Vec<(&'a KindMoves<'a>, &'a KindLine)> {
    let mut shown: Vec<(&KindMoves, &KindLine)> = kinds.iter().zip(&windows.kinds).collect();
    shown.sort_by_key(|(_, line)| std::cmp::Reverse(line.moves));
    shown
}

fn figure(windows: &Windows, kinds: &[KindMoves], basis: &Basis) -> Figure {
    let shown = shown(windows, kinds);
    let notes = shown.iter().filter(|(_, line)| !line.reason.is_empty());
    Figure {
        heading: answer(windows, basis),
        subject: String::new(),
        notes: notes.map(|(_, line)| format!("{}: {}", line.kind, line.reason)).collect(),
        charts: shown.iter().take(DRAWN_KINDS).map(|(kind, line)| chart(kind, line, basis)).collect(),
        text: table(windows, basis, usize::MAX),
    }
}

/// The picture of one kind: what its moves did, and the limit for those to come.
fn chart(kind: &KindMoves, line: &KindLine, basis: &Basis) -> Chart {
    let curves = curves(kind, DRAWN_WINDOWS);
    let points = line.curve.iter().filter_map(|point| Some((point.window?, point.settling_s?)));
    let chosen = points.clone().next().filter(|_| basis.choice != Choice::Curve);
    let percent = 100.0 * basis.wish.share;
    let bound = Bound {
        name: format!("{percent} % of moves to come, at {} % confidence", 100.0 * basis.wish.confidence),
        // From wide windows and short times to narrow ones.
        points: points.rev().collect(),
        chosen,
    };
    let series = curves
        .groups
        .into_iter()
        .map(|(moves, spreads)| Series { name: number::count(moves, "move"), spreads });
    Chart {
        title: kind.name.clone(),
        series: series.collect(),
        windows: curves.windows,
        unit: basis.unit.clone(),
        window: None,
        bound: Some(bound).filter(|bound| !bound.points.is_empty()),
    }
}
