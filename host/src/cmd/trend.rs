//! In: a store and a time. Out: how the settling time of each kind of moves changes; with `--plot` a picture too.

mod picture;

use std::collections::BTreeMap;
use std::io;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, ValueEnum};
use jiff::tz::TimeZone;

use super::moves::Within;
use super::option_value::{positive, whole};
use super::output::{OutputFormat, notify, print, print_json};
use crate::analysis::cost::{Baseline, Cycle, Source};
use crate::analysis::interval_stats::{IntervalStats, Levels, Measure};
use crate::analysis::residual_error::ResidualErrors;
use crate::analysis::trend::{Trend, TrendOptions, trend};
use crate::analysis::warm_up::Rule;
use crate::error::Error;
use crate::plot::Format;
use crate::report::explained;
use crate::report::number;
use crate::report::trend::{TrendLine, csv, cycle, table};
use crate::store::Store;
use crate::store::axes::KnownAxis;
use crate::store::drifts::StoredDrift;
use crate::store::kinds::{Kind, KnownBaseline};
use crate::store::sketch::Bins;
use crate::store::statistics::{Overall, interval_stats};
use crate::store::summary::SPANS;

/// Show how settling time changes over time, per kind of move
///
/// For each kind of moves (same axis, direction, distance and speed): the slope with its 95 % interval, a test for a
/// trend, changes and their times, when a limit will be reached, and what settling cost. The section Trend of
/// core/METHOD.md defines each number. A move that does not settle counts as slower than every move that does, and costs at
/// least the time to the next command. No slope spans a change of settings or a new baseline. Where hardly any move settles
/// near the median, the mean is followed instead. With --until all is as it was known then. Times in the table are those of
/// this computer's time zone. "drift since" is the monitor's, as in `alarms`; a step is a change between two intervals.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    #[command(flatten)]
    within: Within,
    /// Output format
    #[arg(long, value_enum, default_value = "table")]
    format: OutputFormat,
    /// Length of each summary interval; longer for kinds of which no interval has five moves
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
    /// Reference settling time; default: the monitor's baseline in force at the time, else the first interval
    #[arg(long, value_name = "B", value_parser = positive, allow_negative_numbers = true)]
    baseline_ms: Option<f64>,
    /// Time from part to part; requires --moves-per-cycle. Lost parts are those of the axis that lost most time
    #[arg(long, value_name = "C", requires = "moves_per_cycle")]
    #[arg(value_parser = positive, allow_negative_numbers = true)]
    cycle_s: Option<f64>,
    /// Moves of one kind in a cycle; requires --cycle-s
    #[arg(long, value_name = "N", requires = "cycle_s")]
    #[arg(value_parser = positive, allow_negative_numbers = true)]
    moves_per_cycle: Option<f64>,
    /// Also draw the trends over the moves: FILE.svg, FILE.png or FILE.html
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint trend --store shift.store --limit-ms 40
  stillpoint trend --store shift.store --axis dibble --kind 1 --since 8h --format jsonl
  stillpoint trend --store shift.store --interval 1h --baseline-ms 12 --cycle-s 2.4 --moves-per-cycle 1
  stillpoint trend --store shift.store --axis dibble --plot dibble.svg

