//! In: a store and a time. Out: how the settling of each kind of moves goes on.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::process::ExitCode;

use clap::{Args, ValueEnum};
use stillpoint_core::Outcome;

use super::figure::{positive, whole};
use super::moves::Within;
use super::output::{Form, tell};
use crate::analysis::cost::{Baseline, Cycle, Source};
use crate::analysis::left::Left;
use crate::analysis::point::{Measure, Point};
use crate::analysis::trend;
use crate::error::Error;
use crate::report::trend::{TrendLine, csv, json, table};
use crate::store::Store;
use crate::store::axes::KnownAxis;
use crate::store::kinds::Kind;
use crate::store::sketch::{Bins, rank};
use crate::store::summary::Summary;

/// Tell where the settling of a store's axes is going
///
/// For each kind of moves (same axis, direction, distance and speed): slope with its 95 % interval, whether there is a
/// trend at all, changes and when they were, when a limit is reached, and what settling cost. How each figure is
/// made is in core/METHOD.md, section Trend. Moves that don't settle count as slower than all that do. Slopes are not
/// taken across other settings and declarations.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    #[command(flatten)]
    within: Within,
    /// How it is printed
    #[arg(long, value_enum, default_value = "table")]
    format: Form,
    /// Moves are summed up over so long
    #[arg(long, value_enum, default_value = "5min")]
    interval: Interval,
    /// Only the kind of this number
    #[arg(long, value_name = "N", value_parser = whole::<u32>, allow_negative_numbers = true)]
    kind: Option<u32>,
    /// Follow the settling time that 95 of 100 moves keep, instead of the median
    #[arg(long)]
    p95: bool,
    /// Settling time that must not be reached: when will it be? Told from settling curves, if the store has them
    #[arg(long, value_name = "L", value_parser = positive, allow_negative_numbers = true)]
    limit_ms: Option<f64>,
    /// Settling time when the axis was good, to tell costs against; else the monitor's baseline, else the first interval
    #[arg(long, value_name = "B", value_parser = positive, allow_negative_numbers = true)]
    baseline_ms: Option<f64>,
    /// Time from part to part, together with --moves-per-cycle
    #[arg(long, value_name = "C", requires = "moves_per_cycle")]
    #[arg(value_parser = positive, allow_negative_numbers = true)]
    cycle_s: Option<f64>,
    /// Moves of one kind in a cycle, together with --cycle-s
    #[arg(long, value_name = "N", requires = "cycle_s")]
    #[arg(value_parser = positive, allow_negative_numbers = true)]
    moves_per_cycle: Option<f64>,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint trend --store shift.store --limit-ms 40
  stillpoint trend --store shift.store --axis dibble --kind 1 --since 8h --format jsonl
  stillpoint trend --store shift.store --interval 1h --baseline-ms 12 --cycle-s 2.4 --moves-per-cycle 1

In CSV the entries of a list are parted by `;`, their figures by `:`:
  change_points        at s : median before s : after s
  shifts               name : moves : lost s : lost against the baseline s
  unsettled_intervals  beginning s : moves that did not settle : of moves
  restarts             at s";

/// Lengths of time that a store sums up.
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
    let ask = ask(arguments);
    let store = arguments.within.open()?;
    let within = arguments.within.interval(&store)?;
    let span = arguments.interval.seconds();
    let (mut lines, mut short, mut others) = (Vec::new(), 0, Vec::new());
    for known in store.find_axes(arguments.within.axis.as_deref())? {
        let left = ask
            .limit_s
            .map(|limit_s| store.residual_errors(&known, within, limit_s))
            .transpose()?
            .unwrap_or_default();
        for kind in store.kinds(&known, span, within)? {
            if arguments.kind.is_some_and(|number| number != kind.number()) {
                others.push(format!("{} {}", known.axis.name, kind.describe()));
                continue;
            }
            let ask =
                trend::Ask { left: of_ids(&left, &kind), ..of_kind(&store, &known, &kind, within.1, &ask)? };
            let summaries = store.summaries_of(&known, (span, &kind), within)?;
            let bins = Bins::default();
            let points: Vec<Point> = summaries.iter().filter_map(|one| point(&bins, one)).collect();
            match trend::trend(&points, &ask) {
                Some(found) => {
                    let drifts_up = Some(store.is_slower(&known, &kind)?);
                    let line = TrendLine::new(&known.axis.name, &kind.describe(), &found, ask.limit_s);
                    lines.push(TrendLine { drifts_up, ..line });
                }
                None => short += 1,
            }
        }
    }
    if let Some(number) = arguments.kind.filter(|_| lines.is_empty() && short == 0) {
        return Err(no_such(number, &others));
    }
    if short > 0 {
        tell(format_args!("{short} kinds have too few moves for a trend"));
    }
    print(arguments.format, &lines)
}

