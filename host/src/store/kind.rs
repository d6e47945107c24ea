//! In: the number of a kind of moves, and the start of the monitor that numbered it. Out: one number for both.
//!
//! A monitor numbers its kinds anew at every start, so a kind is known by the start and the number together.

/// All kinds of an axis together.
pub const ALL: i64 = -1;
/// Moves without a kind: they can't be trusted, or their monitor numbers no kinds.
pub const NONE: i64 = 0;

/// The start in the upper 32 bits, the number in the lower; [`NONE`] if the number is 0.
pub fn id(boot: u32, number: u32) -> i64 {
    if number == 0 { NONE } else { i64::from(boot) << u32::BITS | i64::from(number) }
}

/// The start and the number of a kind.
pub fn parts(id: i64) -> (u32, u32) {
    ((id >> u32::BITS) as u32, id as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kind_is_known_by_start_and_number() {
        for (boot, number) in [(0, 1), (1, 1), (1, 2), (133_975, u32::MAX), (u32::MAX, 7)] {
            assert_eq!(parts(id(boot, number)), (boot, number));
        }
        assert_eq!((id(7, 0), id(1, 1)), (NONE, (1 << 32) + 1));
    }
}
