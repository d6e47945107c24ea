//! In: what was found on the pages of a damaged store, and what its trees say. Out: what is lost, in words.

use std::collections::BTreeMap;
use std::path::Path;

use rusqlite::types::{Value, ValueRef};
use rusqlite::{Connection, OpenFlags};

use super::check::{Hole, holes};
use super::connect::connect;
use super::digest::digest;
use super::scan::Scan;

/// Tables of which a loss is a loss.
const TRUTH: [&str; 8] = ["frames", "devices", "boots", "axes", "shifts", "marks", "journal", "summaries"];

/// Rows by table as SQLite counts them; none of a table whose tree it can't read.
pub(super) type Trees = BTreeMap<&'static str, Option<u64>>;

/// Has SQLite count the rows of each table.
pub(super) fn count_by_trees(old: &Path) -> Trees {
    let file = connect(old, OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX);
    let count = |table| -> rusqlite::Result<u64> {
        let file = file.as_ref().map_err(|_| rusqlite::Error::InvalidQuery)?;
        let sql = format!("SELECT count(*) FROM {table} NOT INDEXED");
        file.query_row(&sql, [], |row| row.get::<_, i64>(0)).map(|count| count as u64)
    };
    TRUTH.into_iter().map(|table| (table, count(table).ok())).collect()
}

/// What is lost.
#[derive(Debug)]
pub(super) struct Losses<'s> {
    scan: &'s Scan,
    trees: &'s Trees,
    pub(super) words: Vec<String>,
}

impl<'s> Losses<'s> {
    pub(super) fn new(scan: &'s Scan, trees: &'s Trees, free_is_known: bool) -> Losses<'s> {
        let mut losses = Losses { scan, trees, words: vec![] };
        if scan.unread > 0 {
            losses.words.push(format!("{} pages of the file can't be read, or not wholly", scan.unread));
        }
        TRUTH.into_iter().for_each(|table| losses.table(table));
        losses.journal();
        if !free_is_known {
            let free = "which pages were free can't be known: rows that were deleted before may be back";
            losses.words.push(free.to_owned());
        }
        losses
    }

    /// Whether every row of a table was found.
    pub(super) fn are_all(&self, table: &str) -> bool {
        let found = self.scan.rows.get(table).copied().unwrap_or(0);
        self.trees.get(table).is_some_and(|counted| *counted == Some(found))
    }

    fn table(&mut self, table: &'static str) {
        if self.are_all(table) {
            return;
        }
        let found = self.scan.rows.get(table).copied().unwrap_or(0);
        let damaged = match self.scan.damaged.get(table) {
            Some(damaged) => format!(", {damaged} are not what was written and were not copied"),
            None => String::new(),
        };
        self.words.push(match self.trees.get(table).copied().flatten() {
            Some(counted) if counted > found => {
                format!("{table}: {found} of {counted} rows were read{damaged}")
            }
            _ => format!("{table}: {found} rows were read{damaged}; whether there were more can't be known"),
        });
    }

    /// Lines that are missing between others, and the first that does not fit the line before it.
    fn journal(&mut self) {
        let mut before = None;
        for (id, line) in &self.scan.journal {
            let (last, link) = before.take().unwrap_or((0_i64, Some(Value::Text("journal".to_owned()))));
            let first = last.saturating_add(1);
            if *id > first {
                self.words.push(format!("journal: lines {first} to {} are lost", id - 1));
            } else if let (Some(link), Some(written)) = (&link, &line.digest) {
                let values = std::iter::once(link).chain(&line.values).map(ValueRef::from);
                if digest(values)[..] != written[..] {
                    self.words.push(format!("journal: line {id} does not fit the line before it"));
                }
            }
            before = Some((*id, line.digest.clone().map(Value::Blob)));
        }
    }

    /// The frames of moves that are missing between the numbers of others in the new store. Returns how many.
    pub(super) fn missing(&mut self, store: &Connection) -> rusqlite::Result<u64> {
        let holes: Vec<Hole> = holes(store)?.into_iter().map(|(hole, _)| hole).collect();
        let missing = holes.iter().map(|hole| u64::from(hole.3)).sum();
        if missing > 0 {
            let mut first: Vec<String> = holes
                .iter()
                .take(5)
                .map(|(device, boot, first, count)| {
                    format!("{count} from number {first} on of start {boot} of monitor {device}")
                })
                .collect();
            if holes.len() > first.len() {
                first.push(format!("and {} more places", holes.len() - first.len()));
            }
            let first = first.join(", ");
            self.words.push(format!(
                "{missing} frames of moves are missing between numbers ({first}); whether more came after the last \
                can't be known"
            ));
        }
        Ok(missing)
    }
}
