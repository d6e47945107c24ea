//! In: what was changed on a machine. Out: a note in the store, which parts the moves before it from those after.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use jiff::tz::TimeZone;

use super::local_time::LocalTime;
use super::option_value::{person, whole};
use super::output::{print, width};
use crate::error::Error;
use crate::report::printable::printable;
use crate::report::table::{Column, drawn, fitted};
use crate::report::wall_time;
use crate::store::notes::Note;
use crate::store::{Options, Store};

/// Note a change of the machine
///
/// Writes down what was changed and when, while `watch --store` goes on. `compare --by-note` then compares the moves
/// before a note with those after it, and `watch --tuning` does so from move to move. A move during which a note was given
/// belongs to neither. Let the axis rest while you change something, and note it before it moves again.
///
/// Changing a drive can make an axis move, oscillate or run away: keep clear, follow the drive's manual and local rules,
/// and leave it to a qualified person. Stillpoint only listens.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// File that `watch --store` writes
    #[arg(long, value_name = "PATH")]
    store: PathBuf,
    /// What was changed
    #[arg(required_unless_present_any = ["csv", "list", "withdraw"])]
    text: Option<String>,
    /// What was changed, as lines of name, old, new, unit
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Name or number of the axis; default: the whole machine
    #[arg(long, value_name = "A")]
    axis: Option<String>,
    /// When: 14:00 (the last one, in this computer's time zone), RFC 3339, or how long ago: 5m; default: now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Who changed it, or withdraws the note
    #[arg(long, value_name = "NAME", value_parser = person, required_unless_present = "list")]
    who: Option<String>,
    /// Print the notes there are
    #[arg(long, conflicts_with_all = ["text", "csv", "at", "withdraw"])]
    list: bool,
    /// Withdraw the note with this number; the journal keeps both
    #[arg(long, value_name = "N", value_parser = whole::<u32>, conflicts_with_all = ["text", "csv", "at", "axis"])]
    withdraw: Option<u32>,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint note --store shift.store 'position gain 40 -> 60' --axis tray_shuttle --who 'M. Ito'
  stillpoint note --store shift.store --csv changes.csv --at 14:05 --who 'M. Ito'
  stillpoint note --store shift.store --list
  stillpoint note --store shift.store --withdraw 12 --who 'M. Ito'

A CSV has a line for each parameter: name, old, new, unit; with or without a header.";

/// Notes a change, lists the notes, or withdraws one.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let store = Store::open(&arguments.store, &Options::default())?;
    let zone = TimeZone::system();
    // None only where notes are listed.
    let who = arguments.who.as_deref().unwrap_or_default();
    if arguments.list {
        let notes = listed(&store, arguments.axis.as_deref())?;
        print(&table(&notes, &zone, width()))?;
    } else if let Some(number) = arguments.withdraw {
        withdraw(&store, who, number)?;
    } else {
        write(arguments, who, &store, &LocalTime::here())?;
    }
    Ok(ExitCode::SUCCESS)
}

fn write(arguments: &Arguments, who: &str, store: &Store, here: &LocalTime) -> Result<(), Error> {
    let text = text(arguments)?;
    let at = arguments.at.as_deref().map_or(Ok(here.now), |at| here.last("--at", at))?;
    if at > here.now {
        return Err(Error::Option {
            option: "--at".to_owned(),
            value: arguments.at.clone().unwrap_or_default(),
            wrong: format!("lies in the future: it is {} now", wall_time::second(here.now, &here.zone)),
            remedy: "note a change when it is made".to_owned(),
        });
    }
    // The newest monitor of that axis.
    let axis = match &arguments.axis {
        Some(wanted) => store.find_axes(Some(wanted))?.pop(),
        None => None,
    };
    let number = store.add_change((who, &text), at, axis.as_ref())?;
    let of = axis.map_or("the machine".to_owned(), |known| known.axis.name);
    let (at, zone) = (wall_time::second(at, &here.zone), wall_time::zone(&here.zone));
    print(&format!("note {number}, {} at {at} ({zone}): {}\n", printable(&of), printable(&text)))?;
    Ok(())
}

/// The text, then the changes of the file.
fn text(arguments: &Arguments) -> Result<String, Error> {
    let texts: Vec<String> = arguments.text.iter().map(|text| text.trim().to_owned()).collect();
    let files: Vec<PathBuf> = arguments.csv.iter().cloned().collect();
    let text = super::notes::all(&texts, &files, 1)?.concat();
    if !printable(&text).trim().is_empty() {
        return Ok(text);
    }
    Err(Error::Option {
        option: "TEXT".to_owned(),
        value: text,
        wrong: "says nothing".to_owned(),
        remedy: "say what was changed, such as 'position gain 40 -> 60'".to_owned(),
    })
}

fn listed(store: &Store, axis: Option<&str>) -> Result<Vec<Note>, Error> {
    let Some(wanted) = axis else { return store.changes() };
    match store.find_axes(Some(wanted))?.last() {
        Some(known) => store.changes_of(known),
        None => Ok(Vec::new()),
    }
}

fn withdraw(store: &Store, who: &str, number: u32) -> Result<(), Error> {
    if store.withdraw_change(who, i64::from(number))? {
        print(&format!("note {number} is withdrawn\n"))?;
        return Ok(());
    }
    let numbers: Vec<String> = store.changes()?.iter().map(|note| note.number.to_string()).collect();
    Err(Error::Option {
        option: "--withdraw".to_owned(),
        value: number.to_string(),
        wrong: format!("{} has no such note", shown(store.path())),
        remedy: match numbers[..] {
            [] => "it has none at all".to_owned(),
            _ => format!("it has: {}", numbers.join(", ")),
        },
    })
}

fn shown(path: &Path) -> String {
    printable(&path.display().to_string())
}

/// The notes as text; times are those of the zone.
fn table(notes: &[Note], zone: &TimeZone, width: usize) -> String {
    if notes.is_empty() {
        return "no notes\n".to_owned();
    }
    let column = |heading: &str, spare, is_text, cell: &dyn Fn(&Note) -> String| Column {
        heading: heading.to_owned(),
        spare,
        is_text,
        cells: notes.iter().map(cell).collect(),
    };
    let axis = |note: &Note| printable(note.axis.as_deref().unwrap_or("the machine"));
    let columns = vec![
        column("note", 0, false, &|note| note.number.to_string()),
        column(&format!("at ({})", wall_time::zone(zone)), 0, true, &|note| wall_time::second(note.at, zone)),
        column("axis", 1, true, &axis),
        column("who", 2, true, &|note| printable(&note.who)),
    ];
    let (mut columns, _) = fitted(columns, width);
    let mut text = String::new();
    // What was changed may be long, so that it has a line of its own.
    let rows = drawn(&mut columns);
    for (at, line) in rows.lines().enumerate() {
        text += &format!("{line}\n");
        if let Some(note) = at.checked_sub(1).and_then(|at| notes.get(at)) {
            text += &format!("      {}\n", note.text);
        }
    }
    text
}
