//! In: the file of a store and its write-ahead log, whatever their state. Out: the pages in use, one by one.
//!
//! The format is published: sqlite.org/fileformat2.html, parts 1.3 (header), 1.5 (free list), 1.8 (pointer maps) and 4
//! (write-ahead log). A page is used as it was last committed. Pages that were given back are not used, so that rows
//! that were deleted do not come back; which those are says the list of free pages or, where it is damaged, the pointer
//! maps.

use std::collections::{HashMap, HashSet};
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

/// Size of a page of a store. Unit: bytes
pub(super) const PAGE: usize = 4096;
/// What the file begins with.
const MAGIC: &[u8] = b"SQLite format 3\0";
/// The page that the lock of the file occupies; it holds nothing.
const LOCK_PAGE: u32 = (1 << 30) / PAGE as u32 + 1;
/// Pages of which a pointer map says what they are.
const MAPPED: u32 = PAGE as u32 / 5;
/// Unit: bytes
const LOG_HEADER: usize = 32;
/// Before every page in the log. Unit: bytes
const FRAME_HEADER: usize = 24;

/// The pages of a file.
#[derive(Debug)]
pub(super) struct Pages {
    file: File,
    log: Option<Log>,
    /// How many pages the file has.
    pub(super) count: u32,
    free: HashSet<u32>,
    /// Whether it is known of every page whether it is free.
    pub(super) free_is_known: bool,
}

impl Pages {
    /// Opens a file and its log.
    pub(super) fn open(path: &Path) -> io::Result<Pages> {
        let mut file = File::open(path)?;
        let in_file = u32::try_from(file.seek(SeekFrom::End(0))? / PAGE as u64).unwrap_or(u32::MAX);
        let log = Log::open(path);
        // A log that was made up may name more pages than there are.
        let present = |log: &Log| in_file.saturating_add(u32::try_from(log.places.len()).unwrap_or(u32::MAX));
        let count = log.as_ref().map_or(in_file, |log| log.pages.min(present(log)));
        let mut pages = Pages { file, log, count, free: HashSet::new(), free_is_known: true };
        let mut first = [0; PAGE];
        let header = pages.read(1, &mut first).then_some(&first).filter(|first| first.starts_with(MAGIC));
        let listed = header.and_then(|first| pages.listed(number(first, 32), number(first, 36)));
        match listed {
            Some(listed) => pages.free = listed,
            None => pages.find_free(),
        }
        Ok(pages)
    }

    /// Reads a page; false if it is not there.
    pub(super) fn read(&mut self, page: u32, into: &mut [u8; PAGE]) -> bool {
        let in_log = self.log.as_mut().and_then(|log| Some((log.places.get(&page).copied()?, &mut log.file)));
        let (place, file) = match in_log {
            Some((place, file)) => (place, file),
            None if page >= 1 => (u64::from(page - 1) * PAGE as u64, &mut self.file),
            None => return false,
        };
        file.seek(SeekFrom::Start(place)).and_then(|_| file.read_exact(into)).is_ok()
    }

    /// Whether rows may be on a page.
    pub(super) fn may_hold_rows(&self, page: u32) -> bool {
        !self.free.contains(&page) && page != LOCK_PAGE
    }

    /// Whether a page is a pointer map where a file has those.
    pub(super) fn is_map(page: u32) -> bool {
        map_of(page) == Some(page)
    }

    /// The free pages by the list that begins at a page; none if it is damaged.
    fn listed(&mut self, mut trunk: u32, count: u32) -> Option<HashSet<u32>> {
        let (mut free, mut page) = (HashSet::new(), [0; PAGE]);
        while trunk != 0 {
            let is_new = trunk <= self.count && free.insert(trunk);
            if !is_new || !self.read(trunk, &mut page) {
                return None;
            }
            let leaves = number(&page, 4) as usize;
            let listed = page.get(8..8 + leaves.checked_mul(4)?)?;
            for leaf in listed.chunks_exact(4).map(|leaf| number(leaf, 0)) {
                if leaf == 0 || leaf > self.count || !free.insert(leaf) {
                    return None;
                }
            }
            trunk = number(&page, 0);
        }
        (free.len() == count as usize).then_some(free)
    }

