//! In: a cell, a detector, a number of axes. Out: alarms while nothing is wrong, by promise and time, and the promises.

use std::collections::BTreeMap;

use stillpoint_core::drift::Promise;

use super::axes::{MONTH, Size, by_axis};
use super::calendar::DAY;
use super::cells::Cell;
use super::detector::{Detector, Verdict};
use super::moves::Moves;

/// The first day of an axis and all later ones, by time and not by work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Day {
    /// The first 24 h.
    First,
    /// After them.
    Later,
}

impl Day {
    /// The day of an instant. Unit: s
    pub fn of(at: f64) -> Day {
        if at < DAY { Day::First } else { Day::Later }
    }
}

/// What a detector said while nothing was wrong.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Watched {
    /// Drifts that began to stand, by day and by the word of the promise then.
    pub alarms: BTreeMap<(Day, String), u64>,
    /// Of work. Unit: axis-months
    pub months: f64,
    /// Number of moves, by day and by the word of the promise.
    pub moves: BTreeMap<(Day, String), u64>,
    /// Number of moves at which a drift stood.
    pub standing: u64,
}

impl Watched {
    /// All alarms.
    pub fn count(&self) -> u64 {
        self.alarms.values().sum()
    }

    /// Alarms of one sort of day.
    pub fn on(&self, day: Day) -> u64 {
        self.alarms.iter().filter(|alarms| alarms.0.0 == day).map(|alarms| alarms.1).sum()
    }

    /// Alarms per axis-month.
    pub fn rate(&self) -> f64 {
        self.count() as f64 / self.months
    }

    /// Share of the moves of one sort of day by the word of the promise. Unit: 1
    pub fn promises(&self, day: Day) -> BTreeMap<&str, f64> {
        let of_day = || self.moves.iter().filter(move |moves| moves.0.0 == day);
        let all: u64 = of_day().map(|moves| moves.1).sum();
        of_day().map(|((_, word), moves)| (word.as_str(), *moves as f64 / all as f64)).collect()
    }

    /// Share of a promise after the first day. Unit: 1
    pub fn share(&self, word: &str) -> f64 {
        self.promises(Day::Later).get(word).copied().unwrap_or_default()
    }

    /// Share of the moves at which a drift stood. Unit: 1
    pub fn standing(&self) -> f64 {
        self.standing as f64 / self.moves.values().sum::<u64>().max(1) as f64
    }

    /// Adds what was said of another axis.
    pub fn add(&mut self, other: Watched) {
        let sum = |into: &mut BTreeMap<_, u64>, from: BTreeMap<_, u64>| {
            from.into_iter().for_each(|(what, count)| *into.entry(what).or_default() += count);
        };
        sum(&mut self.alarms, other.alarms);
        sum(&mut self.moves, other.moves);
        self.months += other.months;
        self.standing += other.standing;
    }
}

/// Watches axes on which nothing is wrong, but for the lasting change of the cell; `fresh` by moves per hour.
pub fn watch<D: Detector>(cell: &Cell, fresh: impl Fn(u32) -> D + Sync, size: Size) -> Watched {
    let size = size.of(cell);
    let moves = (size.months * MONTH * f64::from(size.moves_per_hour)) as u64;
    let axes = by_axis(size.axes, |axis| {
        let (mut next, mut detector) =
            (Moves::new(cell, size.moves_per_hour, u64::from(axis)), fresh(size.moves_per_hour));
        let mut watching = Watching::default();
        for _ in 0..moves {
            let verdict = detector.step(&next.step());
            watching.step(next.at(), verdict);
        }
        watching.finish(size.months)
    });
    axes.into_iter().fold(Watched::default(), |mut all, axis| {
        all.add(axis);
        all
    })
}

/// Counts what is said of one axis; its day and its promise seldom change.
pub struct Watching {
    watched: Watched,
    now: (Day, Promise),
    moves: u64,
    stood: bool,
}

impl Default for Watching {
    fn default() -> Watching {
        Watching {
            watched: Watched::default(),
            now: (Day::First, Promise::default()),
            moves: 0,
            stood: false,
        }
    }
}

impl Watching {
    /// After a move at an instant. Unit: s
    #[inline]
    pub fn step(&mut self, at: f64, verdict: Verdict) {
        let now = (Day::of(at), verdict.promise);
        if now != self.now {
            self.close();
            self.now = now;
        }
        self.moves += 1;
        let stands = verdict.drift.is_some();
        self.watched.standing += u64::from(stands);
        if stands && !self.stood {
            *self.watched.alarms.entry(word(now)).or_default() += 1;
        }
        self.stood = stands;
    }

    fn close(&mut self) {
        if self.moves > 0 {
            *self.watched.moves.entry(word(self.now)).or_default() += self.moves;
        }
        self.moves = 0;
    }

    /// All of it, seen for some time of work. Unit: months
    pub fn finish(mut self, months: f64) -> Watched {
        self.close();
        Watched { months, ..self.watched }
    }
}

fn word((day, promise): (Day, Promise)) -> (Day, String) {
    (day, format!("{promise:?}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nuisance::moves::Move;
    use stillpoint_core::drift::Direction;

    /// A tenth of a thousand moves in alarm; learning for the first thousand; two months of half an hour a month.
    #[test]
    fn alarms_and_promises_are_counted() {
        let fresh = |_| {
            let mut count = 0;
            move |_: &Move| {
                count += 1;
                let drift = (count % 1000 < 100).then_some(Direction::Down);
                Verdict { drift, promise: if count <= 1000 { Promise::Learning } else { Promise::Held } }
            }
        };
        // 35,064 moves of each axis, of which 17,279 end on the first day.
        let size = Size { axes: 3, months: 0.0666667, moves_per_hour: 720 };
        let found = watch(&Cell::PLAIN, fresh, size);
        let word = |day, word: &str| (day, word.to_owned());
        // An alarm at the first move and at each whole thousand; the word changes after the thousandth.
        let alarms = [
            (word(Day::First, "Learning"), 3 * 2),
            (word(Day::First, "Held"), 3 * 16),
            (word(Day::Later, "Held"), 3 * 18),
        ];
        assert_eq!(found.alarms, alarms.into());
        assert_eq!((found.count(), found.on(Day::Later)), (3 * 36, 3 * 18));
        assert_eq!(found.moves[&word(Day::First, "Learning")], 3 * 1000);
        assert_eq!(found.moves[&word(Day::First, "Held")], 3 * 16_279);
        assert_eq!(found.standing, 3 * (99 + 34 * 100 + 65));
        assert_eq!((found.share("Held"), found.share("Short")), (1.0, 0.0));
        assert!((found.months - 0.2).abs() < 1e-6);
    }

    #[test]
    fn a_cell_may_have_moves_per_hour_of_its_own() {
        let fresh = |per_hour| {
            move |next: &Move| {
                assert_eq!(per_hour, 60);
                assert!((next.at / 60.0).fract() < 1e-9);
                Verdict { drift: None, promise: Promise::Held }
            }
        };
        let size = Size { axes: 1, months: 0.1, moves_per_hour: 7200 };
        let found = watch(&Cell { moves_per_hour: 60, ..Cell::PLAIN }, fresh, size);
        assert_eq!(found.moves.values().sum::<u64>(), 4383);
    }
}
