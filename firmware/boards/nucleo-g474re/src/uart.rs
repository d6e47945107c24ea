//! In: bytes. Out: the same bytes through LPUART1, which the on-board probe offers as a serial port.

use core::cell::Cell;

use critical_section::Mutex;
use heapless::spsc::{Consumer, Producer, Queue};
use static_cell::ConstStaticCell;
use stm32_metapac::{Interrupt, LPUART1, interrupt};

use crate::clock::CORE;
use crate::pins::a;

/// Unit: bit/s, exact
pub const RATE: u32 = 921_600;

/// Bytes of commands that can wait during an erase of the flash.
const WAITING: usize = 512;

static QUEUE: ConstStaticCell<Queue<u8, WAITING>> = ConstStaticCell::new(Queue::new());
static FILLER: Mutex<Cell<Option<Producer<'static, u8>>>> = Mutex::new(Cell::new(None));

/// The serial line: 8 bits, no parity, 1 stop bit.
pub struct Uart {
    received: Consumer<'static, u8>,
}

impl Uart {
    /// Switches the line on, once; `None` afterwards.
    pub fn start() -> Option<Uart> {
        let (producer, received) = QUEUE.try_take()?.split();
        critical_section::with(|section| FILLER.borrow(section).set(Some(producer)));
        a(2).peripheral(12);
        a(3).peripheral(12);
        let divider = u64::from(CORE) * 256 / u64::from(RATE);
        LPUART1.brr().write(|brr| brr.0 = divider as u32);
        LPUART1.cr1().write(|cr| {
            cr.set_fifoen(true);
            cr.set_te(true);
            cr.set_re(true);
            cr.set_rxneie(true);
            cr.set_ue(true);
        });
        // Safety: the handler touches only `FILLER`, in a critical section, and the receiving side of the line.
        unsafe { cortex_m::peripheral::NVIC::unmask(Interrupt::LPUART1) };
        Some(Uart { received })
    }

    /// The next received byte.
    pub fn read(&mut self) -> Option<u8> {
        self.received.dequeue()
    }

    /// Whether a byte can be written.
    pub fn has_room(&self) -> bool {
        LPUART1.isr().read().txe()
    }

    /// Writes a byte, if there is room.
    pub fn write(&mut self, byte: u8) {
        LPUART1.tdr().write(|data| data.0 = u32::from(byte));
    }
}

#[interrupt]
fn LPUART1() {
    critical_section::with(|section| {
        let owner = FILLER.borrow(section);
        let mut queue = owner.take();
        while LPUART1.isr().read().rxne() {
            let byte = LPUART1.rdr().read().0 as u8;
            // A lost byte damages its command, which is then refused and counted.
            let _ = queue.as_mut().map(|queue| queue.enqueue(byte));
        }
        owner.set(queue);
    });
    LPUART1.icr().write(|clear| clear.set_ore(true));
}
