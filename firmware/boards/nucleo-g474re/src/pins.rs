//! In: names of pins. Out: inputs, outputs, and pins of a peripheral.

use core::convert::Infallible;

use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use stm32_metapac::gpio::Gpio;
use stm32_metapac::gpio::vals::{Idr, Moder, Ospeedr, Pupdr};
use stm32_metapac::{GPIOA, GPIOB, GPIOC};

/// A pin: its port and number, 0 to 15.
#[derive(Clone, Copy)]
pub struct Pin(Gpio, usize);

/// Pin of port A.
pub const fn a(number: usize) -> Pin {
    Pin(GPIOA, number)
}

/// Pin of port B.
pub const fn b(number: usize) -> Pin {
    Pin(GPIOB, number)
}

/// Pin of port C.
pub const fn c(number: usize) -> Pin {
    Pin(GPIOC, number)
}

impl Pin {
    /// Port and number; the mask proves to the compiler that no bit lies outside its register.
    fn place(self) -> (Gpio, usize) {
        (self.0, self.1 & 15)
    }

    /// Connects the pin to a peripheral: alternate function 0 to 15.
    pub fn peripheral(self, function: u8) {
        let (port, number) = self.place();
        port.afr(number >> 3).modify(|afr| afr.set_afr(number % 8, function));
        port.ospeedr().modify(|speed| speed.set_ospeedr(number, Ospeedr::HIGH_SPEED));
        port.moder().modify(|mode| mode.set_moder(number, Moder::ALTERNATE));
    }

    /// An input that reads high when open.
    pub fn strap(self) -> Input {
        let (port, number) = self.place();
        port.pupdr().modify(|pull| pull.set_pupdr(number, Pupdr::PULL_UP));
        port.moder().modify(|mode| mode.set_moder(number, Moder::INPUT));
        Input(self)
    }

    /// An output.
    pub fn output(self, high: bool) -> Output {
        let (port, number) = self.place();
        let mut output = Output(self);
        output.set(high);
        port.moder().modify(|mode| mode.set_moder(number, Moder::OUTPUT));
        output
    }
}

/// An input.
pub struct Input(Pin);

/// An output.
pub struct Output(Pin);

impl Output {
    /// Drives it high or low.
    pub fn set(&mut self, high: bool) {
        let (port, number) = self.0.place();
        port.bsrr().write(|bits| if high { bits.set_bs(number, true) } else { bits.set_br(number, true) });
    }
}

impl ErrorType for Input {
    type Error = Infallible;
}

impl InputPin for Input {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        let (port, number) = self.0.place();
        Ok(port.idr().read().idr(number) == Idr::HIGH)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

impl ErrorType for Output {
    type Error = Infallible;
}

impl OutputPin for Output {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.set(false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.set(true);
        Ok(())
    }
}
