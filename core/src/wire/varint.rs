//! In: numbers. Out: bytes of variable length as postcard encodes them, few for small numbers; and the numbers again.
//!
//! Used by curves and traces, whose numbers are packed and unpacked one by one, without a buffer for all.

/// Most bytes of one number up to 33 bits. Unit: bytes
pub(super) const LONGEST: usize = 5;

/// Zigzag encoding: small magnitudes of either sign become small numbers.
pub(super) fn zigzag(value: i32) -> u32 {
    ((value << 1) ^ (value >> 31)) as u32
}

/// Zigzag decoding.
pub(super) fn unzigzag(value: u32) -> i32 {
    (value >> 1) as i32 ^ -((value & 1) as i32)
}

/// Appends a number after the first `used` bytes of the buffer and adds its length to `used`; false if it does not fit.
pub(super) fn push(buffer: &mut [u8], used: &mut usize, value: u64) -> bool {
    let mut remaining = value;
    for (length, byte) in buffer.get_mut(*used..).unwrap_or_default().iter_mut().enumerate() {
        *byte = remaining as u8 & 0x7F;
        remaining >>= 7;
        if remaining == 0 {
            *used += length + 1;
            return true;
        }
        *byte |= 0x80;
    }
    false
}

/// Decodes a number and removes it from the front of `bytes`.
pub(super) fn pop(bytes: &mut &[u8]) -> Option<u64> {
    let (value, rest) = postcard::take_from_bytes(bytes).ok()?;
    *bytes = rest;
    Some(value)
}
