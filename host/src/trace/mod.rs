//! In: an exported recording. Out: readings in counts and marked gaps, each with its line number.
//!
//! ```text
//! bytes ► encoding ► text_lines ► sniff ► head ► columns ► survey ► reader: layout
//!                        └──────► row_parser, held, two_clocks ► scale, clock ► rows     (every row, once the layout is known)
//!                                 or event_log, where each line holds one value
//! ```
//! The layout is detected from the head and some places further on, before the first row is read. So memory is bounded
//! for a recording of any length.

// Text.
mod cell;
mod decimal;
mod encoding;
mod number;
mod place;
mod stamp;
mod text_lines;
mod unit;

// Scales.
pub mod ratio;

// Options and results.
pub mod choice;
pub mod layout;
pub mod rows;

// The head of a recording.
mod signal_names;
mod columns;
mod sniff;
mod head;

// From numbers to readings.
mod position_unit;
mod survey;
mod noise;
mod sampled;
mod scale;
mod timebase;
mod clock;
mod two_clocks;

// One recording.
mod reader;
#[cfg(feature = "parquet")]
mod parquet;
mod row_parser;
mod job_column;
mod effort_column;
mod held;
mod event_log;
mod text;

pub use choice::Choice;
pub use layout::{CommandNoise, Layout, Signal};
pub use rows::{Fault, Faults, Row};

use crate::error::Error;
use encoding::decoded;
use reader::RowReader;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use text::{Stop, Text};
use text_lines::{HEAD, TextLines};

/// Rows in a block. Unit: rows
const BLOCK: usize = 4096;

/// Number and size of the places of a long file that are examined before reading. Unit: 1, bytes
const WINDOWS: (u64, usize) = (15, 1 << 14);

/// A recording, open for reading.
pub struct Trace {
    file: String,
    source: Source,
    reader: RowReader,
    bytes_read: Arc<AtomicU64>,
    ended: bool,
}

/// Source of the numbers.
enum Source {
    Text(Box<Text<Box<dyn Read + Send>>>),
    #[cfg(feature = "parquet")]
    Parquet(parquet::Parquet, u64),
}

/// Counts the bytes read from the file.
struct Counted<R> {
    reader: R,
    bytes_read: Arc<AtomicU64>,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let count = self.reader.read(out)?;
        self.bytes_read.fetch_add(count as u64, Ordering::Relaxed);
        Ok(count)
    }
}

impl Trace {
    /// Opens a file and detects its layout.
    pub fn open(path: impl AsRef<Path>, choice: &Choice) -> Result<Trace, Error> {
        let path = path.as_ref();
        let name = path.display().to_string();
        let unreadable = |source| Error::Unreadable { file: name.clone(), source };
        if path.is_dir() {
            return Err(Error::Folder { file: name });
        }
        let mut file = File::open(path).map_err(unreadable)?;
        #[cfg(feature = "parquet")]
        if is_parquet(&mut file).map_err(unreadable)? {
            let size = file.metadata().map_err(unreadable)?.len();
            let (source, reader) = parquet::Parquet::open(&name, file, choice)?;
            return Ok(Trace::new(name, Source::Parquet(source, size), reader, Arc::default()));
        }
        let windows = windows(&mut file).map_err(unreadable)?;
        Trace::begin(&name, file, &windows, choice)
    }

    /// Reads any input, such as standard input; `name` is for messages.
    pub fn from_reader(
        name: &str,
        reader: impl Read + Send + 'static,
        choice: &Choice,
    ) -> Result<Trace, Error> {
        Trace::begin(name, reader, &[], choice)
    }

    fn begin(
        name: &str,
        reader: impl Read + Send + 'static,
        windows: &[Vec<u8>],
        choice: &Choice,
    ) -> Result<Trace, Error> {
        let bytes_read = Arc::new(AtomicU64::new(0));
        let counted = Counted { reader, bytes_read: bytes_read.clone() };
        let unreadable = |source| Error::Unreadable { file: name.to_string(), source };
        let lines = decoded(counted).and_then(TextLines::new).map_err(unreadable)?;
        if lines.head().starts_with(b"PAR1") {
            return Err(Error::NoParquet { file: name.to_string() });
        }
        let (text, reader) = Text::open(name, lines, windows, choice)?;
        Ok(Trace::new(name.to_string(), Source::Text(Box::new(text)), reader, bytes_read))
    }

