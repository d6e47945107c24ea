//! In: the frames of a store. Out: whether its tables are those that follow from them, row by row.
//!
//! The rows are derived again into a temporary database, by the code that wrote them. Moves are compared group by group
//! and not collected, so the space needed does not grow with them.

use std::cmp::Ordering;

use rusqlite::types::Value;
use rusqlite::{Connection, Row, Rows as SqlRows, Statement, params_from_iter};
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;

use super::derive::Derive;
use super::devices;
use super::frame::{FrameKey, StoredFrame};
use super::marks::{self, HORIZON};
use super::schema;

/// Frames between two comparisons of moves.
const GROUP: u64 = 4096;
/// Tables that the derivation reads.
const READ: [&str; 4] = ["devices", "boots", "marks", "journal"];
/// The key of a row of moves.
const MOVE_KEY: &str = "device = ?1 AND axis = ?2 AND at_us = ?3 AND boot = ?4 AND number = ?5";

/// What was compared.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Agreement {
    /// Raw frames.
    pub(super) frames: u64,
    /// Of them, frames whose checksum is wrong.
    pub(super) damaged: u64,
    /// Of them, sound frames whose row has other numbers than their header, or an unknown monitor.
    pub(super) misplaced: u64,
    /// Of them, frames of moves.
    pub(super) move_frames: u64,
    /// Of those, frames with a move that another frame has too, under another number: the table has it once.
    pub(super) repeated: u64,
    /// Rows of moves.
    pub(super) moves: u64,
    /// Rows that do not follow from the frames, and rows that are missing, in words.
    pub(super) wrong: Vec<String>,
}

/// Rows of a table that disagree.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Rows {
    missing: u64,
    other: u64,
    extra: u64,
}

impl Rows {
    fn words(self, table: &str) -> Option<String> {
        let Rows { missing, other, extra } = self;
        (missing + other + extra > 0).then(|| {
            format!("{table}: {missing} rows are missing, {other} are other than their frames say, {extra} have no frame")
        })
    }
}

/// Derives all tables again and compares them.
pub(super) fn compare(store: &Connection) -> rusqlite::Result<Agreement> {
    let twin = twin(store)?;
    let starts: i64 = twin.query_row("SELECT count(*) FROM boots", [], |row| row.get(0))?;
    let last_line: i64 = twin.query_row("SELECT coalesce(max(id), 0) FROM journal", [], |row| row.get(0))?;
    let (mut found, mut moves) = (Agreement::default(), Rows::default());
    derive(store, &twin, &mut found, &mut moves)?;
    moves.extra = moves_without_frame(store)?;
    found.moves = store.query_row("SELECT count(*) FROM moves", [], |row| row.get::<_, i64>(0))? as u64;
    found.repeated = (found.move_frames + moves.extra).saturating_sub(found.moves + moves.missing);
    found.wrong.extend(moves.words("moves"));
    let horizon = marks::read(store, HORIZON)?.unwrap_or(i64::MIN);
    for table in schema::DERIVED_TABLES.into_iter().filter(|table| *table != "moves") {
        let from = if table == "summaries" { horizon } else { i64::MIN };
        found.wrong.extend(rows(store, &twin, table, from)?.words(table));
    }
    let more =
        |sql: &str, before: i64| -> rusqlite::Result<i64> { twin.query_row(sql, [before], |row| row.get(0)) };
    let undated = more("SELECT count(*) - ?1 FROM boots", starts)?;
    if undated > 0 {
        found.wrong.push(format!("boots: the wall time of {undated} starts is missing"));
    }
    // Whether settings made a line depends on which others had come before.
    let lines = more("SELECT count(*) FROM journal WHERE id > ?1 AND what <> 'settings'", last_line)?;
    if lines > 0 {
        found.wrong.push(format!("journal: {lines} lines are missing that frames made"));
    }
    Ok(found)
}

/// A temporary database with what the derivation reads.
fn twin(store: &Connection) -> rusqlite::Result<Connection> {
    // Without a name SQLite keeps it in memory, and in a file of its own where it is too large.
    let twin = Connection::open("")?;
    twin.execute_batch("PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -32000")?;
    twin.set_prepared_statement_cache_capacity(64);
    schema::migrate(&twin)?;
    for table in READ {
        let mut statement = store.prepare(&format!("SELECT * FROM {table}"))?;
        let places = vec!["?"; statement.column_count()].join(", ");
        let mut insert = twin.prepare(&format!("INSERT INTO {table} VALUES ({places})"))?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            insert.execute(params_from_iter(values(row)?))?;
        }
    }
    Ok(twin)
}

fn values(row: &Row) -> rusqlite::Result<Vec<Value>> {
    (0..row.as_ref().column_count()).map(|place| row.get(place)).collect()
}

fn derive(
    store: &Connection,
    twin: &Connection,
    found: &mut Agreement,
    moves: &mut Rows,
) -> rusqlite::Result<()> {
    let mut derive = Derive::default();
    derive.reload(twin)?;
    let mut known = twin.prepare("SELECT EXISTS (SELECT 1 FROM devices WHERE id = ?1)")?;
    let mut statement = store.prepare(
        "SELECT device, arrived_us, body, boot, priority, sequence FROM frames
        ORDER BY device, boot, priority, sequence",
    )?;
    let mut rows = statement.query([])?;
    twin.execute_batch("BEGIN")?;
    while let Some(row) = rows.next()? {
        found.frames += 1;
        if let Some(frame) = sound_frame(row, &mut known, found)?
            && let Some(message) = frame.message()
        {
            // Of a monitor that has not named itself no row follows.
            let has_rows = devices::rate(twin, frame.device)?.is_some();
            found.move_frames += u64::from(has_rows && matches!(message, Message::Move(_)));
            derive.apply(twin, &frame, &message)?;
        }
        if found.frames.is_multiple_of(GROUP) {
            derive.write(twin)?;
            compare_moves(store, twin, moves)?;
        }
    }
    derive.write(twin)?;
    compare_moves(store, twin, moves)?;
    twin.execute_batch("COMMIT")
}

