//! In: frames of monitors, and what people say. Out: a file that keeps both, and what follows from them.
//!
//! One SQLite file in WAL mode. Raw frames are the truth, once each by (device, boot, priority, sequence);
//! moves, settings, gaps, alarms, findings and summaries are derived and can be made again ([`Store::rebuild`]).
//! The order of things is that of the device's ticks; wall time is an annotation: each start of a device is tied
//! to it once, so that no step of this computer's clock can turn moves around.
//!
//! # What is lost when
//!
//! | | [`Durability::Process`] (as shipped) | [`Durability::Power`] |
//! |---|---|---|
//! | pragma | `synchronous = NORMAL` | `synchronous = FULL` |
//! | kill -9, panic | frames that came since the last commit, at most 0.2 s, asked for again | the same |
//! | power cut, crash of the system | besides, commits since the log was last synced, at most 10 s or 4 MiB | nothing committed |
//! | the file | opens; never half a transaction | the same |
//! | cost | none per commit | one disk flush per commit |
//!
//! `Process` is shipped because a monitor keeps its moves on its own flash: after any loss the store knows from
//! which frame on it has holes ([`Store::resume`]), and `watch` asks the monitor to send the log since. Settling
//! curves and alarms are not in that log; who can't lose a second of those takes `Power`.
//!
//! A full disk stops nothing: frames wait in memory up to a bound, are counted once they must be dropped, and are
//! asked for again when there is room. Any number of programs may write to one store, a transaction at a time.

pub mod kind;
pub mod sketch;
pub mod summary;
pub mod time;
mod schema;
mod journal;
mod boots;
mod batch;
mod derive;
mod tables;
mod watched;
mod kept;
mod frames;
mod rebuild;
mod unnamed;
mod group;
pub mod log;
mod resume;
pub mod moves;
pub mod kinds;
mod curves;
mod left;
pub mod alarms;
pub mod rescue;
pub mod retain;
mod check;
pub mod export;
#[cfg(feature = "parquet")]
mod parquet_export;

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags};

use crate::error::Error;
pub use boots::Boot;
pub use check::{Found, Hole};
pub use journal::Entry;
pub use schema::CURRENT;

/// What may be lost when; see the table above.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Durability {
    /// What is committed survives the end of this program.
    #[default]
    Process,
    /// What is committed survives a power cut.
    Power,
}

/// How a store is used.
#[derive(Clone, Copy, Debug)]
pub struct Options {
    /// What may be lost when.
    pub durability: Durability,
    /// How long another writer is waited for.
    pub patience: Duration,
    /// The file grows no further than this. Unit: pages of 4096 bytes
    pub most_pages: Option<u32>,
    /// Frames that may wait in memory while the store can't be written; some 100 bytes each.
    pub most_waiting: usize,
}

impl Default for Options {
    fn default() -> Options {
        Options {
            durability: Durability::Process,
            patience: Duration::from_secs(2),
            most_pages: None,
            most_waiting: 100_000,
        }
    }
}

/// A store that is open.
#[derive(Debug)]
pub struct Store {
    connection: Connection,
    path: PathBuf,
}

impl Store {
    /// Opens a store that is there.
    pub fn open(path: &Path, options: &Options) -> Result<Store, Error> {
        if !path.is_file() {
            return Err(refuse(path, "there is no store here", MAKE_ONE));
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        Store::with(path, options, flags)
    }

    /// Opens a store, or makes an empty one.
    pub fn create(path: &Path, options: &Options) -> Result<Store, Error> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        Store::with(path, options, flags)
    }

    fn with(path: &Path, options: &Options, flags: OpenFlags) -> Result<Store, Error> {
        let wrong = |error| fault(path, &error);
        let connection = Connection::open_with_flags(path, flags).map_err(wrong)?;
        connection.busy_timeout(options.patience).map_err(wrong)?;
        let mut store = Store { connection, path: path.to_owned() };
        store.recognise(flags.contains(OpenFlags::SQLITE_OPEN_CREATE))?;
        let found = store.prepare(options).map_err(wrong)?;
        // The tables of an older version are made anew from its frames.
        if found > 0 && found < CURRENT {
            store.rebuild()?;
        }
        Ok(store)
    }

