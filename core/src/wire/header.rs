//! In: the priority of a frame to be sent. Out: its header, with a sequence number assigned before the frame can be
//! lost.
//!
//! Each priority has its own number series. So a link that lets alarms overtake traces reorders nothing within a
//! series, and a loss shows which priority was lost.

use super::{CURRENT, varint};

/// Direction of a frame. It keeps a link that echoes from turning a message into a command.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Direction {
    /// Device to host: a message.
    #[default]
    FromDevice,
    /// Host to device: a command.
    FromHost,
}

/// Order in which waiting frames are sent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Priority {
    /// Alarms, answers to `Identify`, and all commands.
    #[default]
    Alarm,
    /// Moves, settings, gaps, kinds, baselines, drifts, findings.
    Move,
    /// Settling curves and live status.
    Curve,
    /// Raw samples.
    Trace,
}

impl Priority {
    /// All priorities, highest first.
    pub const ALL: [Priority; 4] = [Priority::Alarm, Priority::Move, Priority::Curve, Priority::Trace];
}

/// The header before every payload; its layout is the same in all versions.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Header {
    /// Version of the sender, 1 to 15.
    pub version: u8,
    /// Direction of the frame.
    pub direction: Direction,
    /// Whether the frame is a replay from the log; live frames are not.
    pub replay: bool,
    /// Priority, which selects the number series.
    pub priority: Priority,
    /// Boot number: differs from that of every earlier start of this sender.
    pub boot: u32,
    /// Sequence number of the frame within its priority since the start, from 0; wraps.
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

    /// Writes the header to the front of `body`; returns its length, `None` if `body` is too short.
    pub(super) fn write(&self, body: &mut [u8]) -> Option<usize> {
        let (fixed, rest) = body.split_first_chunk_mut::<FIXED>()?;
        let [a, b, c, d] = self.boot.to_le_bytes();
        *fixed = [self.mark(), a, b, c, d];
        let mut used = 0;
        varint::push(rest, &mut used, self.sequence.into()).then_some(FIXED + used)
    }

    /// Reads the header from the front of `body`; returns it with the rest, which is kind and payload.
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

/// Assigns the sequence numbers of one sender.
#[derive(Clone, Debug)]
pub struct Numbers {
    direction: Direction,
    boot: u32,
    next: [u32; 4],
}

impl Numbers {
    /// Numbers from 0, for a boot number that no earlier start of this sender had.
    pub const fn new(direction: Direction, boot: u32) -> Numbers {
        Numbers { direction, boot, next: [0; 4] }
    }

    /// The next header of a priority. Call this before the frame is queued, stored or sent.
    pub fn next_header(&mut self, priority: Priority) -> Header {
        let Numbers { direction, boot, .. } = *self;
        let mut header = Header { version: CURRENT, direction, replay: false, priority, boot, sequence: 0 };
        if let Some(next) = self.next.get_mut(priority as usize) {
            header.sequence = *next;
            *next = next.wrapping_add(1);
        }
        header
    }
}