/// No move is of the kind that was asked for.
fn no_such(kind: u32, others: &[String]) -> Error {
    let has = if others.is_empty() { "none at all".to_owned() } else { others.join("; ") };
    Error::Option {
        option: "--kind".to_owned(),
        value: kind.to_string(),
        wrong: "no move in this time is of such a kind".to_owned(),
        remedy: format!("it has: {has}"),
    }
}

/// What is asked of one kind: with what the monitor told of it.
fn of_kind(
    store: &Store,
    known: &KnownAxis,
    kind: &Kind,
    until: i64,
    ask: &trend::Ask,
) -> Result<trend::Ask, Error> {
    let told = store.baseline(known, kind, until)?;
    let told = told.map(|median| Baseline { settling_s: median as f64 * 1e-9, source: Source::Monitor });
    let restarts = store.restarts(known, kind)?.into_iter().map(|at| at as f64 * 1e-6).collect();
    Ok(trend::Ask { baseline: ask.baseline.or(told), restarts, ..ask.clone() })
}

/// Errors left at the limit by the moves of one kind, in all starts.
fn of_ids(left: &BTreeMap<i64, Left>, kind: &Kind) -> Option<Left> {
    kind.ids.iter().filter_map(|id| left.get(id)).cloned().reduce(|mut all, other| {
        all.merge(&other);
        all
    })
}

fn print(form: Form, lines: &[TrendLine]) -> Result<ExitCode, Error> {
    let mut out = io::stdout().lock();
    match form {
        Form::Table => out.write_all(table::table(lines).as_bytes())?,
        Form::Jsonl => lines.iter().try_for_each(|line| out.write_all(json(line)?.as_bytes()))?,
        Form::Csv => csv::csv(lines, out)?,
    }
    Ok(ExitCode::SUCCESS)
}

/// What is asked.
fn ask(arguments: &Arguments) -> trend::Ask {
    let cycle = arguments.cycle_s.zip(arguments.moves_per_cycle);
    let baseline = arguments.baseline_ms.map(|baseline| baseline * 1e-3);
    trend::Ask {
        measure: if arguments.p95 { Measure::P95 } else { Measure::Median },
        limit_s: arguments.limit_ms.map(|limit| limit * 1e-3),
        baseline: baseline.map(|settling_s| Baseline { settling_s, source: Source::Asked }),
        cycle: cycle.map(|(seconds, moves)| Cycle { seconds, moves }),
        ..trend::Ask::new(arguments.interval.seconds() as f64)
    }
}

/// The point of an interval, if a move in it settled or did not.
fn point(bins: &Bins, summary: &Summary) -> Option<Point> {
    let seconds = |nanoseconds: i64| nanoseconds as f64 * 1e-9;
    let moves = summary.sketch.count();
    let unsettled = u64::try_from(summary.count(Outcome::Unsettled)).unwrap_or(0);
    // A move that did not settle stands behind all that did.
    let quantile = |share| {
        let rank = rank(share, moves + unsettled)?;
        Some(summary.sketch.ranked(bins, rank).map_or(f64::INFINITY, seconds))
    };
    Some(Point {
        time_s: summary.at as f64 * 1e-6,
        moves,
        unsettled,
        median_s: quantile(0.5)?,
        p95_s: quantile(0.95)?,
        mean_s: (moves > 0).then(|| seconds(summary.sum) / moves as f64),
    })
}
