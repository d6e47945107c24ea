//! In: a range of NOR flash. Out: its pages by serial number, their headers, and a window of bytes read from them.
//!
//! Everything on flash is little-endian. Erased bytes read 0xFF.

use core::ops::Range;

use embedded_storage::nor_flash::{NorFlash, NorFlashError};
use stillpoint_core::wire::crc::{Crc, SmallTable};

use super::Error;

/// What an erased byte reads.
pub(super) const BLANK: u8 = 0xFF;

/// Largest supported write or read granularity. Unit: bytes
const UNIT_MAX: usize = 256;

/// Holds the longest record at any granularity up to [`UNIT_MAX`]. Unit: bytes
const WINDOW: usize = 768;

/// Page header on flash, before padding: mark 4, serial 8, first 8, before 8, CRC-32 4. Unit: bytes
pub(super) const HEADER: usize = 32;

/// Opens every page; the last byte is the version of this layout.
const MARK: [u8; 4] = *b"SPL\x01";

/// The flash pages of one log.
#[derive(Clone, Copy, Debug)]
pub(super) struct Region {
    start: u32,
    /// How many pages; at least two.
    pub(super) pages: u32,
    /// One page, the erase granularity. Unit: bytes
    pub(super) page_bytes: u32,
    /// Write or read granularity: every record begins and ends on a multiple of it. Unit: bytes
    pub(super) unit: u32,
}

impl Region {
    /// Checks that the range consists of usable pages.
    pub(super) fn new<F: NorFlash>(flash: &F, range: Range<u32>) -> Result<Self, Error> {
        let unit = F::WRITE_SIZE.max(F::READ_SIZE);
        let page = F::ERASE_SIZE;
        let unit_is_supported = unit.is_power_of_two()
            && unit <= UNIT_MAX
            && unit.is_multiple_of(F::WRITE_SIZE)
            && unit.is_multiple_of(F::READ_SIZE)
            && page.is_multiple_of(unit);
        let (Ok(unit), Ok(page_bytes)) = (u32::try_from(unit), u32::try_from(page)) else {
            return Err(Error::Geometry);
        };
        let whole = range.start.is_multiple_of(page_bytes) && range.end.is_multiple_of(page_bytes);
        let inside = usize::try_from(range.end).is_ok_and(|end| end <= flash.capacity());
        let pages = range.end.saturating_sub(range.start).checked_div(page_bytes).unwrap_or(0);
        let roomy = page_bytes >= 8 * HEADER as u32 && page_bytes >= 4 * unit;
        if !(unit_is_supported && whole && inside && roomy && pages >= 2) {
            return Err(Error::Geometry);
        }
        Ok(Self { start: range.start, pages, page_bytes, unit })
    }

    /// Length rounded up to whole units. Unit: bytes
    pub(super) fn padded(&self, length: usize) -> u32 {
        // Lengths here are at most a page, which fits u32; the unit is a power of two.
        let below = self.unit.wrapping_sub(1);
        u32::try_from(length).unwrap_or(u32::MAX).saturating_add(below) & !below
    }

    /// Where the records of a page begin. Unit: bytes from the page's start
    pub(super) fn body(&self) -> u32 {
        self.padded(HEADER)
    }

    /// Flash address of the page with this serial number.
    pub(super) fn address(&self, serial: u64) -> u32 {
        let index = serial.checked_rem(u64::from(self.pages)).unwrap_or(0);
        self.start + u32::try_from(index).unwrap_or(0) * self.page_bytes
    }

    /// The oldest serial number that can be on flash together with this one.
    pub(super) fn oldest(&self, newest: u64) -> u64 {
        newest.saturating_add(1).saturating_sub(u64::from(self.pages))
    }
}

/// The header of a page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Header {
    /// Page openings since the log was new; page index = serial modulo number of pages.
    pub(super) serial: u64,
    /// Number of the record the page was opened for; the numbers of its records count from it.
    pub(super) first: u64,
    /// Newest sealed number when the page was opened; equal to `first` if there was none.
    pub(super) before: u64,
}

/// A page header as found on flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Top {
    /// Nothing written there.
    Blank,
    /// Neither blank nor a header of this place: an interrupted erase, a partial header, or damage.
    Garbled,
    /// A header whose CRC and place agree.
    Valid(Header),
}

