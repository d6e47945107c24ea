//! In: rings of bytes in a chip's memory. Out: a line like any other, and words of the log.

use std::io::{self, Cursor, Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use super::log::Log;
use crate::source::{Ended, Line};

/// Rings that nobody waits at: each takes or gives what it can at once.
pub trait Rings: Send {
    /// Bytes of frames since the last call, as many as fit.
    fn frames(&mut self, out: &mut [u8]) -> Result<usize, Ended>;
    /// Bytes of the log.
    fn log(&mut self, out: &mut [u8]) -> Result<usize, Ended>;
    /// Whether there is a ring for commands.
    fn hears(&self) -> bool;
    /// Gives bytes of commands; answers how many were taken.
    fn command(&mut self, bytes: &[u8]) -> Result<usize, Ended>;
}

/// At 92,160 bytes/s of a monitor's line this is less than a twentieth of the ring it has for frames.
const IDLE: Duration = Duration::from_millis(2);

/// Pieces of frames that may wait for their reader; then the chip's ring fills, and it counts what is lost.
const WAITING: usize = 256;

/// Moves bytes until the line is dropped or the rings fail.
pub fn start(rings: impl Rings + 'static, log: Log) -> Line {
    let (frames, come) = sync_channel(WAITING);
    let (wanted, commands) = channel();
    let stop = Arc::new(AtomicBool::new(false));
    let writer = rings.hears().then(|| Box::new(Wanted(wanted)) as Box<dyn Write + Send>);
    let mut pump = Pump { rings, log, frames, commands, left: vec![], stop: stop.clone() };
    let thread = std::thread::spawn(move || {
        if let Err(ended) = pump.run() {
            // If nobody reads any more, nobody is to be told.
            pump.frames.send(Err(ended)).ok();
        }
    });
    let reader = Come { come: Some(come), piece: Cursor::default(), stop, thread: Some(thread) };
    Line { reader: Box::new(reader), writer }
}

struct Pump<R> {
    rings: R,
    log: Log,
    frames: SyncSender<Result<Vec<u8>, Ended>>,
    commands: Receiver<Vec<u8>>,
    /// Bytes of commands that found no room yet.
    left: Vec<u8>,
    stop: Arc<AtomicBool>,
}

impl<R: Rings> Pump<R> {
    fn run(&mut self) -> Result<(), Ended> {
        let mut bytes = vec![0; 1 << 14];
        while !self.stop.load(Ordering::Relaxed) {
            self.left.extend(self.commands.try_iter().flatten());
            let taken = if self.left.is_empty() { 0 } else { self.rings.command(&self.left)? };
            self.left.drain(..taken.min(self.left.len()));
            let frames = self.rings.frames(&mut bytes)?;
            if frames > 0 && self.frames.send(Ok(piece(&bytes, frames).to_vec())).is_err() {
                return Ok(());
            }
            let words = self.rings.log(&mut bytes)?;
            self.log.take(piece(&bytes, words));
            if taken + frames + words == 0 {
                std::thread::sleep(IDLE);
            }
        }
        Ok(())
    }
}

fn piece(bytes: &[u8], count: usize) -> &[u8] {
    bytes.get(..count).unwrap_or(bytes)
}

struct Come {
    come: Option<Receiver<Result<Vec<u8>, Ended>>>,
    piece: Cursor<Vec<u8>>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Read for Come {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        loop {
            let count = self.piece.read(out)?;
            if count > 0 || out.is_empty() {
                return Ok(count);
            }
            match self.come.as_ref().map(Receiver::recv) {
                Some(Ok(piece)) => self.piece = Cursor::new(piece?),
                _ => return Ok(0),
            }
        }
    }
}

impl Drop for Come {
    /// The probe is let go of in order.
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        self.come = None;
        self.thread.take().map(JoinHandle::join);
    }
}

struct Wanted(Sender<Vec<u8>>);

impl Write for Wanted {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let sent = self.0.send(bytes.to_vec());
        sent.map_err(|_| Ended::new("the monitor no longer listens", "check its cable and start anew"))?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
