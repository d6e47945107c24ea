//! The program that the chip of the tests lacks: rings in its memory as the firmware of the NUCLEO-G474RE lays them
//! out, and a monitor that speaks and hears through them.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{JoinHandle, sleep, spawn};
use std::time::Duration;

use stillpoint::source::rehearsal::monitor::Monitor;

use super::chip::{Chip, RAM};

/// Where the block of rings is; not at the start, so that it has to be searched.
pub(crate) const BLOCK: u64 = RAM + 0x1240;
const NAMES: u64 = RAM + 0x100;
const LOG: Ring = Ring { at: BLOCK + 24, name: "defmt", ring: RAM + 0x2000, bytes: 1024 };
pub(crate) const FRAMES: Ring = Ring { at: BLOCK + 48, name: "frames", ring: RAM + 0x3000, bytes: 4096 };
pub(crate) const COMMANDS: Ring = Ring { at: BLOCK + 72, name: "commands", ring: RAM + 0x5000, bytes: 128 };

/// One channel: name, ring, bytes, write place, read place, mode.
#[derive(Clone, Copy)]
pub(crate) struct Ring {
    at: u64,
    name: &'static str,
    ring: u64,
    bytes: u32,
}

impl Ring {
    fn lay(self, chip: &Chip, name_at: u64) {
        let mut memory = chip.memory();
        memory.set(name_at, self.name.as_bytes());
        let words = [name_at as u32, self.ring as u32, self.bytes, 0, 0, 0];
        memory.set(self.at, &words.map(u32::to_le_bytes).concat());
    }

    /// Writes what finds room, and says how much.
    pub(crate) fn put(self, chip: &Chip, bytes: &[u8]) -> usize {
        let mut memory = chip.memory();
        for (count, &byte) in bytes.iter().enumerate() {
            let (write, read) = (memory.word(self.at + 12), memory.word(self.at + 16));
            let next = (write + 1) % self.bytes;
            if next == read {
                return count;
            }
            memory.set(self.ring + u64::from(write), &[byte]);
            memory.set(self.at + 12, &next.to_le_bytes());
        }
        bytes.len()
    }

    /// Takes all there is.
    pub(crate) fn take(self, chip: &Chip) -> Vec<u8> {
        let mut memory = chip.memory();
        let (write, mut read) = (memory.word(self.at + 12), memory.word(self.at + 16));
        let mut bytes = vec![];
        while read != write {
            bytes.push(memory.ram[(self.ring - RAM) as usize + read as usize]);
            read = (read + 1) % self.bytes;
        }
        memory.set(self.at + 16, &read.to_le_bytes());
        bytes
    }
}

/// What starting the program does to the memory.
pub(crate) fn lay(chip: &Chip) {
    for (number, ring) in (0..).zip([LOG, FRAMES, COMMANDS]) {
        ring.lay(chip, NAMES + 16 * number);
    }
    chip.memory().set(BLOCK, &[b"SEGGER RTT\0\0\0\0\0\0".as_slice(), &[2, 0, 0, 0, 1, 0, 0, 0]].concat());
}

/// Words of the log, already encoded.
pub(crate) fn log(chip: &Chip, bytes: &[u8]) {
    assert_eq!(LOG.put(chip, bytes), bytes.len());
}

/// The same monitor in every test.
pub(crate) fn monitor() -> Monitor {
    Monitor::new(3, 4000, None).expect("a machine").0
}

/// Works through so many seconds as fast as its frames are read, then on whenever it hears something.
pub(crate) fn run(chip: Chip, seconds: f64) -> Running {
    let stop = Arc::new(AtomicBool::new(false));
    let told = stop.clone();
    let thread = spawn(move || {
        let (mut monitor, mut bytes, mut until) = (monitor(), vec![], seconds);
        while !told.load(Ordering::Relaxed) {
            let heard = COMMANDS.take(&chip);
            monitor.receive(&heard);
            until += if heard.is_empty() { 0.0 } else { 0.1 };
            if bytes.is_empty() && monitor.seconds() < until {
                for _ in 0..40 {
                    monitor.step(&mut bytes);
                }
            } else {
                // The memory is left to the probe for a while.
                sleep(Duration::from_micros(100));
            }
            bytes.drain(..FRAMES.put(&chip, &bytes));
        }
    });
    Running { stop, thread: Some(thread) }
}

/// Stops it when it is dropped.
pub(crate) struct Running {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Drop for Running {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        self.thread.take().map(JoinHandle::join);
    }
}
