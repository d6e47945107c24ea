//! In: one message. Out: its row in a derived table.

use rusqlite::{Connection, OptionalExtension, params};
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::{Gap, Missing};
use stillpoint_core::wire::watch::{Alarm, AlarmState, Baseline, Drift, Subject};

use super::derive::Stored;
use super::journal::{self, Key};
use super::summary::Seen;

pub(super) fn told(store: &Connection, stored: &Stored, told: &Move, seen: &Seen) -> rusqlite::Result<()> {
    let mut statement = store
        .prepare_cached("INSERT OR REPLACE INTO moves VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)")?;
    let header = &stored.frame.header;
    statement.execute(params![
        seen.device,
        seen.axis,
        seen.at,
        header.boot,
        told.number,
        header.sequence,
        seen.kind,
        told.outcome as u8,
        seen.settling,
        stored.frame.body(),
    ])?;
    Ok(())
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
    let (subject, state) = (subject(alarm.subject), state(alarm.state));
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

pub(super) fn baseline(
    store: &Connection,
    stored: &Stored,
    told: &Baseline,
    at: i64,
) -> rusqlite::Result<()> {
    finding(store, stored, (told.axis, told.kind, "baseline"), at)?;
    let Baseline { kind, moves, settling_median, settling_p95, axis, .. } = *told;
    let text = format!(
        "kind {kind}: {moves} moves, median {settling_median} ticks, 95 % within {settling_p95} ticks"
    );
    journal::told(store, stored.key(), at, ("baseline", &text), Some(axis))
}

pub(super) fn drift(store: &Connection, stored: &Stored, drift: &Drift) -> rusqlite::Result<()> {
    finding(store, stored, (drift.axis, drift.kind, "drift"), stored.arrived)
}

fn finding(
    store: &Connection,
    stored: &Stored,
    (axis, kind, what): (u8, u16, &str),
    at: i64,
) -> rusqlite::Result<()> {
    let Key { device, boot, priority, sequence } = stored.key();
    store
        .prepare_cached("INSERT OR REPLACE INTO findings VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)")?
        .execute(params![device, boot, priority, sequence, axis, kind, at, what, stored.frame.body()])?;
    Ok(())
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

/// State names of IEC 62682 / ANSI/ISA-18.2.
fn state(state: AlarmState) -> &'static str {
    match state {
        AlarmState::Normal => "normal",
        AlarmState::Unacknowledged => "unacknowledged",
        AlarmState::Acknowledged => "acknowledged",
        AlarmState::ReturnedToNormalUnacknowledged => "returned to normal unacknowledged",
        AlarmState::LatchedUnacknowledged => "latched unacknowledged",
        AlarmState::LatchedAcknowledged => "latched acknowledged",
        AlarmState::Shelved => "shelved",
        AlarmState::SuppressedByDesign => "suppressed by design",
        AlarmState::OutOfService => "out of service",
    }
}
