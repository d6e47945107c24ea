//! In: a frame that has just been stored. Out: what follows from it, in the tables.
//!
//! Nothing here depends on the order in which frames came, but for what is written once: the tie of a start to
//! wall time, and the journal. So the tables made again from the frames are the same, to the last byte.

use rusqlite::{Connection, OptionalExtension, params};
use stillpoint_core::wire::crc::LargeTable;
use stillpoint_core::wire::frame::Frame;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::Hello;

use super::boots::{Boot, Boots, From};
use super::journal::{self, Key};
use super::kind::kind;
use super::summary::{Seen, Summaries};
use super::tables::{self, Moves};
use super::{time, watched};

/// What it takes to derive, held between frames.
#[derive(Debug, Default)]
pub(super) struct Derive {
    pub(super) boots: Boots,
    summaries: Summaries,
    moves: Moves,
    /// Moves before this are past retention. Unit: µs since 1970, UTC
    pub(super) horizon: i64,
}

/// A stored frame on its way into the tables.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stored<'a> {
    pub(super) device: i64,
    /// Unit: µs since 1970, UTC
    pub(super) arrived: i64,
    pub(super) frame: Frame<'a>,
}

impl<'a> Stored<'a> {
    /// From a body as it was stored.
    pub(super) fn new(device: i64, arrived: i64, body: &'a [u8]) -> Option<Stored<'a>> {
        let frame = Frame::check::<LargeTable>(body).ok()?;
        Some(Stored { device, arrived, frame })
    }

    /// What the frame is known by.
    pub(super) fn key(&self) -> Key {
        Key::new(self.device, &self.frame.header)
    }

    /// What it says, if that is known here.
    pub(super) fn message(&self) -> Option<Message<'a>> {
        self.frame.read::<Message>().ok().map(|read| read.payload)
    }
}

/// Curves and traces, by their kinds (core/WIRE.md): nothing follows from them, so that they needn't be read.
pub(super) fn is_silent(frame: &Frame) -> bool {
    matches!(frame.kind(), 3 | 9)
}

impl Derive {
    /// Puts what a frame says into the tables. What is not known here stays a raw frame until it is.
    pub(super) fn take(
        &mut self,
        store: &Connection,
        stored: &Stored,
        message: &Message,
    ) -> rusqlite::Result<()> {
        match message {
            Message::Hello(hello) => self.hello(store, stored, hello),
            Message::Move(told) => self.told(store, stored, told),
            Message::Settings(settings) => self.settings(store, stored, settings),
            Message::Gap(gap) => tables::gap(store, stored, gap),
            Message::Alarm(alarm) => {
                let at = self.at(store, stored, alarm.at)?;
                tables::alarm(store, stored, alarm, at)
            }
            Message::Kind(kind) => {
                let boot = self.boot(store, stored, kind.at)?;
                watched::kind(store, stored, kind, &boot)
            }
            Message::Restart(restart) => {
                let at = self.at(store, stored, restart.at)?;
                watched::restart(store, stored, restart, at)
            }
            Message::Baseline(baseline) => {
                let boot = self.boot(store, stored, baseline.at)?;
                watched::baseline(store, stored, baseline, &boot)
            }
            Message::Drift(drift) => watched::drift(store, stored, drift),
            Message::Finding(finding) => {
                let at = self.at(store, stored, finding.at)?;
                watched::finding(store, stored, finding, at)
            }
            // It ties its start to wall time, if nothing has before.
            Message::Status(status) => self.boot(store, stored, status.now).map(|_| ()),
            // Curves and traces are read from their frames when they are asked for.
            _ => Ok(()),
        }
    }

    /// Wall time of a tick. Unit: µs since 1970, UTC
    fn at(&mut self, store: &Connection, stored: &Stored, ticks: u64) -> rusqlite::Result<i64> {
        Ok(self.boot(store, stored, ticks)?.at(ticks))
    }

    /// The start that a frame belongs to; `ticks` is the latest it tells of.
    pub(super) fn boot(&mut self, store: &Connection, stored: &Stored, ticks: u64) -> rusqlite::Result<Boot> {
        let header = &stored.frame.header;
        let from = if header.replay { From::Replay(ticks) } else { From::Arrival(ticks) };
        self.boots.tie(store, (stored.device, header.boot), from, stored.arrived)
    }

    fn hello(&mut self, store: &Connection, stored: &Stored, hello: &Hello) -> rusqlite::Result<()> {
        store
            .prepare_cached(
                "UPDATE devices SET board = ?2, firmware = ?3, ticks_per_second = ?4 WHERE id = ?1",
            )?
            .execute(params![stored.device, hello.board, hello.firmware, hello.ticks_per_second])?;
        if let Some(epoch) = hello.clock {
            let start = (stored.device, stored.frame.header.boot);
            self.boots.tie(store, start, From::Device(epoch), stored.arrived)?;
        }
        Ok(())
    }

