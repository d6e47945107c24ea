//! In: a store and a time. Out: how each axis stands, what changed, its alarms, its cost, and what was not seen; as text,
//! JSON, or a page to be handed over.

use std::process::ExitCode;

use clap::Args;
use jiff::tz::TimeZone;
use serde::Serialize;

use super::moves::Within;
use super::option_value::positive;
use super::output::{Form, print, width};
use super::page_options::PageOptions;
use super::trend::Query;
use crate::analysis::trend::TrendOptions;
use crate::error::Error;
use crate::page::plain::plain;
use crate::report::glance::{Glance, State};
use crate::report::json;
use crate::report::move_report::MoveReport;
use crate::report::number;
use crate::report::trend::TrendLine;
use crate::store::alarms::AlarmLine;
use crate::store::drifts::StoredDrift;
use crate::store::holes::HoleLine;
use crate::store::in_force::InForce;
use crate::store::journal_entries::Entry;
use crate::store::moves::MoveQuery;
use crate::store::{Store, kind, time};

mod page;

/// Report a shift: how each axis stands, what changed, alarms, cost, and what was not seen
///
/// Each axis in one line by its worst kind of moves: not settling, late (the last interval settles later than the limit),
/// drifting (a drift stands that the monitor found), learning (no baseline yet), steady; how it settles now, what is normal,
/// and the limit of --limit-ms or else the one that was set on the monitor. Then what people and the monitor changed, alarms
/// with the stop that raised each (of a drift or a share the last of many), seconds lost against normal, missing samples and
/// frames, stretches without a move, and the settings in force. The section Trend of core/METHOD.md defines each number.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    #[command(flatten)]
    within: Within,
    /// Output format
    #[arg(long, value_enum, default_value = "table")]
    format: Form,
    /// Settling time that must not be exceeded, instead of the limits that were set on the monitor
    #[arg(long, value_name = "L", value_parser = positive, allow_negative_numbers = true)]
    limit_ms: Option<f64>,
    #[command(flatten)]
    page: PageOptions,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint shift --store shift.store --since 8h
  stillpoint shift --store shift.store --shift 'Monday early' --limit-ms 40 --report monday.pdf
  stillpoint shift --store shift.store --axis dibble --since 8h --format json

Exit status: 0 done, however the axes stand; 1 the store can't be used; 2 wrong arguments.";

/// Length of the intervals that are compared; the trend takes longer ones where moves are few. Unit: s
const INTERVAL: i64 = 300;
/// How long before an alarm the stop is looked for that raised it. Unit: µs
const EVIDENCE: i64 = 600_000_000;

/// A shift, as other tools read it. Add fields at the end, never rename.
#[derive(Debug, Serialize)]
struct Shift {
    /// Beginning, RFC 3339, UTC; none if it is open.
    since: Option<String>,
    /// End, likewise.
    until: Option<String>,
    /// Each axis at a glance.
    axes: Vec<Glance>,
    /// Its kinds.
    kinds: Vec<TrendLine>,
    /// The journal, without alarms.
    changes: Vec<Entry>,
    /// Steps of alarms.
    alarms: Vec<AlarmLine>,
    /// What was not seen.
    holes: Vec<HoleLine>,
    /// The stop that raised each alarm, of a drift or a share the last of many, in the order of `alarms`; none of later
    /// states, or if it is not in the store.
    evidence: Vec<Option<MoveReport>>,
    /// Of each axis with moves.
    settings: Vec<AxisSettings>,
    #[serde(skip)]
    drifts: Vec<StoredDrift>,
    #[serde(skip)]
    explained: String,
    /// What must stand beside all of it: that it is a rehearsal's; none if it is not.
    caution: Option<&'static str>,
}

/// The settings of an axis.
#[derive(Debug, Serialize)]
struct AxisSettings {
    /// Name of the axis.
    axis: String,
    /// Its number on its monitor.
    axis_number: u8,
    /// Name of its unit.
    unit: String,
    #[serde(flatten)]
    in_force: InForce,
}

/// Prints the shift, and writes its page.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    arguments.page.check()?;
    let store = arguments.within.open()?;
    let zone = TimeZone::system();
    let shift = shift(arguments, &store, &zone)?;
    arguments.page.write(|| Ok(page::to_hand_over(arguments, &shift, &zone)))?;
    let text = match arguments.format {
        Form::Json => json::line(&shift)?,
        Form::Table => plain(&page::page(arguments, &shift, &zone), width()),
    };
    print(&text)?;
    Ok(ExitCode::SUCCESS)
}

/// What people and the monitor changed: lines of the journal, and notes at the time from which on they hold; those that
/// were withdrawn are no changes.
fn changes(store: &Store, within: (i64, i64)) -> Result<Vec<Entry>, Error> {
    let mut changes = store.journal(within.0, within.1)?;
    changes.retain(|entry| !matches!(entry.what.as_str(), "alarm" | "change"));
    let noted = store.changes()?.into_iter().filter(|note| note.at >= within.0 && note.at < within.1);
    changes.extend(noted.map(|note| Entry {
        at: time::text(note.at),
        who: note.who,
        what: "change".to_owned(),
        text: note.axis.map_or(note.text.clone(), |axis| format!("{axis}: {}", note.text)),
        axis: None,
    }));
    changes.sort_by(|one, other| one.at.cmp(&other.at));
    Ok(changes)
}