    /// Refuses files that are something else, before anything is written to them; an empty one may become a store.
    fn recognise(&self, may_make: bool) -> Result<(), Error> {
        let wrong = |error| fault(&self.path, &error);
        let version = schema::version(&self.connection).map_err(wrong)?;
        let number = |sql| self.connection.query_row(sql, [], |row| row.get::<_, i64>(0)).map_err(wrong);
        let is_empty = number("SELECT count(*) FROM sqlite_master")? == 0;
        if is_empty && !may_make {
            return Err(self.refuse("is empty, no store", MAKE_ONE));
        }
        if !is_empty && number("PRAGMA application_id")? != i64::from(schema::APPLICATION) {
            return Err(self.refuse("is a database, but no store", "name another file"));
        }
        if version > CURRENT {
            let wrong =
                format!("has version {version} of the tables, newer than {CURRENT}, the last known here");
            return Err(self.refuse(&wrong, "use the `stillpoint` that wrote it, or a later one"));
        }
        Ok(())
    }

    /// Sets the file up. Returns the version it had.
    fn prepare(&mut self, options: &Options) -> rusqlite::Result<usize> {
        let connection = &mut self.connection;
        if schema::version(connection)? == 0 {
            connection.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
        }
        connection.pragma_update(None, "journal_mode", "WAL")?;
        connection.pragma_update(None, "cache_size", -32_000)?;
        connection.pragma_update(None, "temp_store", "MEMORY")?;
        connection.set_prepared_statement_cache_capacity(64);
        let synchronous = match options.durability {
            Durability::Process => "NORMAL",
            Durability::Power => "FULL",
        };
        connection.pragma_update(None, "synchronous", synchronous)?;
        let found = schema::migrate(connection)?;
        if let Some(pages) = options.most_pages {
            connection.pragma_update(None, "max_page_count", pages)?;
        }
        Ok(found)
    }

    /// Lets the file grow to so many pages. Unit: pages of 4096 bytes
    pub fn allow(&self, most_pages: u32) -> Result<(), Error> {
        let set = self.connection.pragma_update(None, "max_page_count", most_pages);
        set.map_err(|error| self.fault(&error))
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    fn refuse(&self, wrong: &str, remedy: &str) -> Error {
        refuse(&self.path, wrong, remedy)
    }

    /// Tells what SQLite said about this file.
    fn fault(&self, error: &rusqlite::Error) -> Error {
        fault(&self.path, error)
    }
}

const MAKE_ONE: &str =
    "make one with `stillpoint watch SOURCE --store PATH` or `stillpoint rehearse --store PATH`";

fn refuse(path: &Path, wrong: &str, remedy: &str) -> Error {
    Error::Store { file: path.display().to_string(), wrong: wrong.to_owned(), remedy: remedy.to_owned() }
}

/// What to tell of an error, and what to do about it.
fn fault(path: &Path, error: &rusqlite::Error) -> Error {
    let (wrong, remedy) = words(error);
    refuse(path, &wrong, remedy)
}

fn words(error: &rusqlite::Error) -> (String, &'static str) {
    let (wrong, remedy) = match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => (
            "is no store",
            "name another file; frames kept by an earlier version are read by `stillpoint watch file:PATH --store NEW`",
        ),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            ("another program is writing to the store", "wait until it is done, or end it")
        }
        Some(ErrorCode::DiskFull) => {
            ("the disk or the size allowed for the store is full", "make room, or `stillpoint store retain`")
        }
        Some(ErrorCode::ReadOnly) => (
            "can't be written",
            "check the permissions of the file and of its folder, or read a copy of your own",
        ),
        Some(ErrorCode::CannotOpen) => {
            ("can't be opened or made", "check that the folder is there and may be written")
        }
        Some(ErrorCode::DatabaseCorrupt) => {
            ("the file is damaged", "copy what can still be read: `stillpoint store rescue --store PATH NEW`")
        }
        _ => return (format!("the store failed: {error}"), "check the disk, then `stillpoint store check`"),
    };
    (wrong.to_owned(), remedy)
}
