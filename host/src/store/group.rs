//! In: frames that wait. Out: one transaction that stores them, once each, and what follows from them.

use std::collections::{BTreeMap, VecDeque};

use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;

use super::boots::From;
use super::derive::{ARRIVED, Derive, Stored, mark, set_mark};
use super::frames::{Frames, Held, Last, Number, Row};
use super::journal;
use super::kept::{Axis, Kept};
use super::unnamed::{self, Unnamed};

/// Frames that may wait for the monitor to say who it is.
const UNNAMED: usize = 1024;
/// Frames out of a log that may wait for the wall time of their start to be known.
const UNTIED: usize = 50_000;

/// What lasts from one group to the next, as long as nobody else writes and nothing fails.
#[derive(Debug, Default)]
pub(super) struct Grouped {
    pub(super) derive: Derive,
    last: Last,
    /// One or two on a line.
    devices: Vec<(Number, i64)>,
    /// SQLite's mark of changes that others have made.
    changes: Option<i64>,
    pub(super) kept: Kept,
    pub(super) notes: Vec<String>,
    /// Who is on the line, once a frame of it is stored.
    named: Option<Number>,
    /// What of this line was stored before that.
    unnamed: Unnamed,
    /// What was stored as nobody's was looked at for frames of the monitor on the line.
    pub(super) looked: bool,
}

/// Places of frames whose start is not tied to wall time, and whose they are.
type Untied = Vec<(usize, Number)>;

/// A transaction under work.
struct Open<'c, 'h> {
    store: &'c Connection,
    frames: Frames<'c, 'h>,
    axes: &'c [Axis],
}

impl Grouped {
    /// Stores what can be stored; the rest is left waiting. After an error all is as it was.
    ///
    /// `dumped`: the monitor has sent its log to the end, and nothing more will tell when a start was.
    pub(super) fn store(
        &mut self,
        connection: &mut Connection,
        axes: &[Axis],
        waiting: &mut VecDeque<Held>,
        dumped: bool,
    ) -> rusqlite::Result<()> {
        let before = (self.kept, self.notes.len());
        let stored = self.transaction(connection, axes, waiting, dumped);
        match stored {
            Ok(later) => {
                let mut place = 0..;
                let mut later = later.into_iter().peekable();
                waiting.retain(|_| later.next_if_eq(&place.next().unwrap_or(usize::MAX)).is_some());
                Ok(())
            }
            Err(error) => {
                self.kept = before.0;
                self.notes.truncate(before.1);
                self.changes = None;
                Err(error)
            }
        }
    }

    /// Places of the frames that have to wait.
    fn transaction(
        &mut self,
        connection: &mut Connection,
        axes: &[Axis],
        waiting: &VecDeque<Held>,
        dumped: bool,
    ) -> rusqlite::Result<Vec<usize>> {
        let store = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        self.refresh(&store)?;
        let mut open = Open { store: &store, frames: Frames::new(&store)?, axes };
        let (mut later, untied) = self.take_tied(&mut open, waiting)?;
        if dumped || untied.len() > UNTIED {
            self.tie(&open, waiting, &untied)?;
        }
        // A start may have been tied by a later frame of this very group.
        for (place, number) in untied {
            let Some(held) = waiting.get(place) else { continue };
            let device = self.device(&store, number, axes)?;
            match self.derive.boots.known(&store, device, held.header.boot)? {
                Some(_) => self.take(&mut open, held, number)?,
                None => later.push(place),
            }
        }
        later.sort_unstable();
        open.frames.write()?;
        drop(open);
        if let Some(last) = waiting.back() {
            set_mark(&store, ARRIVED, last.arrived.max(mark(&store, ARRIVED)?.unwrap_or(i64::MIN)))?;
        }
        self.derive.write(&store)?;
        self.name_unnamed(&store)?;
        store.commit()?;
        if self.named.is_some() {
            self.looked = true;
            self.unnamed.clear();
        }
        Ok(later)
    }

    /// Hands over to the monitor on the line what was stored before it was known.
    fn name_unnamed(&mut self, store: &Connection) -> rusqlite::Result<()> {
        let Some(number) = self.named.filter(|_| !self.looked || !self.unnamed.is_empty()) else {
            return Ok(());
        };
        if let Some((text, same)) = unnamed::hand_over(store, &number, &self.unnamed)? {
            self.notes.push(text);
            self.kept.stored = self.kept.stored.saturating_sub(same);
            self.kept.known += same;
            self.derive.forget(store)?;
            self.last.forget();
        }
        Ok(())
    }

