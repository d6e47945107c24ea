//! In: bytes of a monitor as they come. Out: its frames in the store, in groups; and what to request from it again.
//!
//! Frames wait in memory until a group is full or old; then one transaction stores them and all that follows from
//! them. If the store can't be written, the frames go on waiting and nothing stops.

use std::collections::VecDeque;
use std::path::Path;
use std::time::{Duration, Instant};

use crate::checksum::FastCrc;
use crate::report::number;
use stillpoint_core::wire::command::DumpSince;
use stillpoint_core::wire::frame::Frame;
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};

use super::database::{Options, Store};
use super::devices::Axis;
use super::fault::explain;
use super::frame::{DeviceNumber, PendingFrame, is_raw_only};
use super::ingest::Ingest;
use super::ingest_stats::IngestStats;
use super::journal;
use super::marks::{self, ARRIVED};
use super::resume::{self, ReplayRequest};
use super::retain::{Removed, Retention};
use crate::error::Error;

/// Frames of a full group.
const GROUP: usize = 4096;
/// Age at which a group is stored even if it is not full.
const MAX_AGE: Duration = Duration::from_millis(200);
/// Time between two syncs of the disk.
const SYNC: Duration = Duration::from_secs(10);
/// Time from an error to the next try.
const RETRY: Duration = Duration::from_secs(1);
/// Notes that wait to be read; of more, the first ones.
const MAX_NOTES: usize = 1000;
/// This computer's clock has stepped back if it does by more than this. Unit: µs
const CLOCK_STEP: i64 = 1_000_000;

/// What is wrong with a file that is gone.
const GONE: &str = "the file was deleted or replaced while it was written; what was stored before is in the old file, and nothing was stored since";
/// What to do about it.
const WATCH_AGAIN: &str =
    "watch the monitor again: what the new file lacks is requested from the monitor's log";

/// Logs one monitor.
#[derive(Debug)]
pub struct Log {
    store: Store,
    receiver: Receiver<FastCrc>,
    /// The monitor on the line, once it is known.
    number: Option<DeviceNumber>,
    /// No hello changes the number.
    is_fixed: bool,
    axes: Vec<Axis>,
    pending: VecDeque<PendingFrame>,
    /// Frames that came since the last group was stored.
    fresh: usize,
    /// When the first of them came.
    group_since: Option<Instant>,
    ingest: Ingest,
    /// When the last bytes came. Unit: µs since 1970, UTC
    arrived: i64,
    synced: Instant,
    /// What is wrong with the store and what to do about it, while it can't be written.
    trouble: Option<(String, &'static str)>,
    /// When to try again.
    retry: Option<Instant>,
    max_pending: usize,
    dropped: u64,
    /// Oldest frame of a move that was dropped.
    oldest_dropped: Option<DumpSince>,
    requests: Vec<DumpSince>,
    /// The request that was made when the monitor named itself; none if something spoilt its result.
    replay: Option<ReplayRequest>,
    /// The log of the monitor has been sent to its end.
    log_ended: bool,
    notes: Vec<String>,
}

impl Log {
    /// Opens a store, or makes one, to log a monitor into. `number` if it is known which monitor is on the line.
    pub fn open(
        path: &Path,
        options: &Options,
        number: Option<[u8; 12]>,
        axes: Vec<Axis>,
    ) -> Result<Log, Error> {
        let store = Store::create(path, options)?;
        // The time of a line whose monitor is known beforehand is made up by the rehearsal.
        let arrived = match number {
            Some(_) => None,
            None => marks::read(&store.connection, ARRIVED).map_err(|error| store.fault(&error))?,
        };
        Ok(Log {
            store,
            receiver: Receiver::new(Direction::FromDevice),
            number,
            is_fixed: number.is_some(),
            axes,
            pending: VecDeque::new(),
            fresh: 0,
            group_since: None,
            ingest: Ingest::default(),
            arrived: arrived.unwrap_or(i64::MIN),
            synced: Instant::now(),
            trouble: None,
            retry: None,
            max_pending: options.max_pending,
            dropped: 0,
            oldest_dropped: None,
            requests: Vec::new(),
            replay: None,
            log_ended: false,
            notes: Vec::new(),
        })
    }

    /// The store, to read from it.
    pub fn store(&self) -> &Store {
        &self.store
    }

