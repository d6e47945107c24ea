//! In: bytes to keep. Out: the same on a serial NOR flash chip, by the commands all makers share (JEDEC JESD216).
//!
//! Pages of 256 bytes are programmed, sectors of 4 KiB erased, addresses have three bytes: chips of 64 KiB to 16 MiB;
//! a larger one is used up to there. Every call waits until the chip is ready again.

use embedded_hal::spi::{Operation, SpiDevice};
use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};

const WRITE_ENABLE: u8 = 0x06;
const READ_STATUS: u8 = 0x05;
const READ: u8 = 0x03;
const PROGRAM: u8 = 0x02;
const ERASE: u8 = 0x20;
const IDENTIFY: u8 = 0x9F;
const WAKE: u8 = 0xAB;

/// Bits of the status register.
const BUSY: u8 = 0b01;
const WRITE_ENABLED: u8 = 0b10;

/// Unit: bytes
const PAGE: u32 = 256;
const SECTOR: u32 = 4096;
/// Binary digits of the smallest and the largest size.
const SIZES: core::ops::RangeInclusive<u8> = 16..=24;

/// Time between two looks at the status. Unit: ns
const PAUSE: u32 = 10_000;
/// Looks until the chip counts as dead: over a second, where a sector takes 0.4 s at worst.
const LOOKS: u32 = 100_000;

/// Why the chip did not do it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Error<E> {
    /// The bus failed.
    Bus(E),
    /// No chip answers, or one of a size that is not served; what it said.
    Absent([u8; 3]),
    /// Beyond the end of the chip.
    OutOfBounds,
    /// An erase that is not of whole sectors.
    NotAligned,
    /// The chip does not take writes, or never gets ready.
    Stuck,
}

impl<E: core::fmt::Debug> NorFlashError for Error<E> {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Error::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Error::NotAligned => NorFlashErrorKind::NotAligned,
            _ => NorFlashErrorKind::Other,
        }
    }
}

/// The chip.
#[derive(Debug)]
pub struct Nor<S> {
    spi: S,
    bytes: u32,
}

/// A command and its address, the highest byte first.
fn addressed(command: u8, address: u32) -> [u8; 4] {
    let [_, high, middle, low] = address.to_be_bytes();
    [command, high, middle, low]
}

impl<S: SpiDevice> Nor<S> {
    /// Wakes the chip and asks for its size.
    pub fn find(mut spi: S) -> Result<Nor<S>, Error<S::Error>> {
        spi.transaction(&mut [Operation::Write(&[WAKE])]).map_err(Error::Bus)?;
        // Waking takes up to 30 µs, in which the chip must not be spoken to.
        spi.transaction(&mut [Operation::DelayNs(30_000)]).map_err(Error::Bus)?;
        let mut said = [0; 3];
        spi.transaction(&mut [Operation::Write(&[IDENTIFY]), Operation::Read(&mut said)])
            .map_err(Error::Bus)?;
        let [maker, _, size] = said;
        if matches!(maker, 0x00 | 0xFF) || size < *SIZES.start() || size > 31 {
            return Err(Error::Absent(said));
        }
        let mut nor = Nor { spi, bytes: 1 << size.min(*SIZES.end()) };
        // A restart may have come in the middle of an erase.
        nor.wait()?;
        Ok(nor)
    }

    /// Size of the chip. Unit: bytes
    pub fn bytes(&self) -> u32 {
        self.bytes
    }

    fn status(&mut self, pause: u32) -> Result<u8, Error<S::Error>> {
        let mut status = [0];
        let mut look =
            [Operation::Write(&[READ_STATUS]), Operation::Read(&mut status), Operation::DelayNs(pause)];
        self.spi.transaction(&mut look).map_err(Error::Bus)?;
        Ok(status[0])
    }

    fn wait(&mut self) -> Result<(), Error<S::Error>> {
        for _ in 0..LOOKS {
            if self.status(PAUSE)? & BUSY == 0 {
                return Ok(());
            }
        }
        Err(Error::Stuck)
    }

    /// A command that changes the chip: enabled, sent, waited for.
    fn change(&mut self, head: [u8; 4], bytes: &[u8]) -> Result<(), Error<S::Error>> {
        self.spi.write(&[WRITE_ENABLE]).map_err(Error::Bus)?;
        if self.status(0)? & WRITE_ENABLED == 0 {
            return Err(Error::Stuck);
        }
        self.spi.transaction(&mut [Operation::Write(&head), Operation::Write(bytes)]).map_err(Error::Bus)?;
        self.wait()
    }

    fn inside(&self, from: u32, length: usize) -> Result<(), Error<S::Error>> {
        let end = u64::from(from).saturating_add(length as u64);
        if end > u64::from(self.bytes) { Err(Error::OutOfBounds) } else { Ok(()) }
    }
}

impl<S: SpiDevice> ErrorType for Nor<S> {
    type Error = Error<S::Error>;
}

impl<S: SpiDevice> ReadNorFlash for Nor<S> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.inside(offset, bytes.len())?;
        let head = addressed(READ, offset);
        self.spi.transaction(&mut [Operation::Write(&head), Operation::Read(bytes)]).map_err(Error::Bus)
    }

    fn capacity(&self) -> usize {
        self.bytes as usize
    }
}

impl<S: SpiDevice> NorFlash for Nor<S> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR as usize;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        if from > to || to > self.bytes {
            return Err(Error::OutOfBounds);
        }
        if !from.is_multiple_of(SECTOR) || !to.is_multiple_of(SECTOR) {
            return Err(Error::NotAligned);
        }
        (from..to).step_by(SECTOR as usize).try_for_each(|sector| self.change(addressed(ERASE, sector), &[]))
    }

    /// Split where pages end: past its end a page starts over inside the chip.
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.inside(offset, bytes.len())?;
        let (mut at, mut left) = (offset, bytes);
        while !left.is_empty() {
            let room = (PAGE - at % PAGE) as usize;
            let (now, later) = left.split_at_checked(room).unwrap_or((left, &[]));
            self.change(addressed(PROGRAM, at), now)?;
            (at, left) = (at + now.len() as u32, later);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
