//! In: the name of a source. Out: a connection: the monitor's bytes, and a writer for commands if it accepts any.

pub mod probe;
pub mod rehearsal;
mod serial;
mod tcp;

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;

use crate::error::Error;

/// A connection to a monitor.
pub struct Connection {
    /// The monitor's bytes.
    pub reader: Box<dyn Read + Send>,
    /// Writes commands; `None` for a file.
    pub writer: Option<Box<dyn Write + Send>>,
}

/// Why a connection failed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{wrong}; {remedy}")]
pub struct ConnectionError {
    wrong: String,
    remedy: String,
}

impl ConnectionError {
    /// What is wrong, and what to do.
    pub fn new(wrong: impl ToString, remedy: impl ToString) -> ConnectionError {
        ConnectionError { wrong: wrong.to_string(), remedy: remedy.to_string() }
    }

    /// The error of a source.
    pub fn at(self, place: &str) -> Error {
        Error::Unreached { place: place.to_owned(), wrong: self.wrong, remedy: self.remedy }
    }
}

impl From<ConnectionError> for io::Error {
    fn from(error: ConnectionError) -> io::Error {
        io::Error::new(io::ErrorKind::ConnectionAborted, error)
    }
}

/// The error for a failed read or write on a connection.
pub fn connection_error(place: &str, error: io::Error) -> Error {
    match error.downcast::<ConnectionError>() {
        Ok(error) => error.at(place),
        Err(source) => match tcp::network_error(source.kind()).filter(|_| place.starts_with("tcp:")) {
            Some(error) => error.at(place),
            None => Error::Unreadable { file: place.to_owned(), source },
        },
    }
}

/// Opens `serial:PATH`, `tcp:HOST:PORT`, `file:PATH` or `probe:CHIP`.
pub fn open(place: &str) -> Result<Connection, Error> {
    open_with(place, None)
}

/// As [`open`], with the image that runs on the chip of a probe: the chip's log is then decoded as well.
pub fn open_with(place: &str, image: Option<&Path>) -> Result<Connection, Error> {
    let unreadable = |error| connection_error(place, error);
    match place.split_once(':') {
        Some(("file", path)) => {
            let file = File::open(path).map_err(unreadable)?;
            Ok(Connection { reader: Box::new(file), writer: None })
        }
        Some(("tcp", address)) => tcp::open(address).map_err(unreadable),
        Some(("serial", path)) => serial::open(path).map_err(unreadable),
        Some(("probe", chip)) => probe::open(chip, image),
        _ => Err(Error::Option {
            option: "SOURCE".to_owned(),
            value: place.to_owned(),
            wrong: "is not a source".to_owned(),
            remedy: "give serial:PATH, tcp:HOST:PORT, file:PATH or probe:CHIP".to_owned(),
        }),
    }
}
