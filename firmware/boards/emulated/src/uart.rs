//! In: bytes. Out: the same bytes through a UART of the emulated machine, one at a time.

use core::sync::atomic::{AtomicBool, Ordering};

/// Addresses of the two UARTs in use. Source: the machine's memory map, Arm AN386.
const ADDRESSES: [usize; 2] = [0x4000_4000, 0x4000_5000];

const STATE: usize = 0x4;
const CONTROL: usize = 0x8;
const DIVIDER: usize = 0x10;

/// A UART; each exists once.
#[derive(Debug)]
pub struct Uart {
    base: usize,
}

static STARTED: AtomicBool = AtomicBool::new(false);

impl Uart {
    /// Switches both UARTs on, once; `None` afterwards.
    pub fn start() -> Option<[Uart; 2]> {
        if STARTED.swap(true, Ordering::Relaxed) {
            return None;
        }
        Some(ADDRESSES.map(|base| {
            let uart = Uart { base };
            uart.set(DIVIDER, 16);
            uart.set(CONTROL, 0b11);
            uart
        }))
    }

    /// The next received byte.
    pub fn read(&self) -> Option<u8> {
        (self.get(STATE) & 0b10 != 0).then(|| self.get(0) as u8)
    }

    /// Whether a byte can be written.
    pub fn has_room(&self) -> bool {
        self.get(STATE) & 0b01 == 0
    }

    /// Writes a byte, if there is room.
    pub fn write(&self, byte: u8) {
        self.set(0, u32::from(byte));
    }

    fn get(&self, register: usize) -> u32 {
        // Safety: a register of a UART that only this value accesses; reading it has no side effect on memory.
        unsafe { core::ptr::read_volatile((self.base + register) as *const u32) }
    }

    fn set(&self, register: usize, value: u32) {
        // Safety: a register of a UART that only this value accesses, writable at its full width.
        unsafe { core::ptr::write_volatile((self.base + register) as *mut u32, value) }
    }
}
