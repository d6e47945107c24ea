//! In: what is about to be sent. Out: its header, with a number taken before it can be lost.
//!
//! Each priority numbers its own frames: a link that lets alarms overtake traces then reorders
//! nothing within a number series, and a loss says what kind of frames were lost.

use super::{CURRENT, varint};

/// Who speaks. A line that echoes then never makes a command of a message.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Direction {
    /// Device to host: a message.
    #[default]
    FromDevice,
    /// Host to device: a command.
    FromHost,
}

/// What goes first when the link is narrow.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Priority {
    /// Alarms, answers to `Identify`, and all commands.
    #[default]
    Alarm,
    /// Moves, settings, and what is missing.
    Move,
    /// Settling curves and live status.
    Curve,
    /// Raw samples.
    Trace,
}

impl Priority {
    /// Highest first.
    pub const ALL: [Priority; 4] = [Priority::Alarm, Priority::Move, Priority::Curve, Priority::Trace];
}

/// What stands before every payload; the same in all versions.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Header {
    /// Version of the sender, 1 to 15.
    pub version: u8,
    /// Who speaks.
    pub direction: Direction,
    /// Sent again out of the log; live frames are not.
    pub replay: bool,
    /// Which series the number belongs to.
    pub priority: Priority,
    /// A number that no earlier start of this sender had.
    pub boot: u32,
    /// Counts the frames of this priority since the start, from 0; wraps.
    pub sequence: u32,
}

const VERSION: u8 = 0x0F;
const REPLAY: u8 = 0x40;
const FROM_HOST: u8 = 0x80;

/// Bytes of a header without its sequence number. Unit: bytes
const FIXED: usize = 5;

impl Header {
    /// Bits 0–3 version, 4–5 priority, 6 replay, 7 from the host.
    const fn mark(&self) -> u8 {
        let replay = if self.replay { REPLAY } else { 0 };
        let direction = if matches!(self.direction, Direction::FromHost) { FROM_HOST } else { 0 };
        (self.version & VERSION) | (self.priority as u8) << 4 | replay | direction
    }

    /// Writes the header to the front; returns its length, or nothing if there is no room.
    pub(super) fn write(&self, body: &mut [u8]) -> Option<usize> {
        let (fixed, rest) = body.split_first_chunk_mut::<FIXED>()?;
        let [a, b, c, d] = self.boot.to_le_bytes();
        *fixed = [self.mark(), a, b, c, d];
        let mut used = 0;
        varint::push(rest, &mut used, self.sequence.into()).then_some(FIXED + used)
    }

    /// Reads the header off the front; the rest is kind and payload.
    #[inline]
    pub(super) fn read(body: &[u8]) -> Option<(Header, &[u8])> {
        let ([mark, a, b, c, d], rest) = body.split_first_chunk::<FIXED>()?;
        let (sequence, rest) = postcard::take_from_bytes(rest).ok()?;
        let priority = match mark >> 4 & 3 {
            0 => Priority::Alarm,
            1 => Priority::Move,
            2 => Priority::Curve,
            _ => Priority::Trace,
        };
        let direction = if mark & FROM_HOST == 0 { Direction::FromDevice } else { Direction::FromHost };
        let boot = u32::from_le_bytes([*a, *b, *c, *d]);
        let (version, replay) = (mark & VERSION, mark & REPLAY != 0);
        Some((Header { version, direction, replay, priority, boot, sequence }, rest))
    }
}

/// Numbers what one sender sends.
#[derive(Clone, Debug)]
pub struct Numbers {
    direction: Direction,
    boot: u32,
    next: [u32; 4],
}

impl Numbers {
    /// From 0, with a boot number that no earlier start of this sender had.
    pub const fn new(direction: Direction, boot: u32) -> Numbers {
        Numbers { direction, boot, next: [0; 4] }
    }

    /// The next header of a priority. Take it before the frame is queued, stored or sent.
    pub fn take(&mut self, priority: Priority) -> Header {
        let Numbers { direction, boot, .. } = *self;
        let mut header = Header { version: CURRENT, direction, replay: false, priority, boot, sequence: 0 };
        if let Some(next) = self.next.get_mut(priority as usize) {
            header.sequence = *next;
            *next = next.wrapping_add(1);
        }
        header
    }
}
