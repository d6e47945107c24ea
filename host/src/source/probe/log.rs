//! In: an image, and bytes of the log that its program writes. Out: lines of words.

use std::io::Write;
use std::path::Path;

use defmt_decoder::{Encoding, Table};
use probe_rs::rtt::find_rtt_control_block_in_raw_file;

use crate::error::Error;
use crate::report::printable::printable;

/// A longer message is spoiled: the ring on the chip holds less. Unit: bytes
const LONGEST: usize = 1 << 16;

/// What an image tells of the program in it.
#[derive(Debug)]
pub struct Image {
    /// Where its rings are in the chip's memory.
    pub block: Option<u64>,
    /// The words of its log.
    pub table: Option<Table>,
}

impl Image {
    /// Errors: the file can't be read, is no ELF file, or its log is of an unknown version.
    pub fn read(path: &Path) -> Result<Image, Error> {
        let file = path.display().to_string();
        let bytes = std::fs::read(path).map_err(|source| Error::Unreadable { file: file.clone(), source })?;
        let wrong = |wrong: String, remedy: &str| Error::Option {
            option: "IMAGE".to_owned(),
            value: file.clone(),
            wrong,
            remedy: remedy.to_owned(),
        };
        let block = find_rtt_control_block_in_raw_file(&bytes).map_err(|error| {
            wrong(format!("is no ELF file: {error}"), "name the file that cargo built, not a converted one")
        })?;
        let table = Table::parse(&bytes)
            .map_err(|error| wrong(format!("has a log of another kind: {error:#}"), "build it again"))?;
        Ok(Image { block, table })
    }
}

/// Puts words together from bytes.
pub struct Log {
    table: Option<Table>,
    part: Vec<u8>,
    words: Box<dyn Write + Send>,
}

impl Log {
    /// Without a table the bytes can't be read and are dropped.
    pub fn new(table: Option<Table>, words: Box<dyn Write + Send>) -> Log {
        // Only this encoding says where a message ends.
        let table = table.filter(|table| table.encoding() == Encoding::Rzcobs);
        Log { table, part: vec![], words }
    }

    /// Bytes as they come; each message ends with a zero.
    pub fn take(&mut self, bytes: &[u8]) {
        let Some(table) = &self.table else { return };
        for &byte in bytes {
            self.part.push(byte);
            if byte != 0 {
                if self.part.len() > LONGEST {
                    self.part.clear();
                }
                continue;
            }
            let part = std::mem::take(&mut self.part);
            if part.len() > 1 {
                // If nobody can be told, that is no reason to stop.
                writeln!(self.words, "{}", printable(&message(table, &part))).ok();
            }
        }
    }
}

fn message(table: &Table, part: &[u8]) -> String {
    let mut decoder = table.new_stream_decoder();
    decoder.received(part);
    decoder.decode().map_or_else(
        |_| format!("log: {} bytes are spoiled, or of another image", part.len()),
        |frame| {
            let level = frame.level().map_or("print", |level| level.as_str());
            format!("log, {level}: {}", frame.display_message())
        },
    )
}
