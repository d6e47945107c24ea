//! In: the path of a file, which anyone may have made. Out: a connection that runs nothing of what is in the file.
//!
//! As sqlite.org/security.html advises for files of others: functions are not run out of the file, its schema can't be
//! written, lengths are limited, cells are checked as they are read. A new file is the user's own; SQLite gives the files
//! beside it the same permissions. A file on a medium that can't be written is read as it lies there.

use std::path::Path;

use rusqlite::config::DbConfig;
use rusqlite::limits::Limit;
use rusqlite::{Connection, ErrorCode, OpenFlags};

use super::fault::{fault, refuse};
use crate::error::Error;

/// Longest text or blob. The longest that is written here is the summary of an interval or a note. Unit: bytes
const LONGEST_VALUE: i32 = 16 << 20;
/// Longest statement; a step of the schema has some 10 kB. Unit: bytes
const LONGEST_SQL: i32 = 100_000;

/// Opens a file; with the flag to create it, one that is not there is made for the user alone.
pub(super) fn connect(path: &Path, flags: OpenFlags) -> Result<Connection, Error> {
    if flags.contains(OpenFlags::SQLITE_OPEN_CREATE) {
        // If that fails, SQLite says why.
        make_private(path).ok();
    }
    let wrong = |error| fault(path, &error);
    let connection = Connection::open_with_flags(path, flags).map_err(wrong)?;
    guard(&connection).map_err(wrong)?;
    let read = connection.query_row("PRAGMA schema_version", [], |_| Ok(()));
    match read.as_ref().map_err(rusqlite::Error::sqlite_error_code) {
        // SQLite can't make the files beside it.
        Err(Some(ErrorCode::CannotOpen | ErrorCode::ReadOnly)) if path.is_file() => connect_immutable(path),
        // Of what is damaged or no database the caller says more.
        _ => Ok(connection),
    }
}

/// Sets what a connection may do.
pub(super) fn guard(connection: &Connection) -> rusqlite::Result<()> {
    for (limit, value) in [
        (Limit::SQLITE_LIMIT_LENGTH, LONGEST_VALUE),
        (Limit::SQLITE_LIMIT_SQL_LENGTH, LONGEST_SQL),
        (Limit::SQLITE_LIMIT_COLUMN, 100),
        (Limit::SQLITE_LIMIT_EXPR_DEPTH, 100),
        (Limit::SQLITE_LIMIT_VARIABLE_NUMBER, 1000),
        (Limit::SQLITE_LIMIT_TRIGGER_DEPTH, 10),
        (Limit::SQLITE_LIMIT_ATTACHED, 0),
    ] {
        connection.set_limit(limit, value)?;
    }
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true)?;
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false)?;
    connection.execute_batch("PRAGMA cell_size_check = ON")
}

/// Reads a file on a medium that can't be written.
fn connect_immutable(path: &Path) -> Result<Connection, Error> {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    if std::fs::metadata(&log).is_ok_and(|log| log.len() > 0) {
        return Err(refuse(
            path,
            "lies where nothing can be written, and its newest rows are in the -wal file beside it",
            "copy both to where you may write, and open the copy",
        ));
    }
    let mut name = String::from("file:");
    for byte in path.as_os_str().as_encoded_bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'-' | b'.' | b'_' => {
                name.push(char::from(*byte))
            }
            byte => name.push_str(&format!("%{byte:02x}")),
        }
    }
    let flags =
        OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let wrong = |error| fault(path, &error);
    let connection = Connection::open_with_flags(name + "?immutable=1", flags).map_err(wrong)?;
    guard(&connection).map_err(wrong)?;
    Ok(connection)
}

/// Makes an empty file that only its user may read.
#[cfg(unix)]
fn make_private(path: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::OpenOptionsExt;
    std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(path).map(|_| ())
}

/// The system gives the file the permissions of its folder.
#[cfg(not(unix))]
fn make_private(_: &Path) -> std::io::Result<()> {
    Ok(())
}

/// What a file is known by as long as it exists, under whatever name: its medium and its number there.
#[cfg(unix)]
pub(super) fn identity(path: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt;
    std::fs::metadata(path).ok().map(|file| (file.dev(), file.ino()))
}

/// An open file can't be deleted or replaced on other systems.
#[cfg(not(unix))]
pub(super) fn identity(_: &Path) -> Option<(u64, u64)> {
    None
}
