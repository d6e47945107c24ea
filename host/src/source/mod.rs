//! In: where a monitor is to be heard. Out: its bytes, and a way to send it commands if there is one.

pub mod rehearsal;

use std::fs::File;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use crate::error::Error;

/// A monitor on the line.
pub struct Line {
    /// Its bytes.
    pub reader: Box<dyn Read + Send>,
    /// Commands to it; a file takes none.
    pub writer: Option<Box<dyn Write + Send>>,
}

/// Speed of a serial line. Unit: baud
const BAUD: u32 = 921_600;

/// How long a serial line may be silent before it is asked again.
const SILENCE: Duration = Duration::from_millis(200);

/// Opens `serial:PATH`, `tcp:HOST:PORT` or `file:PATH`.
pub fn open(place: &str) -> Result<Line, Error> {
    let unreadable = |source| Error::Unreadable { file: place.to_owned(), source };
    match place.split_once(':') {
        Some(("file", path)) => {
            let file = File::open(path).map_err(unreadable)?;
            Ok(Line { reader: Box::new(file), writer: None })
        }
        Some(("tcp", address)) => {
            let stream = TcpStream::connect(address).map_err(unreadable)?;
            stream.set_nodelay(true).map_err(unreadable)?;
            let writer = stream.try_clone().map_err(unreadable)?;
            Ok(Line { reader: Box::new(stream), writer: Some(Box::new(writer)) })
        }
        Some(("serial", path)) => serial(path).map_err(unreadable),
        _ => Err(Error::Option {
            option: "SOURCE".to_owned(),
            value: place.to_owned(),
            wrong: "is no place to listen to".to_owned(),
            remedy: "say serial:PATH, tcp:HOST:PORT or file:PATH".to_owned(),
        }),
    }
}

fn serial(path: &str) -> std::io::Result<Line> {
    let mut port = serial2::SerialPort::open(path, BAUD)?;
    port.set_read_timeout(SILENCE)?;
    let writer = port.try_clone()?;
    Ok(Line { reader: Box::new(Patient(port)), writer: Some(Box::new(writer)) })
}

/// Silence on a line is not its end.
struct Patient<R>(R);

impl<R: Read> Read for Patient<R> {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        loop {
            match self.0.read(out) {
                Err(error) if error.kind() == std::io::ErrorKind::TimedOut => (),
                read => return read,
            }
        }
    }
}
