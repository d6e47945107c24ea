//! In: a path. Out: an open store of the current version.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags, TransactionBehavior};

use super::fault::{MAKE_ONE, fault, refuse};
use super::marks::{self, HORIZON};
use super::{connect, rebuild, schema, seal};
use crate::error::Error;

/// What survives the end of this program and what a power cut; the table on top of this folder's `mod.rs` compares them.
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
    /// How long to wait for another writer.
    pub busy_timeout: Duration,
    /// Largest size of the file. Unit: pages of 4096 bytes
    pub max_pages: Option<u32>,
    /// Frames that may wait in memory while the store can't be written; some 100 bytes each.
    pub max_pending: usize,
}

impl Default for Options {
    fn default() -> Options {
        Options {
            durability: Durability::Process,
            busy_timeout: Duration::from_secs(2),
            max_pages: None,
            max_pending: 100_000,
        }
    }
}

/// A store that is open.
#[derive(Debug)]
pub struct Store {
    pub(super) connection: Connection,
    path: PathBuf,
    /// What its file is known by; none if the system has nothing of the kind.
    identity: Option<(u64, u64)>,
}

impl Store {
    /// Opens a store that exists.
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
        let connection = connect::connect(path, flags)?;
        connection.busy_timeout(options.busy_timeout).map_err(wrong)?;
        let mut store = Store { connection, path: path.to_owned(), identity: connect::identity(path) };
        store.recognise(flags.contains(OpenFlags::SQLITE_OPEN_CREATE))?;
        let version = schema::version(&store.connection).map_err(wrong)?;
        store.prepare(options).map_err(|error| store.not_prepared(version, &error))?;
        Ok(store)
    }

    /// Why a store of this version can't be used; an older one must be written to.
    fn not_prepared(&self, version: usize, error: &rusqlite::Error) -> Error {
        let is_older = version > 0 && version < schema::CURRENT;
        if !is_older || error.sqlite_error_code() != Some(ErrorCode::ReadOnly) {
            return self.fault(error);
        }
        let wrong = format!(
            "has version {version} of the tables and can't be written to bring it to {}",
            schema::CURRENT
        );
        self.refuse(&wrong, "copy it to where you may write, and open the copy")
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
        if version > schema::CURRENT {
            let wrong = format!(
                "has version {version} of the tables, newer than {}, the last known here",
                schema::CURRENT
            );
            return Err(self.refuse(&wrong, "use the `stillpoint` that wrote it, or a later one"));
        }
        self.refuse_foreign_schema()
    }

    /// Refuses tables that are not ours, and triggers and views that would run: the file was damaged or crafted.
    fn refuse_foreign_schema(&self) -> Result<(), Error> {
        let (foreign, _) = schema::differences(&self.connection).map_err(|error| self.fault(&error))?;
        match foreign.first() {
            None => Ok(()),
            Some(first) => Err(self.refuse(
                &format!("is no store as `stillpoint` writes it: {first}"),
                "`stillpoint store rescue --store PATH NEW` copies its rows to a sound one",
            )),
        }
    }

    /// Sets the connection up, and the tables if they are of an older version.
    fn prepare(&mut self, options: &Options) -> rusqlite::Result<()> {
        let connection = &mut self.connection;
        if schema::version(connection)? == 0 {
            connection.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
        }
        if !connection.is_readonly("main")? {
            connection.pragma_update(None, "journal_mode", "WAL")?;
        }
        connection.pragma_update(None, "cache_size", -32_000)?;
        connection.pragma_update(None, "temp_store", "MEMORY")?;
        connection.set_prepared_statement_cache_capacity(64);
        let synchronous = match options.durability {
            Durability::Process => "NORMAL",
            Durability::Power => "FULL",
        };
        connection.pragma_update(None, "synchronous", synchronous)?;
        seal::define_digest(connection)?;
        if schema::version(connection)? < schema::CURRENT {
            upgrade(connection)?;
        }
        seal::install(connection)?;
        if let Some(pages) = options.max_pages {
            connection.pragma_update(None, "max_page_count", pages)?;
        }
        Ok(())
    }

    /// Makes the derived tables again. Returns from how many frames.
    pub fn rebuild(&mut self) -> Result<u64, Error> {
        rebuild::rebuild(&mut self.connection).map_err(|error| self.fault(&error))
    }

    /// Whether its file is still the one under its path.
    pub(super) fn is_in_place(&self) -> bool {
        self.identity == connect::identity(&self.path)
    }

    /// Path of its file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The error of this file, and what to do about it.
    pub(super) fn refuse(&self, wrong: &str, remedy: &str) -> Error {
        refuse(&self.path, wrong, remedy)
    }

    /// The error that SQLite reports of this file.
    pub(super) fn fault(&self, error: &rusqlite::Error) -> Error {
        fault(&self.path, error)
    }
}

/// Runs the missing steps of the schema and makes the derived tables anew, in one transaction: whatever interrupts it,
/// the store is of the older version or complete.
fn upgrade(connection: &mut Connection) -> rusqlite::Result<()> {
    let store = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let found = schema::migrate(&store)?;
    if found > 0 && found < schema::CURRENT {
        seal::all(&store, marks::read(&store, HORIZON)?)?;
        seal::install(&store)?;
        rebuild::derive_all(&store)?;
    }
    store.commit()
}
