//! In: a library, a seed, the length of a shift, whether the axis wears. Out: its records and settling curves, drawn move
//! by move.

use stillpoint_core::{CurvePoint, Record};

use super::full::age;
use super::library::Library;
use crate::chance::Chance;

/// One axis during a shift.
pub struct Work<'a> {
    library: &'a Library,
    chance: Chance,
    wears: bool,
    /// Unit: ticks
    length: f64,
    entry: usize,
    number: u32,
    now: u64,
}

impl<'a> Work<'a> {
    /// Begins at the first entry of the script; every axis has chance of its own.
    pub fn new(library: &'a Library, seed: u64, hours: f64, wears: bool) -> Work<'a> {
        let mixed =
            library.known.name.bytes().fold(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15), |mixed, byte| {
                (mixed ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3)
            });
        let length = hours * 3600.0 * f64::from(library.known.settings.ticks_per_second);
        Work { library, chance: Chance::new(mixed), wears, length, entry: 0, number: 0, now: 0 }
    }
}

impl<'a> Work<'a> {
    /// The next move with its settling curve; none after the end of the shift.
    pub fn step(&mut self) -> Option<(Record, &'a [CurvePoint])> {
        let age = if self.wears { age(self.now as f64 / self.length) } else { 0.0 };
        let library = self.library;
        let drawn = library.draw(self.entry, age, &mut self.chance);
        let start = self.now;
        let command_end = start + (drawn.record.command_end - drawn.record.start);
        self.entry = (self.entry + 1) % library.entries();
        self.number += 1;
        self.now += drawn.lasts;
        let record = Record { number: self.number, start, command_end, ..drawn.record };
        ((self.now as f64) < self.length).then_some((record, drawn.curve.as_slice()))
    }
}

impl Iterator for Work<'_> {
    type Item = Record;

    fn next(&mut self) -> Option<Record> {
        self.step().map(|(record, _)| record)
    }
}
