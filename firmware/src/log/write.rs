//! In: one frame and its number. Out: a sealed entry on flash, or the reason why there is none.

use embedded_storage::nor_flash::NorFlash;

use super::page::{Header, Top};
use super::scan::{BEFORE_FRAME, OVERHEAD, Section, crc};
use super::{Error, FRAME_MAX, Head, Log};

/// Pages tried before the flash counts as worn out.
const ATTEMPTS: u32 = 3;

/// Place for an entry.
#[derive(Clone, Copy)]
struct Room {
    serial: u64,
    first: u64,
    offset: u32,
    /// Number − first.
    step: u16,
}

impl Log {
    /// Appends one frame. After `Ok` it is sealed: it survives every later power cut, until the ring drops its page.
    ///
    /// After an error it is not sealed and the same call may be repeated; entries sealed before are unchanged, but the
    /// oldest page may have been dropped to make room. Numbers must rise; they may skip.
    pub fn append<F: NorFlash>(&mut self, flash: &mut F, number: u64, frame: &[u8]) -> Result<(), Error> {
        let space = (self.region.page_bytes - self.region.body()) as usize;
        let longest = FRAME_MAX.min(space.saturating_sub(OVERHEAD + self.region.unit as usize - 1));
        if frame.len() > longest {
            return Err(Error::TooLong(longest));
        }
        if let Some(newest) = self.newest.filter(|newest| number <= *newest) {
            return Err(Error::NotAfter(newest));
        }
        for _ in 0..ATTEMPTS {
            let room = match self.room(number, frame.len()) {
                Some(room) => Some(room),
                None if self.open_page(flash, number)? => self.room(number, frame.len()),
                None => None,
            };
            if let Some(room) = room
                && self.write_entry(flash, room, frame)?
            {
                self.newest = Some(number);
                return Ok(());
            }
        }
        Err(Error::Worn)
    }

    /// The place on the newest page, if there is one for this number and length.
    fn room(&self, number: u64, length: usize) -> Option<Room> {
        let Head { serial, first, end } = self.head?;
        let step = u16::try_from(number.checked_sub(first)?).ok()?;
        let fits = end + self.region.padded(OVERHEAD + length) <= self.region.page_bytes;
        fits.then_some(Room { serial, first, offset: end, step })
    }

    /// Opens the page after the newest: erases it, which drops the oldest entries, and writes its header. `false` if the
    /// header does not read back; the page then takes no entries.
    fn open_page<F: NorFlash>(&mut self, flash: &mut F, number: u64) -> Result<bool, Error> {
        let serial = self.head.map_or(0, |head| head.serial.saturating_add(1));
        let header = Header { serial, first: number, before: self.newest.unwrap_or(number) };
        self.window.erase(flash, &self.region, serial)?;
        self.window.write(flash, &self.region, self.region.address(serial), &[&header.encode()])?;
        let good = self.window.top(flash, &self.region, serial)? == Top::Valid(header);
        let end = if good { self.region.body() } else { self.region.page_bytes };
        self.head = Some(Head { serial, first: number, end });
        Ok(good)
    }

    /// Writes an entry and reads it back. If it does not read back its page takes no more entries: the content of its
    /// flash cells is unknown.
    fn write_entry<F: NorFlash>(&mut self, flash: &mut F, room: Room, frame: &[u8]) -> Result<bool, Error> {
        let Room { serial, first, offset, step } = room;
        let [l0, l1] = (frame.len() as u16).to_le_bytes();
        let [s0, s1] = step.to_le_bytes();
        let start: [u8; BEFORE_FRAME] = [l0, l1, s0, s1];
        let sum = crc(serial, offset, [&start[..], frame]).to_le_bytes();
        let next = offset + self.region.padded(OVERHEAD + frame.len());
        self.head = Some(Head { serial, first, end: self.region.page_bytes });

        let at = self.region.address(serial) + offset;
        self.window.write(flash, &self.region, at, &[&start, frame, &sum])?;
        let section = Section { serial, first, from: offset, limit: next };
        let back = self.window.scan(flash, &self.region, section)?.found;
        let good = back.is_some_and(|found| found.offset == offset);
        if good {
            self.head = Some(Head { serial, first, end: next });
        }
        Ok(good)
    }
}
