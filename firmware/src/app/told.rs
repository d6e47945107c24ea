//! In: what the axes found out, the monitor's counters. Out: messages, queued and kept.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::record::Record;
use stillpoint_core::wire::LONGEST_PIECE;
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::status::{Hello, Status};

use super::{App, Identity};
use crate::link::Put;

impl<const AXES: usize, F: NorFlash, const LINES: usize, const LINE: usize> App<AXES, F, LINES, LINE> {
    /// Numbers a message, keeps it if it is one to be kept, and queues it.
    pub(super) fn tell(&mut self, message: &Message) {
        let (header, put) = self.link.put(message);
        let sealed = self.store.keep(&header, message);
        if sealed && put == Put::NoRoom {
            self.link.forgive(header.priority);
        }
    }

    /// A move and its rest are over.
    pub(super) fn told(&mut self, number: usize, record: Record) {
        let Some(watched) = self.watched.get(number) else { return };
        let (mut record, inferred) = (watched.placed(record), watched.asked.inferred);
        if inferred && let Some(line) = self.lines.of(number) {
            line.mark_record(&mut record, watched.asked.settings.window, watched.axis.curve());
        }
        self.tell(&Message::Move(Move::new(number as u8, inferred, &record)));
        self.curve(number, record.number);
    }

    fn curve(&mut self, number: usize, record: u32) {
        let Some(watched) = self.watched.get(number) else { return };
        let mut points = watched.axis.curve().peekable();
        let (mut first, mut buffer) = (0, [0; LONGEST_PIECE]);
        while let Some(curve) = Curve::take((number as u8, record, first), &mut points, &mut buffer) {
            first += curve.points().count() as u16;
            self.link.put(&Message::Curve(curve));
        }
    }

    /// Says how an axis and the device fare.
    pub fn tell_status(&mut self, number: usize) {
        let Some(watched) = self.watched.get(number) else { return };
        let status = Status {
            axis: number as u8,
            now: watched.now(),
            moving: watched.status.moving,
            position: watched.status.position.into(),
            following_error: watched.status.following_error,
            error: watched.axis.error(),
            moves: watched.moves(),
            small: watched.small(),
            samples: watched.samples,
            gaps: watched.gaps,
            lost_events: watched.lost(),
            overruns: self.sampler.missed(),
            lost_frames: self.link.lost(),
            queue_depth: self.link.waiting(),
            queue_most: self.link.most(),
            replay_left: u32::from(self.replay.is_some()),
            last_command: self.last_command,
            refused_commands: self.refused,
        };
        self.link.put(&Message::Status(status));
    }

    pub(super) fn hello(&mut self) {
        let Identity { device, board, reset, .. } = self.identity;
        let hello = Hello {
            device,
            board,
            firmware: env!("CARGO_PKG_VERSION"),
            oldest: stillpoint_core::wire::OLDEST,
            axes: AXES as u8,
            ticks_per_second: self.ticks_per_second(),
            reset,
            clock: self.clock,
        };
        self.tell(&Message::Hello(hello));
    }

    pub(super) fn ticks_per_second(&self) -> u32 {
        self.watched.first().map_or(1, |watched| watched.asked.settings.ticks_per_second)
    }

    /// Time since the first reading. Unit: µs
    pub(super) fn microseconds(&self) -> i64 {
        let rate = u64::from(self.ticks_per_second().max(1));
        let whole = (self.now / rate).saturating_mul(1_000_000);
        i64::try_from(whole.saturating_add(self.now % rate * 1_000_000 / rate)).unwrap_or(i64::MAX)
    }
}
