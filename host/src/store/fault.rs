//! In: an error of SQLite, or what is wrong with a file. Out: an error that says what to do about it.

use std::path::Path;

use rusqlite::ErrorCode;

use crate::error::Error;

/// What to do where there is no store.
pub(super) const MAKE_ONE: &str =
    "make one with `stillpoint watch SOURCE --store PATH` or `stillpoint rehearse --store PATH`";

/// The error of a file that can't be used.
pub(super) fn refuse(path: &Path, wrong: &str, remedy: &str) -> Error {
    Error::Store { file: path.display().to_string(), wrong: wrong.to_owned(), remedy: remedy.to_owned() }
}

/// The error of a file that SQLite could not read or write.
pub(super) fn fault(path: &Path, error: &rusqlite::Error) -> Error {
    let (wrong, remedy) = explain(error);
    refuse(path, &wrong, remedy)
}

/// What is wrong, and what to do about it.
pub(super) fn explain(error: &rusqlite::Error) -> (String, &'static str) {
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
        Some(ErrorCode::DatabaseCorrupt) => (
            "the file is damaged",
            "copy what can still be read: `stillpoint store rescue --store PATH NEW --who NAME`",
        ),
        Some(ErrorCode::TooBig) => {
            ("holds a value longer than any that `stillpoint` writes", "open a copy of an earlier day")
        }
        _ => return (format!("the store failed: {error}"), "check the disk, then `stillpoint store check`"),
    };
    (wrong.to_owned(), remedy)
}
