//! In: a store. Out: work on the whole store: export, retain, rebuild, check, rescue, journal, note, shift.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Subcommand};

use super::moves::Within;
use super::option_value::{days, person, whole};
use super::output::{notify, print, print_json};
use crate::error::Error;
use crate::report::number;
use crate::store::check::{CheckReport, Hole};
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
  stillpoint store retain --store shift.store --days 30 --who 'M. Ito'
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
        #[command(flatten)]
        person: Person,
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
    Rebuild {
        #[command(flatten)]
        place: Place,
        #[command(flatten)]
        person: Person,
    },
    /// Read the whole store and report damaged and missing data
    Check(Place),
    /// Copy the readable data of a damaged store to a new one
    Rescue {
        #[command(flatten)]
        place: Place,
        #[command(flatten)]
        person: Person,
        /// File to write; must not exist
        new: PathBuf,
    },
    /// Print the journal: who did what, and when
    Journal(Within),
    /// Add an entry to the journal
    Note {
        #[command(flatten)]
        place: Place,
        #[command(flatten)]
        person: Person,
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
        #[command(flatten)]
        person: Person,
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

/// Who changes the store; the journal has it.
#[derive(Args)]
struct Person {
    /// Name of the person
    #[arg(long, value_name = "NAME", value_parser = person)]
    who: String,
}

/// Runs the subcommand.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    match &arguments.work {
        Work::Export { within, summaries, file } => export::run(within, *summaries, file)?,
        Work::Retain { place, person, days, megabytes } => {
            let bytes = u64::from(megabytes.unwrap_or_default()) * 1_000_000;
            let retention = days.map_or(Retention::Bytes(bytes), Retention::Days);
            retain(&mut place.open()?, &person.who, retention)?;
        }
        Work::Rebuild { place, person } => {
            let mut store = place.open()?;
            let text = format!("tables rebuilt from {} raw frames", store.rebuild()?);
            done(&store, &person.who, "rebuild", &text)?;
        }
        Work::Check(place) => return check(&place.open()?),
        Work::Rescue { place, person, new } => {
            let text = rescue(&place.store, new, &Options::default())?.to_string();
            done(&Store::open(new, &Options::default())?, &person.who, "rescue", &text)?;
        }
        Work::Journal(within) => journal(within)?,
        Work::Note { place, person, what, text } => place.open()?.add_note(&person.who, what, text)?,
        Work::Shift { within, person, name } => {
            let store = within.open()?;
            let (since, until) = within.interval(&store)?;
            store.name_shift(name, since, until)?;
            let text = format!("{name}: from {} to {}", time::text(since), time::text(until));
            store.add_note(&person.who, "shift", &text)?;
            notify(text);
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Prints what was done, and writes into the journal who did it.
fn done(store: &Store, who: &str, what: &str, text: &str) -> Result<(), Error> {
    store.add_note(who, what, text)?;
    Ok(print(&format!("{text}\n"))?)
}

/// Lets old days go. The person's line comes after that: a full store has room for it only then.
fn retain(store: &mut Store, who: &str, retention: Retention) -> Result<(), Error> {
    let wanted = match retention {
        Retention::Days(days) => number::count(days, "whole day"),
        Retention::Bytes(bytes) => format!("what fits in {} MB", bytes / 1_000_000),
    };
    let deleted = store.retain(retention, time::now())?;
    let (frames, moves, size) = (deleted.frames, deleted.moves, deleted.bytes / 1_000_000);
    store.add_note(
        who,
        "retention",
        &format!("{wanted} kept; {frames} raw frames and {moves} moves deleted"),
    )?;
    Ok(print(&format!("{frames} raw frames and {moves} moves deleted; {size} MB in use\n"))?)
}

fn check(store: &Store) -> Result<ExitCode, Error> {
    let found = store.check()?;
    let mut text = String::new();
    found.rescued.iter().for_each(|rescued| text += &format!("a rescued store, {rescued}\n"));
    text += &format!("file: {}\n", found.file);
    if found.is_compared {
        text += &format!("raw frames: {}, {} damaged\n", found.frames, found.damaged);
        text += &format!("moves: {} in frames, {} in the table\n", found.move_frames, found.moves);
    }
    if found.repeated > 0 {
        let frames = number::count(found.repeated, "frame");
        text += &format!("sent again: {frames} with a move of another frame\n");
    }
    text += &missing(&found);
    if let Some((line, digest)) = &found.journal {
        text += &format!("journal: {}, digest {digest}\n", number::count(*line, "line"));
    }
    found.wrong.iter().for_each(|wrong| text += &format!("wrong: {wrong}\n"));
    print(&text)?;
    if found.is_sound() {
        return Ok(ExitCode::SUCCESS);
    }
    notify(match found.file.as_str() {
        "ok" => {
            "the store is damaged: `stillpoint store rebuild --store PATH --who NAME` repairs tables that follow from \
            frames; `stillpoint store rescue --store PATH NEW --who NAME` copies what is sound"
        }
        _ => {
            "the file is damaged: `stillpoint store rescue --store PATH NEW --who NAME` copies the readable data"
        }
    });
    Ok(ExitCode::FAILURE)
}

/// The frames of moves that are missing, and those that were given up.
fn missing(found: &CheckReport) -> String {
    let line = |(device, boot, first, count): &Hole, (what, remark): (&str, &str)| {
        let count = number::count(*count, "frame");
        format!("{what}: monitor {device}, start {boot}: {count} from number {first} on{remark}\n")
    };
    let missing = found.missing.iter().map(|hole| line(hole, ("missing", "")));
    let given_up = found.given_up.iter().map(|hole| line(hole, ("given up", ", no longer in its log")));
    missing.chain(given_up).collect()
}

fn journal(within: &Within) -> Result<(), Error> {
    let store = within.open()?;
    let (since, until) = within.interval(&store)?;
    print_json(&store.journal(since, until)?)?;
    if let Some((line, digest)) = store.newest_line()? {
        notify(format_args!("line {line} is the newest, digest {digest}"));
    }
    Ok(())
}
