//! In: a reader whose reads time out. Out: one that waits until bytes come, the other side ends, or this side hangs up.

use std::io::{self, ErrorKind, Read};
use std::time::Duration;

use super::{ConnectionError, HangUp};

/// Time-out of one read, after which it is looked whether this side has hung up.
pub(super) const TIME_OUT: Duration = Duration::from_millis(200);

/// What a read without bytes means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Empty {
    /// The other side has ended the connection properly.
    End,
    /// The port is gone.
    Gone,
}

/// Repeats reads that time out: a silent line is still connected.
pub(super) struct Patient<R> {
    inner: R,
    empty: Empty,
    hang_up: HangUp,
}

impl<R> Patient<R> {
    pub(super) fn new(inner: R, empty: Empty, hang_up: HangUp) -> Patient<R> {
        Patient { inner, empty, hang_up }
    }
}

impl<R: Read> Read for Patient<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        while !self.hang_up.is_hung_up() {
            match self.inner.read(out) {
                // Which of the first two it is depends on the system.
                Err(error) if is_time_out(error.kind()) => (),
                Ok(0) if !out.is_empty() && self.empty == Empty::Gone => return Err(hung_up()),
                read => return read,
            }
        }
        Ok(0)
    }
}

fn is_time_out(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted)
}

fn hung_up() -> io::Error {
    ConnectionError::new("the other side has hung up", "plug the monitor in again and restart this command")
        .into()
}
