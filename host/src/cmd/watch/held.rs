//! In: moves, as they come. Out: each as soon as the settings by which it was measured are known, in the order of coming.

use std::collections::VecDeque;

use stillpoint_core::Settings;

use crate::decode::DecodedMove;

/// Moves that wait; then the oldest is not printed. A curve takes most of a move, some kB.
const MOST: usize = 4096;

/// Moves whose settings are not known yet.
#[derive(Debug, Default)]
pub(super) struct HeldMoves {
    moves: VecDeque<DecodedMove>,
    dropped: u64,
}

impl HeldMoves {
    /// Adds a move.
    pub(super) fn add(&mut self, decoded: DecodedMove) {
        self.moves.push_back(decoded);
        if self.moves.len() > MOST {
            self.moves.pop_front();
            self.dropped += 1;
        }
    }

    /// Whether none waits.
    pub(super) fn is_empty(&self) -> bool {
        self.moves.is_empty()
    }

    /// Whether any that waits is like this.
    pub(super) fn any(&self, like_this: impl Fn(&DecodedMove) -> bool) -> bool {
        self.moves.iter().any(like_this)
    }

    /// Removes the moves whose settings are known.
    pub(super) fn drain_known(
        &mut self,
        settings: impl Fn(&DecodedMove) -> Option<Settings>,
    ) -> Vec<(DecodedMove, Settings)> {
        let mut known = Vec::new();
        for decoded in std::mem::take(&mut self.moves) {
            match settings(&decoded) {
                Some(settings) => known.push((decoded, settings)),
                None => self.moves.push_back(decoded),
            }
        }
        known
    }

    /// Number of moves whose settings never became known.
    pub(super) fn unknown(&self) -> u64 {
        self.dropped + self.moves.len() as u64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::Parameters;
    use stillpoint_core::wire::record::Move;

    #[test]
    fn moves_wait_for_their_settings_in_order_and_are_bounded() {
        let mut held = HeldMoves::default();
        for number in 0..6 {
            held.add(DecodedMove::from(&Move { axis: number as u8 % 2, number, ..Move::default() }));
        }
        let settings = Settings::new(Parameters { window: 50, ..Parameters::at(1_000_000) }).unwrap();
        let of_axis_1 = held.drain_known(|decoded| (decoded.axis == 1).then_some(settings));
        let numbers: Vec<u32> = of_axis_1.iter().map(|(decoded, _)| decoded.record.number).collect();
        assert_eq!((numbers, held.unknown()), (vec![1, 3, 5], 3));
        (0..2 * MOST).for_each(|_| held.add(DecodedMove::from(&Move::default())));
        assert_eq!((held.moves.len(), held.unknown()), (MOST, 3 + 2 * MOST as u64));
    }
}