In CSV the entries of a list are separated by `;`, the numbers of an entry by `:`:
  change_points        at s : median before s : after s
  shifts               name : moves : lost s : lost against the baseline s
  unsettled_intervals  start s : unsettled moves : all moves
  restarts             at s
  explained            words";

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
    if let Some(path) = &arguments.plot {
        Format::of(path)?;
    }
    let store = arguments.within.open()?;
    let query = Query {
        store: &store,
        axis: arguments.within.axis.clone(),
        kind: arguments.kind,
        within: arguments.within.interval(&store)?,
        span: arguments.interval.seconds(),
        options: options(arguments),
    };
    let found = query.lines()?;
    if let Some(number) = query.kind.filter(|_| found.lines.is_empty() && found.too_short == 0) {
        return Err(no_such_kind(number, &found.others));
    }
    if found.too_short > 0 {
        notify(format_args!("too few moves for a trend: {}", number::count(found.too_short, "kind")));
    }
    let zone = TimeZone::system();
    if let Some(path) = &arguments.plot {
        picture::draw(path, &query, &found, &zone)?;
    }
    match arguments.within.no_moves(&store, &zone)?.filter(|_| found.lines.is_empty()) {
        Some(text) if arguments.format == OutputFormat::Table => print(&(text + "\n"))?,
        no_moves => {
            no_moves.iter().for_each(notify);
            write(arguments.format, &found.lines, &zone)?;
            let caution = store.caution(&store.find_axes(arguments.within.axis.as_deref())?)?;
            if let Some(caution) = caution.filter(|_| arguments.format == OutputFormat::Table) {
                print(&format!("\nCaution: {caution}\n"))?;
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// What is to be known, and of which moves.
pub struct Query<'s> {
    /// The store.
    pub store: &'s Store,
    /// Name or number of the axis; all if none.
    pub axis: Option<String>,
    /// Number of the kind; all if none.
    pub kind: Option<u32>,
    /// Unit: µs since 1970, UTC
    pub within: (i64, i64),
    /// Length of an interval, one of those of the summaries. Unit: s
    pub span: i64,
    /// The options that all kinds share.
    pub options: TrendOptions,
}

/// The trends of a store.
#[derive(Debug, Default)]
pub struct Found {
    /// One for each kind.
    pub lines: Vec<TrendLine>,
    /// What each of them is about.
    pub sources: Vec<LineSource>,
    /// Number of kinds with too few moves.
    pub too_short: usize,
    /// Kinds with other numbers than the one that was asked for, in words.
    pub others: Vec<String>,
}

/// What the line of a trend is about.
#[derive(Clone, Debug)]
pub struct LineSource {
    /// The axis.
    pub known: KnownAxis,
    /// Its kind.
    pub kind: Kind,
    /// Warm-ups. Unit: s since 1970, UTC
    pub warm_ups: Vec<(f64, f64)>,
}

/// A line, and the warm-ups that it counts.
type LineAndWarmUps = (TrendLine, Vec<(f64, f64)>);

impl Query<'_> {
    /// The trends of all kinds.
    pub fn lines(&self) -> Result<Found, Error> {
        let mut found = Found::default();
        let drifts = self.standing_drifts()?;
        for known in self.store.find_axes(self.axis.as_deref())? {
            let limit_s = self.options.limit_s;
            let errors = limit_s.map(|limit_s| self.store.residual_errors(&known, self.within, limit_s));
            let errors = errors.transpose()?;
            let causes = self.store.explained(&known, self.within.1)?;
            let explained: Vec<String> = causes.iter().map(explained::text).collect();
            for kind in self.store.kinds(&known, self.span, self.within)? {
                if self.kind.is_some_and(|number| number != kind.number()) {
                    found.others.push(format!("{} {}", known.axis.name, kind.describe()));
                    continue;
                }
                match self.line(&known, &kind, errors.as_ref())? {
                    Some((line, warm_ups)) => {
                        let drift_since_s =
                            since_s(&drifts, &known, &kind).filter(|_| line.drifts_up == Some(true));
                        let explained = explained.clone();
                        found.lines.push(TrendLine { drift_since_s, explained, ..line });
                        found.sources.push(LineSource { known: known.clone(), kind, warm_ups });
                    }
                    None => found.too_short += 1,
                }
            }
        }
        cycle::keep_parts_of_slowest(&mut found.lines);
        Ok(found)
    }

    /// The drifts to slower that stand at the end of the time.
    fn standing_drifts(&self) -> Result<Vec<StoredDrift>, Error> {
        let until = self.within.1;
        let drifts = self.store.drifts(self.axis.as_deref(), (i64::MIN, until), &TimeZone::UTC)?;
        Ok(drifts.into_iter().filter(|drift| drift.upwards && drift.stands_at(until)).collect())
    }

    /// The trend of one kind, over longer intervals if the wanted ones have too few moves each; `None` if all have.
    fn line(
        &self,
        known: &KnownAxis,
        kind: &Kind,
        errors: Option<&BTreeMap<i64, ResidualErrors>>,
    ) -> Result<Option<LineAndWarmUps>, Error> {
        let given = self.options_of_kind(known, kind)?;
        let residual_errors = errors.and_then(|errors| errors_of_kind(errors, kind));
        let options = TrendOptions { residual_errors, ..given };
        let drifts_up = self.store.is_slower(known, kind, self.within.1)?;
        for span in SPANS.into_iter().filter(|span| *span >= self.span) {
            if let Some((line, warm_ups)) = self.line_over(known, kind, (span, &options))? {
                return Ok(Some((TrendLine { drifts_up, interval_s: span as f64, ..line }, warm_ups)));
            }
        }
        Ok(None)
    }

    /// The trend of one kind over intervals of `span` seconds; `None` if they have too few moves each.
    fn line_over(
        &self,
        known: &KnownAxis,
        kind: &Kind,
        (span, options): (i64, &TrendOptions),
    ) -> Result<Option<LineAndWarmUps>, Error> {
        let bins = Bins::default();
        let summaries = self.store.summaries_of(known, (span, kind), self.within)?;
        let intervals: Vec<IntervalStats> =
            summaries.iter().map(|summary| interval_stats(&bins, summary)).collect();
        let overall = Overall::of(&bins, &summaries);
        let measure = measure_of(&overall, options);
        let options = TrendOptions { measure, rule: Rule::new(span as f64), ..options.clone() };
        let found = trend(&intervals, &options);
        Ok(found.map(|found| {
            let line = TrendLine::new(&known.axis.name, &kind.describe(), &found, options.limit_s)
                .with_levels(overall.levels, overall.median_is_empty);
            (line, known_warm_ups(&found))
        }))
    }

    /// The options for one kind, with the baselines and the restarts that the monitor had reported for it.
    fn options_of_kind(&self, known: &KnownAxis, kind: &Kind) -> Result<TrendOptions, Error> {
        let until = self.within.1;
        let restarts: Vec<f64> =
            self.store.restarts(known, kind, until)?.into_iter().map(|at| at as f64 * 1e-6).collect();
        let reported = self.store.baselines(known, kind, until)?;
        let reported: Vec<Baseline> = reported.iter().map(|one| baseline(one, &restarts)).collect();
        let baselines = match self.options.baselines.as_slice() {
            [] => reported,
            given => given.iter().map(|given| with_p95(*given, reported.last())).collect(),
        };
        let until_s = if until == i64::MAX { f64::INFINITY } else { until as f64 * 1e-6 };
        Ok(TrendOptions { baselines, restarts, until_s, ..self.options.clone() })
    }
}

/// From when to when. Unit: s since 1970, UTC
fn known_warm_ups(found: &Trend) -> Vec<(f64, f64)> {
    let known = found.warm_ups.iter().filter(|warm_up| warm_up.is_known);
    known.map(|warm_up| (warm_up.from_s, warm_up.to_s)).collect()
}

/// When the change came of the last drift of a kind, as `alarms` has it. Unit: s
fn since_s(drifts: &[StoredDrift], known: &KnownAxis, kind: &Kind) -> Option<f64> {
    let is_of = |drift: &&StoredDrift| {
        (drift.device, drift.axis) == (known.device, known.axis.axis) && kind.ids.contains(&drift.kind_id)
    };
    Some(drifts.iter().rfind(is_of)?.since? as f64 * 1e-6)
}

/// Means are followed instead of medians where a median, of the moves or of their baseline, lies in a gap.
fn measure_of(overall: &Overall, options: &TrendOptions) -> Measure {
    let in_gap = |baseline: &Baseline| baseline.levels.median_s.is_none() && baseline.levels.mean_s.is_some();
    let has_none = overall.median_is_empty || options.baselines.last().is_some_and(in_gap);
    if has_none && options.measure == Measure::Median { Measure::Mean } else { options.measure }
}

/// A baseline as it was reported, in force since its first move. If a monitor did not send that, since the restart before.
fn baseline(known: &KnownBaseline, restarts: &[f64]) -> Baseline {
    let seconds = |nanoseconds: i64| nanoseconds as f64 / 1e9;
    let at_s = known.at as f64 * 1e-6;
    let restart = || restarts.iter().copied().rfind(|restart| *restart <= at_s);
    let levels = Levels {
        mean_s: known.mean.map(seconds),
        median_s: known.median.map(seconds),
        p95_s: known.p95.map(seconds),
    };
    Baseline {
        from_s: known.from.map(|from| from as f64 * 1e-6).or_else(restart).unwrap_or(at_s),
        levels,
        unsettled: known.unsettled,
        source: Source::Monitor,
    }
}

/// A given baseline has no 95 % quantile: that of the monitor is used.
fn with_p95(given: Baseline, reported: Option<&Baseline>) -> Baseline {
    let p95_s = reported.and_then(|reported| reported.levels.p95_s);
    Baseline { levels: Levels { p95_s, ..given.levels }, ..given }
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

/// Residual errors at the limit of one kind, over all starts of the monitor.
fn errors_of_kind(errors: &BTreeMap<i64, ResidualErrors>, kind: &Kind) -> Option<ResidualErrors> {
    kind.ids.iter().filter_map(|id| errors.get(id)).cloned().reduce(|mut all, other| {
        all.merge(&other);
        all
    })
}

fn write(format: OutputFormat, lines: &[TrendLine], zone: &TimeZone) -> io::Result<()> {
    match format {
        OutputFormat::Table => print(&table::table(lines, zone)),
        OutputFormat::Jsonl => print_json(lines),
        OutputFormat::Csv => csv::csv(lines, io::stdout().lock()),
    }
}

/// The options that all kinds share.
fn options(arguments: &Arguments) -> TrendOptions {
    let cycle = arguments.cycle_s.zip(arguments.moves_per_cycle);
    let baseline = arguments.baseline_ms.map(|baseline| baseline * 1e-3);
    TrendOptions {
        measure: if arguments.p95 { Measure::P95 } else { Measure::Median },
        limit_s: arguments.limit_ms.map(|limit| limit * 1e-3),
        baselines: baseline.map(Baseline::given).into_iter().collect(),
        cycle: cycle.map(|(seconds, moves)| Cycle { seconds, moves }),
        ..TrendOptions::new(arguments.interval.seconds() as f64)
    }
}
