//! In: numbers. Out: few bytes for small ones, as postcard does it; and back.
//!
//! For runs of points and samples that are packed and read one by one, without room for all of them.

/// Most bytes of one number up to 33 bits. Unit: bytes
pub(super) const LONGEST: usize = 5;

/// Small magnitudes of either sign become small numbers.
pub(super) fn zigzag(value: i32) -> u32 {
    ((value << 1) ^ (value >> 31)) as u32
}

/// The other way.
pub(super) fn unzigzag(value: u32) -> i32 {
    (value >> 1) as i32 ^ -((value & 1) as i32)
}

/// Appends a number to what `used` bytes of the buffer hold; false if there is no room for it.
pub(super) fn push(buffer: &mut [u8], used: &mut usize, value: u64) -> bool {
    let place = buffer.get_mut(*used..).unwrap_or_default();
    let Ok(written) = postcard::to_slice(&value, place) else { return false };
    *used += written.len();
    true
}

/// Takes a number off the front.
pub(super) fn pop(bytes: &mut &[u8]) -> Option<u64> {
    let (value, rest) = postcard::take_from_bytes(bytes).ok()?;
    *bytes = rest;
    Some(value)
}
