//! In: pages, after a power cut or not. Out: the undamaged entries, and where writing continues.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::wire::crc::Running;

use super::page::{BLANK, Header, Region, Top, Window};
use super::{Cursor, Error, FRAME_MAX, Head, Log, Opened};

/// Before the frame: length 2, number − first 2. Unit: bytes
pub(super) const BEFORE_FRAME: usize = 4;

/// Entry without its frame: the above and the CRC-32. Unit: bytes
pub(super) const OVERHEAD: usize = BEFORE_FRAME + 4;

/// The check sum of an entry. It covers the place, so that a copy of the entry elsewhere is not valid.
pub(super) fn crc<'p>(serial: u64, offset: u32, parts: impl IntoIterator<Item = &'p [u8]>) -> u32 {
    let mut sum = Running::default();
    sum.add(&serial.to_le_bytes());
    sum.add(&offset.to_le_bytes());
    parts.into_iter().for_each(|part| sum.add(part));
    sum.end()
}

/// An undamaged entry on flash.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    /// Of its page.
    pub(super) serial: u64,
    /// Unit: bytes from the page's start
    pub(super) offset: u32,
    /// Of the frame alone. Unit: bytes
    pub(super) length: u16,
    pub(super) number: u64,
    /// Where the next entry may begin. Unit: bytes from the page's start
    pub(super) next: u32,
}

/// The first undamaged entry of a section, and whether the bytes before it are not blank.
pub(super) struct Scan {
    pub(super) found: Option<Found>,
    pub(super) dirty: bool,
}

/// The part of a page still to be scanned; its header is known.
#[derive(Clone, Copy)]
pub(super) struct Section {
    pub(super) serial: u64,
    pub(super) first: u64,
    pub(super) from: u32,
    pub(super) limit: u32,
}

impl Window {
    /// Finds the first undamaged entry of a section. Tries every possible place, so that a damaged length costs one
    /// entry only.
    pub(super) fn scan<F: NorFlash>(
        &mut self,
        flash: &mut F,
        region: &Region,
        section: Section,
    ) -> Result<Scan, Error> {
        let mut dirty = false;
        let mut offset = section.from;
        while offset < section.limit {
            let found = self.entry_at(flash, region, Section { from: offset, ..section })?;
            if found.is_some() {
                return Ok(Scan { found, dirty });
            }
            let unit = self.bytes(flash, region, region.address(section.serial), offset, region.unit)?;
            dirty |= unit.is_some_and(|unit| unit.iter().any(|byte| *byte != BLANK));
            offset += region.unit;
        }
        Ok(Scan { found: None, dirty })
    }

    /// The entry at the begin of the section.
    fn entry_at<F: NorFlash>(
        &mut self,
        flash: &mut F,
        region: &Region,
        section: Section,
    ) -> Result<Option<Found>, Error> {
        let Section { serial, first, from: offset, limit } = section;
        let page = region.address(serial);
        if limit - offset < OVERHEAD as u32 {
            return Ok(None);
        }
        let Some(&[l0, l1, s0, s1]) = self.bytes(flash, region, page, offset, BEFORE_FRAME as u32)? else {
            return Ok(None);
        };
        let (length, step) = (u16::from_le_bytes([l0, l1]), u16::from_le_bytes([s0, s1]));
        let used = OVERHEAD + usize::from(length);
        let next = offset + region.padded(used);
        if usize::from(length) > FRAME_MAX || next > limit {
            return Ok(None);
        }
        let bytes = self.bytes(flash, region, page, offset, used as u32)?;
        let whole = bytes
            .and_then(|bytes| bytes.split_last_chunk::<4>())
            .is_some_and(|(covered, sum)| *sum == crc(serial, offset, [covered]).to_le_bytes());
        let number = first.wrapping_add(step.into());
        Ok(whole.then_some(Found { serial, offset, length, number, next }))
    }
}

impl Log {
    /// Finds the newest page and the end of its entries.
    pub(super) fn mount<F: NorFlash>(&mut self, flash: &mut F) -> Result<Opened, Error> {
        let mut opened = Opened::default();
        let mut newest: Option<Header> = None;
        for index in 0..u64::from(self.region.pages) {
            match self.window.top(flash, &self.region, index)? {
                Top::Blank => {}
                Top::Garbled => opened.damaged += 1,
                Top::Valid(header) => {
                    opened.pages += 1;
                    newest = newest.filter(|newest| newest.serial > header.serial).or(Some(header));
                }
            }
        }
        let next = newest.map_or(0, |header| header.serial.saturating_add(1));
        if self.window.top(flash, &self.region, next)? == Top::Garbled {
            opened.unfinished = true;
            opened.damaged = opened.damaged.saturating_sub(1);
        }
        if let Some(header) = newest {
            self.find_end(flash, header, &mut opened)?;
        }
        Ok(opened)
    }