/// The frame of a row; none and counted if it is damaged or not the one that its key names.
fn sound_frame<'r>(
    row: &'r Row,
    known: &mut Statement,
    found: &mut Agreement,
) -> rusqlite::Result<Option<StoredFrame<'r>>> {
    let Some(frame) = StoredFrame::new(row.get(0)?, row.get(1)?, row.get_ref(2)?.as_blob()?) else {
        found.damaged += 1;
        return Ok(None);
    };
    let FrameKey { device, boot, priority, sequence } = frame.key();
    let fits = [i64::from(boot), i64::from(priority), i64::from(sequence)]
        == [row.get::<_, i64>(3)?, row.get(4)?, row.get(5)?];
    if fits && known.query_row([device], |row| row.get::<_, bool>(0))? {
        return Ok(Some(frame));
    }
    found.misplaced += 1;
    Ok(None)
}

/// Compares the moves that were derived last, and drops them.
fn compare_moves(store: &Connection, twin: &Connection, moves: &mut Rows) -> rusqlite::Result<()> {
    let mut derived = twin.prepare_cached("SELECT * FROM moves")?;
    let mut stored = store.prepare_cached(&format!("SELECT * FROM moves WHERE {MOVE_KEY}"))?;
    let mut rows = derived.query([])?;
    while let Some(row) = rows.next()? {
        let derived = values(row)?;
        let mut found = stored.query(params_from_iter(derived.iter().take(5)))?;
        match found.next()?.map(values).transpose()? {
            None => moves.missing += 1,
            Some(stored) if stored == derived => (),
            // The move has another frame, too, which the row follows from.
            Some(stored) if stored.get(5) != derived.get(5) => (),
            Some(_) => moves.other += 1,
        }
    }
    drop(rows);
    twin.execute("DELETE FROM moves", [])?;
    Ok(())
}

/// Rows of moves that are not the frame whose number they have.
fn moves_without_frame(store: &Connection) -> rusqlite::Result<u64> {
    let sql = "SELECT count(*) FROM moves LEFT JOIN frames ON frames.device = moves.device
        AND frames.boot = moves.boot AND frames.priority = ?1 AND frames.sequence = moves.sequence
        WHERE frames.body IS NOT moves.body";
    store.query_row(sql, [Priority::Move as u8], |row| row.get::<_, i64>(0)).map(|count| count as u64)
}

/// Compares the rows of a table, both in the order of their keys; of summaries only those from an instant on.
fn rows(store: &Connection, twin: &Connection, table: &str, from: i64) -> rusqlite::Result<Rows> {
    let (keys, columns) = columns(twin, table)?;
    let which = if table == "summaries" { "WHERE at_us >= ?1" } else { "WHERE ?1 IS NOT NULL" };
    let count = keys.len();
    let sql = format!("SELECT {}, {columns} FROM {table} {which} ORDER BY {0}", keys.join(", "));
    let (mut derived, mut stored) = (twin.prepare(&sql)?, store.prepare(&sql)?);
    let (mut derived, mut stored) = (derived.query([from])?, stored.query([from])?);
    let (mut left, mut right) = (next(&mut derived, count)?, next(&mut stored, count)?);
    let mut rows = Rows::default();
    loop {
        let order = match (&left, &right) {
            (None, None) => return Ok(rows),
            (Some(_), None) => Ordering::Less,
            (None, Some(_)) => Ordering::Greater,
            (Some(left), Some(right)) => left.0.cmp(&right.0),
        };
        match order {
            Ordering::Less => rows.missing += 1,
            Ordering::Greater => rows.extra += 1,
            Ordering::Equal => rows.other += u64::from(left != right),
        }
        if order.is_le() {
            left = next(&mut derived, count)?;
        }
        if order.is_ge() {
            right = next(&mut stored, count)?;
        }
    }
}

/// The key of a row, and all its values.
type Keyed = (Vec<i64>, Vec<Value>);

fn next(rows: &mut SqlRows, keys: usize) -> rusqlite::Result<Option<Keyed>> {
    let Some(row) = rows.next()? else { return Ok(None) };
    let key: rusqlite::Result<Vec<i64>> = (0..keys).map(|place| row.get(place)).collect();
    Ok(Some((key?, values(row)?)))
}

/// The columns of the key of a table, in their order, and all of its columns that follow from frames.
fn columns(store: &Connection, table: &str) -> rusqlite::Result<(Vec<String>, String)> {
    let names = |sql: &str| -> rusqlite::Result<Vec<String>> {
        store.prepare(sql)?.query_map([table], |row| row.get(0))?.collect()
    };
    let keys = names("SELECT name FROM pragma_table_info(?1) WHERE pk > 0 ORDER BY pk")?;
    Ok((keys, names("SELECT name FROM pragma_table_info(?1) WHERE name <> 'digest'")?.join(", ")))
}
