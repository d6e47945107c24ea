//! In: bytes to keep. Out: the same, as a flash chip of the virtual monitor would keep them.

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};

/// Pages of 4096 bytes; a write can only clear bits.
#[derive(Clone, Debug)]
pub struct Flash {
    bytes: Vec<u8>,
}

impl Flash {
    /// Blank, of so many pages.
    pub fn new(pages: usize) -> Flash {
        Flash { bytes: vec![0xFF; pages * Flash::ERASE_SIZE] }
    }

    fn stretch(&mut self, from: u32, to: u32) -> Result<&mut [u8], NorFlashErrorKind> {
        self.bytes.get_mut(from as usize..to as usize).ok_or(NorFlashErrorKind::OutOfBounds)
    }
}

impl ErrorType for Flash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        let end = offset.saturating_add(bytes.len() as u32);
        bytes.copy_from_slice(self.stretch(offset, end)?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        self.stretch(from, to)?.fill(0xFF);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        let end = offset.saturating_add(bytes.len() as u32);
        self.stretch(offset, end)?.iter_mut().zip(bytes).for_each(|(kept, byte)| *kept &= byte);
        Ok(())
    }
}