    /// Scans the newest page to its end.
    fn find_end<F: NorFlash>(
        &mut self,
        flash: &mut F,
        header: Header,
        opened: &mut Opened,
    ) -> Result<(), Error> {
        let Header { serial, first, before } = header;
        let limit = self.region.page_bytes;
        let mut section = Section { serial, first, from: self.region.body(), limit };
        self.newest = (before != first).then_some(before);
        loop {
            let scan = self.window.scan(flash, &self.region, section)?;
            let Some(found) = scan.found else {
                opened.torn = scan.dirty;
                break;
            };
            opened.damaged += u32::from(scan.dirty);
            self.newest = Some(found.number);
            section.from = found.next;
        }
        self.head = Some(Head { serial, first, end: if opened.torn { limit } else { section.from } });
        Ok(())
    }

    /// Serial of the last page opened for `number` or a smaller one; of the oldest page if there is none.
    ///
    /// Entries on earlier pages have smaller numbers than the one a page was opened for, so reading may start there.
    pub(super) fn page_holding<F: NorFlash>(&mut self, flash: &mut F, number: u64) -> Result<u64, Error> {
        let Some(head) = self.head else { return Ok(0) };
        let (mut low, mut high) = (self.region.oldest(head.serial), head.serial);
        while low < high {
            let middle = low + (high - low).div_ceil(2);
            let mut probe = middle;
            let readable = loop {
                let first = self.first_of(flash, probe)?;
                if first.is_some() || probe == high {
                    break first;
                }
                probe += 1;
            };
            match readable {
                Some(first) if first <= number => low = probe,
                _ => high = middle - 1,
            }
        }
        Ok(low)
    }

    /// The number a page was opened for, if its header is valid and the page has not been used again.
    fn first_of<F: NorFlash>(&mut self, flash: &mut F, serial: u64) -> Result<Option<u64>, Error> {
        Ok(match self.window.top(flash, &self.region, serial)? {
            Top::Valid(header) if header.serial == serial => Some(header.first),
            _ => None,
        })
    }

    /// Moves a cursor behind the next entry to be read.
    pub(super) fn advance<F: NorFlash>(
        &mut self,
        flash: &mut F,
        cursor: &mut Cursor,
    ) -> Result<Option<Found>, Error> {
        let Some(head) = self.head else { return Ok(None) };
        loop {
            let oldest = self.region.oldest(head.serial);
            if cursor.serial < oldest {
                (cursor.serial, cursor.first) = (oldest, None);
            }
            let Some(first) = self.enter(flash, cursor)? else {
                if cursor.serial >= head.serial {
                    return Ok(None);
                }
                (cursor.serial, cursor.first) = (cursor.serial + 1, None);
                continue;
            };
            let last = cursor.serial == head.serial;
            let limit = if last { head.end } else { self.region.page_bytes };
            let section = Section { serial: cursor.serial, first, from: cursor.offset, limit };
            let scan = self.window.scan(flash, &self.region, section)?;
            cursor.damaged += u32::from(scan.dirty);
            cursor.offset = scan.found.map_or(limit, |found| found.next);
            match scan.found {
                Some(found) if found.number >= cursor.from => {
                    cursor.from = found.number.saturating_add(1);
                    return Ok(Some(found));
                }
                None if last => return Ok(None),
                None => (cursor.serial, cursor.first) = (cursor.serial + 1, None),
                Some(_) => {}
            }
        }
    }

    /// Reads the header of the cursor's page unless it is known; `None` if it is not valid.
    fn enter<F: NorFlash>(&mut self, flash: &mut F, cursor: &mut Cursor) -> Result<Option<u64>, Error> {
        if cursor.first.is_none() {
            cursor.offset = self.region.body();
            cursor.first = match self.window.top(flash, &self.region, cursor.serial)? {
                Top::Valid(header) if header.serial == cursor.serial => Some(header.first),
                top => {
                    cursor.damaged += u32::from(top != Top::Blank);
                    None
                }
            };
        }
        Ok(cursor.first)
    }

    /// Copies the frame of an entry.
    pub(super) fn copy<F: NorFlash>(
        &mut self,
        flash: &mut F,
        found: &Found,
        space: &mut [u8],
    ) -> Result<(), Error> {
        let (page, offset) = (self.region.address(found.serial), found.offset);
        let used = OVERHEAD as u32 + u32::from(found.length);
        let entry = self.window.bytes(flash, &self.region, page, offset, used)?.unwrap_or(&[]);
        let frame = entry.iter().skip(BEFORE_FRAME);
        space.iter_mut().zip(frame).for_each(|(byte, found)| *byte = *found);
        Ok(())
    }
}