impl Header {
    /// The bytes on flash.
    pub(super) fn encode(&self) -> [u8; HEADER] {
        let mut bytes = [0; HEADER];
        let fields = MARK
            .into_iter()
            .chain(self.serial.to_le_bytes())
            .chain(self.first.to_le_bytes())
            .chain(self.before.to_le_bytes());
        bytes.iter_mut().zip(fields).for_each(|(byte, field)| *byte = field);
        let crc = SmallTable::crc(bytes.split_last_chunk::<4>().map_or(&[], |(covered, _)| covered));
        if let Some((_, end)) = bytes.split_last_chunk_mut::<4>() {
            *end = crc.to_le_bytes();
        }
        bytes
    }

    /// The header in these bytes, if they are one.
    fn decode(bytes: &[u8]) -> Option<Self> {
        let (mark, rest) = bytes.split_first_chunk::<4>()?;
        let (serial, rest) = rest.split_first_chunk::<8>()?;
        let (first, rest) = rest.split_first_chunk::<8>()?;
        let (before, crc) = rest.split_first_chunk::<8>()?;
        let (covered, _) = bytes.split_last_chunk::<4>()?;
        let valid = *mark == MARK && crc == SmallTable::crc(covered).to_le_bytes();
        valid.then(|| Self {
            serial: u64::from_le_bytes(*serial),
            first: u64::from_le_bytes(*first),
            before: u64::from_le_bytes(*before),
        })
    }
}

/// Bytes of one page in memory, so that scanning records takes few flash reads.
#[derive(Debug)]
pub(super) struct Window {
    bytes: [u8; WINDOW],
    /// Flash address of `bytes[0]`.
    at: u32,
    /// Bytes loaded; 0 after a write or an erase.
    loaded: u32,
}

impl Window {
    pub(super) const fn new() -> Self {
        Self { bytes: [BLANK; WINDOW], at: 0, loaded: 0 }
    }

    /// `length` bytes at `offset` of a page; `None` if they are outside the page or longer than the window.
    pub(super) fn bytes<F: NorFlash>(
        &mut self,
        flash: &mut F,
        region: &Region,
        page: u32,
        offset: u32,
        length: u32,
    ) -> Result<Option<&[u8]>, Error> {
        let at = page + offset;
        let held = at >= self.at && at + length <= self.at + self.loaded;
        if !held {
            let load = region.page_bytes.saturating_sub(offset).min(WINDOW as u32);
            self.loaded = 0;
            let Some(space) = self.bytes.get_mut(..load as usize) else { return Ok(None) };
            flash.read(at, space).map_err(|error| Error::Flash(error.kind()))?;
            (self.at, self.loaded) = (at, load);
        }
        let from = (at - self.at) as usize;
        let loaded = self.bytes.get(..self.loaded as usize).unwrap_or(&[]);
        Ok(loaded.get(from..from + length as usize))
    }

    /// What stands at the header of the page for `serial`.
    pub(super) fn top<F: NorFlash>(
        &mut self,
        flash: &mut F,
        region: &Region,
        serial: u64,
    ) -> Result<Top, Error> {
        let page = region.address(serial);
        let mut space = [BLANK; UNIT_MAX];
        let Some(space) = space.get_mut(..region.body() as usize) else { return Ok(Top::Garbled) };
        flash.read(page, space).map_err(|error| Error::Flash(error.kind()))?;
        if space.iter().all(|byte| *byte == BLANK) {
            return Ok(Top::Blank);
        }
        let header = space.get(..HEADER).and_then(Header::decode);
        let in_place = header.filter(|header| region.address(header.serial) == page);
        Ok(in_place.map_or(Top::Garbled, Top::Valid))
    }

    /// Writes `parts` one after the other, padded with blank bytes to whole units. The window is the workspace and is
    /// empty afterwards. `false` if the parts are longer than the window.
    pub(super) fn write<F: NorFlash>(
        &mut self,
        flash: &mut F,
        region: &Region,
        at: u32,
        parts: &[&[u8]],
    ) -> Result<bool, Error> {
        self.loaded = 0;
        let length = parts.iter().map(|part| part.len()).sum();
        let Some(space) = self.bytes.get_mut(..region.padded(length) as usize) else { return Ok(false) };
        space.fill(BLANK);
        let bytes = parts.iter().copied().flatten();
        space.iter_mut().zip(bytes).for_each(|(byte, given)| *byte = *given);
        flash.write(at, space).map_err(|error| Error::Flash(error.kind()))?;
        Ok(true)
    }

    /// Erases the page for `serial`.
    pub(super) fn erase<F: NorFlash>(
        &mut self,
        flash: &mut F,
        region: &Region,
        serial: u64,
    ) -> Result<(), Error> {
        self.loaded = 0;
        let page = region.address(serial);
        flash.erase(page, page + region.page_bytes).map_err(|error| Error::Flash(error.kind()))
    }
}
