//! In: bytes. Out: their CRC-32, that of zlib and Ethernet (ISO-HDLC).
//!
//! Reflected polynomial 0xEDB88320, initial value and final XOR all ones; the check
//! value over "123456789" is 0xCBF43926 (RevEng catalogue). The device sends few bytes, so a table of 64 bytes is fast
//! enough for it; a host that reads whole stores brings an implementation of its own through [`Crc`].

/// Reflected polynomial.
const POLYNOMIAL: u32 = 0xEDB8_8320;

/// An implementation of the CRC-32.
pub trait Crc {
    /// CRC-32 of all bytes.
    fn crc(bytes: &[u8]) -> u32;
}

/// By half bytes: 16 entries, for the device.
#[derive(Clone, Copy, Debug, Default)]
pub struct SmallTable;

/// The remainder of `value`, shifted through by `bits`.
const fn shifted(value: u32, bits: u32) -> u32 {
    let mut remainder = value;
    let mut bit = 0;
    while bit < bits {
        let carry = remainder & 1;
        remainder >>= 1;
        if carry != 0 {
            remainder ^= POLYNOMIAL;
        }
        bit += 1;
    }
    remainder
}

static HALF_BYTES: [u32; 16] = {
    let mut table = [0; 16];
    let mut index = 0;
    while index < 16 {
        table[index] = shifted(index as u32, 4);
        index += 1;
    }
    table
};

impl Crc for SmallTable {
    fn crc(bytes: &[u8]) -> u32 {
        let mut running = Running::default();
        running.add(bytes);
        running.end()
    }
}

/// CRC-32 by half bytes over several parts, one after another, as they lie in a flash log.
#[derive(Clone, Copy, Debug)]
pub struct Running(u32);

impl Default for Running {
    fn default() -> Running {
        Running(u32::MAX)
    }
}

impl Running {
    /// Adds a part.
    pub fn add(&mut self, bytes: &[u8]) {
        let step = |crc: u32| (crc >> 4) ^ HALF_BYTES[(crc & 15) as usize];
        self.0 = bytes.iter().fold(self.0, |crc, byte| step(step(crc ^ u32::from(*byte))));
    }

    /// CRC-32 of all parts.
    pub fn end(&self) -> u32 {
        !self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_agrees_with_the_polynomial_at_every_length() {
        let bytes: std::vec::Vec<u8> =
            (0..300_u32).map(|k| (k.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
        for length in 0..bytes.len() {
            let part = &bytes[..length];
            let slow = !part.iter().fold(u32::MAX, |crc, byte| shifted(crc ^ u32::from(*byte), 8));
            assert_eq!(SmallTable::crc(part), slow, "{length} bytes");
        }
    }
}
