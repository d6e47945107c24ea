//! In: a cell, a detector, a number of axes. Out: alarms, promises, and the time to find a fault.

use std::collections::BTreeMap;
use std::thread;

use stillpoint_core::drift::{Direction, Promise};

use super::cells::Cell;
use super::detector::Detector;
use super::moves::{DAY, Fault, HOUR, Moves};

/// Hours of work in a month, as the promise counts them.
const MONTH: f64 = 730.5;

/// How much is simulated.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    /// Axes, each with a baseline of its own.
    pub axes: u32,
    /// Of work, for each axis. Unit: months
    pub months: f64,
    /// Moves of an axis in an hour of work. Unit: 1/h
    pub moves_per_hour: u32,
}

/// What a detector said while nothing was wrong.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Watched {
    /// Drifts that began to stand.
    pub alarms: u64,
    /// Of work. Unit: axis-months
    pub months: f64,
    /// Share of the moves at which a drift stood. Unit: 1
    pub standing: f64,
    /// Share of the moves by the word of the promise. Unit: 1
    pub promises: BTreeMap<String, f64>,
}

impl Watched {
    /// Alarms per axis-month.
    pub fn rate(&self) -> f64 {
        self.alarms as f64 / self.months
    }

    /// Share of a promise. Unit: 1
    pub fn share(&self, promise: &str) -> f64 {
        self.promises.get(promise).copied().unwrap_or_default()
    }
}

/// The results of `one` for every axis, in their order, by all processors.
fn by_axis<T: Send>(axes: u32, one: impl Fn(u32) -> T + Sync) -> Vec<T> {
    let threads = thread::available_parallelism().map_or(1, |count| count.get() as u32);
    let mut results: Vec<(u32, T)> = thread::scope(|scope| {
        let one = &one;
        let share = |first: u32| (first..axes).step_by(threads as usize).map(|axis| (axis, one(axis)));
        let begun: Vec<_> =
            (0..threads).map(|first| scope.spawn(move || share(first).collect::<Vec<_>>())).collect();
        begun.into_iter().flat_map(|thread| thread.join().expect("an axis ends")).collect()
    });
    results.sort_by_key(|result| result.0);
    results.into_iter().map(|result| result.1).collect()
}

/// Watches axes on which nothing is wrong.
pub fn watch<D: Detector>(cell: &Cell, fresh: impl Fn() -> D + Sync, size: Size) -> Watched {
    let count = (size.months * MONTH * f64::from(size.moves_per_hour)) as u64;
    let axes = by_axis(size.axes, |axis| {
        let (mut moves, mut detector) = (Moves::new(cell, size.moves_per_hour, u64::from(axis)), fresh());
        let (mut alarms, mut standing, mut stood) = (0, 0, false);
        let mut promises = Promises::default();
        for _ in 0..count {
            let verdict = detector.step(&moves.step());
            let stands = verdict.drift.is_some();
            alarms += u64::from(stands && !stood);
            standing += u64::from(stands);
            stood = stands;
            promises.step(verdict.promise);
        }
        (alarms, standing, promises.finish())
    });
    let all = (f64::from(size.axes) * count as f64).max(1.0);
    let mut watched = Watched { months: f64::from(size.axes) * size.months, ..Watched::default() };
    for (alarms, standing, promises) in axes {
        watched.alarms += alarms;
        watched.standing += standing as f64 / all;
        for (promise, moves) in promises {
            *watched.promises.entry(promise).or_default() += moves as f64 / all;
        }
    }
    watched
}

/// Number of moves by promise; a promise seldom changes.
#[derive(Default)]
struct Promises {
    now: Promise,
    since: u64,
    moves: BTreeMap<String, u64>,
}

impl Promises {
    #[inline]
    fn step(&mut self, promise: Promise) {
        if promise != self.now {
            self.close();
            self.now = promise;
        }
        self.since += 1;
    }

    fn close(&mut self) {
        if self.since > 0 {
            *self.moves.entry(format!("{:?}", self.now)).or_default() += self.since;
        }
        self.since = 0;
    }

    fn finish(mut self) -> BTreeMap<String, u64> {
        self.close();
        self.moves
    }
}

/// When faults begin: the fourth day, in the middle of a stretch of work. Unit: s
pub const BEGIN: f64 = 3.0 * DAY + 10.0 * HOUR;
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

/// No fault, then steps, then ramps of a day, of 10, 20 and 50 %.
pub fn faults() -> Vec<Fault> {
    let sizes = [0.1, 0.2, 0.5];
    let none = Fault { from: BEGIN, ..Fault::default() };
    let real = [0.0, RAMP].into_iter().flat_map(|over| sizes.map(|size| Fault { size, from: BEGIN, over }));
    std::iter::once(none).chain(real).collect()
}

/// How each of the faults is found: for each a result by axis, whose months don't count.
pub fn find<D: Detector + Send>(
    cell: &Cell,
    fresh: impl Fn() -> D + Sync,
    size: Size,
    faults: &[Fault],
) -> Vec<Vec<Outcome>> {
    let axes = by_axis(size.axes, |axis| {
        let seed = 1_000_000 + u64::from(axis);
        let (mut moves, mut detector) = (Moves::new(cell, size.moves_per_hour, seed), fresh());
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
    use crate::nuisance::cells::Nuisance;
    use crate::nuisance::detector::Verdict;
    use crate::nuisance::moves::Move;
    use crate::scatter::Shape;
    use stillpoint_core::baseline::Evidence;

    const CELL: Cell = Cell { nuisance: Nuisance::None, shape: Shape::Normal(0.1), alike: 0.0 };
    const SIZE: Size = Size { axes: 3, months: 0.01, moves_per_hour: 720 };

    /// A tenth of a thousand moves in alarm; learning for the first thousand.
    #[test]
    fn alarms_and_promises_are_counted() {
        let fresh = || {
            let mut count = 0;
            move |_: &Move| {
                count += 1;
                let drift = (count % 1000 < 100).then_some(Direction::Down);
                Verdict { drift, promise: if count <= 1000 { Promise::Learning } else { Promise::Held } }
            }
        };
        let found = watch(&CELL, fresh, SIZE);
        // 5259 moves of each axis; an alarm at the first move and at each whole thousand.
        assert_eq!((found.alarms, found.months), (3 * 6, 0.03));
        assert!((found.standing - 599.0 / 5259.0).abs() < 1e-9, "{}", found.standing);
        assert!((found.share("Learning") - 1000.0 / 5259.0).abs() < 1e-9);
        assert!((found.share("Held") - 4259.0 / 5259.0).abs() < 1e-9);
        assert_eq!(found.share("Short"), 0.0);
    }

    /// A detector that sees every move beyond a limit.
    #[test]
    fn faults_are_found_when_they_are() {
        let above = |limit: u32| {
            move || {
                move |next: &Move| {
                    let is_slow = matches!(next.evidence, Evidence::Value(time) if time > limit);
                    Verdict { drift: is_slow.then_some(Direction::Up), promise: Promise::Held }
                }
            }
        };
        let cell = Cell { shape: Shape::Normal(0.001), ..CELL };
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