/// Reads all of it.
fn shift(arguments: &Arguments, store: &Store, zone: &TimeZone) -> Result<Shift, Error> {
    let within = arguments.within.interval(store)?;
    let axis = arguments.within.axis.as_deref();
    let drifts = store.drifts(axis, within, zone)?;
    let alarms = store.alarms(axis, within, &drifts)?;
    let evidence = alarms.iter().map(|alarm| evidence(store, alarm)).collect::<Result<_, _>>()?;
    let changes = changes(store, within)?;
    let end = |at: i64, open: i64| (at != open).then(|| time::text(at));
    let mut shift = Shift {
        since: end(within.0, i64::MIN),
        until: end(within.1, i64::MAX),
        axes: Vec::new(),
        kinds: Vec::new(),
        changes,
        alarms,
        holes: store.holes(axis, watched(within))?,
        evidence,
        settings: Vec::new(),
        drifts,
        explained: store.explained_words(axis, within.1)?,
        caution: store.caution(&store.find_axes(axis)?)?,
    };
    let mut names: Vec<String> = store.find_axes(axis)?.into_iter().map(|known| known.axis.name).collect();
    names.sort_unstable();
    names.dedup();
    for name in names {
        add(&mut shift, arguments, store, (name, within))?;
    }
    shift.axes.sort_by(|a, b| b.state.cmp(&a.state).then(b.ratio().total_cmp(&a.ratio())));
    Ok(shift)
}

/// The time in which something could be seen: until now, where only its beginning is given. Unit: µs since 1970, UTC
fn watched((since, until): (i64, i64)) -> (i64, i64) {
    let is_open = (since, until) == (i64::MIN, i64::MAX);
    (since, if is_open { until } else { until.min(time::now()).max(since) })
}

/// Adds the axis of a name, whichever monitors watched it.
fn add(
    shift: &mut Shift,
    arguments: &Arguments,
    store: &Store,
    (name, within): (String, (i64, i64)),
) -> Result<(), Error> {
    let mut moves = 0;
    let mut settings: Option<AxisSettings> = None;
    for known in store.find_axes(Some(&name))?.into_iter().filter(|known| known.axis.name == name) {
        let summaries = store.summaries(&known, (INTERVAL, kind::ALL), within)?;
        moves += summaries.iter().flat_map(|summary| summary.outcomes).sum::<i64>();
        if let Some(in_force) = store.settings_in_force(&known, within)? {
            let (axis_number, unit) = (known.axis.axis, known.axis.unit);
            settings = Some(AxisSettings { axis: name.clone(), axis_number, unit, in_force });
        }
    }
    let set = settings.as_ref().and_then(|settings| settings.in_force.limit_s).filter(|(_, kind)| *kind == 0);
    let limit_s = arguments.limit_ms.map(|limit| 1e-3 * limit).or(set.map(|(limit, _)| limit));
    let query = Query {
        store,
        axis: Some(name.clone()),
        kind: None,
        within,
        span: INTERVAL,
        options: TrendOptions { limit_s, ..TrendOptions::new(INTERVAL as f64) },
    };
    let lines: Vec<TrendLine> = query.lines()?.lines.into_iter().filter(|line| line.axis == name).collect();
    let of_axis: Vec<&TrendLine> = lines.iter().collect();
    shift.axes.push(Glance::of(&name, &of_axis, u64::try_from(moves).unwrap_or(0)));
    shift.kinds.extend(lines);
    shift.settings.extend(settings);
    Ok(())
}

/// The stop that raised an alarm, of a drift or a share the last of many; none of later states, or if it is not in the store.
fn evidence(store: &Store, alarm: &AlarmLine) -> Result<Option<MoveReport>, Error> {
    let Some(at) =
        time::parse("at", &alarm.at, 0).ok().filter(|_| alarm.number > 0 && alarm.state == "unacknowledged")
    else {
        return Ok(None);
    };
    let query =
        MoveQuery { axis: Some(alarm.axis.clone()), since: at - EVIDENCE, until: at + 1, details: false };
    let mut found = None;
    store.moves(&query, &mut |report| {
        if report.number == alarm.number {
            found = Some(report.clone());
        }
        Ok(())
    })?;
    Ok(found)
}

/// How many axes are in each state, the worst first: `3 axes: 1 late, 2 steady`.
fn counts(axes: &[Glance]) -> String {
    let mut states: Vec<State> = axes.iter().map(|glance| glance.state).collect();
    states.sort_by(|a, b| b.cmp(a));
    let each = states.chunk_by(|a, b| a == b).map(|alike| format!("{} {}", alike.len(), alike[0].word()));
    let count = number::count(axes.len(), "axis");
    format!("{count}: {}", each.collect::<Vec<String>>().join(", "))
}
