//! In: a store. Out: work on the whole store: export, retain, rebuild, check, rescue, journal, note, shift.

use std::io::{self, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Subcommand};

use super::moves::Within;
use super::option_value::{days, person, whole};
use super::output::notify;
use crate::error::Error;
use crate::report::number;
use crate::store::check::CheckReport;
use crate::store::rescue::rescue;
use crate::store::retain::Retention;
use crate::store::{Options, Store, time};

mod export;

/// Maintain a store
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    #[command(subcommand)]
    work: Work,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint store check --store shift.store
  stillpoint store export --store shift.store --since 7d week.csv
  stillpoint store export --store shift.store --summaries week.parquet
  stillpoint store retain --store shift.store --days 30
  stillpoint store note --store shift.store --who 'M. Ito' 'tray belt tightened'";

#[derive(Subcommand)]
enum Work {
    /// Write moves or summaries to a .csv or .parquet file
    Export {
        #[command(flatten)]
        within: Within,
        /// Write summaries of 5 minutes, an hour and a day instead of moves
        #[arg(long)]
        summaries: bool,
        /// File to write; its extension selects the format
        file: PathBuf,
    },
    /// Delete raw frames and moves of older days; summaries, alarms and the journal stay
    Retain {
        #[command(flatten)]
        place: Place,
        /// Whole days (UTC) to keep before today or before the day of the newest move, whichever is earlier
        #[arg(long, value_name = "N", required_unless_present = "megabytes")]
        #[arg(value_parser = days, allow_negative_numbers = true)]
        days: Option<u32>,
        /// Keep as many whole days as fit in this size, and always the last day
        #[arg(long, value_name = "N", conflicts_with = "days")]
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        megabytes: Option<u32>,
    },
    /// Rebuild all tables from the raw frames
    Rebuild(Place),
    /// Read the whole store and report damaged and missing data
    Check(Place),
    /// Copy the readable data of a damaged store to a new one
    Rescue {
        #[command(flatten)]
        place: Place,
        /// File to write; must not exist
        new: PathBuf,
    },
    /// Print the journal: who did what, and when
    Journal(Within),
    /// Add an entry to the journal
    Note {
        #[command(flatten)]
        place: Place,
        /// Name of the person
        #[arg(long, value_name = "NAME", value_parser = person)]
        who: String,
        /// Kind of entry: note, acknowledgement, reset, shelving, out of service, baseline or settings
        #[arg(long, value_name = "WHAT", default_value = "note")]
        what: String,
        /// Text of the entry
        text: String,
    },
    /// Name an interval, for `--shift NAME`
    Shift {
        #[command(flatten)]
        within: Within,
        /// Name of the shift
        name: String,
    },
}

/// Which store.
#[derive(Args)]
struct Place {
    /// Store file, written by `watch --store` or `rehearse --store`
    #[arg(long, value_name = "PATH")]
    store: PathBuf,
}

impl Place {
    fn open(&self) -> Result<Store, Error> {
        Store::open(&self.store, &Options::default())
    }
}

/// Runs the subcommand.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    match &arguments.work {
        Work::Export { within, summaries, file } => export::run(within, *summaries, file)?,
        Work::Retain { place, days, megabytes } => {
            let bytes = u64::from(megabytes.unwrap_or_default()) * 1_000_000;
            let retention = days.map_or(Retention::Bytes(bytes), Retention::Days);
            let deleted = place.open()?.retain(retention, time::now())?;
            let (frames, moves, size) = (deleted.frames, deleted.moves, deleted.bytes / 1_000_000);
            println!("{frames} raw frames and {moves} moves deleted; {size} MB in use");
        }
        Work::Rebuild(place) => println!("tables rebuilt from {} raw frames", place.open()?.rebuild()?),
        Work::Check(place) => return check(&place.open()?),
        Work::Rescue { place, new } => println!("{}", rescue(&place.store, new, &Options::default())?),
        Work::Journal(within) => journal(within)?,
        Work::Note { place, who, what, text } => place.open()?.add_note(who, what, text)?,
        Work::Shift { within, name } => {
            let store = within.open()?;
            let (since, until) = within.interval(&store)?;
            store.name_shift(name, since, until)?;
            notify(format_args!("{name}: from {} to {}", time::text(since), time::text(until)));
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn check(store: &Store) -> Result<ExitCode, Error> {
    let found = store.check()?;
    let mut out = io::stdout().lock();
    for text in &found.rescued {
        writeln!(out, "a rescued store, {text}")?;
    }
    writeln!(out, "file: {}", found.file)?;
    if found.is_compared {
        writeln!(out, "raw frames: {}, {} damaged", found.frames, found.damaged)?;
        writeln!(out, "moves: {} in frames, {} in the table", found.move_frames, found.moves)?;
    }
    if found.repeated > 0 {
        writeln!(out, "sent again: {} with a move of another frame", number::count(found.repeated, "frame"))?;
    }
    list_missing(&found, &mut out)?;
    if let Some((line, digest)) = &found.journal {
        writeln!(out, "journal: {line} lines, digest {digest}")?;
    }
    for wrong in &found.wrong {
        writeln!(out, "wrong: {wrong}")?;
    }
    if found.is_sound() {
        return Ok(ExitCode::SUCCESS);
    }
    notify(match found.file.as_str() {
        "ok" => {
            "the store is damaged: `stillpoint store rebuild` repairs tables that follow from frames; \
            `stillpoint store rescue --store PATH NEW` copies what is sound"
        }
        _ => "the file is damaged: `stillpoint store rescue --store PATH NEW` copies the readable data",
    });
    Ok(ExitCode::FAILURE)
}

/// The frames of moves that are missing, and those that were given up.
fn list_missing(found: &CheckReport, out: &mut impl Write) -> io::Result<()> {
    for (device, boot, first, count) in &found.missing {
        let count = number::count(*count, "frame");
        writeln!(out, "missing: monitor {device}, start {boot}: {count} from number {first} on")?;
    }
    for (device, boot, first, count) in &found.given_up {
        let count = number::count(*count, "frame");
        writeln!(
            out,
            "given up: monitor {device}, start {boot}: {count} from number {first} on, no longer in its log"
        )?;
    }
    Ok(())
}

fn journal(within: &Within) -> Result<(), Error> {
    let store = within.open()?;
    let (since, until) = within.interval(&store)?;
    let mut out = io::stdout().lock();
    for entry in store.journal(since, until)? {
        serde_json::to_writer(&mut out, &entry).map_err(io::Error::from)?;
        out.write_all(b"\n")?;
    }
    if let Some((line, digest)) = store.newest_line()? {
        notify(format_args!("line {line} is the newest, digest {digest}"));
    }
    Ok(())
}
