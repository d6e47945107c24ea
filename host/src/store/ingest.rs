//! In: pending frames. Out: one transaction that stores each frame once, with the rows that follow from it.

use std::collections::{BTreeMap, VecDeque};

use rusqlite::{Connection, TransactionBehavior};
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;

use super::adopt_orphans::{self, LineOrphans};
use super::boots::EpochSource;
use super::derive::Derive;
use super::devices::{self, Axis};
use super::frame::{self, DeviceNumber, PendingFrame, StoredFrame, UNKNOWN_DEVICE};
use super::frames::{FrameRow, FrameWriter, LastNumbers};
use super::ingest_stats::IngestStats;
use super::marks::{self, ARRIVED};
use super::{journal, time};

/// Monitors of one line that are held in memory.
const MAX_MONITORS: usize = 64;
/// Starts that are held in memory, with four series each.
const MAX_STARTS: usize = 4096;
/// Starts of one line whose orphans are handed over. A line has one or two; what a hostile one has more stays apart.
const MAX_ORPHAN_STARTS: usize = 1024;
/// Replayed frames kept in memory until their boot's wall-clock time is known.
const MAX_AWAITING_BOOT_TIME: usize = 50_000;

/// What lasts from one transaction to the next, as long as no other program writes and no transaction fails.
#[derive(Debug, Default)]
pub(super) struct Ingest {
    derive: Derive,
    last: LastNumbers,
    /// One or two on a line.
    devices: Vec<(DeviceNumber, i64)>,
    /// SQLite's number for changes that other connections have made.
    data_version: Option<i64>,
    pub(super) stats: IngestStats,
    pub(super) notes: Vec<String>,
    /// The monitor on the line, once a frame of it is stored.
    monitor: Option<DeviceNumber>,
    /// Frames of this line that were stored before that.
    orphans: LineOrphans,
    /// All orphans in the store were compared with the monitor on the line.
    pub(super) orphans_checked: bool,
}

/// A replayed move whose boot has no wall-clock time yet.
#[derive(Clone, Copy)]
struct AwaitingBootTime {
    /// Its place among the pending frames.
    place: usize,
    number: DeviceNumber,
}

/// A transaction under work.
struct Transaction<'c, 'p> {
    store: &'c Connection,
    frames: FrameWriter<'c, 'p>,
    axes: &'c [Axis],
}

impl Ingest {
    /// Stores the pending frames that can be stored, and leaves the others pending. After an error nothing has changed.
    ///
    /// `log_ended`: the monitor has sent its log to the end, and no more frames will date its starts.
    pub(super) fn store(
        &mut self,
        connection: &mut Connection,
        axes: &[Axis],
        pending: &mut VecDeque<PendingFrame>,
        log_ended: bool,
    ) -> rusqlite::Result<()> {
        let before = (self.stats, self.notes.len());
        match self.transact(connection, axes, pending, log_ended) {
            Ok(remaining) => {
                let mut place = 0..;
                let mut remaining = remaining.into_iter().peekable();
                pending.retain(|_| remaining.next_if_eq(&place.next().unwrap_or(usize::MAX)).is_some());
                Ok(())
            }
            Err(error) => {
                self.stats = before.0;
                self.notes.truncate(before.1);
                self.data_version = None;
                Err(error)
            }
        }
    }

    /// Returns the places of the frames that stay pending.
    fn transact(
        &mut self,
        connection: &mut Connection,
        axes: &[Axis],
        pending: &VecDeque<PendingFrame>,
        log_ended: bool,
    ) -> rusqlite::Result<Vec<usize>> {
        let store = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        self.reload_if_changed(&store)?;
        self.bound_memory();
        let mut transaction = Transaction { store: &store, frames: FrameWriter::new(&store), axes };
        let awaiting = self.store_dated(&mut transaction, pending)?;
        let mut remaining = Vec::new();
        if log_ended || awaiting.len() > MAX_AWAITING_BOOT_TIME {
            self.date_boots(&transaction, pending, &awaiting)?;
        }
        // A later frame of this very transaction may have dated a boot.
        for AwaitingBootTime { place, number } in awaiting {
            let Some(frame) = pending.get(place) else { continue };
            let device = self.device(&store, number, axes)?;
            match self.derive.boots.find(&store, device, frame.header.boot)? {
                Some(_) => self.store_frame(&mut transaction, frame, number)?,
                None => remaining.push(place),
            }
        }
        transaction.frames.write()?;
        drop(transaction);
        if let Some(last) = pending.back() {
            let before = marks::read(&store, ARRIVED)?.unwrap_or(i64::MIN);
            marks::write(&store, ARRIVED, last.arrived.max(before))?;
        }
        self.derive.write(&store)?;
        self.adopt_orphans(&store)?;
        store.commit()?;
        if self.monitor.is_some() {
            self.orphans_checked = true;
            self.orphans.clear();
        }
        Ok(remaining)
    }

