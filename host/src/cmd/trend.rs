//! In: a store and a time. Out: how the settling time of each kind of moves changes.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::process::ExitCode;

use clap::{Args, ValueEnum};
use stillpoint_core::Outcome;

use super::moves::Within;
use super::option_value::{positive, whole};
use super::output::{OutputFormat, notify};
use crate::analysis::cost::{Baseline, Cycle, Source};
use crate::analysis::interval_stats::{IntervalStats, Measure};
use crate::analysis::residual_error::ResidualErrors;
use crate::analysis::trend::{TrendOptions, trend};
use crate::error::Error;
use crate::report::trend::{TrendLine, csv, json, table};
use crate::store::Store;
use crate::store::axes::KnownAxis;
use crate::store::kinds::Kind;
use crate::store::sketch::{Bins, rank};
use crate::store::summary::Summary;

/// Show how settling time changes over time, per kind of move
///
/// For each kind of moves (same axis, direction, distance and speed): the slope with its 95 % interval, a test for a
/// trend, changes and their times, when a limit will be reached, and what settling cost. The section Trend of
/// core/METHOD.md defines each number. A move that does not settle counts as slower than every move that does. No slope
/// spans a change of settings or a new baseline.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    #[command(flatten)]
    within: Within,
    /// Output format
    #[arg(long, value_enum, default_value = "table")]
    format: OutputFormat,
    /// Length of each summary interval
    #[arg(long, value_enum, default_value = "5min")]
    interval: Interval,
    /// Only the kind with this number
    #[arg(long, value_name = "N", value_parser = whole::<u32>, allow_negative_numbers = true)]
    kind: Option<u32>,
    /// Use the 95 % quantile of the settling time instead of the median
    #[arg(long)]
    p95: bool,
    /// Predict when this settling time is reached, from settling curves if the store has them
    #[arg(long, value_name = "L", value_parser = positive, allow_negative_numbers = true)]
    limit_ms: Option<f64>,
    /// Reference settling time for the costs; default: the monitor's baseline, else the first interval
    #[arg(long, value_name = "B", value_parser = positive, allow_negative_numbers = true)]
    baseline_ms: Option<f64>,
    /// Time from part to part; requires --moves-per-cycle
    #[arg(long, value_name = "C", requires = "moves_per_cycle")]
    #[arg(value_parser = positive, allow_negative_numbers = true)]
    cycle_s: Option<f64>,
    /// Moves of one kind in a cycle; requires --cycle-s
    #[arg(long, value_name = "N", requires = "cycle_s")]
    #[arg(value_parser = positive, allow_negative_numbers = true)]
    moves_per_cycle: Option<f64>,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint trend --store shift.store --limit-ms 40
  stillpoint trend --store shift.store --axis dibble --kind 1 --since 8h --format jsonl
  stillpoint trend --store shift.store --interval 1h --baseline-ms 12 --cycle-s 2.4 --moves-per-cycle 1

In CSV the entries of a list are separated by `;`, the numbers of an entry by `:`:
  change_points        at s : median before s : after s
  shifts               name : moves : lost s : lost against the baseline s
  unsettled_intervals  start s : unsettled moves : all moves
  restarts             at s";

/// Lengths of the summary intervals of a store.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum Interval {
    #[value(name = "5min")]
    FiveMinutes,
    #[value(name = "1h")]
    Hour,
    #[value(name = "1d")]
    Day,
}

impl Interval {
    /// Unit: s
    fn seconds(self) -> i64 {
        match self {
            Interval::FiveMinutes => 300,
            Interval::Hour => 3600,
            Interval::Day => 86_400,
        }
    }
}

