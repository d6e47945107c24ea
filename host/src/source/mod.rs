//! In: the name of a source. Out: a connection: the monitor's bytes, and a writer for commands if it accepts any.

pub mod probe;
pub mod rehearsal;
mod patient;
mod serial;
mod tcp;
pub mod line;

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, sync_channel};
use std::time::Duration;

use crate::error::Error;

/// A connection to a monitor.
pub struct Connection {
    /// The monitor's bytes.
    pub reader: Box<dyn Read + Send>,
    /// Writes commands; `None` for a file.
    pub writer: Option<Box<dyn Write + Send>>,
    /// Ends a read that waits.
    pub hang_up: HangUp,
    /// Whether it leaves this computer, and as plain text.
    pub is_plain_and_remote: bool,
}

/// Ends the reads of a serial or TCP connection, also one that waits for bytes; within a fifth of a second.
#[derive(Clone, Debug, Default)]
pub struct HangUp(Arc<AtomicBool>);

impl HangUp {
    /// No more is read.
    pub fn hang_up(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    fn is_hung_up(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// A connection that is being opened, on a thread: a name server, a host or a driver may take its time.
pub struct Opening(Receiver<Result<Connection, Unopened>>);

impl Opening {
    /// Begins to open a connection, as [`open_with`].
    pub fn begin(place: &str, image: Option<&Path>) -> Opening {
        let (out, opened) = sync_channel(1);
        let (place, image) = (place.to_owned(), image.map(Path::to_owned));
        // A connection that comes too late is dropped, and so closed.
        std::thread::spawn(move || out.send(try_to_open(&place, image.as_deref())).ok());
        Opening(opened)
    }

    /// Waits for the connection; `None` if it is not open after this time.
    pub fn wait(&self, longest: Duration) -> Option<Result<Connection, Unopened>> {
        self.0.recv_timeout(longest).ok()
    }
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

/// Refuses a name that can never be a source.
pub fn check(place: &str) -> Result<(), Error> {
    match place.split_once(':') {
        Some(("file" | "tcp" | "serial" | "probe", _)) => Ok(()),
        _ => Err(Error::Option {
            option: "SOURCE".to_owned(),
            value: place.to_owned(),
            wrong: "is not a source".to_owned(),
            remedy: "give serial:PATH, tcp:HOST:PORT, file:PATH or probe:CHIP".to_owned(),
        }),
    }
}

/// Opens `serial:PATH`, `tcp:HOST:PORT`, `file:PATH` or `probe:CHIP`.
pub fn open(place: &str) -> Result<Connection, Error> {
    open_with(place, None)
}

/// As [`open`], with the image that runs on the chip of a probe: the chip's log is then decoded as well.
pub fn open_with(place: &str, image: Option<&Path>) -> Result<Connection, Error> {
    try_to_open(place, image).map_err(|unopened| unopened.error)
}

/// A connection that could not be opened.
#[derive(Debug)]
pub struct Unopened {
    /// Why.
    pub error: Error,
    /// Whether it may be opened later, although nothing is changed here: the other side may not be ready yet.
    pub passes: bool,
}

fn try_to_open(place: &str, image: Option<&Path>) -> Result<Connection, Unopened> {
    let lasts = |error| Unopened { error, passes: false };
    let unopened = |error| {
        let passes = place.starts_with("tcp:") && tcp::passes(&error);
        Unopened { error: connection_error(place, error), passes }
    };
    check(place).map_err(lasts)?;
    match place.split_once(':').unwrap_or_default() {
        ("file", path) => {
            let file = File::open(path).map_err(unopened)?;
            Ok(Connection {
                reader: Box::new(file),
                writer: None,
                hang_up: HangUp::default(),
                is_plain_and_remote: false,
            })
        }
        ("tcp", address) => tcp::open(address).map_err(unopened),
        ("serial", path) => serial::open(path).map_err(unopened),
        (_, chip) => probe::open(chip, image).map_err(lasts),
    }
}
