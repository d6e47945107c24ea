//! In: what was appended and which pages were erased. Out: whether a log read back is what it must be.
//!
//! The plain model of the flash log: a list. It shares nothing with the log but the page an entry was written to.

use std::collections::BTreeMap;

use stillpoint_firmware::log::{FRAME_MAX, Log};

use super::Flash;

/// The possible content of the flash.
#[derive(Clone, Default)]
pub struct Model {
    /// Sealed entries by number: frame, page, and whether the page's erase has begun since.
    sealed: BTreeMap<u64, (Vec<u8>, usize, bool)>,
    /// The entry being written when power was lost; it may be sealed or not.
    open: Option<(u64, Vec<u8>)>,
    newest: Option<u64>,
}

impl Model {
    /// Appends to the log and notes it: sealed if the log says so, open if it failed.
    /// `true` if it was sealed.
    pub fn append<const UNIT: usize, const PAGE: usize>(
        &mut self,
        flash: &mut Flash<UNIT, PAGE>,
        log: &mut Log,
        number: u64,
        frame: Vec<u8>,
    ) -> bool {
        let done = log.append(flash, number, &frame).is_ok();
        self.note_erased(flash);
        if done {
            self.seal(number, frame, flash.written);
        } else {
            self.open = Some((number, frame));
        }
        done
    }

    /// The newest number sealed.
    pub fn newest(&self) -> Option<u64> {
        self.newest
    }

    /// Reads the whole log and compares. Everything sealed and not dropped is there; nothing else is, but what was
    /// sealed on a page whose erase was cut, or the whole open entry, which then counts as sealed.
    pub fn check<const UNIT: usize, const PAGE: usize>(
        &mut self,
        flash: &mut Flash<UNIT, PAGE>,
        log: &mut Log,
    ) {
        let written = flash.written;
        let found = read_all(flash, log, 0);
        if let Some((number, frame)) = self.open.take()
            && found.last().is_some_and(|(last, bytes)| (*last, bytes) == (number, &frame))
        {
            self.seal(number, frame, written);
        }
        for (number, frame) in &found {
            let known = self.sealed.get(number).map(|(frame, ..)| frame);
            assert_eq!(known, Some(frame), "entry {number} was never sealed like this");
        }
        assert!(found.is_sorted_by(|a, b| a.0 < b.0), "numbers must rise");
        let numbers: Vec<u64> = found.iter().map(|(number, _)| *number).collect();
        for (number, (_, page, dropped)) in &self.sealed {
            let there = numbers.binary_search(number).is_ok();
            assert!(there || *dropped, "sealed entry {number} of page {page} is lost");
        }
        assert_eq!(log.newest(), self.newest, "newest");
        assert_eq!(oldest(log, flash), numbers.first().copied(), "oldest");
    }

    fn seal(&mut self, number: u64, frame: Vec<u8>, page: usize) {
        self.sealed.insert(number, (frame, page, false));
        self.newest = Some(number);
    }

    fn note_erased<const UNIT: usize, const PAGE: usize>(&mut self, flash: &mut Flash<UNIT, PAGE>) {
        for (erased, done) in flash.begun.drain(..) {
            let on_page = self.sealed.values_mut().filter(|(_, page, _)| *page == erased);
            on_page.for_each(|(_, _, dropped)| *dropped = true);
            self.sealed.retain(|_, (_, page, _)| *page != erased || !done);
        }
    }
}

/// The number of the oldest entry that can be read.
pub fn oldest<const UNIT: usize, const PAGE: usize>(
    log: &mut Log,
    flash: &mut Flash<UNIT, PAGE>,
) -> Option<u64> {
    let mut cursor = log.since(flash, 0).unwrap();
    log.read(flash, &mut cursor, &mut [0; FRAME_MAX]).unwrap().map(|entry| entry.number)
}

/// Every entry from a number on.
pub fn read_all<const UNIT: usize, const PAGE: usize>(
    flash: &mut Flash<UNIT, PAGE>,
    log: &mut Log,
    from: u64,
) -> Vec<(u64, Vec<u8>)> {
    let mut cursor = log.since(flash, from).unwrap();
    let (mut buffer, mut found) = ([0; FRAME_MAX], vec![]);
    while let Some(entry) = log.read(flash, &mut cursor, &mut buffer).unwrap() {
        found.push((entry.number, entry.frame.to_vec()));
    }
    found
}
