//! In: pages as a power cut may have left them. Out: the entries that are whole, and where writing goes on.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::wire::crc::Running;

use super::page::{BLANK, Header, Region, Top, Window};
use super::{Cursor, Error, FRAME_MAX, Head, Log, Opened};

/// Before the frame: length 2, number − first 2. Unit: bytes
pub(super) const BEFORE_FRAME: usize = 4;

/// All but the frame: the above and the CRC-32. Unit: bytes
pub(super) const OVERHEAD: usize = BEFORE_FRAME + 4;

/// The check sum of an entry. Its place is under it, so that no copy of an entry elsewhere can be taken for one.
pub(super) fn crc<'p>(serial: u64, offset: u32, parts: impl IntoIterator<Item = &'p [u8]>) -> u32 {
    let mut sum = Running::default();
    sum.add(&serial.to_le_bytes());
    sum.add(&offset.to_le_bytes());
    parts.into_iter().for_each(|part| sum.add(part));
    sum.end()
}

/// A whole entry on flash.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    /// Page it lies on.
    pub(super) serial: u64,
    /// Unit: bytes from the page's start
    pub(super) offset: u32,
    /// Frame only. Unit: bytes
    pub(super) length: u16,
    pub(super) number: u64,
    /// Where the next one may begin. Unit: bytes from the page's start
    pub(super) next: u32,
}

/// The first whole entry at or after some place, and whether anything but blank lies before it.
pub(super) struct Walk {
    pub(super) found: Option<Found>,
    pub(super) dirty: bool,
}

/// A page whose header is known, and the part of it still to be walked.
#[derive(Clone, Copy)]
pub(super) struct Stretch {
    pub(super) serial: u64,
    pub(super) first: u64,
    pub(super) from: u32,
    pub(super) limit: u32,
}

impl Window {
    /// Looks for the first whole entry of a stretch, at every possible place: a damaged length costs one entry only.
    pub(super) fn walk<F: NorFlash>(
        &mut self,
        flash: &mut F,
        region: &Region,
        stretch: Stretch,
    ) -> Result<Walk, Error> {
        let mut dirty = false;
        let mut offset = stretch.from;
        while offset < stretch.limit {
            let found = self.entry_at(flash, region, Stretch { from: offset, ..stretch })?;
            if found.is_some() {
                return Ok(Walk { found, dirty });
            }
            let unit = self.bytes(flash, region, region.address(stretch.serial), offset, region.unit)?;
            dirty |= unit.is_some_and(|unit| unit.iter().any(|byte| *byte != BLANK));
            offset += region.unit;
        }
        Ok(Walk { found: None, dirty })
    }

    /// The entry that begins exactly where the stretch does.
    fn entry_at<F: NorFlash>(
        &mut self,
        flash: &mut F,
        region: &Region,
        stretch: Stretch,
    ) -> Result<Option<Found>, Error> {
        let Stretch { serial, first, from: offset, limit } = stretch;
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

    /// Walks the newest page to its end.
    fn find_end<F: NorFlash>(
        &mut self,
        flash: &mut F,
        header: Header,
        opened: &mut Opened,
    ) -> Result<(), Error> {
        let Header { serial, first, before } = header;
        let limit = self.region.page_bytes;
        let mut stretch = Stretch { serial, first, from: self.region.body(), limit };
        self.newest = (before != first).then_some(before);
        loop {
            let walk = self.window.walk(flash, &self.region, stretch)?;
            let Some(found) = walk.found else {
                opened.torn = walk.dirty;
                break;
            };
            opened.damaged += u32::from(walk.dirty);
            self.newest = Some(found.number);
            stretch.from = found.next;
        }
        self.head = Some(Head { serial, first, end: if opened.torn { limit } else { stretch.from } });
        Ok(())
    }

    /// Serial of the last page opened for `number` or a smaller one; of the oldest page if there is none.
    ///
    /// All entries on earlier pages are smaller than the number a page was opened for, so reading may start there.
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

    /// The number a page was opened for, if its header is good and it has not been used again.
    fn first_of<F: NorFlash>(&mut self, flash: &mut F, serial: u64) -> Result<Option<u64>, Error> {
        Ok(match self.window.top(flash, &self.region, serial)? {
            Top::Valid(header) if header.serial == serial => Some(header.first),
            _ => None,
        })
    }

    /// Moves a cursor behind the next entry it wants.
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
            let stretch = Stretch { serial: cursor.serial, first, from: cursor.offset, limit };
            let walk = self.window.walk(flash, &self.region, stretch)?;
            cursor.damaged += u32::from(walk.dirty);
            cursor.offset = walk.found.map_or(limit, |found| found.next);
            match walk.found {
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

    /// Reads the header of the cursor's page unless that is done; `None` if the page can't be read.
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
