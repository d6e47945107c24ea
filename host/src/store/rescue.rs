//! In: a store whose file is damaged. Out: a new store with what can still be read of it.
//!
//! Each table is read from its beginning up to the damage, then from its end down to it: the rows between the first and
//! the last damage of a table are lost. Derived tables are not read, they are made again from the frames; only summaries
//! are copied, because those of days past retention have no frames any more.

use std::fmt;
use std::path::Path;

use rusqlite::{Connection, OpenFlags, Row, params_from_iter, types::Value};

use super::database::{Options, Store};
use super::fault::{fault, refuse};
use super::schema;
use crate::error::Error;
use crate::report::number;

/// Tables that can't be made again, and the columns that order them.
const COPIED: [(&str, &[&str]); 8] = [
    ("devices", &["id"]),
    ("boots", &["device", "boot"]),
    ("axes", &["device", "axis"]),
    ("shifts", &["rowid"]),
    ("marks", &["name"]),
    ("journal", &["id"]),
    ("summaries", &["device", "axis", "span", "kind", "at_us"]),
    ("frames", &["device", "boot", "priority", "sequence"]),
];

/// What could be rescued.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rescued {
    /// Raw frames copied.
    pub frames: u64,
    /// Tables that are damaged, with what could be copied of each.
    pub damaged: Vec<(&'static str, u64)>,
}

impl fmt::Display for Rescued {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{} copied, tables made again from them", number::count(self.frames, "raw frame"))?;
        self.damaged.iter().try_for_each(|(table, rows)| {
            write!(out, "\ndamaged: {table}; read: {}", number::count(*rows, "row"))
        })
    }
}

/// Copies what can still be read of a store into a new one; the old file is not changed.
pub fn rescue(old: &Path, new: &Path, options: &Options) -> Result<Rescued, Error> {
    let wrong = |error| fault(old, &error);
    if !old.is_file() {
        return Err(refuse(old, "there is no store here", "name the damaged one"));
    }
    let from = Connection::open_with_flags(old, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(wrong)?;
    from.busy_timeout(options.busy_timeout).map_err(wrong)?;
    let known = from.pragma_query_value(None, "application_id", |row| row.get::<_, i32>(0));
    if known.ok() != Some(schema::APPLICATION) {
        return Err(refuse(old, "nothing of a store can be read", "restore the file from a copy"));
    }
    if new.exists() {
        return Err(refuse(new, "is there already", "name a file that is not, for what can be rescued"));
    }
    let mut store = Store::create(new, options)?;
    let mut rescued = Rescued::default();
    for (table, keys) in COPIED {
        let (rows, whole) = store.copy_table(&from, table, keys)?;
        if !whole {
            rescued.damaged.push((table, rows));
        }
        if table == "frames" {
            rescued.frames = rows;
        }
    }
    store.rebuild()?;
    Ok(rescued)
}

impl Store {
    /// Copies a table from both ends. Returns how many rows, and whether those are all.
    fn copy_table(&mut self, from: &Connection, table: &str, keys: &[&str]) -> Result<(u64, bool), Error> {
        let path = self.path().to_owned();
        let wrong = |error| fault(&path, &error);
        let transaction = self.connection.transaction().map_err(wrong)?;
        let (mut rows, mut whole) = (0, false);
        for direction in ["ASC", "DESC"] {
            let order: Vec<String> = keys.iter().map(|key| format!("{key} {direction}")).collect();
            let sql = format!("SELECT * FROM {table} ORDER BY {}", order.join(", "));
            // Rows that can't be read are expected; a row that can't be written is an error.
            whole = read(from, &sql, &mut |row| {
                rows += insert(&transaction, table, row).map_err(wrong)? as u64;
                Ok(())
            })?;
            if whole {
                break;
            }
        }
        transaction.commit().map_err(wrong)?;
        Ok((rows, whole))
    }
}

/// Passes rows to `out` until the end or the damage. True if it was the end.
fn read(from: &Connection, sql: &str, out: &mut dyn FnMut(&Row) -> Result<(), Error>) -> Result<bool, Error> {
    let Ok(mut statement) = from.prepare(sql) else { return Ok(false) };
    let Ok(mut rows) = statement.query([]) else { return Ok(false) };
    loop {
        match rows.next() {
            Ok(Some(row)) => out(row)?,
            Ok(None) => return Ok(true),
            Err(_) => return Ok(false),
        }
    }
}

/// Inserts a row by the names of its columns, of which an older version may have fewer. Returns 0 if it is there.
fn insert(to: &Connection, table: &str, row: &Row) -> rusqlite::Result<usize> {
    let names: Vec<&str> = row.as_ref().column_names().collect();
    let places: Vec<String> = (1..=names.len()).map(|place| format!("?{place}")).collect();
    let sql = format!("INSERT OR IGNORE INTO {table} ({}) VALUES ({})", names.join(", "), places.join(", "));
    let values: Vec<Value> = (0..names.len()).map(|place| row.get(place)).collect::<rusqlite::Result<_>>()?;
    to.prepare_cached(&sql)?.execute(params_from_iter(values))
}
