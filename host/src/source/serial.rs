//! In: the name of a serial port. Out: a connection, which fails when the other side hangs up.

use std::io::{self, Read};
use std::time::Duration;

use super::{Connection, ConnectionError};

/// Unit: baud
const BAUD: u32 = 921_600;

/// Time-out of one read; a read that times out is repeated.
const TIME_OUT: Duration = Duration::from_millis(200);

/// Opens the port.
pub(super) fn open(path: &str) -> io::Result<Connection> {
    let mut port = serial2::SerialPort::open(path, BAUD)?;
    port.set_read_timeout(TIME_OUT)?;
    let writer = port.try_clone()?;
    Ok(Connection { reader: Box::new(RetryTimeOuts(port)), writer: Some(Box::new(writer)) })
}

/// Repeats reads that time out: a silent port is still connected.
struct RetryTimeOuts<R>(R);

impl<R: Read> Read for RetryTimeOuts<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        loop {
            match self.0.read(out) {
                Err(error) if error.kind() == io::ErrorKind::TimedOut => (),
                // A silent port times out, so an empty read means that the port is gone.
                Ok(0) if !out.is_empty() => return Err(hung_up()),
                read => return read,
            }
        }
    }
}

fn hung_up() -> io::Error {
    ConnectionError::new("the other side has hung up", "plug the monitor in again and restart this command")
        .into()
}
