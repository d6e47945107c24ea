//! In: a kind of moves as a monitor numbers it. Out: how the store tells kinds apart.

use stillpoint_core::wire::record::Move;

/// All kinds of an axis together.
pub const ALL: i64 = -1;
/// Moves that a monitor put into no kind: they can't be trusted, or it knows no kinds yet.
pub const NONE: i64 = 0;

/// Numbers of kinds begin anew at every start of a monitor, so that the start belongs to what a kind is known by.
pub fn id(boot: u32, number: u32) -> i64 {
    if number == 0 { NONE } else { i64::from(boot) << u32::BITS | i64::from(number) }
}

/// The start and the number of a kind.
pub fn parts(id: i64) -> (u32, u32) {
    ((id >> u32::BITS) as u32, id as u32)
}

/// The kind of a move.
pub(super) fn kind(boot: u32, told: &Move) -> i64 {
    id(boot, told.kind)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn starts_tell_kinds_apart() {
        for (boot, number) in [(0, 1), (1, 1), (1, 2), (133_975, u32::MAX), (u32::MAX, 7)] {
            assert_eq!(parts(id(boot, number)), (boot, number));
        }
        assert_eq!((id(7, 0), id(1, 1)), (NONE, (1 << 32) + 1));
        assert_eq!(kind(2, &Move { kind: 3, ..Move::default() }), id(2, 3));
    }
}
