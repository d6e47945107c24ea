//! In: a store and a time. Out: a table file, complete or not written at all.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use crate::cmd::moves::Within;
use crate::cmd::output::notify;
use crate::error::Error;
use crate::store::Store;

/// Writes moves or summaries; the extension of the file selects the format.
pub(super) fn run(within: &Within, summaries: bool, file: &Path) -> Result<(), Error> {
    let extension =
        file.extension().and_then(|extension| extension.to_str()).unwrap_or_default().to_ascii_lowercase();
    if !(extension == "csv" || extension == "parquet" && cfg!(feature = "parquet")) {
        let remedy = match cfg!(feature = "parquet") {
            true => "use the extension .csv or .parquet",
            false => "use the extension .csv; for .parquet build with `--features parquet`",
        };
        return Err(unusable(file, "has an unknown extension", remedy));
    }
    let store = within.open()?;
    let query = within.query(&store, true)?;
    if is_of_store(file, &store) {
        return Err(unusable(file, "is the store itself", "name another file"));
    }
    let rows = write_whole(file, |out| match (extension.as_str(), summaries) {
        #[cfg(feature = "parquet")]
        ("parquet", true) => store.export_summaries_as_parquet(&query, out),
        #[cfg(feature = "parquet")]
        ("parquet", false) => store.export_moves_as_parquet(&query, out),
        (_, true) => store.export_summaries(&query, out),
        (_, false) => store.export_moves(&query, out),
    })?;
    let what = if summaries { "summaries" } else { "moves" };
    notify(format_args!("{}: {rows} {what} written", file.display()));
    Ok(())
}

fn unusable(file: &Path, wrong: &str, remedy: &str) -> Error {
    Error::Option {
        option: "FILE".to_owned(),
        value: file.display().to_string(),
        wrong: wrong.to_owned(),
        remedy: remedy.to_owned(),
    }
}

/// Whether the file, under any name, is the file of the store or one that SQLite keeps beside it.
fn is_of_store(file: &Path, store: &Store) -> bool {
    let Ok(file) = fs::canonicalize(file) else { return false };
    ["", "-wal", "-shm", "-journal"].iter().any(|suffix| {
        let mut name = store.path().as_os_str().to_owned();
        name.push(suffix);
        fs::canonicalize(name).is_ok_and(|own| own == file)
    })
}

/// Writes a temporary file and renames it when all is written; an error leaves the old file.
fn write_whole(
    file: &Path,
    write: impl FnOnce(&mut BufWriter<File>) -> Result<u64, Error>,
) -> Result<u64, Error> {
    let unwritable = |source| Error::Unwritable { file: file.display().to_string(), source };
    let failed = |error| if let Error::Output(source) = error { unwritable(source) } else { error };
    // A link is followed to its target; a pipe or a device is written directly.
    let target = fs::canonicalize(file).unwrap_or_else(|_| file.to_owned());
    let old = fs::metadata(&target).ok();
    if old.as_ref().is_some_and(|old| !old.is_file() && !old.is_dir()) {
        let mut out = BufWriter::new(File::create(&target).map_err(unwritable)?);
        let rows = write(&mut out).map_err(failed)?;
        return out.flush().map(|()| rows).map_err(unwritable);
    }
    let part = TemporaryFile(beside(&target));
    let mut out = BufWriter::new(File::create_new(&part.0).map_err(unwritable)?);
    let rows = write(&mut out).map_err(failed)?;
    let written = out.into_inner().map_err(|error| unwritable(error.into_error()))?;
    let placed = || {
        if let Some(old) = old {
            written.set_permissions(old.permissions())?;
        }
        written.sync_all()?;
        fs::rename(&part.0, &target)?;
        sync_folder(&target)
    };
    placed().map(|()| rows).map_err(unwritable)
}

/// Has the system write the new name, too. Only Unix can sync a folder.
fn sync_folder(file: &Path) -> io::Result<()> {
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    // A folder that may be written but not read can't be synced either.
    if cfg!(unix) { File::open(folder).map_or(Ok(()), |folder| folder.sync_all()) } else { Ok(()) }
}

/// The name of the temporary file, in the same folder.
fn beside(file: &Path) -> PathBuf {
    let mut name = std::ffi::OsString::from(".");
    name.push(file.file_name().unwrap_or_default());
    name.push(format!(".{}.part", std::process::id()));
    file.with_file_name(name)
}

/// The temporary file, deleted unless it was renamed.
struct TemporaryFile(PathBuf);

impl Drop for TemporaryFile {
    fn drop(&mut self) {
        fs::remove_file(&self.0).ok();
    }
}
