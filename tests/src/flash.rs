//! In: reads, writes and erases, and the moment power is lost. Out: what a NOR flash would hold afterwards.
//!
//! Writes clear bits only. A cut write leaves the bytes before the cut and one unit in which each bit may or may not
//! have been cleared. A cut erase leaves its page in one of several wrecked states, from untouched to all blank.

pub mod model;

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};

/// Steps an erase takes, each a moment at which power can be lost.
const ERASE_STEPS: u64 = 16;

/// A NOR flash in memory: granularity `UNIT` of reads and writes, `PAGE` of erases. Unit: bytes
#[derive(Clone)]
pub struct Flash<const UNIT: usize, const PAGE: usize> {
    cells: Vec<u8>,
    /// Written and erase steps until power is lost.
    until_cut: Option<u64>,
    random: Random,
    /// Pages whose last erase was cut.
    wrecked: Vec<bool>,
    /// Pages on which some bits can't be cleared.
    weak: Vec<bool>,
    /// Erases begun, page by page.
    pub erases: Vec<u32>,
    /// Pages whose erase was begun, in order, and whether it was done; a test empties it.
    pub begun: Vec<(usize, bool)>,
    /// Page of the last write.
    pub written: usize,
    /// Bytes written and erase steps done.
    pub steps: u64,
    /// Read calls.
    pub reads: u64,
    /// Breaches of the flash's rules: a unit that is not blank written again, a wrecked page written.
    pub breaches: u64,
}

impl<const UNIT: usize, const PAGE: usize> Flash<UNIT, PAGE> {
    /// All blank.
    pub fn new(pages: usize, seed: u64) -> Self {
        Self {
            cells: vec![0xFF; pages * PAGE],
            until_cut: None,
            random: Random(seed),
            wrecked: vec![false; pages],
            weak: vec![false; pages],
            erases: vec![0; pages],
            begun: vec![],
            written: 0,
            steps: 0,
            reads: 0,
            breaches: 0,
        }
    }

    /// Power is lost after this many more steps.
    pub fn cut_after(&mut self, steps: u64) {
        self.until_cut = Some(steps);
    }

    /// Whether power is lost, and switches it on again.
    pub fn restore(&mut self) -> bool {
        self.until_cut.take() == Some(0)
    }

    /// Makes a page one whose bits no longer clear reliably.
    pub fn weaken(&mut self, page: usize) {
        self.weak[page] = true;
    }

    /// Changes one bit, as age or radiation would.
    pub fn flip(&mut self, bit: usize) {
        self.cells[bit / 8] ^= 1 << (bit % 8);
    }

    /// Counts up to `wanted` steps; fewer if power is lost before.
    fn spend(&mut self, wanted: u64) -> u64 {
        let done = self.until_cut.map_or(wanted, |until_cut| until_cut.min(wanted));
        self.until_cut = self.until_cut.map(|until_cut| until_cut - done);
        self.steps += done;
        done
    }

    fn powered(&self) -> Result<(), NorFlashErrorKind> {
        if self.until_cut == Some(0) { Err(NorFlashErrorKind::Other) } else { Ok(()) }
    }

    fn program(&mut self, at: usize, byte: u8, keeps: u8) {
        self.cells[at] &= byte | keeps;
    }

    fn wreck(&mut self, page: usize, done: u64) {
        let style = self.random.below(4);
        let edge = PAGE * done as usize / ERASE_STEPS as usize;
        for k in 0..PAGE {
            let cell = &mut self.cells[page * PAGE + k];
            *cell = match style {
                0 => self.random.word() as u8,
                1 if k < edge => 0xFF,
                2 if k >= edge => 0xFF,
                3 => *cell | self.random.word() as u8,
                _ => *cell,
            };
        }
    }
}

impl<const UNIT: usize, const PAGE: usize> ErrorType for Flash<UNIT, PAGE> {
    type Error = NorFlashErrorKind;
}

impl<const UNIT: usize, const PAGE: usize> ReadNorFlash for Flash<UNIT, PAGE> {
    const READ_SIZE: usize = UNIT;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, offset, bytes.len())?;
        self.powered()?;
        self.reads += 1;
        bytes.copy_from_slice(&self.cells[offset as usize..][..bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.cells.len()
    }
}

impl<const UNIT: usize, const PAGE: usize> NorFlash for Flash<UNIT, PAGE> {
    const WRITE_SIZE: usize = UNIT;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        for page in from as usize / PAGE..to as usize / PAGE {
            self.powered()?;
            self.erases[page] += 1;
            let done = self.spend(ERASE_STEPS);
            self.begun.push((page, done == ERASE_STEPS));
            self.wrecked[page] = done < ERASE_STEPS;
            if self.wrecked[page] {
                self.wreck(page, done);
            } else {
                self.cells[page * PAGE..][..PAGE].fill(0xFF);
            }
        }
        self.powered()
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        self.powered()?;
        let offset = offset as usize;
        self.written = offset / PAGE;
        self.breaches += u64::from(self.wrecked[self.written]);
        let done = self.spend(bytes.len() as u64) as usize;
        for (index, unit) in bytes.chunks(UNIT).enumerate() {
            let (first, last) = (index * UNIT, (index + 1) * UNIT);
            if first > done || (first == done && self.until_cut != Some(0)) {
                break;
            }
            let blank = self.cells[offset + first..offset + last].iter().all(|cell| *cell == 0xFF);
            self.breaches += u64::from(!blank);
            for (k, byte) in unit.iter().enumerate() {
                let torn = last > done || self.weak[self.written];
                let keeps = if torn { self.random.word() as u8 } else { 0 };
                self.program(offset + first + k, *byte, keeps);
            }
        }
        self.powered()
    }
}

/// A small seeded generator (splitmix64).
#[derive(Clone)]
pub struct Random(pub u64);

impl Random {
    /// The next 64 bits.
    pub fn word(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number below `limit`.
    pub fn below(&mut self, limit: u64) -> u64 {
        self.word() % limit
    }

    /// Some bytes: all kinds, and often runs of 0xFF and 0, which look like blank or torn flash.
    pub fn bytes(&mut self, length: usize) -> Vec<u8> {
        let style = self.below(4);
        let pick = |random: &mut Self| match style {
            0 => 0xFF,
            1 => (random.below(2) * 0xFF) as u8,
            _ => random.word() as u8,
        };
        (0..length).map(|_| pick(self)).collect()
    }
}
