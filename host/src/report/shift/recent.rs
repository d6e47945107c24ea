//! In: the moves of a kind, as they come. Out: how those of the last five minutes settled.

use std::collections::VecDeque;

use stillpoint_core::baseline::Evidence;

use crate::decode::DecodedMove;
use crate::report::story::Interval;

/// How long a move counts. Unit: s
const SECONDS: f64 = 300.0;
/// Of fewer moves nothing is stated, as `alarms` has it.
const FEWEST: usize = 5;

/// The moves of a kind in the last five minutes until its last one.
#[derive(Clone, Debug, Default)]
pub(super) struct Recent {
    /// Command end, and settling time; none if it did not settle. Unit: ticks
    moves: VecDeque<(u64, Option<u32>)>,
}

impl Recent {
    /// Adds a move; interrupted and untrusted ones say nothing of settling. Unit: ticks/s
    pub(super) fn push(&mut self, decoded: &DecodedMove, ticks_per_second: f64) {
        let record = &decoded.record;
        if Evidence::of(record).is_none() {
            return;
        }
        self.moves.push_back((record.command_end, record.settling));
        let first = record.command_end.saturating_sub((SECONDS * ticks_per_second) as u64);
        while self.moves.front().is_some_and(|(at, _)| *at < first) {
            self.moves.pop_front();
        }
    }

    /// How they settled; none of too few. Unit: ticks/s
    pub(super) fn interval(&self, ticks_per_second: f64) -> Option<Interval> {
        let count = self.moves.len();
        let settled: Vec<f64> = self.moves.iter().filter_map(|(_, time)| time.map(f64::from)).collect();
        let mean = settled.iter().sum::<f64>() / settled.len() as f64 / ticks_per_second;
        (count >= FEWEST).then(|| Interval {
            mean_s: (2 * settled.len() > count).then_some(mean),
            unsettled: (count - settled.len()) as f64 / count as f64,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::record::Move;
    use stillpoint_core::{Outcome, Record};

    /// A move a minute; ticks are milliseconds.
    fn of(moves: &[(Outcome, Option<u32>)]) -> Option<Interval> {
        let mut recent = Recent::default();
        for ((outcome, settling), minute) in moves.iter().zip(1..) {
            let sent = Move::default();
            let record = Record {
                outcome: *outcome,
                settling: *settling,
                command_end: minute * 60_000,
                ..(&sent).into()
            };
            recent.push(&DecodedMove { record, ..DecodedMove::from(&sent) }, 1000.0);
        }
        recent.interval(1000.0)
    }

    #[test]
    fn moves_of_the_last_five_minutes_count() {
        let settled = |ms| (Outcome::Settled, Some(ms));
        let [unsettled, interrupted] =
            [Outcome::Unsettled, Outcome::Interrupted].map(|outcome| (outcome, None));
        assert_eq!(of(&[settled(1); 4]), None);
        let known = |mean_s, unsettled| Some(Interval { mean_s, unsettled });
        assert_eq!(
            of(&[[settled(900); 3], [settled(10); 3], [settled(20); 3]].concat()),
            known(Some(0.015), 0.0)
        );
        let some = [[settled(10); 3].as_slice(), &[unsettled, interrupted, settled(20)]].concat();
        assert_eq!(of(&some), known(Some(0.0125), 0.2));
        assert_eq!(of(&[unsettled; 5]), known(None, 1.0));
    }
}
