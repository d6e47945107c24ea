//! In: moves as they come from a monitor. Out: when the n-th last move of a kind was.

use std::collections::{BTreeMap, VecDeque};

use stillpoint_core::baseline::Evidence;

use crate::decode::DecodedMove;

/// Moves of a kind whose instants are in memory.
const MOST: usize = 1 << 16;

/// Command ends of the moves that the monitor judges.
#[derive(Clone, Debug, Default)]
pub struct MoveTimes {
    /// Number of the last move of each axis.
    last: BTreeMap<u8, u32>,
    /// By axis and kind: number of the move, and its command end in ticks.
    kinds: BTreeMap<(u8, u32), VecDeque<(u32, u64)>>,
}

impl MoveTimes {
    /// Adds a move. If moves before it are missing, those in memory can't be counted any more and are forgotten.
    pub fn push(&mut self, decoded: &DecodedMove) {
        let DecodedMove { axis, kind, ref record, .. } = *decoded;
        let last = self.last.insert(axis, record.number);
        if last.is_some_and(|last| last.wrapping_add(1) != record.number) {
            self.kinds.retain(|of, _| of.0 != axis);
        }
        if Evidence::of(record).is_some() {
            let times = self.kinds.entry((axis, kind)).or_default();
            if times.len() == MOST {
                times.pop_front();
            }
            times.push_back((record.number, record.command_end));
        }
    }

    /// Command end of the move of this axis and kind that is so many moves before the one with this number, which may
    /// still be on its way. Unit: ticks
    pub fn before(&self, (axis, kind): (u8, u32), number: u32, moves: u32) -> Option<u64> {
        let times = self.kinds.get(&(axis, kind))?;
        let until = times.partition_point(|(known, _)| *known < number);
        // The move itself, if it has come, is at `until`.
        let place = until.checked_sub(moves as usize)?;
        times.get(place).map(|(_, tick)| *tick)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::record::{Move, Outcome, flag};

    fn decoded(number: u32, kind: u32, outcome: Outcome) -> DecodedMove {
        let sent = Move {
            axis: 1,
            kind,
            number,
            outcome,
            flags: if outcome == Outcome::Settled { flag::SETTLING } else { 0 },
            start: u64::from(number) * 1000,
            ..Move::default()
        };
        DecodedMove::from(&sent)
    }

    #[test]
    fn moves_of_a_kind_are_counted_back_over_those_of_others() {
        let mut times = MoveTimes::default();
        for number in 1..=20 {
            let outcome = if number == 14 { Outcome::Interrupted } else { Outcome::Settled };
            times.push(&decoded(number, 1 + number % 2, outcome));
        }
        // Even numbers are of kind 1; 14 is not judged.
        let of = |number, moves| times.before((1, 1), number, moves);
        assert_eq!(
            [of(20, 0), of(20, 2), of(20, 3), of(20, 8)].map(|tick| tick.map(|tick| tick / 1000)),
            [Some(20), Some(16), Some(12), Some(2)]
        );
        assert_eq!(of(20, 9), None);
        assert_eq!(of(22, 1), Some(20_000), "the move itself has not come yet");
        assert_eq!((of(22, 0), times.before((1, 9), 20, 0), times.before((2, 1), 20, 0)), (None, None, None));
    }

    #[test]
    fn a_hole_makes_all_before_it_uncountable() {
        let mut times = MoveTimes::default();
        for number in [1, 2, 3, 5, 6] {
            times.push(&decoded(number, 1, Outcome::Unsettled));
        }
        assert_eq!((times.before((1, 1), 6, 1), times.before((1, 1), 6, 2)), (Some(5_000), None));
    }
}
