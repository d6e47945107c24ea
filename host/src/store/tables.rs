//! In: one message. Out: its row in a derived table.

use std::ops::Range;

use rusqlite::{Connection, OptionalExtension, params};
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::{Gap, Missing};
use stillpoint_core::wire::watch::{Alarm, Subject};

use super::batch;
use super::derive::Stored;
use super::journal::{self, Key};
use super::kind;
use super::summary::Seen;
use crate::report::describe;

/// Moves that wait to be written together, axis by axis, which is faster than as they come.
#[derive(Debug, Default)]
pub(super) struct Moves {
    rows: Vec<Row>,
    bodies: Vec<u8>,
}

#[derive(Debug)]
struct Row {
    seen: Seen,
    boot: u32,
    number: u32,
    sequence: u32,
    body: Range<usize>,
}

impl Moves {
    pub(super) fn add(&mut self, stored: &Stored, told: &Move, seen: Seen) {
        let from = self.bodies.len();
        self.bodies.extend_from_slice(stored.frame.body());
        let Key { boot, sequence, .. } = stored.key();
        self.rows.push(Row { seen, boot, number: told.number, sequence, body: from..self.bodies.len() });
    }

    pub(super) fn write(&mut self, store: &Connection) -> rusqlite::Result<()> {
        self.rows
            .sort_unstable_by_key(|row| (row.seen.device, row.seen.axis, row.seen.at, row.boot, row.number));
        let bodies = &self.bodies;
        // No frame tells a move twice; to ignore spares SQLite a copy of every page, kept to undo half a statement.
        batch::insert(store, ("INSERT OR IGNORE INTO moves", 10), &self.rows, |row, values| {
            let Row { seen, boot, number, sequence, body } = row;
            values.push(seen.device)?;
            values.push(seen.axis)?;
            values.push(seen.at)?;
            values.push(boot)?;
            values.push(number)?;
            values.push(sequence)?;
            values.push(kind::parts(seen.kind).1)?;
            values.push(seen.outcome as u8)?;
            values.push(seen.settling)?;
            values.push(bodies.get(body.clone()))
        })?;
        self.forget();
        Ok(())
    }

    pub(super) fn forget(&mut self) {
        self.rows.clear();
        self.bodies.clear();
    }
}

pub(super) fn settings(store: &Connection, stored: &Stored, settings: &Settings) -> rusqlite::Result<()> {
    let Key { device, boot, sequence, .. } = stored.key();
    store.prepare_cached("INSERT OR REPLACE INTO settings VALUES (?1, ?2, ?3, ?4, ?5)")?.execute(params![
        device,
        boot,
        sequence,
        settings.axis,
        stored.frame.body()
    ])?;
    Ok(())
}

/// The frame that told what was in force on the axis before.
pub(super) fn settings_before(store: &Connection, key: &Key, axis: u8) -> rusqlite::Result<Option<Vec<u8>>> {
    store
        .prepare_cached(
            "SELECT body FROM settings WHERE device = ?1 AND axis = ?2 AND (boot, sequence) < (?3, ?4)
            ORDER BY boot DESC, sequence DESC LIMIT 1",
        )?
        .query_row(params![key.device, axis, key.boot, key.sequence], |row| row.get(0))
        .optional()
}

pub(super) fn gap(store: &Connection, stored: &Stored, gap: &Gap) -> rusqlite::Result<()> {
    let Key { device, boot, sequence, .. } = stored.key();
    let (axis, priority, first) = match gap.missing {
        Missing::Samples { axis, first } => (Some(axis), None, i64::try_from(first).unwrap_or(i64::MAX)),
        Missing::Frames { priority, first } => (None, Some(priority), i64::from(first)),
    };
    store.prepare_cached("INSERT OR REPLACE INTO gaps VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)")?.execute(
        params![device, boot, sequence, axis, priority, first, gap.count, format!("{:?}", gap.cause)],
    )?;
    Ok(())
}

pub(super) fn alarm(store: &Connection, stored: &Stored, alarm: &Alarm, at: i64) -> rusqlite::Result<()> {
    let Key { device, boot, sequence, .. } = stored.key();
    let (subject, state) = (subject(alarm.subject), describe::state(alarm.state));
    store
        .prepare_cached(
            "INSERT OR REPLACE INTO alarms VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        )?
        .execute(params![
            device,
            boot,
            sequence,
            alarm.alarm,
            alarm.axis,
            at,
            subject,
            state,
            alarm.number,
            alarm.value,
            alarm.limit,
        ])?;
    let Alarm { alarm, number, value, limit, axis, .. } = *alarm;
    let text = format!("alarm {alarm}, {subject}: {state}; move {number}, value {value}, limit {limit}");
    journal::told(store, stored.key(), at, ("alarm", &text), Some(axis))
}

/// Name of an alarm's subject.
fn subject(subject: Subject) -> &'static str {
    match subject {
        Subject::Drift => "drift",
        Subject::Unsettled => "unsettled",
        Subject::FollowingError => "following error",
        Subject::Signal => "signal",
        Subject::Gap => "gap",
    }
}

/// The name of a variant in words: `OutOfService` is `out of service`.
pub(super) fn words(variant: &impl std::fmt::Debug) -> String {
    let mut words = String::new();
    for letter in format!("{variant:?}").chars() {
        if letter.is_uppercase() && !words.is_empty() {
            words.push(' ');
        }
        words.extend(letter.to_lowercase());
    }
    words
}

#[cfg(test)]
mod tests {
    use super::words;
    use stillpoint_core::wire::watch::{AlarmEvent, Why};

    #[test]
    fn variants_in_words() {
        assert_eq!([words(&AlarmEvent::OutOfService), words(&Why::Settings)], ["out of service", "settings"]);
    }
}