    fn told(&mut self, store: &Connection, stored: &Stored, told: &Move) -> rusqlite::Result<()> {
        let command_end = told.start.wrapping_add(told.duration);
        let boot = self.boot(store, stored, command_end.saturating_add(told.held))?;
        let has_settling = told.flags & stillpoint_core::wire::record::flag::SETTLING != 0;
        let seen = Seen {
            device: stored.device,
            axis: told.axis,
            kind: kind(stored.frame.header.boot, told),
            at: boot.at(command_end),
            outcome: told.outcome,
            settling: has_settling.then(|| boot.nanoseconds(told.settling)),
        };
        self.moves.add(stored, told, seen);
        // Intervals that lie before the horizon are whole, and stay as they are.
        if seen.at >= self.horizon {
            self.summaries.add(&seen);
        }
        Ok(())
    }

    fn settings(&mut self, store: &Connection, stored: &Stored, settings: &Settings) -> rusqlite::Result<()> {
        if settings.pending {
            let what = settings.refused_name().map_or(String::new(), |name| format!("{name} refused, "));
            let text = format!("{what}from the next move on: {:?}", settings.parameters);
            return journal::told(
                store,
                stored.key(),
                stored.arrived,
                ("settings", &text),
                Some(settings.axis),
            );
        }
        let before = tables::settings_before(store, &stored.key(), settings.axis)?;
        tables::settings(store, stored, settings)?;
        let before = before.and_then(|body| {
            let frame = Frame::check::<LargeTable>(&body).ok()?;
            match frame.read::<Message>().ok()?.payload {
                Message::Settings(before) => Some(before.parameters),
                _ => None,
            }
        });
        if before == Some(settings.parameters) && settings.refused.is_none() {
            return Ok(());
        }
        let what =
            settings.refused_name().map_or("in force".to_owned(), |name| format!("{name} refused, in force"));
        let text = format!("{what}: {:?}", settings.parameters);
        journal::told(store, stored.key(), stored.arrived, ("settings", &text), Some(settings.axis))
    }

    /// Writes what waits to be written; before every commit.
    pub(super) fn write(&mut self, store: &Connection) -> rusqlite::Result<()> {
        self.moves.write(store)?;
        self.summaries.write(store)
    }

    /// What is in memory no longer holds: somebody else has written, or a transaction was undone.
    pub(super) fn forget(&mut self, store: &Connection) -> rusqlite::Result<()> {
        self.boots.forget();
        self.summaries.forget();
        self.moves.forget();
        self.horizon = mark(store, HORIZON)?.unwrap_or(i64::MIN);
        Ok(())
    }

    /// Whether a move is past retention, so that its frame must not come back.
    pub(super) fn is_past(
        &mut self,
        store: &Connection,
        stored: &Stored,
        message: &Message,
    ) -> rusqlite::Result<bool> {
        let Message::Move(told) = message else { return Ok(false) };
        if self.horizon == i64::MIN || stored.frame.header.priority != Priority::Move {
            return Ok(false);
        }
        let known = self.boots.known(store, stored.device, stored.frame.header.boot)?;
        Ok(known.is_some_and(|boot| boot.at(told.start.wrapping_add(told.duration)) < self.horizon))
    }

    /// What to tell if retention lies in the future, so that no move is kept. `now` in µs since 1970, UTC.
    pub(super) fn future(&self, now: i64) -> Option<String> {
        (self.horizon > now).then(|| {
            format!(
                "moves are let go as they come: the retention of this store lies in the future, at {}, which a wrong \
                clock set; check this computer's clock, then `stillpoint store retain` puts it right",
                time::text(self.horizon)
            )
        })
    }
}

/// Name of the mark: moves before it are past retention.
pub(super) const HORIZON: &str = "horizon_us";
/// Name of the mark: when the last frame came.
pub(super) const ARRIVED: &str = "arrived_us";

/// A figure the store keeps about itself.
pub(super) fn mark(store: &Connection, name: &str) -> rusqlite::Result<Option<i64>> {
    let mut statement = store.prepare_cached("SELECT value FROM marks WHERE name = ?1")?;
    statement.query_row([name], |row| row.get(0)).optional()
}

/// Sets such a figure.
pub(super) fn set_mark(store: &Connection, name: &str, value: i64) -> rusqlite::Result<()> {
    store.prepare_cached("INSERT OR REPLACE INTO marks VALUES (?1, ?2)")?.execute(params![name, value])?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::curve::Curve;
    use stillpoint_core::wire::frame::{Payload, encode_body};
    use stillpoint_core::wire::header::{Direction, Numbers};
    use stillpoint_core::wire::status::Status;

    #[test]
    fn only_curves_and_traces_are_silent() {
        let points = std::iter::once(stillpoint_core::CurvePoint { window: 64, settling: None });
        let mut buffer = [0; stillpoint_core::wire::LONGEST_PIECE];
        let curve = Curve::take((0, 1, 0), &mut points.peekable(), &mut buffer).unwrap();
        for (message, silent) in [
            (Message::Hello(Hello::default()), false),
            (Message::Settings(Settings::default()), false),
            (Message::Move(Move::default()), false),
            (Message::Curve(curve), true),
            (Message::Status(Status::default()), false),
        ] {
            let header = Numbers::new(Direction::FromDevice, 1).take(message.priority());
            let mut body = [0; stillpoint_core::wire::LONGEST_BODY];
            let body = encode_body::<LargeTable>(&header, &message, &mut body).unwrap();
            assert_eq!(is_silent(&Frame::check::<LargeTable>(body).unwrap()), silent, "{message:?}");
        }
    }
}
