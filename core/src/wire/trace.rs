//! In: raw readings around a stop. Out: payloads of bounded size; and the readings unpacked from them.
//!
//! A reading is packed as its second differences. At rest, with even sampling, that is one byte; any reading can be
//! packed, wrapped counters and uneven time stamps included.

use core::iter::Peekable;

use serde::{Deserialize, Serialize};

use super::{LONGEST_PIECE, varint};
use crate::sample::Reading;

/// A part of the raw readings of one capture.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trace<'a> {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the move whose stop was captured.
    pub number: u32,
    /// Index of the first reading of this part within the whole capture.
    pub first: u32,
    /// Whether this is the last part of the capture.
    pub last: bool,
    /// First reading: time stamp, wrapping. Unit: ticks
    pub tick: u32,
    /// First reading: command. Unit: command counts
    pub command: i32,
    /// First reading: feedback. Unit: feedback counts
    pub feedback: i32,
    /// The readings after the first. Each is one number: the second difference of the feedback as zigzag, doubled,
    /// plus 1 if two more numbers follow: the second differences of tick and command as zigzag.
    pub readings: &'a [u8],
    /// Decimation: one of `factor` samples was captured; 0 if not sent.
    pub factor: u16,
}

/// The last reading, and its differences to the one before: they predict the next reading.
#[derive(Clone, Copy, Debug)]
struct Predictor {
    reading: Reading,
    tick: i32,
    command: i32,
    feedback: i32,
}

impl Predictor {
    fn new(reading: Reading) -> Predictor {
        Predictor { reading, tick: 0, command: 0, feedback: 0 }
    }

    /// Second differences of tick, command and feedback at the next reading.
    fn second_differences(&self, next: Reading) -> [i32; 3] {
        [
            (next.tick.wrapping_sub(self.reading.tick) as i32).wrapping_sub(self.tick),
            next.command.wrapping_sub(self.reading.command).wrapping_sub(self.command),
            next.feedback.wrapping_sub(self.reading.feedback).wrapping_sub(self.feedback),
        ]
    }

    /// The next reading, from its second differences.
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

/// Packs readings one by one into a buffer of the caller.
#[derive(Clone, Copy, Debug)]
pub struct Packer {
    predictor: Predictor,
    used: usize,
}

impl Packer {
    /// Begins with this reading, which uses no bytes.
    pub fn new(start: Reading) -> Packer {
        Packer { predictor: Predictor::new(start), used: 0 }
    }

    /// Bytes used so far.
    pub fn used(&self) -> usize {
        self.used
    }

    /// Whether the buffer has room for any reading.
    pub fn has_room(&self, bytes: &[u8]) -> bool {
        self.used + 3 * varint::LONGEST <= bytes.len()
    }

    /// Adds a reading. Call it only while there is room, and always with the same buffer.
    pub fn push(&mut self, reading: Reading, bytes: &mut [u8]) {
        let differences = self.predictor.second_differences(reading);
        let [tick, command, feedback] = differences.map(varint::zigzag);
        let uneven = tick != 0 || command != 0;
        varint::push(bytes, &mut self.used, u64::from(feedback) << 1 | u64::from(uneven));
        if uneven {
            varint::push(bytes, &mut self.used, u64::from(tick));
            varint::push(bytes, &mut self.used, u64::from(command));
        }
        self.predictor.step(differences);
    }
}

impl<'a> Trace<'a> {
    /// Packs the next readings, as many as fit one payload; `None` if no readings remain.
    ///
    /// `first` is the index of the next reading within the capture. `factor` is set to 0.
    pub fn pack(
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

    /// Unpacks the readings; ends early if the bytes are malformed.
    pub fn readings(&self) -> impl Iterator<Item = Reading> + use<'a> {
        let start = Reading { tick: self.tick, command: self.command, feedback: self.feedback };
        let mut bytes = self.readings;
        let mut predictor = Predictor::new(start);
        let others = core::iter::from_fn(move || {
            let number = |bytes: &mut &[u8]| varint::pop(bytes).map(|value| varint::unzigzag(value as u32));
            let token = varint::pop(&mut bytes)?;
            let feedback = varint::unzigzag((token >> 1) as u32);
            let uneven = token & 1 != 0;
            let tick = if uneven { number(&mut bytes)? } else { 0 };
            let command = if uneven { number(&mut bytes)? } else { 0 };
            Some(predictor.step([tick, command, feedback]))
        });
        core::iter::once(start).chain(others)
    }
}
