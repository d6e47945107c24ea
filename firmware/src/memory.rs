//! In: RAM. Out: a flash chip in it, to run and test the monitor without a real one; lost with power.

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};

/// Whole pages of 4096 bytes; a write can only clear bits.
#[derive(Clone, Debug)]
pub struct MemoryFlash<B> {
    bytes: B,
}

impl<B: AsRef<[u8]> + AsMut<[u8]>> MemoryFlash<B> {
    /// Blank.
    pub fn new(mut bytes: B) -> MemoryFlash<B> {
        bytes.as_mut().fill(0xFF);
        MemoryFlash { bytes }
    }

    /// With its content, as after a restart.
    pub fn with_content(bytes: B) -> MemoryFlash<B> {
        MemoryFlash { bytes }
    }

    fn range(&mut self, from: u32, to: u32) -> Result<&mut [u8], NorFlashErrorKind> {
        self.bytes.as_mut().get_mut(from as usize..to as usize).ok_or(NorFlashErrorKind::OutOfBounds)
    }
}

impl<B> ErrorType for MemoryFlash<B> {
    type Error = NorFlashErrorKind;
}

impl<B: AsRef<[u8]> + AsMut<[u8]>> ReadNorFlash for MemoryFlash<B> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        let end = offset.saturating_add(bytes.len() as u32);
        let stored = self.range(offset, end)?;
        bytes.iter_mut().zip(stored).for_each(|(byte, stored)| *byte = *stored);
        Ok(())
    }

    fn capacity(&self) -> usize {
        let bytes = self.bytes.as_ref().len();
        bytes - bytes % Self::ERASE_SIZE
    }
}

impl<B: AsRef<[u8]> + AsMut<[u8]>> NorFlash for MemoryFlash<B> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        self.range(from, to)?.fill(0xFF);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        let end = offset.saturating_add(bytes.len() as u32);
        self.range(offset, end)?.iter_mut().zip(bytes).for_each(|(stored, byte)| *stored &= byte);
        Ok(())
    }
}
