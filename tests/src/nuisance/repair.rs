//! In: a cell, a detector. Out: what the detector makes of a fault that is repaired in a pause: whether its drift ends by
//! itself, after how long, and what it alarms afterwards.

use stillpoint_core::drift::Direction;

use super::axes::{Size, by_axis};
use super::calendar::{DAY, HOUR, MINUTE, WEEK};
use super::cells::Cell;
use super::detector::Detector;
use super::moves::{BEGIN, Fault, Moves};

/// Size of the fault. Unit: 1
const SLOWER: f64 = 0.2;
/// How long it lasts. Unit: s
const LASTS: f64 = 2.0 * DAY;
/// Length of the pause in which it is repaired. Unit: s
const PAUSE: f64 = 4.0 * HOUR;

/// One axis after its repair.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repaired {
    /// Whether a drift to slower stood at the repair.
    pub was_found: bool,
    /// From the first move after the pause until no drift stood; `None`: not within a week. Unit: s
    pub ended_after: Option<f64>,
    /// Drifts that began to stand in the week after the repair.
    pub alarms: u32,
}

/// A fault of 20 % for two days, which is gone after a pause; `fresh` by moves per hour.
pub fn repair<D: Detector>(cell: &Cell, fresh: impl Fn(u32) -> D + Sync, size: Size) -> Vec<Repaired> {
    let size = size.of(cell);
    by_axis(size.axes, |axis| {
        let seed = 2_000_000 + u64::from(axis);
        let (mut moves, mut detector) =
            (Moves::new(cell, size.moves_per_hour, seed), fresh(size.moves_per_hour));
        let repaired = BEGIN + LASTS;
        moves.set_fault(Fault { size: SLOWER, from: BEGIN, until: repaired, ..Fault::NONE });
        let mut stands = None;
        // The last move with the fault must not be the first without it.
        while moves.at() < repaired - MINUTE {
            stands = detector.step(&moves.step()).drift;
        }
        moves.pause(PAUSE);
        follow(moves, detector, stands)
    })
}

fn follow<D: Detector>(mut moves: Moves, mut detector: D, mut stands: Option<Direction>) -> Repaired {
    let from = moves.at();
    let was_found = stands == Some(Direction::Up);
    let (mut ended_after, mut alarms) = (None, 0);
    while moves.at() < from + WEEK {
        let next = detector.step(&moves.step()).drift;
        alarms += u32::from(next.is_some() && stands.is_none());
        if next.is_none() && ended_after.is_none() {
            ended_after = Some(moves.at() - from);
        }
        stands = next;
    }
    Repaired { was_found, ended_after, alarms }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nuisance::detector::Verdict;
    use crate::nuisance::moves::Move;
    use crate::scatter::Shape;
    use stillpoint_core::baseline::Evidence;
    use stillpoint_core::drift::Promise;

    /// A detector that sees every move beyond 55 ms, and another that never forgets.
    #[test]
    fn ends_and_further_alarms_are_counted() {
        let fresh = |forgets: bool| {
            move |_| {
                let mut stood = false;
                move |next: &Move| {
                    let is_slow = matches!(next.evidence, Evidence::Value(time) if time > 55_000);
                    stood = is_slow || stood && !forgets;
                    Verdict { drift: stood.then_some(Direction::Up), promise: Promise::Held }
                }
            }
        };
        let size = Size { axes: 2, months: 0.0, moves_per_hour: 720 };
        let cell = Cell { shape: Shape::Normal(0.001), ..Cell::PLAIN };
        let found = repair(&cell, fresh(true), size);
        assert!(found.iter().all(|axis| axis.was_found && axis.alarms == 0), "{found:?}");
        assert!(found.iter().all(|axis| axis.ended_after.is_some_and(|after| after <= 6.0)), "{found:?}");
        let forever = Repaired { was_found: true, ended_after: None, alarms: 0 };
        assert_eq!(repair(&cell, fresh(false), size), [forever; 2]);
        // With a scatter of 10 % moves are beyond 55 ms, and back, again and again.
        assert!(repair(&Cell::PLAIN, fresh(true), size)[0].alarms > 10_000);
    }
}
