//! In: a cell, a detector, faults. Out: how long the detector takes to find each of them.

use stillpoint_core::drift::Direction;

use super::axes::{Size, by_axis};
use super::calendar::DAY;
use super::cells::Cell;
use super::detector::Detector;
use super::moves::{BEGIN, Fault, Moves};

/// The next morning. Unit: s
const MORNING: f64 = 4.0 * DAY;
/// How long they are watched. Unit: s
pub const LIMIT: f64 = 3.0 * DAY;
/// Length of a ramp. Unit: s
const RAMP: f64 = DAY;

/// How a fault was found on one axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outcome {
    /// A drift to slower began so long after it. The nuisance may have made that drift: compare with no fault. Unit: s
    Found(f64),
    /// A drift to slower stood already, and stayed.
    Stood,
    /// Not within [`LIMIT`].
    Missed,
}

/// No fault; steps, then ramps of a day, of 10, 20 and 50 %; a step of 10 % while the machine is off or just begins its day.
pub fn faults() -> Vec<Fault> {
    let sizes = [0.1, 0.2, 0.5];
    let none = Fault { from: BEGIN, ..Fault::NONE };
    let real =
        [0.0, RAMP].into_iter().flat_map(|over| sizes.map(|size| Fault { size, from: BEGIN, over, ..none }));
    let overnight = Fault { size: 0.1, from: MORNING, ..none };
    std::iter::once(none).chain(real).chain([overnight]).collect()
}

/// How each of the faults is found: for each a result by axis, whose months don't count. `fresh` by moves per hour.
pub fn find<D: Detector + Send>(
    cell: &Cell,
    fresh: impl Fn(u32) -> D + Sync,
    size: Size,
    faults: &[Fault],
) -> Vec<Vec<Outcome>> {
    let size = size.of(cell);
    let axes = by_axis(size.axes, |axis| {
        let seed = 1_000_000 + u64::from(axis);
        let (mut moves, mut detector) =
            (Moves::new(cell, size.moves_per_hour, seed), fresh(size.moves_per_hour));
        let mut stood = false;
        while moves.at() < BEGIN {
            stood = detector.step(&moves.step()).drift == Some(Direction::Up);
        }
        let one = |fault: &Fault| find_one(moves.clone(), detector.clone(), *fault, stood);
        faults.iter().map(one).collect::<Vec<_>>()
    });
    (0..faults.len()).map(|fault| axes.iter().map(|axis| axis[fault]).collect()).collect()
}

fn find_one<D: Detector>(mut moves: Moves, mut detector: D, fault: Fault, mut stood: bool) -> Outcome {
    moves.set_fault(fault);
    while moves.at() < BEGIN + LIMIT {
        let stands = detector.step(&moves.step()).drift == Some(Direction::Up);
        if stands && !stood {
            return Outcome::Found(moves.at() - fault.from);
        }
        stood = stands;
    }
    if stood { Outcome::Stood } else { Outcome::Missed }
}

/// Axes on which a fault was found, and after how long on half and on 19 of 20 of all axes. Unit: s; infinite if it was
/// found on fewer.
pub fn summary(outcomes: &[Outcome]) -> (usize, [f64; 2]) {
    let found = |outcome: &Outcome| if let Outcome::Found(after) = outcome { *after } else { f64::INFINITY };
    let mut after: Vec<f64> = outcomes.iter().map(found).collect();
    after.sort_by(f64::total_cmp);
    let at = |share: f64| after[((share * after.len() as f64).ceil() as usize).max(1) - 1];
    (after.iter().filter(|after| after.is_finite()).count(), [at(0.5), at(0.95)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nuisance::detector::Verdict;
    use crate::nuisance::moves::Move;
    use crate::scatter::Shape;
    use stillpoint_core::baseline::Evidence;
    use stillpoint_core::drift::Promise;

    const SIZE: Size = Size { axes: 3, months: 0.0, moves_per_hour: 720 };

    /// A detector that sees every move beyond a limit.
    #[test]
    fn faults_are_found_when_they_are() {
        let above = |limit: u32| {
            move |_| {
                move |next: &Move| {
                    let is_slow = matches!(next.evidence, Evidence::Value(time) if time > limit);
                    Verdict { drift: is_slow.then_some(Direction::Up), promise: Promise::Held }
                }
            }
        };
        let cell = Cell { shape: Shape::Normal(0.001), ..Cell::PLAIN };
        // 54 ms lies between 50 and 55 ms, 57 ms is reached by ramps of 20 and 50 % after 0.7 and 0.28 days.
        let found = find(&cell, above(54_000), SIZE, &faults());
        let median = |outcomes: &[Outcome]| summary(outcomes).1[0];
        assert!(found[1..4].iter().all(|steps| median(steps) <= 6.0), "{found:?}");
        assert_eq!(found[0], [Outcome::Missed; 3]);
        let found = find(&cell, above(57_000), SIZE, &faults());
        assert_eq!(found[1], [Outcome::Missed; 3]);
        assert_eq!(summary(&found[1]), (0, [f64::INFINITY; 2]));
        assert!(
            (median(&found[5]) / DAY - 0.7).abs() < 0.03 && (median(&found[6]) / DAY - 0.28).abs() < 0.03
        );
        let always = find(&cell, above(0), SIZE, &faults());
        assert!(always.iter().flatten().all(|outcome| *outcome == Outcome::Stood));
    }
}
