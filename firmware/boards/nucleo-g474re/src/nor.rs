//! In: bytes to store. Out: the same bytes on a serial NOR flash chip, by the commands common to all makers (JEDEC
//! JESD216).
//!
//! Pages of 256 bytes are programmed, sectors of 4 KiB erased, addresses have three bytes. Chips have 64 KiB to 16 MiB;
//! of a larger one the first 16 MiB are used. Every call waits until the chip is ready again.

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
/// Exponents of two of the smallest and the largest size.
const SIZES: core::ops::RangeInclusive<u8> = 16..=24;

/// Time between two reads of the status. Unit: ns
const PAUSE: u32 = 10_000;
/// Reads of the status until the chip counts as dead: over a second, while a sector takes 0.4 s at worst.
const STATUS_READS: u32 = 100_000;

/// Why an operation of the chip failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Error<E> {
    /// The bus failed.
    Bus(E),
    /// No chip answers, or its size is not supported; its identification.
    Absent([u8; 3]),
    /// Beyond the end of the chip.
    OutOfBounds,
    /// An erase that is not of whole sectors.
    NotAligned,
    /// The chip does not accept writes, or does not get ready.
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
    /// Wakes the chip and reads its size.
    pub fn find(mut spi: S) -> Result<Nor<S>, Error<S::Error>> {
        spi.transaction(&mut [Operation::Write(&[WAKE])]).map_err(Error::Bus)?;
        // Waking takes up to 30 µs; the chip must not be addressed before.
        spi.transaction(&mut [Operation::DelayNs(30_000)]).map_err(Error::Bus)?;
        let mut id = [0; 3];
        spi.transaction(&mut [Operation::Write(&[IDENTIFY]), Operation::Read(&mut id)])
            .map_err(Error::Bus)?;
        let [maker, _, size] = id;
        if matches!(maker, 0x00 | 0xFF) || size < *SIZES.start() || size > 31 {
            return Err(Error::Absent(id));
        }
        let mut nor = Nor { spi, bytes: 1 << size.min(*SIZES.end()) };
        // The reset may have interrupted an erase.
        nor.wait()?;
        Ok(nor)
    }

    /// Size of the chip. Unit: bytes
    pub fn bytes(&self) -> u32 {
        self.bytes
    }

    fn status(&mut self, pause: u32) -> Result<u8, Error<S::Error>> {
        let mut status = [0];
        let mut operations =
            [Operation::Write(&[READ_STATUS]), Operation::Read(&mut status), Operation::DelayNs(pause)];
        self.spi.transaction(&mut operations).map_err(Error::Bus)?;
        Ok(status[0])
    }

    fn wait(&mut self) -> Result<(), Error<S::Error>> {
        for _ in 0..STATUS_READS {
            if self.status(PAUSE)? & BUSY == 0 {
                return Ok(());
            }
        }
        Err(Error::Stuck)
    }

    /// Sends a command that changes the chip, and waits until it is done.
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

    /// Splits the bytes at the ends of pages: a write past the end of a page would wrap to its start.
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.inside(offset, bytes.len())?;
        let (mut at, mut rest) = (offset, bytes);
        while !rest.is_empty() {
            let room = (PAGE - at % PAGE) as usize;
            let (part, later) = rest.split_at_checked(room).unwrap_or((rest, &[]));
            self.change(addressed(PROGRAM, at), part)?;
            (at, rest) = (at + part.len() as u32, later);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
