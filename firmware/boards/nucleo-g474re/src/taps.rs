//! In: command and feedback lines of three axes. Out: six counters, latched together by one trigger.
//!
//! Each signal has its own timer that counts it without the processor. Channels 1 and 2 of the timer are the two lines;
//! channel 3 has no pin but captures the counter into its register at every trigger of TIM15, which all six timers see
//! as internal trigger 6 in the same clock cycle. So the six registers hold the positions of one instant until the next
//! trigger, whenever the processor reads them.

use embedded_hal::digital::InputPin;
use stm32_metapac::timer::TimGp16;
use stm32_metapac::timer::vals::{CcmrInputCcs, FilterValue, Sms, Ts};
use stm32_metapac::{TIM1, TIM2, TIM3, TIM4, TIM5, TIM8};

use crate::pins::{Pin, a, b, c};

/// Axes of the board.
pub const AXES: usize = 3;

/// Counters of one instant, for each axis command, then feedback. Unit: counts
pub type Latched = [[u32; 2]; AXES];

/// A signal: its two lines with the timer's alternate function, and whether the timer has 32 bits.
struct Tap {
    timer: *mut (),
    lines: [(Pin, u8); 2],
    wide: bool,
}

/// For each axis command, then feedback. The two timers of 32 bits are feedbacks.
const TAPS: [[Tap; 2]; AXES] = [
    [
        Tap { timer: TIM1.as_ptr(), lines: [(c(0), 2), (c(1), 2)], wide: false },
        Tap { timer: TIM2.as_ptr(), lines: [(a(0), 1), (a(1), 1)], wide: true },
    ],
    [
        Tap { timer: TIM3.as_ptr(), lines: [(a(6), 2), (a(7), 2)], wide: false },
        Tap { timer: TIM5.as_ptr(), lines: [(b(2), 2), (c(12), 1)], wide: true },
    ],
    [
        Tap { timer: TIM8.as_ptr(), lines: [(c(6), 4), (c(7), 4)], wide: false },
        Tap { timer: TIM4.as_ptr(), lines: [(a(11), 10), (a(12), 10)], wide: false },
    ],
];

/// For each axis: open for a command of step and direction; connected to ground for quadrature.
const STRAPS: [Pin; AXES] = [c(8), c(9), c(10)];

/// Whether the counters of an axis have 32 bits, command then feedback.
pub const WIDE: [[bool; 2]; AXES] = {
    let [[a, b], [c, d], [e, f]] = &TAPS;
    [[a.wide, b.wide], [c.wide, d.wide], [e.wide, f.wide]]
};

impl Tap {
    const fn timer(&self) -> TimGp16 {
        // Safety: the pointer is that of TIM1, 2, 3, 4, 5 or 8, which all have the registers of a 16-bit general
        // timer at the same places; with `wide` the counter has 16 more bits.
        unsafe { TimGp16::from_ptr(self.timer) }
    }

    /// Starts counting in this mode, with a capture at every trigger.
    fn start(&self, mode: Sms) {
        let timer = self.timer();
        self.lines.iter().for_each(|(pin, function)| pin.peripheral(*function));
        timer.ccmr_input(0).write(|lines| {
            lines.set_ccs(0, CcmrInputCcs::TI4);
            lines.set_ccs(1, CcmrInputCcs::TI4);
            lines.set_icf(0, FilterValue::FCK_INT_N4);
            lines.set_icf(1, FilterValue::FCK_INT_N4);
        });
        timer.ccmr_input(1).write(|capture| capture.set_ccs(0, CcmrInputCcs::TRC));
        timer.ccer().write(|on| on.set_cce(2, true));
        // The trigger is set first: it must not change in a mode that uses it.
        timer.smcr().write(|slave| slave.set_ts(Ts::ITR6));
        timer.smcr().modify(|slave| slave.set_sms(mode));
        timer.arr().write(|top| top.0 = if self.wide { u32::MAX } else { u32::from(u16::MAX) });
        timer.cr1().write(|cr| cr.set_cen(true));
    }

    /// The counter at the last trigger.
    fn latched(&self) -> u32 {
        self.timer().ccr(2).read().0
    }
}

/// Starts all six timers. Encoder mode 3 counts every edge of both lines; step and direction counts rising edges of
/// line 2, up while line 1 is high.
pub fn start() {
    for ([command, feedback], strap) in TAPS.iter().zip(STRAPS) {
        let open = strap.strap().is_high().unwrap_or(true);
        command.start(if open { Sms::ENCODER_UP_X1 } else { Sms::ENCODER_MODE_3 });
        feedback.start(Sms::ENCODER_MODE_3);
    }
}

/// All counters at the last trigger.
pub fn latched() -> Latched {
    TAPS.each_ref().map(|taps| taps.each_ref().map(Tap::latched))
}
