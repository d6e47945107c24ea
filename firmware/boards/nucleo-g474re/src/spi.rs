//! In: transactions. Out: the same on SPI2, to the only chip on that bus.

use core::convert::Infallible;

use embedded_hal::spi::{ErrorType, Operation, SpiDevice};
use stm32_metapac::SPI2;
use stm32_metapac::spi::vals::{Br, Frxth, Mstr};

use crate::clock::CORE;
use crate::pins::{Output, b};

/// The bus and the chip select of its only device.
pub struct Spi {
    select: Output,
}

impl Spi {
    /// Mode 0 at 18 MHz, which jumper wires of 10 cm still carry.
    pub fn start() -> Spi {
        [13, 14, 15].into_iter().for_each(|number| b(number).peripheral(5));
        SPI2.cr2().write(|cr| {
            cr.0 |= EIGHT_BITS;
            cr.set_frxth(Frxth::QUARTER);
        });
        SPI2.cr1().write(|cr| {
            cr.set_mstr(Mstr::MASTER);
            cr.set_br(Br::DIV8);
            cr.set_ssm(true);
            cr.set_ssi(true);
            cr.set_spe(true);
        });
        Spi { select: b(12).output(true) }
    }

    /// A byte out, a byte in.
    fn exchange(&mut self, byte: u8) -> u8 {
        while !SPI2.sr().read().txe() {}
        SPI2.dr8().write_value(byte);
        while !SPI2.sr().read().rxne() {}
        SPI2.dr8().read()
    }

    fn operate(&mut self, operation: &mut Operation<'_, u8>) {
        match operation {
            Operation::Read(read) => read.iter_mut().for_each(|byte| *byte = self.exchange(0)),
            Operation::Write(write) => write.iter().for_each(|byte| {
                self.exchange(*byte);
            }),
            Operation::Transfer(read, write) => {
                let longest = read.len().max(write.len());
                for place in 0..longest {
                    let received = self.exchange(write.get(place).copied().unwrap_or(0));
                    if let Some(byte) = read.get_mut(place) {
                        *byte = received;
                    }
                }
            }
            Operation::TransferInPlace(bytes) => {
                bytes.iter_mut().for_each(|byte| *byte = self.exchange(*byte))
            }
            Operation::DelayNs(time) => {
                let cycles = u64::from(*time) * u64::from(CORE / 1_000_000) / 1000;
                cortex_m::asm::delay(cycles as u32 + 1);
            }
        }
    }
}

/// Data size 8 in CR2.
const EIGHT_BITS: u32 = 7 << 8;
/// Time of the chip select between two transactions: a little over 50 ns. Unit: core cycles
const APART: u32 = 10;

impl ErrorType for Spi {
    type Error = Infallible;
}

impl SpiDevice for Spi {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        self.select.set(false);
        operations.iter_mut().for_each(|operation| self.operate(operation));
        self.select.set(true);
        cortex_m::asm::delay(APART);
        Ok(())
    }
}