    /// Logs bytes as they come. `now` in µs since 1970, UTC.
    pub fn push(&mut self, bytes: &[u8], now: i64) {
        self.check_clock(now);
        let mut rest = bytes;
        while let Some(event) = self.receiver.step(&mut rest) {
            let Event::Frame(frame) = event else {
                // Corrupt bytes are counted where they are decoded; here they may have been a frame out of the log.
                self.replay = None;
                continue;
            };
            let (header, is_raw_only, body) = (frame.header, is_raw_only(&frame), Box::from(frame.body()));
            match sign(&frame) {
                Sign::Monitor(number) => self.name(number, header.boot),
                Sign::LogEnd => {
                    self.log_ended = true;
                    self.replay.iter_mut().for_each(ReplayRequest::end);
                }
                Sign::None => (),
            }
            self.replay.iter_mut().for_each(|replay| replay.note(&header));
            self.pending.push_back(PendingFrame {
                number: self.number,
                header,
                is_raw_only,
                arrived: now,
                body,
            });
            self.fresh += 1;
        }
        if self.fresh > 0 {
            self.group_since.get_or_insert_with(Instant::now);
        }
        let is_old = self.group_since.is_some_and(|since| since.elapsed() >= MAX_AGE);
        if self.fresh >= GROUP || is_old {
            self.commit();
        }
    }

    /// The monitor on the line has named itself; what came before is stored as orphans, which become its own.
    fn name(&mut self, number: DeviceNumber, boot: u32) {
        if self.is_fixed || self.number == Some(number) {
            return;
        }
        self.number = Some(number);
        match resume::resume_point(&self.store.connection, &number, boot) {
            Ok(point) => {
                self.replay = point.as_ref().map(ReplayRequest::new);
                self.requests.extend(point);
            }
            Err(error) => self.notes.push(format!("where the store ends can't be read: {error}")),
        }
    }

    fn check_clock(&mut self, now: i64) {
        let back = self.arrived.saturating_sub(now);
        self.arrived = now;
        if back > CLOCK_STEP && back < i64::MAX / 2 {
            let text = format!(
                "this computer's clock stepped back by {} s; moves stay in the order of the monitor's ticks",
                back / 1_000_000
            );
            // The note reaches the user even if the store can't be written.
            journal::write(&self.store.connection, "store", "clock", &text).ok();
            self.notes.push(text);
        }
    }

    /// Stores the pending frames, unless the store can't be written. True if all that can be stored is stored.
    pub fn commit(&mut self) -> bool {
        if self.retry.is_some_and(|retry| retry > Instant::now()) {
            self.drop_oldest();
            return false;
        }
        if self.check_place().is_err() {
            self.trouble = Some((GONE.to_owned(), WATCH_AGAIN));
            self.retry = Some(Instant::now() + RETRY);
            self.drop_oldest();
            return false;
        }
        let Log { store, ingest, axes, pending, .. } = self;
        let stored = ingest.store(&mut store.connection, axes, pending, self.log_ended);
        self.notes.append(&mut self.ingest.notes);
        self.notes.truncate(MAX_NOTES);
        match stored {
            Ok(()) => self.after_commit(),
            Err(error) => self.after_error(&error),
        }
        self.retry.is_none()
    }

    /// An error if the file of the store is no longer the one under its path: nobody would find what is written to it.
    pub fn check_place(&self) -> Result<(), Error> {
        if self.store.is_in_place() {
            return Ok(());
        }
        Err(self.store.refuse(GONE, WATCH_AGAIN))
    }

    /// Removes old days. `now` in µs since 1970, UTC.
    pub fn retain(&mut self, retention: Retention, now: i64) -> Result<Removed, Error> {
        let removed = self.store.retain(retention, now);
        self.ingest.forget();
        removed
    }

    fn after_commit(&mut self) {
        (self.group_since, self.fresh, self.trouble, self.log_ended) = (None, 0, None, false);
        if self.retry.take().is_some() {
            self.notes.push("the store is written again; nothing that waited is lost".to_owned());
        }
        if let Some(oldest) = self.oldest_dropped.take() {
            let text = format!(
                "{} dropped while the store could not be written; asking the monitor's log",
                number::count(self.dropped, "frame")
            );
            journal::write(&self.store.connection, "store", "dropped", &text).ok();
            self.notes.push(text);
            self.requests.push(oldest);
        }
        self.give_up_missing();
        if self.synced.elapsed() >= SYNC {
            self.synced = Instant::now();
            // A concurrent reader only delays the checkpoint; the next one catches up.
            let mut pragma = self.store.connection.prepare_cached("PRAGMA wal_checkpoint(PASSIVE)").ok();
            pragma.as_mut().map(|pragma| pragma.query_row([], |_| Ok(())).ok());
        }
    }

