//! In: the name of a serial port. Out: its bytes, until the other side is gone.

use std::io::{self, Read};
use std::time::Duration;

use super::{Ended, Line};

/// Unit: baud
const BAUD: u32 = 921_600;

/// How long a line may be silent before it is asked again.
const SILENCE: Duration = Duration::from_millis(200);

/// Opens the port.
pub(super) fn open(path: &str) -> io::Result<Line> {
    let mut port = serial2::SerialPort::open(path, BAUD)?;
    port.set_read_timeout(SILENCE)?;
    let writer = port.try_clone()?;
    Ok(Line { reader: Box::new(Patient(port)), writer: Some(Box::new(writer)) })
}

/// Silence on a line is not its end.
struct Patient<R>(R);

impl<R: Read> Read for Patient<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        loop {
            match self.0.read(out) {
                Err(error) if error.kind() == io::ErrorKind::TimedOut => (),
                // Silence would have timed out: so a system tells that the port is gone.
                Ok(0) if !out.is_empty() => return Err(gone()),
                read => return read,
            }
        }
    }
}

fn gone() -> io::Error {
    Ended::new("the other side has hung up", "plug the monitor in again and start anew").into()
}
