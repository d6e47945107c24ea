//! In: what a monitor tells of its watch over the moves. Out: its row in a derived table, and in the journal.

use rusqlite::{Connection, params};
use stillpoint_core::wire::drift::{Baseline, Drift, Kind, Restart, RestartReason};
use stillpoint_core::wire::finding::Finding;

use super::boots::Boot;
use super::derive::Stored;
use super::journal::{self, Key};
use super::tables::words;

pub(super) fn kind(store: &Connection, stored: &Stored, told: &Kind, boot: &Boot) -> rusqlite::Result<()> {
    let Key { device, boot: start, sequence, .. } = stored.key();
    let seconds = f64::from(told.speed_time) / f64::from(boot.ticks_per_second.max(1));
    let speed = if seconds > 0.0 { f64::from(told.speed_distance) / seconds } else { 0.0 };
    store
        .prepare_cached("INSERT OR REPLACE INTO kinds VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)")?
        .execute(params![
            device,
            told.axis,
            start,
            told.kind,
            sequence,
            boot.at(told.at),
            told.forward,
            told.distance,
            speed,
            told.instead_of,
            told.moves,
        ])?;
    Ok(())
}

pub(super) fn restart(store: &Connection, stored: &Stored, told: &Restart, at: i64) -> rusqlite::Result<()> {
    let Key { device, boot, sequence, .. } = stored.key();
    let Restart { axis, kind, why, .. } = *told;
    store
        .prepare_cached("INSERT OR REPLACE INTO restarts VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)")?
        .execute(params![device, axis, boot, kind, sequence, at, words(&why)])?;
    let of = if kind == 0 { "all kinds".to_owned() } else { format!("kind {kind}") };
    let why = match why {
        RestartReason::Settings => "other settings are in force",
        RestartReason::Declared => "it was declared good",
        RestartReason::Dropped => "the kind had to go for another",
    };
    let text = format!("the watch over {of} begins anew: {why}");
    journal::told(store, stored.key(), at, ("baseline", &text), Some(axis))
}

pub(super) fn baseline(
    store: &Connection,
    stored: &Stored,
    told: &Baseline,
    boot: &Boot,
) -> rusqlite::Result<()> {
    let Key { device, boot: start, sequence, .. } = stored.key();
    let Baseline { axis, kind, moves, settling_median, settling_p95, .. } = *told;
    let (at, median, p95) =
        (boot.at(told.at), boot.nanoseconds(settling_median), boot.nanoseconds(settling_p95));
    store
        .prepare_cached("INSERT OR REPLACE INTO baselines VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)")?
        .execute(params![device, axis, start, kind, sequence, at, moves, median, p95])?;
    let ms = |ns: i64| ns as f64 / 1e6;
    let text =
        format!("kind {kind}: {moves} moves, median {:.2} ms, 95 % within {:.2} ms", ms(median), ms(p95));
    journal::told(store, stored.key(), at, ("baseline", &text), Some(axis))
}

/// It names its move, not an instant, and so must not tie a start to wall time: it stays in ticks.
pub(super) fn drift(store: &Connection, stored: &Stored, told: &Drift) -> rusqlite::Result<()> {
    let Key { device, boot, sequence, .. } = stored.key();
    store
        .prepare_cached(
            "INSERT OR REPLACE INTO drifts
            VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
        )?
        .execute(params![
            device,
            told.axis,
            boot,
            told.kind,
            sequence,
            stored.arrived,
            told.number,
            told.change,
            told.score,
            words(&told.direction),
            told.since,
            told.smallest,
            words(&told.promise),
            told.moves,
        ])?;
    Ok(())
}

pub(super) fn finding(store: &Connection, stored: &Stored, told: &Finding, at: i64) -> rusqlite::Result<()> {
    let Key { device, boot, sequence, .. } = stored.key();
    store
        .prepare_cached("INSERT OR REPLACE INTO findings VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)")?
        .execute(params![
            device,
            told.axis,
            boot,
            sequence,
            at,
            words(&told.which),
            words(&told.severity),
            told.figure
        ])?;
    Ok(())
}
