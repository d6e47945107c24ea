//! In: bytes. Out: their CRC-32, that of zlib and Ethernet (ISO-HDLC).
//!
//! Reflected polynomial 0xEDB88320, initial value and final XOR all ones; the check
//! value over "123456789" is 0xCBF43926 (RevEng catalogue). Two tables: 64 bytes for the device,
//! which sends few bytes, and 8 KiB for the host, which reads whole stores. A table that is not used is not linked.

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

/// By eight bytes at once: 2048 entries, for the host.
#[derive(Clone, Copy, Debug, Default)]
pub struct LargeTable;

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

/// `EIGHT[n][byte]`: the remainder of a byte with n more bytes after it.
static EIGHT: [[u32; 256]; 8] = {
    let mut tables = [[0; 256]; 8];
    let mut index = 0;
    while index < 256 {
        let mut after = 0;
        let mut remainder = index as u32;
        while after < 8 {
            remainder = shifted(remainder, 8);
            tables[after][index] = remainder;
            after += 1;
        }
        index += 1;
    }
    tables
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

impl Crc for LargeTable {
    #[inline]
    fn crc(bytes: &[u8]) -> u32 {
        let at = |after: usize, word: u32, shift: u32| EIGHT[after][(word >> shift & 255) as usize];
        let (blocks, rest) = bytes.as_chunks::<8>();
        let whole = blocks.iter().fold(u32::MAX, |crc, [a, b, c, d, e, f, g, h]| {
            let low = u32::from_le_bytes([*a, *b, *c, *d]) ^ crc;
            let high = u32::from_le_bytes([*e, *f, *g, *h]);
            at(7, low, 0)
                ^ at(6, low, 8)
                ^ at(5, low, 16)
                ^ at(4, low, 24)
                ^ at(3, high, 0)
                ^ at(2, high, 8)
                ^ at(1, high, 16)
                ^ at(0, high, 24)
        });
        !rest.iter().fold(whole, |crc, byte| (crc >> 8) ^ at(0, crc ^ u32::from(*byte), 0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_tables_agree_at_every_length() {
        let bytes: std::vec::Vec<u8> =
            (0..300_u32).map(|k| (k.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
        for length in 0..bytes.len() {
            let part = &bytes[..length];
            let slow = !part.iter().fold(u32::MAX, |crc, byte| shifted(crc ^ u32::from(*byte), 8));
            assert_eq!((SmallTable::crc(part), LargeTable::crc(part)), (slow, slow), "{length} bytes");
        }
    }
}
