//! In: a store and a time. Out: the state changes of its alarms, and the story of each drift.

use std::io;
use std::process::ExitCode;

use clap::Args;
use jiff::tz::TimeZone;

use super::moves::Within;
use super::output::{OutputFormat, notify, print, print_json};
use crate::error::Error;
use crate::report::csv::Lines;
use crate::report::printable::printable;
use crate::report::wall_time;
use crate::store::alarms::AlarmLine;
use crate::store::drifts::StoredDrift;

mod table;

/// Print the alarms of a store
///
/// Prints every state change of every alarm, with the state names of IEC 62682, its priority, and the person who
/// acknowledged or suppressed it with `stillpoint device`; what to do next about each; then the story of each drift: by how
/// much when it was found, since when, how sure, how far it went (by the mean of the moves that settled in an interval of
/// 5 min, or of 1 h or 1 d where that has fewer than five moves), and how it ended; and what known causes explain. JSON
/// lines and CSV have more: the value and the limit it passed, with their unit; the move and the kind of moves that caused
/// it; and the category by NE 107 (F failure, C function check, S out of specification, M maintenance required). Times in
/// the table are those of this computer's time zone. `stillpoint store journal` prints all other actions.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    #[command(flatten)]
    within: Within,
    /// Output format
    #[arg(long, value_enum, default_value = "table")]
    format: OutputFormat,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint alarms --store shift.store --since 8h
  stillpoint alarms --store shift.store --axis dibble --format jsonl";

/// Prints the alarms.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let store = arguments.within.open()?;
    let within = arguments.within.interval(&store)?;
    let axis = arguments.within.axis.as_deref();
    let zone = TimeZone::system();
    let drifts = store.drifts(axis, within, &zone)?;
    let lines = store.alarms(axis, within, &drifts)?;
    let mut older = store.alarms(axis, (i64::MIN, within.0), &[])?;
    older.retain(|line| line.next.is_some());
    let no_moves = arguments.within.no_moves(&store, &zone)?;
    if arguments.format != OutputFormat::Table {
        no_moves.iter().for_each(notify);
    }
    match arguments.format {
        OutputFormat::Table => {
            let text =
                text((&lines, &older), &drifts, no_moves, &zone) + &store.explained_words(axis, within.1)?;
            print(&text)?;
        }
        OutputFormat::Jsonl => print_json(&lines)?,
        OutputFormat::Csv => {
            let mut rows = Lines::new(io::stdout().lock());
            rows.write(AlarmLine::HEADER)?;
            lines.iter().try_for_each(|alarm| rows.write(alarm.row()))?;
            rows.finish()?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The state changes, the alarms that stand since before, and what to do next; then a line for each drift.
fn text(
    (lines, older): (&[AlarmLine], &[AlarmLine]),
    drifts: &[StoredDrift],
    no_moves: Option<String>,
    zone: &TimeZone,
) -> String {
    let stories: Vec<String> = drifts.iter().map(|drift| story(drift, zone)).collect();
    let table = if lines.is_empty() { String::new() } else { table::table(lines, zone) };
    let no_moves = no_moves.map(|text| format!("{text}\n")).unwrap_or_default();
    let before = match older.len() {
        0 => String::new(),
        count => format!("{count} since before this period:\n{}", table::table(older, zone)),
    };
    let next = table::next(older) + &table::next(lines);
    let parts = [no_moves, before, table, next, stories.concat()];
    let parts: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    if parts.is_empty() { "no alarms\n".to_owned() } else { parts.join("\n") }
}

/// The story of each drift, a sentence each.
pub(super) fn stories(drifts: &[StoredDrift], zone: &TimeZone) -> Vec<String> {
    drifts.iter().map(|drift| story(drift, zone).trim_end().to_owned()).collect()
}

/// `dibble, +60 mm at 600 mm/s (kind 2), 14:20: slower by …; back at baseline at 16:40`.
fn story(drift: &StoredDrift, zone: &TimeZone) -> String {
    let StoredDrift { name, kind, at, text, growth, end, .. } = drift;
    let found = wall_time::second(*at, zone);
    let end = match end {
        Some((at, text)) => format!("; {text} at {}", wall_time::second(*at, zone)),
        None => "; it stands".to_owned(),
    };
    format!("{}, {}, {found}: {text}{}{end}\n", printable(name), printable(kind), growth.text())
}
