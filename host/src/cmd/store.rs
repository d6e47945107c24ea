//! In: a store. Out: what is to be done with it as a whole: export, retain, rebuild, check, rescue, journal, note, shift.

use std::io::{self, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Subcommand};

use super::figure::{somebody, whole};
use super::moves::Within;
use super::output::tell;
use crate::error::Error;
use crate::store::rescue::rescue;
use crate::store::retain::Retention;
use crate::store::{Options, Store, time};

mod export;

/// Look after a store
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
    /// Write moves or summaries into a .csv or .parquet file
    Export {
        #[command(flatten)]
        within: Within,
        /// Summaries of 5 minutes, an hour and a day instead of moves
        #[arg(long)]
        summaries: bool,
        /// File to write; its ending says how
        file: PathBuf,
    },
    /// Let raw frames and moves of older days go; summaries, alarms and the journal stay
    Retain {
        #[command(flatten)]
        place: Place,
        /// Whole days to keep, UTC, before today or the day of the newest move, whichever is earlier
        #[arg(long, value_name = "N", required_unless_present = "megabytes")]
        #[arg(value_parser = days, allow_negative_numbers = true)]
        days: Option<u32>,
        /// As many whole days as fit, the last one in any case
        #[arg(long, value_name = "N", conflicts_with = "days")]
        #[arg(value_parser = whole::<u32>, allow_negative_numbers = true)]
        megabytes: Option<u32>,
    },
    /// Make all tables again from the raw frames
    Rebuild(Place),
    /// Read all of it and say what is wrong or missing
    Check(Place),
    /// Copy what can still be read of a damaged store into a new one
    Rescue {
        #[command(flatten)]
        place: Place,
        /// File to write; must not be there yet
        new: PathBuf,
    },
    /// Print who did what and when
    Journal(Within),
    /// Add a line to the journal
    Note {
        #[command(flatten)]
        place: Place,
        /// Who says it
        #[arg(long, value_name = "NAME", value_parser = somebody)]
        who: String,
        /// note, acknowledgement, reset, shelving, out of service, baseline or settings
        #[arg(long, value_name = "WHAT", default_value = "note")]
        what: String,
        /// In words
        text: String,
    },
    /// Name an interval, for `--shift NAME`
    Shift {
        #[command(flatten)]
        within: Within,
        /// Its name
        name: String,
    },
}

/// Which store.
#[derive(Args)]
struct Place {
    /// File that `watch --store` or `rehearse --store` has written
    #[arg(long, value_name = "PATH")]
    store: PathBuf,
}

impl Place {
    fn open(&self) -> Result<Store, Error> {
        Store::open(&self.store, &Options::default())
    }
}

/// Longest time that days are kept for, a hundred years: who means all of them needs no retention. Unit: days
const MOST_DAYS: u32 = 36_500;

fn days(text: &str) -> Result<u32, String> {
    let days: Option<u32> = text.parse().ok().filter(|days| *days <= MOST_DAYS);
    days.ok_or_else(|| format!("give a whole number from 0 to {MOST_DAYS}"))
}

/// Does the work.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    match &arguments.work {
        Work::Export { within, summaries, file } => export::run(within, *summaries, file)?,
        Work::Retain { place, days, megabytes } => {
            let bytes = u64::from(megabytes.unwrap_or_default()) * 1_000_000;
            let keep = days.map_or(Retention::Bytes(bytes), Retention::Days);
            let gone = place.open()?.retain(keep, time::now())?;
            let (frames, moves, size) = (gone.frames, gone.moves, gone.bytes / 1_000_000);
            println!("{frames} raw frames and {moves} moves let go; {size} MB in use");
        }
        Work::Rebuild(place) => println!("tables made again from {} raw frames", place.open()?.rebuild()?),
        Work::Check(place) => return check(&place.open()?),
        Work::Rescue { place, new } => println!("{}", rescue(&place.store, new, &Options::default())?),
        Work::Journal(within) => journal(within)?,
        Work::Note { place, who, what, text } => place.open()?.add_note(who, what, text)?,
        Work::Shift { within, name } => {
            let store = within.open()?;
            let (since, until) = within.interval(&store)?;
            store.name_shift(name, since, until)?;
            tell(format_args!("{name}: from {} to {}", time::text(since), time::text(until)));
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn check(store: &Store) -> Result<ExitCode, Error> {
    let found = store.check()?;
    let mut out = io::stdout().lock();
    writeln!(out, "file: {}", found.file)?;
    if found.file != "ok" {
        tell("the file is damaged: `stillpoint store rescue --store PATH NEW` copies what can still be read");
        return Ok(ExitCode::FAILURE);
    }
    writeln!(out, "raw frames: {}, {} damaged", found.frames, found.damaged)?;
    writeln!(out, "moves: {} in frames, {} in the table", found.move_frames, found.moves)?;
    if found.repeated > 0 {
        writeln!(out, "told again: {} frames tell a move that another one has told", found.repeated)?;
    }
    for (device, boot, first, count) in &found.missing {
        writeln!(out, "missing: monitor {device}, start {boot}: {count} frames from number {first} on")?;
    }
    for (device, boot, first, count) in &found.given_up {
        writeln!(
            out,
            "given up: monitor {device}, start {boot}: {count} frames from number {first} on, no longer in its log"
        )?;
    }
    if found.is_sound() {
        return Ok(ExitCode::SUCCESS);
    }
    tell("the store is not sound: `stillpoint store rebuild` mends tables; damaged frames can't be mended");
    Ok(ExitCode::FAILURE)
}

fn journal(within: &Within) -> Result<(), Error> {
    let store = within.open()?;
    let (since, until) = within.interval(&store)?;
    let mut out = io::stdout().lock();
    for entry in store.journal(since, until)? {
        serde_json::to_writer(&mut out, &entry).map_err(io::Error::from)?;
        out.write_all(b"\n")?;
    }
    Ok(())
}
