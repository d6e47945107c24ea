//! In: an image, and the log bytes of its program. Out: lines of text.

use std::io::Write;
use std::path::Path;

use defmt_decoder::{Encoding, Table};
use probe_rs::rtt::find_rtt_control_block_in_raw_file;

use crate::error::Error;
use crate::report::number;
use crate::report::printable::printable;

/// A longer message is damaged, because the ring on the chip is shorter. Unit: bytes
const LONGEST: usize = 1 << 16;

/// What an image says about its program.
#[derive(Debug)]
pub struct Image {
    /// Address of its rings in the chip's memory.
    pub block: Option<u64>,
    /// The texts of its log.
    pub table: Option<Table>,
}

impl Image {
    /// Reads an image. Errors: the file can't be read, is not an ELF file, or its log has an unknown version.
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
            wrong(
                format!("is not an ELF file: {error}"),
                "name the file that cargo built, not a converted one",
            )
        })?;
        let table = Table::parse(&bytes).map_err(|error| {
            wrong(format!("has a log of an unknown version: {error:#}"), "build it again")
        })?;
        Ok(Image { block, table })
    }
}

/// Decodes log bytes into text.
pub struct Log {
    table: Option<Table>,
    /// Bytes of an incomplete message.
    part: Vec<u8>,
    text: Box<dyn Write + Send>,
}

impl Log {
    /// Without a table the bytes can't be decoded and are dropped.
    pub fn new(table: Option<Table>, text: Box<dyn Write + Send>) -> Log {
        // Only this encoding marks the end of a message.
        let table = table.filter(|table| table.encoding() == Encoding::Rzcobs);
        Log { table, part: vec![], text }
    }

    /// Decodes the next bytes, cut anywhere; a zero ends each message.
    pub fn push(&mut self, bytes: &[u8]) {
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
                // A closed output is ignored.
                writeln!(self.text, "{}", printable(&message(table, &part))).ok();
            }
        }
    }
}

fn message(table: &Table, part: &[u8]) -> String {
    let mut decoder = table.new_stream_decoder();
    decoder.received(part);
    decoder.decode().map_or_else(
        |_| format!("log: {} damaged, or of another image", number::count_are(part.len(), "byte")),
        |frame| {
            let level = frame.level().map_or("print", |level| level.as_str());
            format!("log, {level}: {}", frame.display_message())
        },
    )
}
