//! The program of the chip in these tests: rings in memory with the layout of the NUCLEO-G474RE firmware, and a monitor
//! that uses them.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{JoinHandle, sleep, spawn};
use std::time::Duration;

use stillpoint::source::rehearsal::monitor::Monitor;

use super::chip::{Chip, RAM};

/// Address of the block of rings; not the start of the memory, so that it must be searched.
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
    fn lay_out(self, chip: &Chip, name_at: u64) {
        let mut memory = chip.memory();
        memory.set(name_at, self.name.as_bytes());
        let words = [name_at as u32, self.ring as u32, self.bytes, 0, 0, 0];
        memory.set(self.at, &words.map(u32::to_le_bytes).concat());
    }

    /// Writes as many bytes as fit, and returns how many.
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

    /// Reads all bytes.
    pub(crate) fn read(self, chip: &Chip) -> Vec<u8> {
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

/// Writes the rings to the memory, like the start of the program.
pub(crate) fn lay_out(chip: &Chip) {
    for (number, ring) in (0..).zip([LOG, FRAMES, COMMANDS]) {
        ring.lay_out(chip, NAMES + 16 * number);
    }
    chip.memory().set(BLOCK, &[b"SEGGER RTT\0\0\0\0\0\0".as_slice(), &[2, 0, 0, 0, 1, 0, 0, 0]].concat());
}

/// Writes encoded log bytes.
pub(crate) fn log(chip: &Chip, bytes: &[u8]) {
    assert_eq!(LOG.put(chip, bytes), bytes.len());
}

/// The same monitor in every test.
pub(crate) fn monitor() -> Monitor {
    Monitor::new(3, 4000, None).expect("a machine").0
}

/// Runs the monitor for this time as fast as its frames are read, and further whenever it receives a command. Unit: s
pub(crate) fn run(chip: Chip, seconds: f64) -> Running {
    let stop = Arc::new(AtomicBool::new(false));
    let stopped = stop.clone();
    let thread = spawn(move || {
        let (mut monitor, mut bytes, mut until) = (monitor(), vec![], seconds);
        while !stopped.load(Ordering::Relaxed) {
            let commands = COMMANDS.read(&chip);
            monitor.receive(&commands);
            until += if commands.is_empty() { 0.0 } else { 0.1 };
            if bytes.is_empty() && monitor.seconds() < until {
                for _ in 0..40 {
                    monitor.step(&mut bytes);
                }
            } else {
                // The probe can access the memory meanwhile.
                sleep(Duration::from_micros(100));
            }
            bytes.drain(..FRAMES.put(&chip, &bytes));
        }
    });
    Running { stop, thread: Some(thread) }
}

/// The running monitor; stops on drop.
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
