//! In: a move. Out: its kind: which other moves it may be compared with.

use stillpoint_core::wire::record::Move;

/// All kinds of an axis together.
pub const ALL: i64 = -1;

/// Direction and distance class: twice the binary order of magnitude of the travel, one more backwards.
///
/// To be replaced by the number that the monitor will tell; kinds of a store are derived, so that
/// `stillpoint store rebuild` then puts the monitor's into every table.
pub fn kind(told: &Move) -> i64 {
    let class = u32::BITS - told.travel.unsigned_abs().leading_zeros();
    i64::from(2 * class) + i64::from(told.travel < 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn direction_and_octave_tell_kinds_apart() {
        let of = |travel| kind(&Move { travel, ..Move::default() });
        assert_eq!([0, 1, -1, 2, 3, -3, 4, i32::MIN].map(of), [0, 2, 3, 4, 4, 5, 6, 65]);
    }
}