/// Prints the trends.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let options = options(arguments);
    let store = arguments.within.open()?;
    let within = arguments.within.interval(&store)?;
    let span = arguments.interval.seconds();
    let (mut lines, mut too_short, mut others) = (Vec::new(), 0, Vec::new());
    for known in store.find_axes(arguments.within.axis.as_deref())? {
        let errors =
            options.limit_s.map(|limit_s| store.residual_errors(&known, within, limit_s)).transpose()?;
        for kind in store.kinds(&known, span, within)? {
            if arguments.kind.is_some_and(|number| number != kind.number()) {
                others.push(format!("{} {}", known.axis.name, kind.describe()));
                continue;
            }
            let options = TrendOptions {
                residual_errors: errors.as_ref().and_then(|errors| errors_of_kind(errors, &kind)),
                ..options_of_kind(&store, &known, &kind, within.1, &options)?
            };
            let summaries = store.summaries_of(&known, (span, &kind), within)?;
            let bins = Bins::default();
            let intervals: Vec<IntervalStats> =
                summaries.iter().filter_map(|summary| interval_stats(&bins, summary)).collect();
            match trend(&intervals, &options) {
                Some(found) => {
                    let drifts_up = Some(store.is_slower(&known, &kind)?);
                    let line = TrendLine::new(&known.axis.name, &kind.describe(), &found, options.limit_s);
                    lines.push(TrendLine { drifts_up, ..line });
                }
                None => too_short += 1,
            }
        }
    }
    if let Some(number) = arguments.kind.filter(|_| lines.is_empty() && too_short == 0) {
        return Err(no_such_kind(number, &others));
    }
    if too_short > 0 {
        notify(format_args!("{too_short} kinds have too few moves for a trend"));
    }
    print(arguments.format, &lines)
}

/// No move is of the requested kind.
fn no_such_kind(kind: u32, others: &[String]) -> Error {
    let kinds = if others.is_empty() { "none".to_owned() } else { others.join("; ") };
    Error::Option {
        option: "--kind".to_owned(),
        value: kind.to_string(),
        wrong: "no move in this time is of this kind".to_owned(),
        remedy: format!("choose one of: {kinds}"),
    }
}

/// The options for one kind, with the baseline and the restarts that the monitor reported for it.
fn options_of_kind(
    store: &Store,
    known: &KnownAxis,
    kind: &Kind,
    until: i64,
    options: &TrendOptions,
) -> Result<TrendOptions, Error> {
    let reported = store
        .baseline(known, kind, until)?
        .map(|median| Baseline { settling_s: median as f64 * 1e-9, source: Source::Monitor });
    let restarts = store.restarts(known, kind)?.into_iter().map(|at| at as f64 * 1e-6).collect();
    Ok(TrendOptions { baseline: options.baseline.or(reported), restarts, ..options.clone() })
}

/// Residual errors at the limit of one kind, over all starts of the monitor.
fn errors_of_kind(errors: &BTreeMap<i64, ResidualErrors>, kind: &Kind) -> Option<ResidualErrors> {
    kind.ids.iter().filter_map(|id| errors.get(id)).cloned().reduce(|mut all, other| {
        all.merge(&other);
        all
    })
}

fn print(format: OutputFormat, lines: &[TrendLine]) -> Result<ExitCode, Error> {
    let mut out = io::stdout().lock();
    match format {
        OutputFormat::Table => out.write_all(table::table(lines).as_bytes())?,
        OutputFormat::Jsonl => lines.iter().try_for_each(|line| out.write_all(json(line)?.as_bytes()))?,
        OutputFormat::Csv => csv::csv(lines, out)?,
    }
    Ok(ExitCode::SUCCESS)
}

/// The options that all kinds share.
fn options(arguments: &Arguments) -> TrendOptions {
    let cycle = arguments.cycle_s.zip(arguments.moves_per_cycle);
    let baseline = arguments.baseline_ms.map(|baseline| baseline * 1e-3);
    TrendOptions {
        measure: if arguments.p95 { Measure::P95 } else { Measure::Median },
        limit_s: arguments.limit_ms.map(|limit| limit * 1e-3),
        baseline: baseline.map(|settling_s| Baseline { settling_s, source: Source::Option }),
        cycle: cycle.map(|(seconds, moves)| Cycle { seconds, moves }),
        ..TrendOptions::new(arguments.interval.seconds() as f64)
    }
}

/// The statistics of a summary interval; `None` if no move in it is settled or unsettled.
fn interval_stats(bins: &Bins, summary: &Summary) -> Option<IntervalStats> {
    let seconds = |nanoseconds: i64| nanoseconds as f64 * 1e-9;
    let moves = summary.sketch.count();
    let unsettled = u64::try_from(summary.count(Outcome::Unsettled)).unwrap_or(0);
    // Unsettled moves rank behind all settled moves.
    let quantile = |share| {
        let rank = rank(share, moves + unsettled)?;
        Some(summary.sketch.ranked(bins, rank).map_or(f64::INFINITY, seconds))
    };
    Some(IntervalStats {
        time_s: summary.at as f64 * 1e-6,
        moves,
        unsettled,
        median_s: quantile(0.5)?,
        p95_s: quantile(0.95)?,
        mean_s: (moves > 0).then(|| seconds(summary.sum) / moves as f64),
    })
}
