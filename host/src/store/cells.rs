//! In: a page of the file. Out: the rows on it, whether or not any other page is intact.
//!
//! The format is published: sqlite.org/fileformat2.html, parts 1.6 (pages of trees and their cells), 1.7 (overflow) and
//! 2.1 (records).

use rusqlite::types::Value;

use super::pages::{PAGE, Pages, number};

/// A row as it lies in the file.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cell {
    /// Its number in a table that has them; none in a table that is ordered by its key.
    pub(super) row: Option<i64>,
    pub(super) values: Vec<Value>,
}

/// The first byte of a page of a tree.
const KEYS_ABOVE: u8 = 2;
const ROWS_ABOVE: u8 = 5;
const KEYS: u8 = 10;
const ROWS: u8 = 13;

/// What a page turned out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum PageKind {
    /// Of a tree, and every cell could be read.
    Whole,
    /// Of a tree, but some cells can't be read.
    Damaged,
    /// No page of a tree; perhaps the rest of a long row.
    Other,
}

/// Passes the rows of a page to `out`, and the pages with the rests of long rows to `rests`.
pub(super) fn cells(
    pages: &mut Pages,
    page: u32,
    rests: &mut Vec<u32>,
    out: &mut dyn FnMut(Cell),
) -> PageKind {
    let mut bytes = [0; PAGE];
    if !pages.read(page, &mut bytes) {
        return PageKind::Damaged;
    }
    // The header of the file comes first on the first page.
    let head = if page == 1 { 100 } else { 0 };
    let (kind, places) = match bytes[head] {
        ROWS_ABOVE => return PageKind::Whole,
        kind @ KEYS_ABOVE => (kind, head + 12),
        kind @ (KEYS | ROWS) => (kind, head + 8),
        _ => return PageKind::Other,
    };
    let count = short(&bytes, head + 3);
    let mut is_whole = places + 2 * count <= PAGE;
    for cell in 0..count {
        match cell_at(pages, &bytes, short(&bytes, places + 2 * cell), kind, rests) {
            Some(cell) => out(cell),
            None => is_whole = false,
        }
    }
    if is_whole { PageKind::Whole } else { PageKind::Damaged }
}

/// Two bytes from a place on, big-endian; 0 beyond the end.
fn short(bytes: &[u8], place: usize) -> usize {
    bytes
        .get(place..place + 2)
        .map_or(0, |bytes| bytes.iter().fold(0, |sum, byte| sum << 8 | usize::from(*byte)))
}

fn cell_at(pages: &mut Pages, page: &[u8], place: usize, kind: u8, rests: &mut Vec<u32>) -> Option<Cell> {
    let mut rest = page.get(place..).filter(|_| place >= 8)?;
    if kind == KEYS_ABOVE {
        rest = rest.get(4..)?;
    }
    let length = usize::try_from(varint(&mut rest)?).ok()?;
    let row = if kind == ROWS { Some(varint(&mut rest)?) } else { None };
    let here = local(length, kind);
    let mut payload = rest.get(..here)?.to_vec();
    let mut next = if here < length { number(rest, here) } else { 0 };
    let mut overflow = [0; PAGE];
    while payload.len() < length {
        // A row is never longer than the file.
        if next == 0 || rests.len() > pages.count as usize || !pages.read(next, &mut overflow) {
            return None;
        }
        rests.push(next);
        let part = (length - payload.len()).min(PAGE - 4);
        payload.extend_from_slice(overflow.get(4..4 + part)?);
        next = number(&overflow, 0);
    }
    Some(Cell { row, values: record(&payload)? })
}

/// How much of a row of this length lies on the page itself. Unit: bytes
fn local(length: usize, kind: u8) -> usize {
    let most = if kind == ROWS { PAGE - 35 } else { (PAGE - 12) * 64 / 255 - 23 };
    let least = (PAGE - 12) * 32 / 255 - 23;
    let fitted = least + length.saturating_sub(least) % (PAGE - 4);
    if length <= most {
        length
    } else if fitted <= most {
        fitted
    } else {
        least
    }
}

/// Seven bits a byte, the highest first; the ninth byte has eight.
fn varint(bytes: &mut &[u8]) -> Option<i64> {
    let mut value = 0_i64;
    for place in 1..=9 {
        let (byte, rest) = bytes.split_first()?;
        *bytes = rest;
        if place == 9 {
            return Some(value << 8 | i64::from(*byte));
        }
        value = value << 7 | i64::from(byte & 0x7F);
        if byte & 0x80 == 0 {
            return Some(value);
        }
    }
    None
}

