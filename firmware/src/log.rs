//! In: sealed frames with their numbers. Out: the same frames later, after any number of power cuts.
//!
//! An append-only ring over all pages of a NOR flash range. Every page is erased once per turn of the ring; opening a
//! page drops the whole oldest page. Frames are opaque bytes; their numbers rise and may skip.
//!
//! # Power-loss rules
//! - An entry is **sealed** when [`Log::append`] has returned `Ok`: all its bytes are written and were read back.
//!   Sealed entries survive any later cut until the ring drops their page.
//! - A cut during a write leaves a torn entry. [`Log::open`] reports it ([`Opened::torn`]), its page takes no more
//!   entries, and it is never read out: one CRC-32 covers length, number, place and bytes. If the tail still reads
//!   blank after the cut, the next entry goes there and is sealed only if it reads back.
//! - A cut during an erase, or before a page header is complete, leaves a page without a valid header
//!   ([`Opened::unfinished`]). It is always erased again before use: the only erase out of turn.
//! - Damage costs the entries it hits. All others, also on the same page, stay readable.
//!   If the newest page's *header* is damaged, its entries are lost and [`Log::newest`] falls back.
//!
//! # Bytes on flash (little-endian)
//! | page header, 32 bytes | entry, 8 bytes + frame |
//! |---|---|
//! | mark `SPL` and layout version 1 | length of the frame, 2 |
//! | serial, 8: page index = serial mod pages | number − `first`, 2 |
//! | first, 8: number this page was opened for | frame, 0 to 512 |
//! | before, 8: newest number sealed by then, or `first` | CRC-32 over serial (8), offset in page (4) and all the above |
//! | CRC-32 of the above, 4 | |
//!
//! Both are padded with 0xFF to the write (or read) granularity. An entry never crosses a page. With 4096-byte pages
//! and byte writes a page holds 58 frames of 62 bytes, so 16 MiB hold at least 237,510 of them; the page
//! header costs 0.55 bytes per frame.
//!
//! # Why not an existing crate
//! *sequential-storage* 8.0 (queue): power-cut safe, worn evenly, but an entry has no number, iteration starts at
//! the oldest entry only, and 8 bytes of header plus 8 of number make 78 bytes of a 62-byte frame, where ours
//! has 70. It reads and writes through async traits, serves write granularities up to 32 bytes, and its
//! push path holds an `unwrap`. *ekv* 1.0: every transaction opens a new file and so erases a page; its geometry is
//! fixed at build time, alignment is at most 4, and it does not use embedded-storage.

mod page;
mod scan;
mod write;
pub mod blob_store;

use core::ops::Range;

use embedded_storage::nor_flash::{NorFlash, NorFlashErrorKind};

use page::{Region, Window};

/// Longest frame an entry can hold. Unit: bytes
pub const FRAME_MAX: usize = 512;

/// Why an operation on the flash failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Error {
    /// The driver reported this. The same call may be repeated.
    Flash(NorFlashErrorKind),
    /// The range is not made of whole erasable pages, two or more, inside the flash, or its granularity is not supported:
    /// reads and writes in powers of two up to 256 bytes, pages of at least 256 bytes and four writes.
    Geometry,
    /// The frame is longer than this many bytes.
    TooLong(usize),
    /// The number is not above this one, the newest.
    NotAfter(u64),
    /// The caller's buffer is shorter than this many bytes. Nothing was skipped.
    Buffer(usize),
    /// What was written did not read back, on several pages: the flash is worn out or not there.
    Worn,
}

/// What opening found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Opened {
    /// Pages with a valid header.
    pub pages: u32,
    /// The newest page ends in bytes that are no entry: power was lost in a write.
    pub torn: bool,
    /// The next page is partly erased or has a partial header: power was lost while changing pages.
    pub unfinished: bool,
    /// Other pages without a valid header, and ranges of the newest page that are no entry.
    pub damaged: u32,
}

/// One frame from the log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry<'b> {
    /// The number it was appended with.
    pub number: u64,
    /// Its bytes, exactly as appended.
    pub frame: &'b [u8],
}

/// A reading position in the log. It stays valid while entries are appended: at the end it waits for them, and if the
/// ring overtakes it, it continues with the oldest entry.
#[derive(Clone, Copy, Debug)]
pub struct Cursor {
    serial: u64,
    /// Number for which the page was opened; `None` before its header was read.
    first: Option<u64>,
    offset: u32,
    /// Smallest number still to be read.
    from: u64,
    damaged: u32,
}

impl Cursor {
    /// Places skipped so far that hold no entry and are not blank: torn entries, damage, pages without a valid header.
    /// Each counts once, however long it is.
    pub fn damaged(&self) -> u32 {
        self.damaged
    }
}

/// The page being filled.
#[derive(Clone, Copy, Debug)]
struct Head {
    serial: u64,
    first: u64,
    /// Where the next entry goes; the page's size when it takes no more. Unit: bytes from the page's start
    end: u32,
}

/// The flash log. Every call gets the flash it was opened on; between calls others may use the flash.
///
/// A call blocks for at most one page erase, one header and one entry, or three times that on worn flash.
#[derive(Debug)]
pub struct Log {
    region: Region,
    head: Option<Head>,
    newest: Option<u64>,
    window: Window,
}

impl Log {
    /// Opens the log, after a cut or not, and writes nothing: reads every page header and the newest page.
    /// `range` is in bytes from the start of the flash, whole pages.
    pub fn open<F: NorFlash>(flash: &mut F, range: Range<u32>) -> Result<(Self, Opened), Error> {
        let region = Region::new(flash, range)?;
        let mut log = Self { region, head: None, newest: None, window: Window::new() };
        let opened = log.mount(flash)?;
        Ok((log, opened))
    }

    /// The newest sealed number, as far as the flash still holds it; the next number must be above it.
    pub fn newest(&self) -> Option<u64> {
        self.newest
    }

    /// A cursor before the first entry with `number` or above. Finds it by halving: reads about log2(pages) page headers.
    pub fn since<F: NorFlash>(&mut self, flash: &mut F, number: u64) -> Result<Cursor, Error> {
        let serial = self.page_holding(flash, number)?;
        Ok(Cursor { serial, first: None, offset: 0, from: number, damaged: 0 })
    }

    /// The next entry at the cursor, its frame put in `buffer`; `None` at the end of the log.
    pub fn read<'b, F: NorFlash>(
        &mut self,
        flash: &mut F,
        cursor: &mut Cursor,
        buffer: &'b mut [u8],
    ) -> Result<Option<Entry<'b>>, Error> {
        let mut ahead = *cursor;
        let Some(found) = self.advance(flash, &mut ahead)? else {
            *cursor = ahead;
            return Ok(None);
        };
        let Some(space) = buffer.get_mut(..usize::from(found.length)) else {
            return Err(Error::Buffer(found.length.into()));
        };
        self.copy(flash, &found, space)?;
        *cursor = ahead;
        Ok(Some(Entry { number: found.number, frame: space }))
    }
}
