//! In: where a monitor is to be heard. Out: its bytes, and a way to send it commands if there is one.

pub mod probe;
pub mod rehearsal;
mod serial;
mod tcp;

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;

use crate::error::Error;

/// A monitor on the line.
pub struct Line {
    /// Its bytes.
    pub reader: Box<dyn Read + Send>,
    /// Commands to it; a file takes none.
    pub writer: Option<Box<dyn Write + Send>>,
}

/// Why a line ended that should not have.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{wrong}; {remedy}")]
pub struct Ended {
    wrong: String,
    remedy: String,
}

impl Ended {
    /// What happened, and what to do about it.
    pub fn new(wrong: impl ToString, remedy: impl ToString) -> Ended {
        Ended { wrong: wrong.to_string(), remedy: remedy.to_string() }
    }

    /// The same, of a place.
    pub fn at(self, place: &str) -> Error {
        Error::Unreached { place: place.to_owned(), wrong: self.wrong, remedy: self.remedy }
    }
}

impl From<Ended> for io::Error {
    fn from(ended: Ended) -> io::Error {
        io::Error::new(io::ErrorKind::ConnectionAborted, ended)
    }
}

/// What a failed read or write on a line means.
pub fn failed(place: &str, error: io::Error) -> Error {
    match error.downcast::<Ended>() {
        Ok(ended) => ended.at(place),
        Err(source) => match tcp::told(source.kind()).filter(|_| place.starts_with("tcp:")) {
            Some(ended) => ended.at(place),
            None => Error::Unreadable { file: place.to_owned(), source },
        },
    }
}

/// Opens `serial:PATH`, `tcp:HOST:PORT`, `file:PATH` or `probe:CHIP`.
pub fn open(place: &str) -> Result<Line, Error> {
    open_with(place, None)
}

/// The same, with the image that runs on the monitor: a probe then reads the log as well.
pub fn open_with(place: &str, image: Option<&Path>) -> Result<Line, Error> {
    let unreadable = |error| failed(place, error);
    match place.split_once(':') {
        Some(("file", path)) => {
            let file = File::open(path).map_err(unreadable)?;
            Ok(Line { reader: Box::new(file), writer: None })
        }
        Some(("tcp", address)) => tcp::open(address).map_err(unreadable),
        Some(("serial", path)) => serial::open(path).map_err(unreadable),
        Some(("probe", chip)) => probe::open(chip, image),
        _ => Err(Error::Option {
            option: "SOURCE".to_owned(),
            value: place.to_owned(),
            wrong: "is no place to listen to".to_owned(),
            remedy: "say serial:PATH, tcp:HOST:PORT, file:PATH or probe:CHIP".to_owned(),
        }),
    }
}