/// The values of a record; none if their lengths do not fit it.
fn record(payload: &[u8]) -> Option<Vec<Value>> {
    let mut head = payload;
    let length = usize::try_from(varint(&mut head)?).ok()?;
    let before = payload.len() - head.len();
    let (mut head, mut body) = (head.get(..length.checked_sub(before)?)?, payload.get(length..)?);
    let mut values = vec![];
    while !head.is_empty() {
        values.push(value(varint(&mut head)?, &mut body)?);
    }
    body.is_empty().then_some(values)
}

fn value(kind: i64, body: &mut &[u8]) -> Option<Value> {
    let length = match kind {
        0 | 8 | 9 => 0,
        1..=4 => kind,
        5 => 6,
        6 | 7 => 8,
        12.. => (kind - 12) / 2,
        _ => return None,
    };
    let (bytes, rest) = body.split_at_checked(usize::try_from(length).ok()?)?;
    *body = rest;
    // The sign of an integer is that of its first byte.
    let whole = || {
        let sign = if bytes.first().is_some_and(|byte| byte & 0x80 > 0) { -1_i64 } else { 0 };
        bytes.iter().fold(sign, |sum, byte| sum << 8 | i64::from(*byte))
    };
    Some(match kind {
        0 => Value::Null,
        8 => Value::Integer(0),
        9 => Value::Integer(1),
        7 => Value::Real(f64::from_bits(whole() as u64)),
        1..=6 => Value::Integer(whole()),
        _ if kind % 2 == 0 => Value::Blob(bytes.to_vec()),
        _ => Value::Text(String::from_utf8(bytes.to_vec()).ok()?),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rusqlite::{Connection, params};

    /// Integers of every length in the file.
    const NUMBERS: [i64; 12] =
        [0, 1, -1, 127, -128, 32_768, -8_388_609, 1 << 31, -(1 << 40), 1 << 47, i64::MIN, i64::MAX];

    /// A text that is longer in each row, up to several pages.
    fn text(row: usize) -> String {
        "x".repeat(row * row * 150)
    }

    fn real(row: usize) -> f64 {
        NUMBERS[row].wrapping_mul(3) as f64 / 7.0
    }

    fn write(file: &Connection) {
        file.execute_batch(
            "PRAGMA auto_vacuum = INCREMENTAL; PRAGMA journal_mode = WAL;
            CREATE TABLE plain (id INTEGER PRIMARY KEY, a, b, c, d);
            CREATE TABLE keyed (a INTEGER, b, PRIMARY KEY (a)) WITHOUT ROWID;",
        )
        .expect("SQL");
        for (row, number) in NUMBERS.iter().enumerate() {
            let values = params![row as i64, number, text(row), real(row)];
            file.execute("INSERT INTO plain VALUES (?1, ?2, ?3, ?4, NULL)", values).expect("a row");
            let values = params![number, text(row).into_bytes()];
            file.execute("INSERT INTO keyed VALUES (?1, ?2)", values).expect("a row");
        }
    }

    /// SQLite writes, and the rows are found without it.
    #[test]
    fn what_sqlite_wrote_is_read() {
        let path = std::env::temp_dir().join(format!("stillpoint-{}-cells", std::process::id()));
        let remove = || {
            for ending in ["", "-wal", "-shm"] {
                std::fs::remove_file(format!("{}{ending}", path.display())).ok();
            }
        };
        remove();
        let file = Connection::open(&path).expect("a file");
        write(&file);
        for ends in ["in the log", "in the file"] {
            let (plain, keyed) = read(&path);
            assert_eq!((plain.len(), keyed.len()), (NUMBERS.len(), NUMBERS.len()), "{ends}");
            for cell in plain {
                let row = cell.row.expect("a number") as usize;
                let texts = [Value::Null, Value::Integer(NUMBERS[row]), Value::Text(text(row))];
                assert_eq!((&cell.values[..3], &cell.values[4]), (&texts[..], &Value::Null));
                assert_eq!(cell.values[3], Value::Real(real(row)));
            }
            file.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())).expect("a checkpoint");
        }
        // Rows that were deleted are not found, whatever pages their tree gave back.
        file.execute_batch("DELETE FROM keyed; PRAGMA wal_checkpoint(TRUNCATE)").expect("SQL");
        assert_eq!(read(&path).1, []);
        remove();
    }

    /// The rows of both tables.
    fn read(path: &std::path::Path) -> (Vec<Cell>, Vec<Cell>) {
        let mut pages = Pages::open(path).expect("a file");
        let (mut plain, mut keyed, mut rests) = (vec![], vec![], vec![]);
        for page in (1..=pages.count).filter(|page| pages.may_hold_rows(*page)).collect::<Vec<_>>() {
            cells(&mut pages, page, &mut rests, &mut |cell| match (cell.row, cell.values.len()) {
                (Some(_), 5) if cell.values[0] == Value::Null => plain.push(cell),
                (None, 2) => keyed.push(cell),
                _ => (),
            });
        }
        assert!(pages.free_is_known);
        (plain, keyed)
    }
}