    fn new(file: String, source: Source, reader: RowReader, bytes_read: Arc<AtomicU64>) -> Trace {
        Trace { file, source, reader, bytes_read, ended: false }
    }

    /// The detected layout. Notes are added while reading.
    pub fn layout(&self) -> &Layout {
        &self.reader.layout
    }

    /// Replaces `rows` with the next block; `false` and no rows at the end.
    /// On an error `rows` holds the rows before it, and later calls give none. It is an error, too, if more than a tenth of
    /// the rows could not be read; it comes at the end.
    pub fn next_block(&mut self, rows: &mut Vec<Row>) -> Result<bool, Error> {
        rows.clear();
        let mut result = Ok(true);
        while rows.is_empty() && !self.ended {
            result = self.fill(rows);
            if !matches!(result, Ok(true)) {
                self.reader.finish(rows);
                self.ended = true;
                if let (Ok(_), Some(unread)) = (&result, self.reader.distrust()) {
                    result = Err(Stop::Unread(unread));
                }
            }
        }
        self.reader.tally(rows);
        result.map(|_| !rows.is_empty()).map_err(|stop| self.stopped(stop))
    }

    /// Adds rows; `false` when there are no more.
    fn fill(&mut self, rows: &mut Vec<Row>) -> Result<bool, Stop> {
        match &mut self.source {
            Source::Text(text) => text.read(&mut self.reader, BLOCK, rows),
            #[cfg(feature = "parquet")]
            Source::Parquet(parquet, size) => {
                let more = parquet.read(&mut self.reader, rows)?;
                self.bytes_read.store((parquet.share() * *size as f64) as u64, Ordering::Relaxed);
                Ok(more)
            }
        }
    }

    fn stopped(&self, stop: Stop) -> Error {
        let file = self.file.clone();
        match stop {
            Stop::Medium(source) => Error::Unreadable { file, source },
            Stop::Unread((line, wrong, remedy)) => Error::Recording { file, line, wrong, remedy },
            Stop::Header(line) => Error::Recording {
                file,
                line,
                wrong: "a second header differs from the first".to_string(),
                remedy: "split the file here and measure each part".to_string(),
            },
        }
    }

    /// Number of bytes read so far. Unit: bytes
    pub fn bytes_read(&self) -> u64 {
        self.bytes_read.load(Ordering::Relaxed)
    }

    /// The faults so far.
    pub fn faults(&self) -> &Faults {
        &self.reader.faults
    }
}

/// Whether the file begins like a Parquet file.
#[cfg(feature = "parquet")]
fn is_parquet(file: &mut File) -> io::Result<bool> {
    if !file.metadata()?.is_file() {
        return Ok(false);
    }
    let mut start = Vec::new();
    file.by_ref().take(4).read_to_end(&mut start)?;
    file.rewind()?;
    Ok(start == *b"PAR1")
}

/// Pieces from all parts of a file that is longer than its head, so that the resolution of counts suits the later rows.
/// Empty for a pipe, a short file or a file in UTF-16.
fn windows(file: &mut File) -> io::Result<Vec<Vec<u8>>> {
    let about = file.metadata()?;
    let (count, size) = WINDOWS;
    if !about.is_file() || about.len() <= HEAD as u64 + size as u64 {
        return Ok(Vec::new());
    }
    let mut start = [0; 512];
    let count_read = file.read(&mut start)?;
    let mut pieces = Vec::new();
    if encoding::wide(&start[..count_read]).0.is_none() {
        for at in 1..=count {
            file.seek(SeekFrom::Start((about.len() - size as u64) / count * at))?;
            let mut piece = Vec::with_capacity(size);
            file.by_ref().take(size as u64).read_to_end(&mut piece)?;
            pieces.push(piece);
        }
    }
    file.rewind()?;
    Ok(pieces)
}
