//! In: raw readings around a stop. Out: payloads of bounded size that carry them, and the readings again.
//!
//! A reading is told by how its step differs from the step before. At rest, with even sampling, that
//! is one byte; every reading survives, wrapped counters and uneven time stamps included.

use core::iter::Peekable;

use serde::{Deserialize, Serialize};

use super::{LONGEST_PIECE, varint};
use crate::sample::Reading;

/// A stretch of the raw readings of one capture.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trace<'a> {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the move whose stop was captured.
    pub number: u32,
    /// Index of the first reading here within the whole capture.
    pub first: u32,
    /// The capture ends here.
    pub last: bool,
    /// First reading here: time stamp, wrapping. Unit: ticks
    pub tick: u32,
    /// First reading here: command. Unit: command counts
    pub command: i32,
    /// First reading here: feedback. Unit: feedback counts
    pub feedback: i32,
    /// The readings after it. Each is one number: the change of the feedback step as zigzag, doubled,
    /// plus 1 if two more numbers follow: the changes of the tick step and of the command step.
    pub readings: &'a [u8],
    /// One of so many samples was captured; 0 where that is not told.
    pub factor: u16,
}

/// The last reading, and how it differed from the one before it.
#[derive(Clone, Copy, Debug)]
struct Course {
    reading: Reading,
    tick: i32,
    command: i32,
    feedback: i32,
}

impl Course {
    fn from(reading: Reading) -> Course {
        Course { reading, tick: 0, command: 0, feedback: 0 }
    }

    /// Changes of the tick, command and feedback steps that lead to this reading.
    fn changes(&self, next: Reading) -> [i32; 3] {
        [
            (next.tick.wrapping_sub(self.reading.tick) as i32).wrapping_sub(self.tick),
            next.command.wrapping_sub(self.reading.command).wrapping_sub(self.command),
            next.feedback.wrapping_sub(self.reading.feedback).wrapping_sub(self.feedback),
        ]
    }

    fn step(&mut self, [tick, command, feedback]: [i32; 3]) -> Reading {
        self.tick = self.tick.wrapping_add(tick);
        self.command = self.command.wrapping_add(command);
        self.feedback = self.feedback.wrapping_add(feedback);
        self.reading.tick = self.reading.tick.wrapping_add(self.tick as u32);
        self.reading.command = self.reading.command.wrapping_add(self.command);
        self.reading.feedback = self.reading.feedback.wrapping_add(self.feedback);
        self.reading
    }
}

/// Packs readings one by one, into as many bytes as there are.
#[derive(Clone, Copy, Debug)]
pub struct Packer {
    course: Course,
    used: usize,
}

impl Packer {
    /// Begins with this reading, which takes no bytes.
    pub fn new(start: Reading) -> Packer {
        Packer { course: Course::from(start), used: 0 }
    }

    /// Bytes filled so far.
    pub fn used(&self) -> usize {
        self.used
    }

    /// Whether another reading surely has room.
    pub fn has_room(&self, bytes: &[u8]) -> bool {
        self.used + 3 * varint::LONGEST <= bytes.len()
    }

    /// Adds a reading; call it only while there is room, and always with the same bytes.
    pub fn push(&mut self, reading: Reading, bytes: &mut [u8]) {
        let changes = self.course.changes(reading);
        let [tick, command, feedback] = changes.map(varint::zigzag);
        let uneven = tick != 0 || command != 0;
        varint::push(bytes, &mut self.used, u64::from(feedback) << 1 | u64::from(uneven));
        if uneven {
            varint::push(bytes, &mut self.used, u64::from(tick));
            varint::push(bytes, &mut self.used, u64::from(command));
        }
        self.course.step(changes);
    }
}

impl<'a> Trace<'a> {
    /// Packs as many readings as one payload takes; `None` when there are none left.
    ///
    /// `first` is the index of the next reading within the capture. The factor is left at 0.
    pub fn take(
        (axis, number, first): (u8, u32, u32),
        readings: &mut Peekable<impl Iterator<Item = Reading>>,
        buffer: &'a mut [u8; LONGEST_PIECE],
    ) -> Option<Trace<'a>> {
        let start = readings.next()?;
        let mut packer = Packer::new(start);
        while packer.has_room(buffer) {
            let Some(reading) = readings.next() else { break };
            packer.push(reading, buffer);
        }
        let Reading { tick, command, feedback } = start;
        let (last, readings) = (readings.peek().is_none(), buffer.get(..packer.used())?);
        Some(Trace { axis, number, first, last, tick, command, feedback, readings, factor: 0 })
    }

    /// The readings again; ends early where the bytes are none of ours.
    pub fn readings(&self) -> impl Iterator<Item = Reading> + use<'a> {
        let start = Reading { tick: self.tick, command: self.command, feedback: self.feedback };
        let mut bytes = self.readings;
        let mut course = Course::from(start);
        let others = core::iter::from_fn(move || {
            let number = |bytes: &mut &[u8]| varint::pop(bytes).map(|value| varint::unzigzag(value as u32));
            let token = varint::pop(&mut bytes)?;
            let feedback = varint::unzigzag((token >> 1) as u32);
            let uneven = token & 1 != 0;
            let tick = if uneven { number(&mut bytes)? } else { 0 };
            let command = if uneven { number(&mut bytes)? } else { 0 };
            Some(course.step([tick, command, feedback]))
        });
        core::iter::once(start).chain(others)
    }
}
