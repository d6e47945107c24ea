//! In: a store and a time. Out: the state changes of its alarms, and the story of each drift.

use std::io::{self, Write};
use std::process::ExitCode;

use clap::Args;
use comfy_table::{Table, presets};
use jiff::tz::TimeZone;

use super::moves::Within;
use super::output::OutputFormat;
use crate::error::Error;
use crate::report::printable::printable;
use crate::report::wall_time;
use crate::store::alarms::AlarmLine;
use crate::store::drifts::StoredDrift;
use crate::store::time;

/// Print the alarms of a store
///
/// Prints every state change of every alarm, with the state names of IEC 62682, its priority, and the person who
/// acknowledged or suppressed it with `stillpoint device`; then the story of each drift: by how much, since when, how sure,
/// and how it ended. JSON lines and CSV have more: the value and the limit it passed, with their unit; the move and the
/// kind of moves that caused it; and the category by NE 107 (F failure, C function check, S out of specification,
/// M maintenance required). Times in the table are those of this computer's time zone. `stillpoint store journal` prints
/// all other actions.
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
    let alarms = store.alarms(axis, within, &drifts)?;
    if alarms.is_empty() {
        // An axis without alarms is no error; an unknown axis is.
        store.find_axes(axis)?;
    }
    let mut out = io::stdout().lock();
    match arguments.format {
        OutputFormat::Table => out.write_all(text(&alarms, &drifts, &zone).as_bytes())?,
        OutputFormat::Jsonl => {
            for alarm in &alarms {
                serde_json::to_writer(&mut out, alarm).map_err(io::Error::from)?;
                out.write_all(b"\n")?;
            }
        }
        OutputFormat::Csv => {
            let mut rows = csv::Writer::from_writer(out);
            let wrong = |error: csv::Error| Error::from(io::Error::other(error));
            rows.write_record(AlarmLine::HEADER).map_err(wrong)?;
            alarms.iter().try_for_each(|alarm| rows.write_record(alarm.row()).map_err(wrong))?;
            rows.flush()?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The state changes, then a line for each drift.
fn text(alarms: &[AlarmLine], drifts: &[StoredDrift], zone: &TimeZone) -> String {
    let stories: String = drifts.iter().map(|drift| story(drift, zone)).collect();
    match (alarms, stories.is_empty()) {
        ([], true) => "no alarms\n".to_owned(),
        ([], false) => stories,
        (_, true) => table(alarms, zone),
        (_, false) => format!("{}\n{stories}", table(alarms, zone)),
    }
}

fn table(alarms: &[AlarmLine], zone: &TimeZone) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(["at", "axis", "alarm", "subject", "state", "priority", "who"]);
    for alarm in alarms {
        let at = time::parse("at", &alarm.at, 0).map_or(alarm.at.clone(), |at| wall_time::second(at, zone));
        let AlarmLine { axis, alarm: number, subject, state, priority, who, .. } = alarm;
        let number = number.to_string();
        let cells = [
            &at,
            axis,
            &number,
            subject,
            state,
            priority.unwrap_or_default(),
            who.as_deref().unwrap_or_default(),
        ];
        table.add_row(cells.map(printable));
    }
    table.lines().map(|line| line.trim_end().to_owned() + "\n").collect()
}

/// `dibble, +60 mm at 600 mm/s (kind 2), 14:20: slower by …; back at baseline at 16:40`.
fn story(drift: &StoredDrift, zone: &TimeZone) -> String {
    let StoredDrift { name, kind, at, text, end, .. } = drift;
    let found = wall_time::second(*at, zone);
    let end = match end {
        Some((at, text)) => format!("; {text} at {}", wall_time::second(*at, zone)),
        None => "; it stands".to_owned(),
    };
    format!("{}, {}, {found}: {text}{end}\n", printable(name), printable(kind))
}
