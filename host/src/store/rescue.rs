//! In: a store whose file is damaged. Out: a new store with every row that an intact page still holds.
//!
//! The pages are read one by one, whatever has become of the trees above them. A row of moves or settings holds its whole
//! frame, so a frame is lost only if both its own row and the row that follows from it are. Derived tables are made
//! again from the frames; of summaries only those are copied whose frames are past retention.

use std::fmt;
use std::path::{Path, PathBuf};

use rusqlite::TransactionBehavior;

use super::database::{Options, Store};
use super::fault::{fault, refuse};
use super::losses::{self, Losses};
use super::pages::Pages;
use super::scan::Scan;
use super::{journal, rebuild, reconstruct};
use crate::error::Error;
use crate::report::number;

/// What could be rescued.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rescued {
    /// Raw frames in the new store.
    pub frames: u64,
    /// Of them, frames whose own row is lost: they were in the rows of moves and settings.
    pub remade: u64,
    /// Moves in the new store.
    pub moves: u64,
    /// Frames of moves that are missing between the numbers of others.
    pub missing: u64,
    /// What is lost, and what can't be known, in words; empty if all is there.
    pub lost: Vec<String>,
}

impl fmt::Display for Rescued {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Rescued { frames, remade, moves, .. } = self;
        write!(
            out,
            "rescued: {}; {}, {remade} of them out of rows of moves and settings",
            number::count(*moves, "move"),
            number::count(*frames, "raw frame")
        )?;
        if self.lost.is_empty() {
            return write!(out, "; nothing is lost");
        }
        self.lost.iter().try_for_each(|lost| write!(out, "\nlost: {lost}"))
    }
}

/// Copies what can still be read of a store into a new one; the old file is not changed.
pub fn rescue(old: &Path, new: &Path, options: &Options) -> Result<Rescued, Error> {
    if !old.is_file() {
        return Err(refuse(old, "there is no store here", "name the damaged one"));
    }
    if new.exists() {
        return Err(refuse(new, "is there already", "name a file that is not, for what can be rescued"));
    }
    let mut pages =
        Pages::open(old).map_err(|source| Error::Unreadable { file: old.display().to_string(), source })?;
    let unfinished = Unfinished(Some(new.to_owned()));
    let mut store = Store::create(new, options)?;
    let rescued = store.copy_pages(old, &mut pages).map_err(|error| fault(new, &error))?;
    let Some(rescued) = rescued else {
        drop(store);
        return Err(refuse(old, "nothing of a store can be read", "restore the file from a copy"));
    };
    unfinished.keep();
    Ok(rescued)
}

/// The new file until it is complete; removed if it is not.
struct Unfinished(Option<PathBuf>);

impl Unfinished {
    fn keep(mut self) {
        self.0 = None;
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        let Some(path) = &self.0 else { return };
        for ending in ["", "-wal", "-shm"] {
            let mut name = path.as_os_str().to_owned();
            name.push(ending);
            std::fs::remove_file(name).ok();
        }
    }
}

impl Store {
    /// None if no row of a store was found.
    fn copy_pages(&mut self, old: &Path, pages: &mut Pages) -> rusqlite::Result<Option<Rescued>> {
        let trees = losses::count_by_trees(old);
        let store = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let scan = Scan::copy(&store, pages)?;
        if scan.is_empty() {
            return Ok(None);
        }
        let mut losses = Losses::new(&scan, &trees, pages.free_is_known);
        let devices_are_all = losses.are_all("devices");
        reconstruct::complete(&store, &scan, devices_are_all, &mut losses.words)?;
        rebuild::derive_all(&store)?;
        reconstruct::let_go(&store)?;
        let missing = losses.missing(&store)?;
        let count =
            |table| store.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get::<_, i64>(0));
        let (frames, moves) = (count("frames")? as u64, count("moves")? as u64);
        let rescued = Rescued { frames, remade: scan.remade, moves, missing, lost: losses.words };
        let name = old.file_name().unwrap_or_default().to_string_lossy();
        let text = format!("out of {name}: {rescued}").replace('\n', "; ");
        journal::write(&store, "store", journal::RESCUE, &text)?;
        store.commit()?;
        Ok(Some(rescued))
    }
}
