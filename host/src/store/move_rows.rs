//! In: records of moves. Out: their rows in the table `moves`.

use std::ops::Range;

use rusqlite::{Connection, named_params};
use stillpoint_core::wire::record::Move;
use stillpoint_core::{Outcome, Record};

use super::boots::Boot;
use super::frame::StoredFrame;
use super::insert::{self, Push};
use super::{kind, outcome};

/// A move to be added to its table and the summaries.
#[derive(Clone, Debug)]
pub(super) struct MoveRow {
    pub(super) device: i64,
    pub(super) axis: u8,
    /// Command end, UTC. Unit: µs since 1970
    pub(super) at: i64,
    pub(super) boot: u32,
    number: u32,
    sequence: u32,
    /// Number of its kind, 0: none.
    kind: u32,
    /// Number of the product, 0: none.
    job: u32,
    pub(super) outcome: Outcome,
    /// Unit: ns
    pub(super) settling: Option<i64>,
    /// From command end to the next command. Unit: ns
    pub(super) rest: i64,
    /// Unit: counts
    travel: i32,
    /// Unit: counts
    peak_following_error: u32,
    /// Unit: counts
    overshoot: u32,
    /// Unit: 1/256 counts
    rest_error: Option<i64>,
}

impl MoveRow {
    /// The row of a move in a frame.
    pub(super) fn new(frame: &StoredFrame, wire: &Move, boot: &Boot) -> MoveRow {
        let (key, record) = (frame.key(), Record::from(wire));
        MoveRow {
            device: key.device,
            axis: wire.axis,
            at: boot.at(record.command_end),
            boot: key.boot,
            number: record.number,
            sequence: key.sequence,
            kind: wire.kind,
            job: wire.job,
            outcome: record.outcome,
            settling: record.settling.map(|settling| boot.nanoseconds(settling)),
            rest: boot.nanoseconds(record.held),
            travel: record.travel,
            peak_following_error: record.peak_following_error,
            overshoot: record.overshoot,
            rest_error: record.rest_error,
        }
    }

    /// Start and number of its kind; see [`kind::id`].
    pub(super) fn kind_id(&self) -> i64 {
        kind::id(self.boot, self.kind)
    }

    /// Pushes its columns; `body` is that of its frame.
    fn push(&self, body: Option<&[u8]>, push: &mut Push) -> rusqlite::Result<()> {
        push(named_params! {
            "device": self.device,
            "axis": self.axis,
            "at_us": self.at,
            "boot": self.boot,
            "number": self.number,
            "sequence": self.sequence,
            "kind": self.kind,
            "job": self.job,
            "outcome": outcome::number(self.outcome),
            "settling_ns": self.settling,
            "travel": self.travel,
            "peak_following_error": self.peak_following_error,
            "overshoot": self.overshoot,
            "rest_error": self.rest_error,
            "body": body,
        })
    }
}

/// Moves that wait to be written together, axis by axis, which is faster than in the order in which they came.
#[derive(Debug, Default)]
pub(super) struct MoveRows {
    /// With the place of its body in `bodies`.
    rows: Vec<(MoveRow, Range<usize>)>,
    bodies: Vec<u8>,
}

impl MoveRows {
    /// Adds a row, with the body of its frame.
    pub(super) fn add(&mut self, row: MoveRow, body: &[u8]) {
        let from = self.bodies.len();
        self.bodies.extend_from_slice(body);
        self.rows.push((row, from..self.bodies.len()));
    }

    /// Writes the rows that wait.
    pub(super) fn write(&mut self, store: &Connection) -> rusqlite::Result<()> {
        self.rows.sort_unstable_by_key(|(row, _)| (row.device, row.axis, row.at, row.boot, row.number));
        let bodies = &self.bodies;
        // A second frame with the same move is ignored. To ignore it, and not to fail, also spares SQLite a copy of
        // every page, which it needs to undo half a statement.
        insert::many(store, "INSERT OR IGNORE INTO moves", &self.rows, |(row, body), push| {
            row.push(bodies.get(body.clone()), push)
        })?;
        self.clear();
        Ok(())
    }

    /// Drops the rows that wait.
    pub(super) fn clear(&mut self) {
        self.rows.clear();
        self.bodies.clear();
    }
}
