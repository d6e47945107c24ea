//! In: bytes. Out: their CRC-32, as the wire has it, computed by the processor's own instructions where it has them.

use stillpoint_core::wire::crc::Crc;

/// The CRC-32 of the `crc32fast` crate, for the host; the device uses a table of 64 bytes.
#[derive(Clone, Copy, Debug, Default)]
pub struct FastCrc;

impl Crc for FastCrc {
    #[inline]
    fn crc(bytes: &[u8]) -> u32 {
        crc32fast::hash(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::crc::SmallTable;

    #[test]
    fn host_and_device_agree_at_every_length() {
        let bytes: Vec<u8> = (0..300_u32).map(|k| (k.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
        for length in 0..bytes.len() {
            let part = &bytes[..length];
            assert_eq!(FastCrc::crc(part), SmallTable::crc(part), "{length} bytes");
        }
        assert_eq!(FastCrc::crc(b"123456789"), 0xCBF4_3926);
    }
}
