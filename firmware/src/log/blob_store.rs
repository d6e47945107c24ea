//! In: a blob of bytes, such as the device's settings. Out: the last blob saved completely, after any power cut.
//!
//! Two pages, A and B. Saving writes the page that is *not* the newest, blob first and header last: the newest complete
//! blob stays untouched until the next one is complete.
//!
//! # Power-loss rules
//! - After [`BlobStore::save`] has returned `Ok`, [`BlobStore::load`] returns that blob until the next is complete.
//! - A cut during `save` leaves the old blob or the new one, never anything else: CRC-32 covers serial, length and blob.
//! - Both pages wear equally: saves erase them in turn.
//!
//! Bytes (little-endian): mark `SPK` and layout version 1 (4), serial (8), length (4), CRC-32 over serial, length and
//! blob (4), padded with 0xFF to the write granularity; then the blob, padded likewise.

use core::ops::Range;

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::wire::crc::Running;

use super::Error;
use super::page::{Region, Window};

/// Mark 4, serial 8, length 4, CRC-32 4. Unit: bytes
const HEADER: usize = 20;

/// Opens every slot; the last byte is the version of this layout.
const MARK: [u8; 4] = *b"SPK\x01";

/// Bytes written or checked at once; a multiple of every supported granularity. Unit: bytes
const CHUNK: u32 = 512;

/// The header of a page with a blob.
#[derive(Clone, Copy)]
struct Slot {
    serial: u64,
    length: u32,
    crc: u32,
}

/// A blob store on two pages. Every call gets the flash it was made for.
#[derive(Debug)]
pub struct BlobStore {
    region: Region,
    window: Window,
}

impl BlobStore {
    /// Uses two pages. `range` is in bytes from the start of the flash and touches no flash yet.
    pub fn new<F: NorFlash>(flash: &F, range: Range<u32>) -> Result<Self, Error> {
        let region = Region::new(flash, range)?;
        if region.pages != 2 {
            return Err(Error::Geometry);
        }
        Ok(Self { region, window: Window::new() })
    }

    /// Longest blob. Unit: bytes
    pub fn longest(&self) -> usize {
        (self.region.page_bytes - self.body()) as usize
    }

    /// The last blob saved completely, copied into `buffer`; `None` if there never was one.
    pub fn load<'b, F: NorFlash>(
        &mut self,
        flash: &mut F,
        buffer: &'b mut [u8],
    ) -> Result<Option<&'b [u8]>, Error> {
        let Some(slot) = self.newest(flash)? else { return Ok(None) };
        let needed = slot.length as usize;
        let Some(space) = buffer.get_mut(..needed) else { return Err(Error::Buffer(needed)) };
        let mut rest = &mut *space;
        self.each_chunk(flash, &slot, |chunk| {
            if let Some((part, later)) = core::mem::take(&mut rest).split_at_mut_checked(chunk.len()) {
                part.iter_mut().zip(chunk).for_each(|(byte, stored)| *byte = *stored);
                rest = later;
            }
        })?;
        Ok(Some(space))
    }

    /// Saves a blob in place of the one before. Blocks for one page erase and the writes.
    ///
    /// After an error the blob before is still there, and the same call may be repeated.
    pub fn save<F: NorFlash>(&mut self, flash: &mut F, blob: &[u8]) -> Result<(), Error> {
        let length = u32::try_from(blob.len()).ok().filter(|length| *length as usize <= self.longest());
        let Some(length) = length else { return Err(Error::TooLong(self.longest())) };
        let serial = self.newest(flash)?.map_or(0, |slot| slot.serial.saturating_add(1));
        let mut sum = begin(serial, length);
        sum.add(blob);
        let crc = sum.end();
        let page = self.region.address(serial);
        self.window.erase(flash, &self.region, serial)?;
        let mut at = page + self.body();
        for chunk in blob.chunks(CHUNK as usize) {
            self.window.write(flash, &self.region, at, &[chunk])?;
            at += CHUNK;
        }
        let fields: [&[u8]; 4] = [&MARK, &serial.to_le_bytes(), &length.to_le_bytes(), &crc.to_le_bytes()];
        self.window.write(flash, &self.region, page, &fields)?;
        let complete = self.complete(flash, serial)?.is_some_and(|slot| slot.serial == serial);
        if complete { Ok(()) } else { Err(Error::Worn) }
    }

    /// Where the blob begins. Unit: bytes from the page's start
    fn body(&self) -> u32 {
        self.region.padded(HEADER)
    }

    /// The newer of the complete slots.
    fn newest<F: NorFlash>(&mut self, flash: &mut F) -> Result<Option<Slot>, Error> {
        let (a, b) = (self.complete(flash, 0)?, self.complete(flash, 1)?);
        Ok([a, b].into_iter().flatten().max_by_key(|slot| slot.serial))
    }

    /// The slot on the page for `serial`, if header and blob are complete.
    fn complete<F: NorFlash>(&mut self, flash: &mut F, serial: u64) -> Result<Option<Slot>, Error> {
        let (page, body, longest) = (self.region.address(serial), self.body(), self.longest());
        let header = self.window.bytes(flash, &self.region, page, 0, body)?;
        let Some(slot) = header.and_then(decode) else { return Ok(None) };
        if slot.length as usize > longest || self.region.address(slot.serial) != page {
            return Ok(None);
        }
        let mut sum = begin(slot.serial, slot.length);
        self.each_chunk(flash, &slot, |chunk| sum.add(chunk))?;
        Ok((sum.end() == slot.crc).then_some(slot))
    }

    /// Calls `visit` with each piece of the blob of a slot.
    fn each_chunk<F: NorFlash>(
        &mut self,
        flash: &mut F,
        slot: &Slot,
        mut visit: impl FnMut(&[u8]),
    ) -> Result<(), Error> {
        let page = self.region.address(slot.serial);
        let mut done = 0;
        while done < slot.length {
            let length = CHUNK.min(slot.length - done);
            let chunk = self.window.bytes(flash, &self.region, page, self.body() + done, length)?;
            chunk.into_iter().for_each(&mut visit);
            done += length;
        }
        Ok(())
    }
}

/// The header in these bytes, its blob not yet checked.
fn decode(bytes: &[u8]) -> Option<Slot> {
    let (mark, rest) = bytes.split_first_chunk::<4>()?;
    let (serial, rest) = rest.split_first_chunk::<8>()?;
    let (length, rest) = rest.split_first_chunk::<4>()?;
    let (crc, _) = rest.split_first_chunk::<4>()?;
    (*mark == MARK).then(|| Slot {
        serial: u64::from_le_bytes(*serial),
        length: u32::from_le_bytes(*length),
        crc: u32::from_le_bytes(*crc),
    })
}

/// A check sum over serial and length, to be continued.
fn begin(serial: u64, length: u32) -> Running {
    let mut sum = Running::default();
    sum.add(&serial.to_le_bytes());
    sum.add(&length.to_le_bytes());
    sum
}