    /// Gives up the frames that were requested and are not in the monitor's log, once two answers agree.
    fn give_up_missing(&mut self) {
        let Some(replay) = self.replay.take_if(|replay| replay.is_done()) else { return };
        let Some(number) = self.number else { return };
        // After an error they are requested again at the next opening, and given up then.
        let Ok(missing @ 1..) = replay.missing(&self.store.connection, &number) else { return };
        if replay.is_confirmed() {
            if replay.give_up(&self.store.connection, &number, missing).is_ok() {
                let frames = number::count_are(missing, "frame");
                self.notes.push(format!("{frames} no longer in the monitor's log"));
            }
        } else if let Ok(Some(point)) = resume::resume_point(&self.store.connection, &number, replay.boot()) {
            self.replay = Some(replay.again());
            self.requests.push(point);
        }
    }

    /// The line was cut: what came of a frame is dropped, and the next monitor on it names itself, which makes another
    /// request for what the store lacks.
    pub fn cut(&mut self) {
        self.receiver.finish();
        self.replay = None;
        if !self.is_fixed {
            self.number = None;
        }
    }

    /// Another request for the log is on the line: its answer can't be distinguished from the answer to the store's own.
    pub fn disturb(&mut self) {
        self.replay = None;
    }

    fn after_error(&mut self, error: &rusqlite::Error) {
        let (wrong, remedy) = explain(error);
        if self.retry.is_none() {
            let (path, pending) = (self.store.path().display(), number::count(self.pending.len(), "frame"));
            self.notes.push(format!("{path}: {wrong}; {remedy}. Waiting: {pending}; watching goes on"));
        }
        self.trouble = Some((wrong, remedy));
        self.retry = Some(Instant::now() + RETRY);
        self.drop_oldest();
    }

    fn drop_oldest(&mut self) {
        while self.pending.len() > self.max_pending {
            let Some(frame) = self.pending.pop_front() else { return };
            self.dropped += 1;
            let Header { boot, priority, sequence, .. } = frame.header;
            let is_older =
                self.oldest_dropped.is_none_or(|oldest| (boot, sequence) < (oldest.boot, oldest.sequence));
            if priority == Priority::Move && is_older {
                self.oldest_dropped = Some(DumpSince { boot, priority: priority as u8, sequence });
            }
        }
    }

    /// What to request of the monitor's log: from where the store ended when it was opened, and what was dropped.
    pub fn drain_requests(&mut self) -> Vec<DumpSince> {
        std::mem::take(&mut self.requests)
    }

    /// What the user should know.
    pub fn drain_notes(&mut self) -> Vec<String> {
        std::mem::take(&mut self.notes)
    }

    /// What became of the frames so far.
    pub fn stats(&self) -> IngestStats {
        IngestStats { waiting: self.pending.len() as u64, dropped: self.dropped, ..self.ingest.stats }
    }

    /// Stores the rest when no more bytes come. An error if frames can't be stored.
    pub fn finish(mut self) -> Result<(Store, IngestStats), Error> {
        (self.log_ended, self.retry, self.ingest.orphans_checked) = (true, None, false);
        let is_done = self.commit();
        let stats = self.stats();
        if is_done && stats.waiting == 0 {
            return Ok((self.store, stats));
        }
        let (wrong, remedy) = self.trouble.unwrap_or_default();
        let wrong =
            format!("{} could not be stored: {wrong}", number::count(stats.waiting + stats.dropped, "frame"));
        if remedy == WATCH_AGAIN {
            return Err(self.store.refuse(&wrong, remedy));
        }
        let remedy = format!("{remedy}; then watch the monitor again: what is missing is requested from it");
        Err(self.store.refuse(&wrong, &remedy))
    }
}

/// What a frame says to the log itself, before it is stored.
enum Sign {
    /// Which monitor is on the line.
    Monitor(DeviceNumber),
    /// The log of the monitor has been sent to its end.
    LogEnd,
    None,
}

fn sign(frame: &Frame) -> Sign {
    if frame.header.priority == Priority::Move || is_raw_only(frame) {
        return Sign::None;
    }
    match frame.read::<Message>().map(|read| read.payload) {
        Ok(Message::Hello(hello)) => Sign::Monitor(hello.device),
        Ok(Message::Status(status)) if status.replay_left == 0 => Sign::LogEnd,
        _ => Sign::None,
    }
}
