//! In: words of the log, bytes of frames; commands. Out: three channels in memory that a debug probe reads and writes
//! while the program runs.
//!
//! Up channel 0 `defmt` is the log, up channel 1 `frames` a copy of what the serial line sends. Neither ever waits: with
//! no probe the channels fill up and later bytes are dropped; the frames on the line are not touched by that. Down
//! channel 0 `commands` is heard beside the line: a probe and the line must not both speak at the same time.
//!
//! The crate `defmt-rtt` does the first of these, but may panic, and the image is to hold no panic at all.

use core::cell::Cell;
use core::sync::atomic::{AtomicU8, AtomicU32, Ordering};

use critical_section::Mutex;
use defmt::Encoder;

/// One ring, laid out as probes expect it. Empty when both places are the same.
#[repr(C)]
struct Channel<const BYTES: usize> {
    name: &'static u8,
    ring: &'static [AtomicU8; BYTES],
    bytes: u32,
    write: AtomicU32,
    read: AtomicU32,
    /// 0: what finds no room is dropped.
    mode: AtomicU32,
}

impl<const BYTES: usize> Channel<BYTES> {
    const fn new<const LETTERS: usize>(
        name: &'static [u8; LETTERS],
        ring: &'static [AtomicU8; BYTES],
    ) -> Channel<BYTES> {
        Channel {
            name: &name[0],
            ring,
            bytes: BYTES as u32,
            write: AtomicU32::new(0),
            read: AtomicU32::new(0),
            mode: AtomicU32::new(0),
        }
    }

    fn put(&self, byte: u8) {
        let at = self.write.load(Ordering::Relaxed);
        let next = if at + 1 < self.bytes { at + 1 } else { 0 };
        if next == self.read.load(Ordering::Acquire) {
            return;
        }
        if let Some(place) = self.ring.get(at as usize) {
            place.store(byte, Ordering::Relaxed);
            self.write.store(next, Ordering::Release);
        }
    }

    fn take(&self) -> Option<u8> {
        let at = self.read.load(Ordering::Relaxed);
        if at == self.write.load(Ordering::Acquire) {
            return None;
        }
        let byte = self.ring.get(at as usize)?.load(Ordering::Relaxed);
        self.read.store(if at + 1 < self.bytes { at + 1 } else { 0 }, Ordering::Release);
        Some(byte)
    }
}

/// What a probe looks for in memory.
#[repr(C)]
struct Block {
    mark: [u8; 16],
    up: u32,
    down: u32,
    log: Channel<1024>,
    frames: Channel<4096>,
    commands: Channel<128>,
}

static LOG: [AtomicU8; 1024] = [const { AtomicU8::new(0) }; 1024];
static FRAMES: [AtomicU8; 4096] = [const { AtomicU8::new(0) }; 4096];
static COMMANDS: [AtomicU8; 128] = [const { AtomicU8::new(0) }; 128];

// Safety: probes find the block by this name, and nothing else is called so.
#[unsafe(export_name = "_SEGGER_RTT")]
#[used]
static BLOCK: Block = Block {
    mark: *b"SEGGER RTT\0\0\0\0\0\0",
    up: 2,
    down: 1,
    log: Channel::new(b"defmt\0\0", &LOG),
    frames: Channel::new(b"frames\0", &FRAMES),
    commands: Channel::new(b"commands\0", &COMMANDS),
};

/// Copies a byte of a frame.
pub fn frame_byte(byte: u8) {
    BLOCK.frames.put(byte);
}

/// A byte of a command that a probe has written.
pub fn command_byte() -> Option<u8> {
    BLOCK.commands.take()
}

/// Only the main loop logs, never an interrupt, so words do not mix.
#[defmt::global_logger]
struct Logger;

static ENCODER: Mutex<Cell<Encoder>> = Mutex::new(Cell::new(Encoder::new()));

fn encode(step: impl FnOnce(&mut Encoder)) {
    critical_section::with(|section| {
        let kept = ENCODER.borrow(section);
        let mut encoder = kept.replace(Encoder::new());
        step(&mut encoder);
        kept.set(encoder);
    });
}

fn put(bytes: &[u8]) {
    bytes.iter().for_each(|byte| BLOCK.log.put(*byte));
}

// Safety: every call works on its own in a critical section; an interrupt would only mix its words, and none logs.
unsafe impl defmt::Logger for Logger {
    fn acquire() {
        encode(|encoder| encoder.start_frame(put));
    }

    // Safety: nothing is asked of the caller.
    unsafe fn flush() {}

    // Safety: nothing is asked of the caller.
    unsafe fn release() {
        encode(|encoder| encoder.end_frame(put));
    }

    // Safety: nothing is asked of the caller.
    unsafe fn write(bytes: &[u8]) {
        encode(|encoder| encoder.write(bytes, put));
    }
}
