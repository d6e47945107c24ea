//! In: the values of a row. Out: their digest.
//!
//! SHA-256 (FIPS 180-4) over all values, one after the other: a byte for the type (0 null, 1 integer, 2 real, 3 text,
//! 4 blob), the length in bytes as 4 bytes, and the bytes; an integer has 8, a real the 8 of IEEE 754, all big-endian.
//! So no two rows give the same bytes.

use rusqlite::types::ValueRef;
use sha2::Sha256;

/// Unit: bytes
pub(super) const LENGTH: usize = 32;

/// The digest of values.
pub(super) fn digest<'v>(values: impl IntoIterator<Item = ValueRef<'v>>) -> [u8; LENGTH] {
    let mut hash = Sha256::default();
    for value in values {
        match value {
            ValueRef::Null => add(&mut hash, 0, &[]),
            ValueRef::Integer(number) => add(&mut hash, 1, &number.to_be_bytes()),
            ValueRef::Real(number) => add(&mut hash, 2, &number.to_be_bytes()),
            ValueRef::Text(text) => add(&mut hash, 3, text),
            ValueRef::Blob(bytes) => add(&mut hash, 4, bytes),
        }
    }
    sha2::Digest::finalize(hash).into()
}

fn add(hash: &mut Sha256, kind: u8, bytes: &[u8]) {
    sha2::Digest::update(hash, [kind]);
    // SQLite holds no value of 4 GiB.
    sha2::Digest::update(hash, (bytes.len() as u32).to_be_bytes());
    sha2::Digest::update(hash, bytes);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_that_stand_side_by_side_are_not_mixed_up() {
        let text = |text: &'static str| ValueRef::Text(text.as_bytes());
        let all = [
            digest([]),
            digest([ValueRef::Null]),
            digest([text("ab"), text("c")]),
            digest([text("a"), text("bc")]),
            digest([ValueRef::Blob(b"ab"), text("c")]),
            digest([ValueRef::Integer(0)]),
            digest([ValueRef::Real(0.0)]),
        ];
        for (place, one) in all.iter().enumerate() {
            assert!(all.iter().skip(place + 1).all(|other| other != one), "{place}");
        }
        // The published value for no bytes: FIPS 180-4, example of the NIST for the empty message.
        assert_eq!(all[0][..4], [0xE3, 0xB0, 0xC4, 0x42]);
    }
}