    /// Hands over to the monitor on the line the orphans that are its own.
    fn adopt_orphans(&mut self, store: &Connection) -> rusqlite::Result<()> {
        let is_due = !self.orphans_checked || !self.orphans.is_empty();
        let Some(number) = self.monitor.filter(|_| is_due) else { return Ok(()) };
        if let Some(adopted) = adopt_orphans::adopt(store, &number, &self.orphans)? {
            for (device, arrived, body) in &adopted.frames {
                let Some(frame) = StoredFrame::new(*device, *arrived, body) else { continue };
                if let Some(message) = frame.message() {
                    self.derive.apply(store, &frame, &message)?;
                }
            }
            self.derive.write(store)?;
            self.notes.extend(adopted.text);
            self.stats.stored = self.stats.stored.saturating_sub(adopted.known);
            self.stats.known += adopted.known;
            self.derive.reload(store)?;
            self.last.clear();
        }
        Ok(())
    }

    /// Stores the frames whose boot time is known, and as orphans those whose monitor is not. Returns the replayed moves whose
    /// boot time is not known.
    fn store_dated<'p>(
        &mut self,
        transaction: &mut Transaction<'_, 'p>,
        pending: &'p VecDeque<PendingFrame>,
    ) -> rusqlite::Result<Vec<AwaitingBootTime>> {
        let mut awaiting = vec![];
        for (place, frame) in pending.iter().enumerate() {
            let Some(number) = frame.number else {
                if self.orphans.len() < MAX_ORPHAN_STARTS {
                    self.orphans.entry(frame.header.boot).or_insert(frame.arrived);
                }
                self.store_frame(transaction, frame, UNKNOWN_DEVICE)?;
                continue;
            };
            if number != UNKNOWN_DEVICE {
                self.monitor = Some(number);
            }
            let is_replayed_move = frame.header.replay && frame.header.priority == Priority::Move;
            let device = self.device(transaction.store, number, transaction.axes)?;
            if is_replayed_move
                && self.derive.boots.find(transaction.store, device, frame.header.boot)?.is_none()
            {
                awaiting.push(AwaitingBootTime { place, number });
            } else {
                self.store_frame(transaction, frame, number)?;
            }
        }
        Ok(awaiting)
    }

    /// Drops what is in memory of more monitors and starts than a line has, which is only there to be quick.
    fn bound_memory(&mut self) {
        if self.devices.len() > MAX_MONITORS {
            self.devices.clear();
        }
        if self.last.len() > MAX_STARTS || self.derive.boots.len() > MAX_STARTS {
            self.last.clear();
            self.derive.boots.clear();
        }
    }

    /// Has the file read anew before the next transaction, because something else has changed it.
    pub(super) fn forget(&mut self) {
        self.data_version = None;
    }

    /// Drops what is in memory if another program has changed the file.
    fn reload_if_changed(&mut self, store: &Connection) -> rusqlite::Result<()> {
        let version = store.prepare_cached("PRAGMA data_version")?.query_row([], |row| row.get(0))?;
        if self.data_version != Some(version) {
            self.derive.reload(store)?;
            self.last.clear();
            self.devices.clear();
            self.data_version = Some(version);
        }
        Ok(())
    }

    /// Dates boots that are known from replayed moves only. The newest boots come first, because the wall time of a boot bounds
    /// that of the boot before it.
    fn date_boots(
        &mut self,
        transaction: &Transaction,
        pending: &VecDeque<PendingFrame>,
        awaiting: &[AwaitingBootTime],
    ) -> rusqlite::Result<()> {
        let mut ends: BTreeMap<(DeviceNumber, u32), (u64, i64)> = BTreeMap::new();
        for AwaitingBootTime { place, number } in awaiting {
            let Some(frame) = pending.get(*place) else { continue };
            // A start without a move lies before the next one, or before now.
            let end = match frame::message(&frame.body) {
                Some(Message::Move(wire)) => {
                    wire.start.saturating_add(wire.duration).saturating_add(wire.held)
                }
                _ => 0,
            };
            let last = ends.entry((*number, frame.header.boot)).or_default();
            *last = (last.0.max(end), last.1.max(frame.arrived));
        }
        for ((number, boot), (end, arrived)) in ends.into_iter().rev() {
            let device = self.device(transaction.store, number, transaction.axes)?;
            let source = EpochSource::Replay(end);
            self.derive.boots.find_or_date(transaction.store, (device, boot), source, arrived)?;
        }
        Ok(())
    }

    /// Stores one frame with its rows, unless it is there.
    fn store_frame<'p>(
        &mut self,
        transaction: &mut Transaction<'_, 'p>,
        pending: &'p PendingFrame,
        number: DeviceNumber,
    ) -> rusqlite::Result<()> {
        let store = transaction.store;
        let device = self.device(store, number, transaction.axes)?;
        let mut row = FrameRow::new(device, pending);
        let decoded = decode(device, pending);
        if let Some((frame, message)) = &decoded
            && self.derive.is_past_retention(store, frame, message)?
        {
            if self.stats.past == 0 {
                self.notes.extend(future_horizon(self.derive.horizon, pending.arrived));
            }
            self.stats.past += 1;
            return Ok(());
        }
        if !transaction.frames.insert(&mut self.last, &row)? {
            if !row.differs(store)? {
                self.stats.known += 1;
                return Ok(());
            }
            row.key.device = self.add_generation(store, number, device)?;
            transaction.frames.insert(&mut self.last, &row)?;
        }
        self.stats.stored += 1;
        let Some((frame, message)) = decoded else { return Ok(()) };
        self.derive.apply(store, &StoredFrame { device: row.key.device, ..frame }, &message)
    }

    /// Number of a device in this store.
    fn device(&mut self, store: &Connection, number: DeviceNumber, axes: &[Axis]) -> rusqlite::Result<i64> {
        if let Some((_, device)) = self.devices.iter().find(|known| known.0 == number) {
            return Ok(*device);
        }
        let device = devices::find_or_add(store, &number)?;
        devices::name_axes(store, device, axes)?;
        self.devices.push((number, device));
        Ok(device)
    }

    /// Another frame has the same number: the monitor counts its starts from anew, because its memory was erased.
    fn add_generation(
        &mut self,
        store: &Connection,
        number: DeviceNumber,
        device: i64,
    ) -> rusqlite::Result<i64> {
        // Orphans of equal numbers are of several monitors.
        if number != UNKNOWN_DEVICE {
            let text = "the monitor counts its starts from anew; it is stored apart from what it was before";
            self.notes.push(text.to_owned());
            journal::write(store, "store", "monitor", text)?;
        }
        let new = devices::add_generation(store, device)?;
        self.devices.retain(|known| known.0 != number);
        self.devices.push((number, new));
        Ok(new)
    }
}

/// The frame and the message in it, if rows follow from it and its kind is known.
fn decode(device: i64, pending: &PendingFrame) -> Option<(StoredFrame<'_>, Message<'_>)> {
    if pending.is_raw_only {
        return None;
    }
    let frame = StoredFrame::new(device, pending.arrived, &pending.body)?;
    Some((frame, frame.message()?))
}

/// What to say if retention lies in the future, so that no move is stored. Unit: µs since 1970, UTC
fn future_horizon(horizon: Option<i64>, now: i64) -> Option<String> {
    let horizon = horizon.filter(|horizon| *horizon > now)?;
    Some(format!(
        "moves are let go as they come: the retention of this store lies in the future, at {}, which a wrong \
        clock set; check this computer's clock, then `stillpoint store retain` puts it right",
        time::text(horizon)
    ))
}
