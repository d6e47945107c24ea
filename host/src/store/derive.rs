//! In: a frame that has just been stored. Out: the rows that follow from it, in the derived tables.
//!
//! The rows do not depend on the order in which frames came, except for what is written once: the wall time of a start
//! and the journal. So the tables made again from the frames are the same, to the last byte.

use rusqlite::Connection;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::Hello;

use super::boots::{Boot, Boots, EpochSource};
use super::devices;
use super::frame::{self, StoredFrame};
use super::marks::{self, HORIZON};
use super::move_rows::{MoveRow, MoveRows};
use super::summary::Summaries;
use super::{journal, tables};

/// What is in memory between frames.
#[derive(Debug, Default)]
pub(super) struct Derive {
    pub(super) boots: Boots,
    summaries: Summaries,
    moves: MoveRows,
    /// A device whose tick rate is known.
    rated: Option<i64>,
    /// Moves before this are past retention; none if nothing ever was. Unit: µs since 1970, UTC
    pub(super) horizon: Option<i64>,
}

impl Derive {
    /// Makes the rows of a frame. A message of an unknown kind stays a raw frame until a later version knows it, and so does
    /// that of a monitor that has not named its tick rate: no time of it is known.
    pub(super) fn apply(
        &mut self,
        store: &Connection,
        frame: &StoredFrame,
        message: &Message,
    ) -> rusqlite::Result<()> {
        if !matches!(message, Message::Hello(_)) && !self.has_rate(store, frame.device)? {
            return Ok(());
        }
        match message {
            Message::Hello(hello) => self.hello(store, frame, hello),
            Message::Move(wire) => self.add_move(store, frame, wire),
            Message::Settings(settings) => settings_row(store, frame, settings),
            Message::Gap(gap) => tables::gap(store, frame, gap),
            Message::Alarm(alarm) => tables::alarm(store, frame, alarm, self.at(store, frame, alarm.at)?),
            Message::Kind(kind) => {
                let boot = self.boot(store, frame, kind.at)?;
                tables::kind(store, frame, kind, &boot)
            }
            Message::Restart(restart) => {
                tables::restart(store, frame, restart, self.at(store, frame, restart.at)?)
            }
            Message::Baseline(baseline) => {
                let boot = self.boot(store, frame, baseline.at)?;
                tables::baseline(store, frame, baseline, &boot)
            }
            Message::Drift(drift) => tables::drift(store, frame, drift),
            Message::Job(job) => tables::job(store, frame, job, self.at(store, frame, job.at)?),
            Message::Explained(explained) => {
                tables::explained(store, frame, explained, self.at(store, frame, explained.at)?)
            }
            Message::Finding(finding) => {
                tables::finding(store, frame, finding, self.at(store, frame, finding.at)?)
            }
            // A status fixes the wall time of its start, if nothing has before.
            Message::Status(status) => self.boot(store, frame, status.now).map(|_| ()),
            // Curves and traces are read from their frames by those who need them.
            _ => Ok(()),
        }
    }

    /// Whether the tick rate of a device is known.
    fn has_rate(&mut self, store: &Connection, device: i64) -> rusqlite::Result<bool> {
        if self.rated != Some(device) && devices::rate(store, device)?.is_some() {
            self.rated = Some(device);
        }
        Ok(self.rated == Some(device))
    }

    /// The wall time of an instant that a frame names. Unit: µs since 1970, UTC
    fn at(&mut self, store: &Connection, frame: &StoredFrame, ticks: u64) -> rusqlite::Result<i64> {
        self.boot(store, frame, ticks).map(|boot| boot.at(ticks))
    }

    /// The start that a frame belongs to; `ticks` is the latest instant that the frame names.
    fn boot(&mut self, store: &Connection, frame: &StoredFrame, ticks: u64) -> rusqlite::Result<Boot> {
        let header = &frame.frame.header;
        let source = if header.replay { EpochSource::Replay(ticks) } else { EpochSource::Arrival(ticks) };
        self.boots.find_or_date(store, (frame.device, header.boot), source, frame.arrived)
    }

    fn hello(&mut self, store: &Connection, frame: &StoredFrame, hello: &Hello) -> rusqlite::Result<()> {
        tables::hello(store, frame, hello)?;
        if let Some(epoch) = hello.clock {
            let start = (frame.device, frame.frame.header.boot);
            self.boots.find_or_date(store, start, EpochSource::Device(epoch), frame.arrived)?;
        }
        Ok(())
    }

    fn add_move(&mut self, store: &Connection, frame: &StoredFrame, wire: &Move) -> rusqlite::Result<()> {
        let command_end = wire.start.wrapping_add(wire.duration);
        let boot = self.boot(store, frame, command_end.saturating_add(wire.held))?;
        let row = MoveRow::new(frame, wire, &boot);
        // Intervals before the horizon are complete, and stay as they are.
        if self.horizon.is_none_or(|horizon| row.at >= horizon) {
            self.summaries.add(&row);
        }
        self.moves.add(row, frame.frame.body());
        Ok(())
    }

    /// Writes the rows that wait in memory; before every commit.
    pub(super) fn write(&mut self, store: &Connection) -> rusqlite::Result<()> {
        self.moves.write(store)?;
        self.summaries.write(store)
    }

    /// Drops what is in memory, because another program has written or a transaction was undone.
    pub(super) fn reload(&mut self, store: &Connection) -> rusqlite::Result<()> {
        self.boots.clear();
        self.summaries.clear();
        self.moves.clear();
        self.rated = None;
        self.horizon = marks::read(store, HORIZON)?;
        Ok(())
    }

    /// Whether a frame is a move past retention, which must not be stored again.
    pub(super) fn is_past_retention(
        &mut self,
        store: &Connection,
        frame: &StoredFrame,
        message: &Message,
    ) -> rusqlite::Result<bool> {
        let (Message::Move(wire), Some(horizon)) = (message, self.horizon) else { return Ok(false) };
        if frame.frame.header.priority != Priority::Move {
            return Ok(false);
        }
        let boot = self.boots.find(store, frame.device, frame.frame.header.boot)?;
        Ok(boot.is_some_and(|boot| boot.at(wire.start.wrapping_add(wire.duration)) < horizon))
    }
}

/// The row of settings in force; and a line in the journal, if they are refused, pending, or other than before.
fn settings_row(store: &Connection, frame: &StoredFrame, settings: &Settings) -> rusqlite::Result<()> {
    let (key, axis, parameters) = (frame.key(), settings.axis, &settings.parameters);
    let refused = settings.refused_name().map_or(String::new(), |name| format!("{name} refused, "));
    let write =
        |text: &str| journal::write_of_frame(store, key, frame.arrived, ("settings", text), Some(axis));
    if settings.pending {
        return write(&format!("{refused}from the next move on: {parameters:?}"));
    }
    let before = tables::settings_before(store, &key, axis)?;
    tables::settings(store, frame, settings)?;
    let is_same = match before.as_deref().and_then(frame::message) {
        Some(Message::Settings(before)) => before.parameters == *parameters,
        _ => false,
    };
    if is_same && settings.refused.is_none() {
        return Ok(());
    }
    write(&format!("{refused}in force: {parameters:?}"))
}
