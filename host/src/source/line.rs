//! In: an open connection. Out: its bytes, or that none came in time; commands sent without waiting for the peer.
//!
//! One thread reads and one writes, each beside a short queue: memory is bounded, a wait has a deadline, and a peer that
//! reads nothing stalls nobody.

use std::io::{self, ErrorKind, Read, Write};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::time::Instant;

use super::{Connection, ConnectionError, HangUp};

/// Largest read. Unit: bytes
pub const CHUNK: usize = 1 << 14;

/// Chunks that wait to be heard; then the reading thread waits, and the system holds the sender back.
const WAITING_CHUNKS: usize = 16;

/// Commands that wait to be sent.
const WAITING_COMMANDS: usize = 16;

/// A connection with its two threads. Dropping it hangs up.
#[derive(Debug)]
pub struct Line {
    chunks: Receiver<io::Result<Vec<u8>>>,
    /// `None` where no commands are accepted.
    commands: Option<SyncSender<Vec<u8>>>,
    hang_up: HangUp,
}

/// What a line brings.
#[derive(Debug)]
pub enum Heard {
    /// Bytes, at least one.
    Bytes(Vec<u8>),
    /// Nothing, in the time that was waited.
    Nothing,
    /// No more will come: the other side has ended the connection.
    End,
    /// No more will come, because of this.
    Failed(io::Error),
}

impl Line {
    /// Starts the threads.
    pub fn new(connection: Connection) -> Line {
        let Connection { reader, writer, hang_up, .. } = connection;
        let (out, chunks) = sync_channel(WAITING_CHUNKS);
        let commands = writer.map(|writer| {
            let (commands, waiting) = sync_channel(WAITING_COMMANDS);
            let failed = out.clone();
            std::thread::spawn(move || write(writer, &waiting, &failed));
            commands
        });
        std::thread::spawn(move || read(reader, &out));
        Line { chunks, commands, hang_up }
    }

    /// Whether the other side accepts commands.
    pub fn accepts_commands(&self) -> bool {
        self.commands.is_some()
    }

    /// What comes next; waits until `deadline` at the latest.
    pub fn hear(&self, deadline: Instant) -> Heard {
        match self.chunks.recv_timeout(deadline.saturating_duration_since(Instant::now())) {
            Ok(Ok(bytes)) if bytes.is_empty() => Heard::End,
            Ok(Ok(bytes)) => Heard::Bytes(bytes),
            Ok(Err(error)) => Heard::Failed(error),
            Err(RecvTimeoutError::Timeout) => Heard::Nothing,
            Err(RecvTimeoutError::Disconnected) => Heard::End,
        }
    }

    /// Queues the bytes of a command. An error if the other side has not read earlier ones; a connection that has ended
    /// is reported by [`Line::hear`].
    pub fn send(&self, bytes: Vec<u8>) -> io::Result<()> {
        match self.commands.as_ref().map(|commands| commands.try_send(bytes)) {
            Some(Err(TrySendError::Full(_))) => Err(reads_nothing()),
            _ => Ok(()),
        }
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        self.hang_up.hang_up();
    }
}

/// Passes on what is read, until the end.
fn read(mut reader: Box<dyn Read + Send>, out: &SyncSender<io::Result<Vec<u8>>>) {
    let mut bytes = vec![0; CHUNK];
    loop {
        let chunk = reader.read(&mut bytes).map(|count| bytes.get(..count).unwrap_or_default().to_vec());
        let is_last = chunk.as_ref().map_or(true, Vec::is_empty);
        if out.send(chunk).is_err() || is_last {
            return;
        }
    }
}

/// Writes commands, until the line is dropped or the other side accepts none.
fn write(
    mut writer: Box<dyn Write + Send>,
    commands: &Receiver<Vec<u8>>,
    failed: &SyncSender<io::Result<Vec<u8>>>,
) {
    while let Ok(bytes) = commands.recv() {
        if let Err(error) = writer.write_all(&bytes).and_then(|()| writer.flush()) {
            // Any other error is the reader's too, after what it has still to read.
            if matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::WouldBlock) {
                failed.send(Err(reads_nothing())).ok();
            }
            return;
        }
    }
}

fn reads_nothing() -> io::Error {
    let remedy = "check that a monitor is connected, and restart this command";
    ConnectionError::new("the other side reads no commands", remedy).into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::pipe;
    use std::time::Duration;

    /// A line whose writer is one end of a pipe that nobody reads, and whose reader is silent.
    fn stalled() -> (Line, impl Sized) {
        let ((reader, silent), (unread, writer)) = (pipe().unwrap(), pipe().unwrap());
        let writer: Option<Box<dyn Write + Send>> = Some(Box::new(writer));
        let line = Line::new(Connection {
            reader: Box::new(reader),
            writer,
            hang_up: HangUp::default(),
            is_plain_and_remote: false,
        });
        (line, (silent, unread))
    }

    #[test]
    fn a_peer_that_reads_nothing_stalls_nobody() {
        let (line, _ends) = stalled();
        let command = || vec![0; 1 << 16];
        let refused = (0..=2 * WAITING_COMMANDS).find_map(|_| line.send(command()).err());
        assert!(refused.unwrap().to_string().contains("reads no commands"));
    }

    #[test]
    fn a_silent_line_is_waited_for_until_the_deadline_only() {
        let (line, ends) = stalled();
        assert!(matches!(line.hear(Instant::now() + Duration::from_millis(20)), Heard::Nothing));
        drop(ends);
        assert!(matches!(line.hear(Instant::now() + Duration::from_secs(60)), Heard::End));
    }
}
