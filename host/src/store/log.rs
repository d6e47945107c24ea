//! In: bytes of a monitor as they come. Out: its frames in the store, in groups; and what to ask it for again.
//!
//! Frames wait in memory until a group is full or old, then one transaction stores them and all that follows from
//! them. Whatever stands in the way of that, the frames go on waiting and nothing stops.

use std::collections::VecDeque;
use std::path::Path;
use std::time::{Duration, Instant};

use stillpoint_core::wire::command::DumpSince;
use stillpoint_core::wire::crc::LargeTable;
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};

use super::derive::{ARRIVED, is_silent, mark};
use super::frames::Held;
use super::group::Grouped;
use super::journal;
pub use super::kept::{Axis, Kept};
use super::resume::{self, Asked};
use super::{Options, Store, words};
use crate::error::Error;

/// A group is stored when it holds so many frames,
const GROUP: usize = 4096;
/// or is so old,
const AGE: Duration = Duration::from_millis(200);
/// and the disk is made to hold what is stored so often.
const SYNC: Duration = Duration::from_secs(10);
/// After trouble the next try waits so long.
const AGAIN: Duration = Duration::from_secs(1);
/// This computer's clock has stepped back if it does by more than this. Unit: µs
const STEP: i64 = 1_000_000;

/// Logs one monitor.
#[derive(Debug)]
pub struct Log {
    store: Store,
    receiver: Receiver<LargeTable>,
    /// Who is on the line; `fixed` if no hello changes it.
    number: Option<[u8; 12]>,
    fixed: bool,
    axes: Vec<Axis>,
    waiting: VecDeque<Held>,
    /// The log of the monitor has been sent to its end.
    dumped: bool,
    /// Came since the last group was stored.
    fresh: usize,
    grouped: Grouped,
    dropped: u64,
    why: Option<(String, &'static str)>,
    arrived: i64,
    begun: Option<Instant>,
    synced: Instant,
    retry: Option<Instant>,
    /// Oldest frame of a move that was dropped.
    lost: Option<DumpSince>,
    most_waiting: usize,
    asks: Vec<DumpSince>,
    /// Unless something spoils what comes of it.
    asked: Option<Asked>,
    notes: Vec<String>,
}

impl Log {
    /// Opens a store, or makes one, to log a monitor into. `number` if it is known who is on the line.
    pub fn open(
        path: &Path,
        options: &Options,
        number: Option<[u8; 12]>,
        axes: Vec<Axis>,
    ) -> Result<Log, Error> {
        let store = Store::create(path, options)?;
        // The time of a line whose monitor is known beforehand is made up by whoever rehearses it.
        let arrived = match number {
            Some(_) => None,
            None => mark(&store.connection, ARRIVED).map_err(|error| store.fault(&error))?,
        };
        Ok(Log {
            store,
            receiver: Receiver::new(Direction::FromDevice),
            number,
            fixed: number.is_some(),
            axes,
            waiting: VecDeque::new(),
            dumped: false,
            fresh: 0,
            grouped: Grouped::default(),
            dropped: 0,
            why: None,
            arrived: arrived.unwrap_or(i64::MIN),
            begun: None,
            synced: Instant::now(),
            retry: None,
            lost: None,
            most_waiting: options.most_waiting,
            asks: Vec::new(),
            asked: None,
            notes: Vec::new(),
        })
    }

    /// Takes bytes as they come. `now` in µs since 1970, UTC.
    pub fn hear(&mut self, bytes: &[u8], now: i64) {
        self.mind_clock(now);
        let mut left = bytes;
        while let Some(event) = self.receiver.step(&mut left) {
            let Event::Frame(frame) = event else {
                // What is no frame is counted where the bytes are decoded; it may have been one out of the log.
                self.asked = None;
                continue;
            };
            let (header, silent, body) = (frame.header, is_silent(&frame), Box::from(frame.body()));
            let mut named = None;
            // Only these two are read before they are stored.
            if header.priority != Priority::Move && !silent {
                match frame.read::<Message>().map(|read| read.payload) {
                    Ok(Message::Hello(hello)) => named = Some(hello.device),
                    Ok(Message::Status(status)) if status.replay_left == 0 => {
                        self.dumped = true;
                        self.asked.iter_mut().for_each(Asked::end);
                    }
                    _ => (),
                }
            }
            if let Some(number) = named {
                self.name(number);
            }
            self.asked.iter_mut().for_each(|asked| asked.hear(&header));
            self.waiting.push_back(Held { number: self.number, header, silent, arrived: now, body });
            self.fresh += 1;
        }
        if self.fresh > 0 {
            self.begun.get_or_insert_with(Instant::now);
        }
        let is_old = self.begun.is_some_and(|begun| begun.elapsed() >= AGE);
        if self.fresh >= GROUP || is_old {
            self.commit();
        }
    }

    /// Who is on the line, from now on and for what has waited to know.
    fn name(&mut self, number: [u8; 12]) {
        let is_new = self.number != Some(number);
        if self.fixed || !is_new {
            return;
        }
        self.number = Some(number);
        self.waiting
            .iter_mut()
            .filter(|held| held.number.is_none())
            .for_each(|held| held.number = Some(number));
        match resume::point(&self.store.connection, &number) {
            Ok(point) => {
                self.asked = point.as_ref().map(Asked::new);
                self.asks.extend(point);
            }
            Err(error) => self.notes.push(format!("where the store ends can't be read: {error}")),
        }
    }

