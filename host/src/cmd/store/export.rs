//! In: a store and a time. Out: a table file, which is there whole or not at all.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use crate::cmd::moves::Within;
use crate::cmd::output::tell;
use crate::error::Error;
use crate::store::Store;

/// Writes moves or summaries; the ending of the file's name says how.
pub(super) fn run(within: &Within, summaries: bool, file: &Path) -> Result<(), Error> {
    let ending = file.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_ascii_lowercase();
    if !(ending == "csv" || ending == "parquet" && cfg!(feature = "parquet")) {
        let remedy = match cfg!(feature = "parquet") {
            true => "end its name with .csv or .parquet",
            false => "end its name with .csv; for .parquet build with `--features parquet`",
        };
        return Err(unfit(file, "can't be written in this form", remedy));
    }
    let store = within.open()?;
    let query = within.query(&store, true)?;
    if is_of_store(file, &store) {
        return Err(unfit(file, "is the store itself", "name another file"));
    }
    let rows = whole(file, |out| match (ending.as_str(), summaries) {
        #[cfg(feature = "parquet")]
        ("parquet", true) => store.export_summaries_as_parquet(&query, out),
        #[cfg(feature = "parquet")]
        ("parquet", false) => store.export_moves_as_parquet(&query, out),
        (_, true) => store.export_summaries(&query, out),
        (_, false) => store.export_moves(&query, out),
    })?;
    let what = if summaries { "summaries" } else { "moves" };
    tell(format_args!("{}: {rows} {what} written", file.display()));
    Ok(())
}

fn unfit(file: &Path, wrong: &str, remedy: &str) -> Error {
    Error::Option {
        option: "FILE".to_owned(),
        value: file.display().to_string(),
        wrong: wrong.to_owned(),
        remedy: remedy.to_owned(),
    }
}

/// Whether it is the file of the store, or one that SQLite keeps beside it, by whatever name.
fn is_of_store(file: &Path, store: &Store) -> bool {
    let Ok(file) = fs::canonicalize(file) else { return false };
    ["", "-wal", "-shm", "-journal"].iter().any(|ending| {
        let mut name = store.path().as_os_str().to_owned();
        name.push(ending);
        fs::canonicalize(name).is_ok_and(|own| own == file)
    })
}

/// Writes beside the file and takes its place when all is written; an error leaves what was there.
fn whole(file: &Path, write: impl FnOnce(&mut BufWriter<File>) -> Result<u64, Error>) -> Result<u64, Error> {
    let unwritable = |source| Error::Unwritable { file: file.display().to_string(), source };
    let failed = |error| if let Error::Output(source) = error { unwritable(source) } else { error };
    // Through a link to what it names; a pipe or a device is written as it is.
    let target = fs::canonicalize(file).unwrap_or_else(|_| file.to_owned());
    let old = fs::metadata(&target).ok();
    if old.as_ref().is_some_and(|old| !old.is_file() && !old.is_dir()) {
        let mut out = BufWriter::new(File::create(&target).map_err(unwritable)?);
        let rows = write(&mut out).map_err(failed)?;
        return out.flush().map(|()| rows).map_err(unwritable);
    }
    let part = Part(beside(&target));
    let mut out = BufWriter::new(File::create_new(&part.0).map_err(unwritable)?);
    let rows = write(&mut out).map_err(failed)?;
    let written = out.into_inner().map_err(|error| unwritable(error.into_error()))?;
    let placed = || {
        if let Some(old) = old {
            written.set_permissions(old.permissions())?;
        }
        written.sync_all()?;
        fs::rename(&part.0, &target)
    };
    placed().map(|()| rows).map_err(unwritable)
}

/// A name in the same folder that nobody else uses.
fn beside(file: &Path) -> PathBuf {
    let mut name = std::ffi::OsString::from(".");
    name.push(file.file_name().unwrap_or_default());
    name.push(format!(".{}.part", std::process::id()));
    file.with_file_name(name)
}

/// A file that is gone unless it was renamed.
struct Part(PathBuf);

impl Drop for Part {
    fn drop(&mut self) {
        fs::remove_file(&self.0).ok();
    }
}
