//! In: a recording as people export it. Out: readings in counts, or a marked gap, each with its line number.
//!
//! ```text
//! bytes ► encoding ► line ► sniff ► head ► columns ► survey ► pipe: layout
//!                      └──────► pick ► scale, clock ► rows        (every row, once the layout is known)
//! ```
//! The head and some places further on are looked at before the first row is read, so memory is
//! bounded however long the recording is.

// Bytes and words.
mod cell;
mod decimal;
mod encoding;
mod line;
mod number;
mod stamp;
mod unit;

// What the user says, and what comes out.
pub mod choice;
pub mod layout;
pub mod rows;

// What the head says.
mod sniff;
mod words;
mod columns;
mod head;

// From figures to readings.
mod survey;
mod pace;
mod clock;
mod scale;

// One recording.
mod pick;
mod pipe;
#[cfg(feature = "parquet")]
mod parquet;
mod text;

pub use choice::Choice;
pub use layout::{Layout, Signal};
pub use rows::{Fault, Faults, Row};

use crate::error::Error;
use encoding::decoded;
use line::{HEAD, Lines};
use pipe::Pipe;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use text::{Stop, Text};

/// How many rows a block holds. Unit: rows
const BLOCK: usize = 4096;

/// How many places of a long file are looked at beforehand, and how much of each. Unit: 1, bytes
const WINDOWS: (u64, usize) = (15, 1 << 14);

/// A recording that is being read.
pub struct Trace {
    file: String,
    source: Source,
    pipe: Pipe,
    taken: Arc<AtomicU64>,
    ended: bool,
}

/// Where figures come from.
enum Source {
    Text(Text<Box<dyn Read + Send>>),
    #[cfg(feature = "parquet")]
    Parquet(parquet::Parquet, u64),
}

/// Counts the bytes that were taken from the file.
struct Counted<R> {
    reader: R,
    taken: Arc<AtomicU64>,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let count = self.reader.read(out)?;
        self.taken.fetch_add(count as u64, Ordering::Relaxed);
        Ok(count)
    }
}

impl Trace {
    /// Opens a file and finds out how it is written.
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
            let (source, pipe) = parquet::Parquet::open(&name, file, choice)?;
            return Ok(Trace::new(name, Source::Parquet(source, size), pipe, Arc::default()));
        }
        let windows = windows(&mut file).map_err(unreadable)?;
        Trace::begin(&name, file, &windows, choice)
    }

    /// Reads from anything, such as standard input; `name` is for messages.
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
        let taken = Arc::new(AtomicU64::new(0));
        let counted = Counted { reader, taken: taken.clone() };
        let unreadable = |source| Error::Unreadable { file: name.to_string(), source };
        let lines = decoded(counted).and_then(Lines::new).map_err(unreadable)?;
        if lines.head().starts_with(b"PAR1") {
            return Err(Error::NoParquet { file: name.to_string() });
        }
        let (text, pipe) = Text::open(name, lines, windows, choice)?;
        Ok(Trace::new(name.to_string(), Source::Text(text), pipe, taken))
    }

    fn new(file: String, source: Source, pipe: Pipe, taken: Arc<AtomicU64>) -> Trace {
        Trace { file, source, pipe, taken, ended: false }
    }

    /// How the recording is read. Notes are added while reading.
    pub fn layout(&self) -> &Layout {
        &self.pipe.layout
    }

    /// Replaces `rows` by the next few thousand; `false`, with no rows, at the end.
    /// After an error `rows` holds what was read before it, and nothing more comes.
    pub fn next_block(&mut self, rows: &mut Vec<Row>) -> Result<bool, Error> {
        rows.clear();
        let mut result = Ok(true);
        while rows.is_empty() && !self.ended {
            result = self.fill(rows);
            if !matches!(result, Ok(true)) {
                self.pipe.finish(rows);
                self.ended = true;
            }
        }
        self.pipe.tally(rows);
        result.map(|_| !rows.is_empty()).map_err(|stop| self.stopped(stop))
    }

    /// Adds rows; `false` when there are no more.
    fn fill(&mut self, rows: &mut Vec<Row>) -> Result<bool, Stop> {
        match &mut self.source {
            Source::Text(text) => text.read(&mut self.pipe, BLOCK, rows),
            #[cfg(feature = "parquet")]
            Source::Parquet(parquet, size) => {
                let more = parquet.read(&mut self.pipe, rows)?;
                self.taken.store((parquet.share() * *size as f64) as u64, Ordering::Relaxed);
                Ok(more)
            }
        }
    }

    fn stopped(&self, stop: Stop) -> Error {
        let file = self.file.clone();
        match stop {
            Stop::Medium(source) => Error::Unreadable { file, source },
            Stop::Header(line) => Error::Recording {
                file,
                line,
                wrong: "a second header differs from the first".to_string(),
                remedy: "split the file here and measure each part".to_string(),
            },
        }
    }

    /// How far into the file reading has come. Unit: bytes
    pub fn bytes_read(&self) -> u64 {
        self.taken.load(Ordering::Relaxed)
    }

    /// What was wrong so far.
    pub fn faults(&self) -> &Faults {
        &self.pipe.faults
    }
}

/// Whether the file begins as Parquet files do.
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

/// Pieces from all over a file that is longer than its head, so that counts are made fine enough for
/// what comes later. None from a pipe, a short file or one in UTF-16.
fn windows(file: &mut File) -> io::Result<Vec<Vec<u8>>> {
    let about = file.metadata()?;
    let (count, size) = WINDOWS;
    if !about.is_file() || about.len() <= HEAD as u64 + size as u64 {
        return Ok(Vec::new());
    }
    let mut start = [0; 512];
    let taken = file.read(&mut start)?;
    let mut pieces = Vec::new();
    if encoding::wide(&start[..taken]).0.is_none() {
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
