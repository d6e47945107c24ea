//! In: what people changed on a machine, and when. Out: notes, which part the moves of an axis into groups.
//!
//! A note is a line of the journal, which says who changed what and when that was written down, and a mark with the
//! number of that line, which says from when on the change holds. So a note can be withdrawn, and the journal still has
//! it. Notes are truth: nothing that follows from frames touches them.

use rusqlite::{Connection, OptionalExtension, Row, Transaction, TransactionBehavior, params};

use super::axes::KnownAxis;
use super::database::Store;
use super::{journal, marks};
use crate::error::Error;
use crate::report::printable::printable;

/// A change that people noted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// Number of its line in the journal.
    pub number: i64,
    /// From when on the change holds. Unit: µs since 1970, UTC
    pub at: i64,
    /// Who noted it.
    pub who: String,
    /// What was changed, in words that are safe to show.
    pub text: String,
    /// Name of the axis; none for the whole machine.
    pub axis: Option<String>,
}

/// Notes with the line of each, in the order of time.
const NOTES: &str = "SELECT line.id, marks.value, line.who, line.text, line.axis, axes.name, devices.number
    FROM marks JOIN journal AS line ON marks.name = 'note ' || line.id
    LEFT JOIN devices ON devices.id = line.device
    LEFT JOIN axes ON axes.device = line.device AND axes.axis = line.axis";

/// Name of the mark of a note.
fn mark(number: i64) -> String {
    format!("note {number}")
}

impl Store {
    /// Notes a change of an axis, or of the whole machine, that holds from `at` on; one that is there already is not
    /// noted again. Returns its number. Unit: µs since 1970, UTC
    pub fn add_change(
        &self,
        (who, text): (&str, &str),
        at: i64,
        axis: Option<&KnownAxis>,
    ) -> Result<i64, Error> {
        let text = printable(text.trim());
        let axis = axis.map(|known| (known.device, known.axis.axis));
        let write = || -> rusqlite::Result<i64> {
            let store = Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate)?;
            let number = match find(&store, &text, at, axis)? {
                Some(number) => number,
                None => {
                    let number = journal::write_of_change(&store, who, ("change", &text), axis)?;
                    marks::write(&store, &mark(number), at)?;
                    number
                }
            };
            store.commit()?;
            Ok(number)
        };
        write().map_err(|error| self.fault(&error))
    }

    /// Withdraws a note; the journal keeps its line, and has another one about that. Returns whether there is such a note.
    pub fn withdraw_change(&self, who: &str, number: i64) -> Result<bool, Error> {
        let write = || -> rusqlite::Result<bool> {
            let store = Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate)?;
            let was_there = marks::remove(&store, &mark(number))?;
            if was_there {
                journal::write(&store, who, "change", &format!("note {number} is withdrawn"))?;
            }
            store.commit()?;
            Ok(was_there)
        };
        write().map_err(|error| self.fault(&error))
    }

    /// All notes, in the order of time.
    pub fn changes(&self) -> Result<Vec<Note>, Error> {
        let read = || -> rusqlite::Result<Vec<Note>> {
            let mut statement =
                self.connection.prepare_cached(&format!("{NOTES} ORDER BY marks.value, line.id"))?;
            statement.query_map([], note)?.collect()
        };
        read().map_err(|error| self.fault(&error))
    }

    /// The notes on an axis, those on the whole machine among them, in the order of time. A monitor whose memory was
    /// erased is the same one.
    pub fn changes_of(&self, known: &KnownAxis) -> Result<Vec<Note>, Error> {
        let read = || -> rusqlite::Result<Vec<Note>> {
            let mut statement = self.connection.prepare_cached(&format!(
                "{NOTES} WHERE line.axis IS NULL OR (line.axis = ?1
                    AND devices.number = (SELECT number FROM devices WHERE id = ?2))
                ORDER BY marks.value, line.id"
            ))?;
            statement.query_map(params![known.axis.axis, known.device], note)?.collect()
        };
        read().map_err(|error| self.fault(&error))
    }
}

/// The note with this text at this time on this axis.
fn find(store: &Connection, text: &str, at: i64, axis: Option<(i64, u8)>) -> rusqlite::Result<Option<i64>> {
    let (device, axis) = axis.unzip();
    let sql = format!(
        "{NOTES} WHERE marks.value = ?1 AND line.text = ?2 AND line.device IS ?3 AND line.axis IS ?4"
    );
    store.prepare_cached(&sql)?.query_row(params![at, text, device, axis], |row| row.get(0)).optional()
}

fn note(row: &Row) -> rusqlite::Result<Note> {
    let (axis, name): (Option<u8>, Option<String>) = (row.get(4)?, row.get(5)?);
    Ok(Note {
        number: row.get(0)?,
        at: row.get(1)?,
        who: row.get(2)?,
        text: printable(&row.get::<_, String>(3)?),
        axis: axis.map(|axis| name.unwrap_or_else(|| format!("axis {axis}"))),
    })
}
