//! In: TIM15's trigger, ten thousand times a second. Out: the counters of every tick, numbered, in order.
//!
//! Hardware alone sets the instant of a sample: TIM15's update is the trigger that latches all six counters (see
//! [`taps`](crate::taps)) and that TIM20 counts. The interrupt only copies them into a queue, at any time within the
//! next 100 µs. It reads TIM20 before and after: if the two differ, a trigger came in between and it reads again. A
//! late interrupt or a full queue skips numbers, which the sampler counts as a gap.

use core::cell::Cell;

use critical_section::Mutex;
use heapless::spsc::{Consumer, Producer, Queue};
use static_cell::ConstStaticCell;
use stillpoint_firmware::sampler::Raw;
use stillpoint_firmware::tap::Register;
use stm32_metapac::timer::vals::{Mms, Sms, Ts};
use stm32_metapac::{Interrupt, TIM15, TIM20, interrupt};

use crate::clock::CORE;
use crate::taps::{AXES, Latched, WIDE, latched};

/// How fast ticks count. Unit: ticks/s
pub const TICKS_PER_SECOND: u32 = 1_000_000;
/// Samples per second. Unit: Hz
const RATE: u32 = 10_000;
/// Time between samples. Unit: ticks
pub const PERIOD: u32 = TICKS_PER_SECOND / RATE;
/// Ticks that can wait: 160 ms. A sector of the flash chip usually takes 45 ms to erase, but 400 ms at worst.
const WAITING: usize = 1600;

/// Counters latched at one tick.
#[derive(Clone, Copy)]
pub struct Tick {
    number: u32,
    latched: Latched,
}

impl Tick {
    /// Time stamp of the tick; wraps. Unit: ticks
    pub fn time(&self) -> u32 {
        self.number.wrapping_mul(PERIOD)
    }

    /// The counters as the sampler takes them.
    pub fn raw(&self) -> [Raw; AXES] {
        let register = |count: u32, wide: bool| match wide {
            true => Register::Whole(count),
            false => Register::Half(count as u16),
        };
        let pair = |([command, feedback], [c, f]): ([u32; 2], [bool; 2])| Raw {
            command: register(command, c),
            feedback: register(feedback, f),
        };
        let [first, second, third] = self.latched;
        [pair((first, WIDE[0])), pair((second, WIDE[1])), pair((third, WIDE[2]))]
    }
}

/// The state of the interrupt.
struct Filler {
    queue: Producer<'static, Tick>,
    number: u32,
}

static QUEUE: ConstStaticCell<Queue<Tick, WAITING>> = ConstStaticCell::new(Queue::new());
static FILLER: Mutex<Cell<Option<Filler>>> = Mutex::new(Cell::new(None));

/// The queue of ticks.
pub struct Ticks {
    queue: Consumer<'static, Tick>,
}

impl Ticks {
    /// Starts the sampling, once; `None` afterwards.
    pub fn start() -> Option<Ticks> {
        let (producer, queue) = QUEUE.try_take()?.split();
        let filler = Filler { queue: producer, number: 0 };
        critical_section::with(|section| FILLER.borrow(section).set(Some(filler)));
        // TIM20 counts triggers.
        TIM20.smcr().write(|slave| slave.set_ts(Ts::ITR6));
        TIM20.smcr().modify(|slave| slave.set_sms(Sms::EXT_CLOCK_MODE));
        TIM20.cr1().write(|cr| cr.set_cen(true));
        TIM15.arr().write(|top| top.set_arr((CORE / RATE - 1) as u16));
        TIM15.cr2().write(|cr| cr.set_mms(Mms::UPDATE));
        TIM15.dier().write(|on| on.set_uie(true));
        // Safety: the handler uses only `FILLER`, in a critical section, and registers that nothing else writes from
        // here on.
        unsafe { cortex_m::peripheral::NVIC::unmask(Interrupt::TIM1_BRK_TIM15) };
        TIM15.cr1().write(|cr| cr.set_cen(true));
        Some(Ticks { queue })
    }

    /// The oldest tick in the queue.
    pub fn pop(&mut self) -> Option<Tick> {
        self.queue.dequeue()
    }
}

/// The count of triggers, and the counters at the same trigger.
fn coherent() -> (u16, Latched) {
    loop {
        let number = TIM20.cnt().read().cnt();
        let latched = latched();
        if TIM20.cnt().read().cnt() == number {
            return (number, latched);
        }
    }
}

#[interrupt]
fn TIM1_BRK_TIM15() {
    TIM15.sr().write(|sr| sr.0 = 0);
    critical_section::with(|section| {
        let owner = FILLER.borrow(section);
        let Some(mut filler) = owner.take() else { return };
        let (count, latched) = coherent();
        let passed = count.wrapping_sub(filler.number as u16);
        filler.number = filler.number.wrapping_add(u32::from(passed));
        if passed > 0 {
            // A tick that finds no room shows as a skipped number at the next tick.
            let _ = filler.queue.enqueue(Tick { number: filler.number, latched });
        }
        owner.set(Some(filler));
    });
}
