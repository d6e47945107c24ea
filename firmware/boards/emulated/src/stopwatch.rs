//! In: the begin of some work. Out: the number of instructions it took.
//!
//! With `-icount shift=0` one instruction takes one nanosecond, and SysTick at 25 MHz counts every fortieth.

use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;

/// Unit: instructions per tick of SysTick
const PER_TICK: u32 = 40;

/// SysTick counts down from here and starts again.
const LARGEST: u32 = 0x00ff_ffff;

/// Starts counting.
pub fn start(mut counter: SYST) {
    counter.set_clock_source(SystClkSource::Core);
    counter.set_reload(LARGEST);
    counter.clear_current();
    counter.enable_counter();
}

/// The count at the begin of some work.
#[inline(always)]
pub fn now() -> u32 {
    SYST::get_current()
}

/// Instructions since [`now`] gave `from`; at most 671 million.
#[inline(always)]
pub fn since(from: u32) -> u32 {
    (from.wrapping_sub(SYST::get_current()) & LARGEST) * PER_TICK
}
