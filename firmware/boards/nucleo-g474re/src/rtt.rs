//! In: log messages, bytes of frames; commands. Out: three channels in memory that a debug probe reads and writes while
//! the program runs.
//!
//! Up channel 0 `defmt` is the log, up channel 1 `frames` a copy of the bytes on the serial line. Neither ever waits:
//! without a probe the channels fill up and later bytes are dropped; the serial line is not affected. Down channel 0
//! `commands` is received like the serial line: a probe and the line must not send commands at the same time.
//!
//! The crate `defmt-rtt` offers only the log and may panic; the image must hold no panic at all.

use core::cell::Cell;
use core::sync::atomic::{AtomicU8, AtomicU32, Ordering};

use critical_section::Mutex;
use defmt::Encoder;

/// One ring, in the layout that probes expect. Empty when `write` and `read` are equal.
#[repr(C)]
struct Channel<const BYTES: usize> {
    name: &'static u8,
    ring: &'static [AtomicU8; BYTES],
    bytes: u32,
    write: AtomicU32,
    read: AtomicU32,
    /// 0: a byte that finds no room is dropped.
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

    fn push(&self, byte: u8) {
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

    fn pop(&self) -> Option<u8> {
        let at = self.read.load(Ordering::Relaxed);
        if at == self.write.load(Ordering::Acquire) {
            return None;
        }
        let byte = self.ring.get(at as usize)?.load(Ordering::Relaxed);
        self.read.store(if at + 1 < self.bytes { at + 1 } else { 0 }, Ordering::Release);
        Some(byte)
    }
}

/// The block that a probe searches for in memory.
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

// Safety: probes find the block by this name, and nothing else has it.
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
    BLOCK.frames.push(byte);
}

/// The next byte of a command written by a probe.
pub fn command_byte() -> Option<u8> {
    BLOCK.commands.pop()
}

/// Only the main loop logs, never an interrupt, so messages do not mix.
#[defmt::global_logger]
struct Logger;

static ENCODER: Mutex<Cell<Encoder>> = Mutex::new(Cell::new(Encoder::new()));

fn encode(step: impl FnOnce(&mut Encoder)) {
    critical_section::with(|section| {
        let cell = ENCODER.borrow(section);
        let mut encoder = cell.replace(Encoder::new());
        step(&mut encoder);
        cell.set(encoder);
    });
}

fn write(bytes: &[u8]) {
    bytes.iter().for_each(|byte| BLOCK.log.push(*byte));
}

// Safety: every call runs in its own critical section. Only a logging interrupt could mix messages, and none logs.
unsafe impl defmt::Logger for Logger {
    fn acquire() {
        encode(|encoder| encoder.start_frame(write));
    }

    // Safety: no requirement on the caller.
    unsafe fn flush() {}

    // Safety: no requirement on the caller.
    unsafe fn release() {
        encode(|encoder| encoder.end_frame(write));
    }

    // Safety: no requirement on the caller.
    unsafe fn write(bytes: &[u8]) {
        encode(|encoder| encoder.write(bytes, write));
    }
}
