//! In: rings of bytes in a chip's memory. Out: a connection, and the text of the log.

use std::io::{self, Cursor, Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use super::log::Log;
use crate::source::{Connection, ConnectionError, HangUp};

/// Rings in a chip's memory; no call blocks.
pub trait Rings: Send {
    /// Reads the frame bytes since the last call, as many as fit.
    fn frames(&mut self, out: &mut [u8]) -> Result<usize, ConnectionError>;
    /// Reads the log bytes since the last call.
    fn log(&mut self, out: &mut [u8]) -> Result<usize, ConnectionError>;
    /// Whether there is a ring for commands.
    fn accepts_commands(&self) -> bool;
    /// Writes command bytes; returns how many fitted.
    fn command(&mut self, bytes: &[u8]) -> Result<usize, ConnectionError>;
}

/// Pause while the rings are idle. At 92,160 bytes/s less than a twentieth of the frame ring fills in this time.
const IDLE: Duration = Duration::from_millis(2);

/// Chunks of frame bytes queued for the reader; beyond that the chip's ring fills, and the chip counts the losses.
const QUEUE: usize = 256;

/// Moves bytes on a thread until the connection is dropped or the rings fail.
pub fn start(rings: impl Rings + 'static, log: Log) -> Connection {
    let (frames, chunks) = sync_channel(QUEUE);
    let (sender, commands) = channel();
    let stop = Arc::new(AtomicBool::new(false));
    let writer = rings.accepts_commands().then(|| Box::new(CommandWriter(sender)) as Box<dyn Write + Send>);
    let mut pump = Pump { rings, log, frames, commands, unsent: vec![], stop: stop.clone() };
    let thread = std::thread::spawn(move || {
        if let Err(error) = pump.run() {
            // Without a reader the error is dropped.
            pump.frames.send(Err(error)).ok();
        }
    });
    let reader = FrameReader { chunks: Some(chunks), chunk: Cursor::default(), stop, thread: Some(thread) };
    Connection { reader: Box::new(reader), writer, hang_up: HangUp::default(), is_plain_and_remote: false }
}

struct Pump<R> {
    rings: R,
    log: Log,
    frames: SyncSender<Result<Vec<u8>, ConnectionError>>,
    commands: Receiver<Vec<u8>>,
    /// Command bytes that did not fit yet.
    unsent: Vec<u8>,
    stop: Arc<AtomicBool>,
}

impl<R: Rings> Pump<R> {
    fn run(&mut self) -> Result<(), ConnectionError> {
        let mut bytes = vec![0; 1 << 14];
        while !self.stop.load(Ordering::Relaxed) {
            self.unsent.extend(self.commands.try_iter().flatten());
            let sent = if self.unsent.is_empty() { 0 } else { self.rings.command(&self.unsent)? };
            self.unsent.drain(..sent.min(self.unsent.len()));
            let frames = self.rings.frames(&mut bytes)?;
            if frames > 0 && self.frames.send(Ok(first(&bytes, frames).to_vec())).is_err() {
                return Ok(());
            }
            let log = self.rings.log(&mut bytes)?;
            self.log.push(first(&bytes, log));
            if sent + frames + log == 0 {
                std::thread::sleep(IDLE);
            }
        }
        Ok(())
    }
}

fn first(bytes: &[u8], count: usize) -> &[u8] {
    bytes.get(..count).unwrap_or(bytes)
}

/// Reads the frame bytes that the pump has queued.
struct FrameReader {
    chunks: Option<Receiver<Result<Vec<u8>, ConnectionError>>>,
    chunk: Cursor<Vec<u8>>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Read for FrameReader {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        loop {
            let count = self.chunk.read(out)?;
            if count > 0 || out.is_empty() {
                return Ok(count);
            }
            match self.chunks.as_ref().map(Receiver::recv) {
                Some(Ok(chunk)) => self.chunk = Cursor::new(chunk?),
                _ => return Ok(0),
            }
        }
    }
}

impl Drop for FrameReader {
    /// Waits until the pump has stopped using the probe.
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        self.chunks = None;
        self.thread.take().map(JoinHandle::join);
    }
}

/// Queues command bytes for the pump.
struct CommandWriter(Sender<Vec<u8>>);

impl Write for CommandWriter {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let sent = self.0.send(bytes.to_vec());
        sent.map_err(|_| {
            ConnectionError::new(
                "the connection to the monitor is closed",
                "check its cable and restart this command",
            )
        })?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