    /// Stores what is named and tied to wall time; the places of what is not named, and of what is not tied.
    fn take_tied<'h>(
        &mut self,
        open: &mut Open<'_, 'h>,
        waiting: &'h VecDeque<Held>,
    ) -> rusqlite::Result<(Vec<usize>, Untied)> {
        let all_named = waiting.iter().filter(|held| held.number.is_none()).count() > UNNAMED;
        let (mut unnamed, mut untied) = (vec![], vec![]);
        for (place, held) in waiting.iter().enumerate() {
            let Some(number) = held.number.or(all_named.then(Number::default)) else {
                unnamed.push(place);
                continue;
            };
            match held.number.filter(|number| *number != Number::default()) {
                None => {
                    self.unnamed.entry(held.header.boot).or_insert(held.arrived);
                }
                named => self.named = named,
            }
            let is_old = held.header.replay && held.header.priority == Priority::Move;
            let device = self.device(open.store, number, open.axes)?;
            if is_old && self.derive.boots.known(open.store, device, held.header.boot)?.is_none() {
                untied.push((place, number));
            } else {
                self.take(open, held, number)?;
            }
        }
        Ok((unnamed, untied))
    }

    /// Forgets what is in memory if the file was changed by somebody else.
    fn refresh(&mut self, store: &Connection) -> rusqlite::Result<()> {
        let changes = store.prepare_cached("PRAGMA data_version")?.query_row([], |row| row.get(0))?;
        if self.changes != Some(changes) {
            self.derive.forget(store)?;
            self.last.forget();
            self.devices.clear();
            self.changes = Some(changes);
        }
        Ok(())
    }

    /// Ties starts whose wall time nothing tells: the later a start, the better its end is known.
    fn tie(&mut self, open: &Open, waiting: &VecDeque<Held>, untied: &Untied) -> rusqlite::Result<()> {
        let mut ends: BTreeMap<(Number, u32), (u64, i64)> = BTreeMap::new();
        for (held, number) in untied.iter().filter_map(|(place, number)| Some((waiting.get(*place)?, number)))
        {
            let stored = Stored::new(0, held.arrived, &held.body);
            let Some(Message::Move(told)) = stored.and_then(|stored| stored.message()) else { continue };
            let end = told.start.wrapping_add(told.duration).saturating_add(told.held);
            let last = ends.entry((*number, held.header.boot)).or_default();
            *last = (last.0.max(end), last.1.max(held.arrived));
        }
        for ((number, boot), (end, arrived)) in ends.into_iter().rev() {
            let device = self.device(open.store, number, open.axes)?;
            self.derive.boots.tie(open.store, (device, boot), From::Replay(end), arrived)?;
        }
        Ok(())
    }

    /// Stores one frame, unless it is there.
    fn take<'h>(&mut self, open: &mut Open<'_, 'h>, held: &'h Held, number: Number) -> rusqlite::Result<()> {
        let store = open.store;
        let mut row = Row::new(self.device(store, number, open.axes)?, held);
        let stored = if held.silent { None } else { Stored::new(row.key.device, held.arrived, &held.body) };
        let told = stored.and_then(|stored| Some((stored, stored.message()?)));
        if let Some((stored, message)) = &told
            && self.derive.is_past(store, stored, message)?
        {
            if self.kept.past == 0 {
                self.notes.extend(self.derive.future(held.arrived));
            }
            self.kept.past += 1;
            return Ok(());
        }
        if !open.frames.insert(&mut self.last, &row)? {
            if !row.differs(store)? {
                self.kept.known += 1;
                return Ok(());
            }
            row.key.device = self.renew(store, number, row.key.device)?;
            open.frames.insert(&mut self.last, &row)?;
        }
        self.kept.stored += 1;
        let Some((stored, message)) = told else { return Ok(()) };
        self.derive.take(store, &Stored { device: row.key.device, ..stored }, &message)
    }

    /// Number of a device in this store.
    fn device(&mut self, store: &Connection, number: Number, axes: &[Axis]) -> rusqlite::Result<i64> {
        if let Some((_, device)) = self.devices.iter().find(|known| known.0 == number) {
            return Ok(*device);
        }
        let device = match newest(store, &number)? {
            Some(device) => device,
            None => {
                store.execute("INSERT INTO devices (number, generation) VALUES (?1, 0)", [&number[..]])?;
                store.last_insert_rowid()
            }
        };
        name(store, device, axes)?;
        self.devices.push((number, device));
        Ok(device)
    }

    /// Another frame has the same number: the monitor counts its starts from anew, its memory was erased.
    fn renew(&mut self, store: &Connection, number: Number, device: i64) -> rusqlite::Result<i64> {
        let text = "the monitor counts its starts from anew; it is kept apart from what it was before";
        self.notes.push(text.to_owned());
        journal::said(store, "store", "monitor", text)?;
        store.execute(
            "INSERT INTO devices (number, generation, board, firmware, ticks_per_second)
            SELECT number, generation + 1, board, firmware, ticks_per_second FROM devices WHERE id = ?1",
            [device],
        )?;
        let new = store.last_insert_rowid();
        store.execute(
            "INSERT INTO axes SELECT ?1, axis, name, unit, counts_per_unit, window, source FROM axes WHERE device = ?2",
            [new, device],
        )?;
        self.devices.retain(|known| known.0 != number);
        self.devices.push((number, new));
        Ok(new)
    }
}

/// The newest device of this number.
pub(super) fn newest(store: &Connection, number: &Number) -> rusqlite::Result<Option<i64>> {
    let sql = "SELECT id FROM devices WHERE number = ?1 ORDER BY generation DESC LIMIT 1";
    store.prepare_cached(sql)?.query_row([&number[..]], |row| row.get(0)).optional()
}

/// Keeps names and scales of the axes as they were given last.
fn name(store: &Connection, device: i64, axes: &[Axis]) -> rusqlite::Result<()> {
    let mut statement =
        store.prepare_cached("INSERT OR REPLACE INTO axes VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)")?;
    for Axis { axis, name, unit, counts_per_unit, window, source } in axes {
        statement.execute(params![device, axis, name, unit, counts_per_unit, window, source])?;
    }
    Ok(())
}