    fn mind_clock(&mut self, now: i64) {
        let back = self.arrived.saturating_sub(now);
        self.arrived = now;
        if back > STEP && back < i64::MAX / 2 {
            let text = format!(
                "this computer's clock stepped back by {} s; moves stay in the order of the monitor's ticks",
                back / 1_000_000
            );
            // If the store is in trouble, whoever watches is told all the same.
            journal::said(&self.store.connection, "store", "clock", &text).ok();
            self.notes.push(text);
        }
    }

    /// Stores what waits, if it can be. True if nothing is left that could be stored.
    pub fn commit(&mut self) -> bool {
        if self.retry.is_some_and(|retry| retry > Instant::now()) {
            self.drop_oldest();
            return false;
        }
        let Log { store, grouped, axes, waiting, .. } = self;
        let stored = grouped.store(&mut store.connection, axes, waiting, self.dumped);
        self.notes.append(&mut self.grouped.notes);
        match stored {
            Ok(()) => self.recovered(),
            Err(error) => self.trouble(&error),
        }
        self.retry.is_none()
    }

    fn recovered(&mut self) {
        (self.begun, self.fresh, self.why, self.dumped) = (None, 0, None, false);
        if self.retry.take().is_some() {
            self.notes.push("the store is written again; nothing that waited is lost".to_owned());
        }
        if let Some(lost) = self.lost.take() {
            let text = format!(
                "{} frames were dropped while the store could not be written; asking the monitor's log",
                self.dropped
            );
            journal::said(&self.store.connection, "store", "dropped", &text).ok();
            self.notes.push(text);
            self.asks.push(lost);
        }
        self.give_up();
        if self.synced.elapsed() >= SYNC {
            self.synced = Instant::now();
            // A reader in the way only delays it; the next one does it.
            let mut pragma = self.store.connection.prepare_cached("PRAGMA wal_checkpoint(PASSIVE)").ok();
            pragma.as_mut().map(|pragma| pragma.query_row([], |_| Ok(())).ok());
        }
    }

    /// What was asked for and did not come will not come.
    fn give_up(&mut self) {
        let Some(asked) = self.asked.take_if(|asked| asked.is_done()) else { return };
        // After an error it is asked for again at the next opening, and given up then.
        let missing = self.number.map(|number| asked.give_up(&self.store.connection, &number));
        if let Some(Ok(missing @ 1..)) = missing {
            self.notes.push(format!("{missing} frames are no longer in the monitor's log"));
        }
    }

    /// Somebody else asks the monitor for a part of its log: what comes of the store's own asking can't be told.
    pub fn disturb(&mut self) {
        self.asked = None;
    }

    fn trouble(&mut self, error: &rusqlite::Error) {
        let (wrong, remedy) = words(error);
        if self.retry.is_none() {
            let (path, waiting) = (self.store.path.display(), self.waiting.len());
            self.notes
                .push(format!("{path}: {wrong}; {remedy}. {waiting} frames wait, and watching goes on"));
        }
        self.why = Some((wrong, remedy));
        self.retry = Some(Instant::now() + AGAIN);
        self.drop_oldest();
    }

    fn drop_oldest(&mut self) {
        while self.waiting.len() > self.most_waiting {
            let Some(held) = self.waiting.pop_front() else { return };
            self.dropped += 1;
            let Header { boot, priority, sequence, .. } = held.header;
            if priority == Priority::Move
                && self.lost.is_none_or(|lost| (boot, sequence) < (lost.boot, lost.sequence))
            {
                self.lost = Some(DumpSince { boot, priority: priority as u8, sequence });
            }
        }
    }

    /// What to ask the monitor for: where the store ended when it was opened, and what had to be dropped.
    pub fn asks(&mut self) -> Vec<DumpSince> {
        std::mem::take(&mut self.asks)
    }

    /// What people should know.
    pub fn notes(&mut self) -> Vec<String> {
        std::mem::take(&mut self.notes)
    }

    /// What became of the frames so far.
    pub fn kept(&self) -> Kept {
        Kept { waiting: self.waiting.len() as u64, dropped: self.dropped, ..self.grouped.kept }
    }

    /// The store that is written.
    pub fn store(&self) -> &Store {
        &self.store
    }

    /// No more bytes come. An error if frames are left that could not be stored.
    pub fn finish(mut self) -> Result<(Store, Kept), Error> {
        (self.dumped, self.retry, self.grouped.looked) = (true, None, false);
        self.number.get_or_insert_default();
        let number = self.number;
        self.waiting.iter_mut().for_each(|held| held.number = held.number.or(number));
        let done = self.commit();
        let kept = self.kept();
        if done && kept.waiting == 0 {
            return Ok((self.store, kept));
        }
        let (wrong, remedy) = self.why.unwrap_or_default();
        let wrong = format!("{} frames could not be stored: {wrong}", kept.waiting + kept.dropped);
        let remedy = format!("{remedy}; then watch the monitor again: it is asked for what is missing");
        Err(self.store.refuse(&wrong, &remedy))
    }
}
