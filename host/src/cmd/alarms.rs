//! In: a store and a time. Out: the state changes of its alarms.

use std::io::{self, Write};
use std::process::ExitCode;

use clap::Args;
use comfy_table::{Table, presets};

use super::moves::Within;
use super::output::OutputFormat;
use crate::error::Error;
use crate::report::printable::printable;
use crate::store::alarms::AlarmLine;

/// Print the alarms of a store
///
/// Prints every state change of every alarm, with the state names of IEC 62682. Each line has the value and the limit it
/// passed, with their unit; the move and the kind of moves that caused it; the priority; the category by NE 107
/// (F failure, C function check, S out of specification, M maintenance required); and the person who acknowledged or
/// suppressed it with `stillpoint device`. `stillpoint store journal` prints all other actions.
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
    let alarms = store.alarms(axis, within)?;
    if alarms.is_empty() {
        // An axis without alarms is no error; an unknown axis is.
        store.find_axes(axis)?;
    }
    let mut out = io::stdout().lock();
    match arguments.format {
        OutputFormat::Table => out.write_all(table(&alarms).as_bytes())?,
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

fn table(alarms: &[AlarmLine]) -> String {
    if alarms.is_empty() {
        return "no alarms\n".to_owned();
    }
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(AlarmLine::HEADER);
    alarms.iter().for_each(|alarm| {
        table.add_row(alarm.row().map(|cell| printable(&cell)));
    });
    table.lines().map(|line| line.trim_end().to_owned() + "\n").collect()
}