    /// The free pages by the pointer maps.
    fn find_free(&mut self) {
        let (mut page, mut map) = ([0; PAGE], 2);
        while map <= self.count {
            let mapped = (map + 1..=self.count.min(map + MAPPED)).zip(page_entries(self, map, &mut page));
            let kinds: Vec<(u32, u8)> = mapped.collect();
            // 1 root, 2 free, 3 and 4 overflow, 5 another page of a tree; the page of the lock has none.
            let is_map = kinds.iter().all(|(page, kind)| (1..=5).contains(kind) || *page == LOCK_PAGE);
            if is_map && !kinds.is_empty() {
                self.free.extend(kinds.iter().filter(|(_, kind)| *kind == 2).map(|(page, _)| page));
            } else {
                self.free_is_known = false;
            }
            map = map_of(map + MAPPED + 2).unwrap_or(u32::MAX);
        }
    }
}

/// The kinds of the pages that follow on a pointer map.
fn page_entries(pages: &mut Pages, map: u32, page: &mut [u8; PAGE]) -> Vec<u8> {
    if !pages.read(map, page) {
        return vec![];
    }
    page.chunks_exact(5).filter_map(|entry| entry.first().copied()).collect()
}

/// The pointer map that has the entry of a page, or that the page is; none for the first page.
fn map_of(page: u32) -> Option<u32> {
    let map = page.checked_sub(2)? / (MAPPED + 1) * (MAPPED + 1) + 2;
    Some(if map == LOCK_PAGE { map + 1 } else { map })
}

/// Four bytes from a place on, big-endian; 0 beyond the end.
pub(super) fn number(bytes: &[u8], place: usize) -> u32 {
    bytes.get(place..place + 4).and_then(|bytes| bytes.try_into().ok()).map_or(0, u32::from_be_bytes)
}

/// The write-ahead log as far as it is committed.
#[derive(Debug)]
struct Log {
    file: File,
    /// Where the newest committed copy of a page lies.
    places: HashMap<u32, u64>,
    /// How many pages the file has after the last commit.
    pages: u32,
}

impl Log {
    /// None if nothing in it is committed.
    fn open(path: &Path) -> Option<Log> {
        let mut name = path.as_os_str().to_owned();
        name.push("-wal");
        let mut file = File::open(name).ok()?;
        let mut header = [0; LOG_HEADER];
        file.read_exact(&mut header).ok()?;
        let is_big = match number(&header, 0) {
            0x377F_0682 => false,
            0x377F_0683 => true,
            _ => return None,
        };
        let mut sum = checksum((0, 0), header.get(..24)?, is_big);
        let is_ours = number(&header, 8) == PAGE as u32;
        if !is_ours || sum != (number(&header, 24), number(&header, 28)) {
            return None;
        }
        let (mut places, mut fresh, mut pages) = (HashMap::new(), vec![], 0);
        let (mut frame, mut place) = ([0; FRAME_HEADER + PAGE], LOG_HEADER as u64);
        while file.read_exact(&mut frame).is_ok() && frame.get(8..16) == header.get(16..24) {
            sum = checksum(sum, frame.get(..8)?, is_big);
            sum = checksum(sum, frame.get(FRAME_HEADER..)?, is_big);
            if sum != (number(&frame, 16), number(&frame, 20)) {
                break;
            }
            fresh.push((number(&frame, 0), place + FRAME_HEADER as u64));
            place += frame.len() as u64;
            if number(&frame, 4) > 0 {
                pages = number(&frame, 4);
                places.extend(fresh.drain(..));
            }
        }
        (pages > 0).then_some(Log { file, places, pages })
    }
}

/// The checksum of the log, continued over bytes.
fn checksum((mut first, mut second): (u32, u32), bytes: &[u8], is_big: bool) -> (u32, u32) {
    let read = |pair: &[u8], place| {
        let word = number(pair, place);
        if is_big { word } else { word.swap_bytes() }
    };
    for pair in bytes.chunks_exact(8) {
        first = first.wrapping_add(read(pair, 0)).wrapping_add(second);
        second = second.wrapping_add(read(pair, 4)).wrapping_add(first);
    }
    (first, second)
}
