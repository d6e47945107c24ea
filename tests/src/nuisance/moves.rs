//! In: a cell, moves per hour, a seed, a fault. Out: the moves of one axis, one after another, without end.

use stillpoint_core::baseline::Evidence;

use super::calendar::{Calendar, DAY, HOUR, MINUTE};
use super::cells::{Cell, Odd};
use super::conditions::{Conditions, mixed};
use crate::chance::Chance;
use crate::scatter::Scatter;

/// When lasting changes begin. Unit: s
const LASTING: f64 = 2.0 * DAY;
/// When faults begin: the fourth day, in the middle of a stretch of work. Unit: s
pub const BEGIN: f64 = 3.0 * DAY + 10.0 * HOUR;
/// Shares of moves in the slow hump, by the number of the job. Unit: 1
const SLOW: [f64; 3] = [0.2, 0.2, 0.4];

/// A move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// When it ended. Unit: s
    pub at: f64,
    /// Its settling time. Unit: ticks (µs)
    pub evidence: Evidence,
    /// Number of the job as the detector is given it; 0: none.
    pub job: u32,
}

/// A slowdown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// Its full size, relative. Unit: 1
    pub size: f64,
    /// Its begin. Unit: s
    pub from: f64,
    /// Time from its begin to its full size; 0: a step. Unit: s
    pub over: f64,
    /// When it is repaired. Unit: s
    pub until: f64,
}

impl Fault {
    /// No fault.
    pub const NONE: Fault = Fault { size: 0.0, from: 0.0, over: 0.0, until: f64::INFINITY };

    fn level(&self, at: f64) -> f64 {
        let part = if self.over > 0.0 { (at - self.from) / self.over } else { 1.0 };
        if (self.from..self.until).contains(&at) { 1.0 + self.size * part.min(1.0) } else { 1.0 }
    }
}

/// The moves of one axis.
#[derive(Clone)]
pub struct Moves {
    odd: Odd,
    calendar: Calendar,
    conditions: Conditions,
    scatter: Scatter,
    chance: Chance,
    /// Time between moves. Unit: s
    period: f64,
    at: f64,
    /// From when on the level must be worked out again. Unit: s
    until: f64,
    fault: Fault,
    /// Change that stays from the third day on. Unit: 1
    lasting: f64,
    /// Factor of the nuisances.
    level: f32,
    /// Factor of the fault.
    worn: f32,
    /// Share of odd moves. Unit: 1
    share: f64,
    /// Whether the detector is given the number of the job.
    shows_job: bool,
    job: u32,
    resolution: u32,
}

impl Moves {
    /// An axis without a fault, but for the lasting change of the cell; every seed is another axis.
    pub fn new(cell: &Cell, moves_per_hour: u32, seed: u64) -> Moves {
        Moves {
            odd: cell.odd,
            calendar: cell.calendar,
            conditions: Conditions::new(cell.nuisances, seed, seed),
            scatter: Scatter::new(cell.shape, cell.alike, mixed(seed) >> 7),
            chance: Chance::new(mixed(seed ^ 1 << 41)),
            period: HOUR / f64::from(moves_per_hour),
            at: 0.0,
            until: 0.0,
            fault: Fault::NONE,
            lasting: cell.lasting,
            level: 1.0,
            worn: 1.0,
            share: 0.0,
            shows_job: !cell.job_is_hidden,
            job: 0,
            resolution: cell.resolution,
        }
    }

    /// With a fault, which may begin now; later it grows from minute to minute.
    pub fn set_fault(&mut self, fault: Fault) {
        self.fault = fault;
        self.worn = fault.level(self.at) as f32;
    }

    /// When the last move ended. Unit: s
    pub fn at(&self) -> f64 {
        self.at
    }

    /// The next move.
    #[inline]
    pub fn step(&mut self) -> Move {
        self.at += self.period;
        if self.at >= self.until {
            self.next_minute();
        }
        let time = self.scatter.time() * self.level * self.worn;
        let is_odd = self.share > 0.0 && self.chance.uniform() < self.share;
        let evidence = match self.odd {
            Odd::Unsettled(_) if is_odd => Evidence::Unsettled,
            Odd::Zero(_) if is_odd => Evidence::Value(0),
            Odd::Outlying(_) if is_odd => self.value(5.0 * time),
            Odd::Slow if is_odd => self.value(1.6 * time),
            _ => self.value(time),
        };
        Move { at: self.at, evidence, job: self.job }
    }

    #[inline]
    fn value(&self, time: f32) -> Evidence {
        let time = time as u32;
        Evidence::Value(if self.resolution > 1 { time / self.resolution * self.resolution } else { time })
    }

    /// The machine is off for some time, beside the pauses that it has anyway. Unit: s
    pub fn pause(&mut self, seconds: f64) {
        (0..(seconds / MINUTE) as u32).for_each(|_| self.rest());
        self.worn = self.fault.level(self.at) as f32;
    }

    /// Works out level and share for the minute of the next move. Minutes of a pause put the move off.
    fn next_minute(&mut self) {
        while self.at >= self.until {
            if self.calendar.works(self.until) {
                let lasting = if self.until >= LASTING { self.lasting } else { 0.0 };
                self.level = (self.conditions.work(self.until).level() * (1.0 + lasting)) as f32;
                self.until += MINUTE;
            } else {
                self.rest();
            }
        }
        let job = self.conditions.job();
        self.job = if self.shows_job { job } else { 0 };
        self.share = match self.odd {
            Odd::None => 0.0,
            Odd::Slow => SLOW[job.min(2) as usize],
            Odd::Zero(share) | Odd::Outlying(share) | Odd::Unsettled(share) => share,
        };
        self.worn = self.fault.level(self.at) as f32;
    }

    /// A minute of a pause.
    fn rest(&mut self) {
        self.conditions.rest();
        self.at += MINUTE;
        self.until += MINUTE;
    }
}

#[cfg(test)]
mod tests {
    use std::ops::Range;

    use super::*;
    use crate::nuisance::cells::cells;
    use crate::nuisance::conditions::{Jobs, Nuisances};
    use crate::scatter::TYPICAL;

    const PER_HOUR: u32 = 720;

    fn warm_up(constant: f64) -> Cell {
        let nuisances = Nuisances { warm_up: constant, ..Nuisances::NONE };
        Cell { nuisances, calendar: Calendar::Days, ..Cell::PLAIN }
    }

    /// Mean settling time of every half hour of work of some days, relative.
    fn half_hours(cell: &Cell, seed: u64) -> Vec<f64> {
        let mut moves = Moves::new(cell, 7200, seed);
        let mean = |_| {
            let time = |_| match moves.step().evidence {
                Evidence::Value(time) => f64::from(time) / TYPICAL,
                Evidence::Unsettled => f64::NAN,
            };
            (0..7200 / 2).map(time).sum::<f64>() / f64::from(7200 / 2)
        };
        (0..480).map(mean).collect()
    }

    fn extremes(values: &[f64]) -> [f64; 2] {
        [values.iter().copied().fold(f64::INFINITY, f64::min), values.iter().copied().fold(0.0, f64::max)]
    }

    /// Means of half hours scatter by 0.2 %; with two humps by 0.6 %, with zeros by 0.9 %, with outliers by 0.7 %.
    #[track_caller]
    fn check(cell: Cell, expected: [f64; 2]) {
        let found = extremes(&half_hours(&cell, 3));
        let near = found.iter().zip(expected).all(|(found, expected)| (found - expected).abs() < 0.025);
        assert!(near, "{cell}: {found:?} for {expected:?}");
    }

    #[test]
    fn levels_reach_as_far_as_they_are_said_to() {
        let of = |nuisances| Cell { nuisances, ..Cell::PLAIN };
        let odd = |odd| Cell { odd, ..Cell::PLAIN };
        check(Cell::PLAIN, [1.0, 1.0]);
        check(of(Nuisances { daily: 0.1, ..Nuisances::NONE }), [0.9, 1.1]);
        check(of(Nuisances { jobs: Jobs::of(0.08), ..Nuisances::NONE }), [0.92, 1.08]);
        // Three deviations of 2 % among some hundred hours.
        check(of(Nuisances { wander: 0.02, ..Nuisances::NONE }), [0.95, 1.05]);
        let two = Nuisances { jobs: Jobs { products: 2, ..Jobs::NONE }, ..Nuisances::NONE };
        check(Cell { odd: Odd::Slow, ..of(two) }, [1.11, 1.25]);
        check(odd(Odd::Zero(0.45)), [0.53, 0.57]);
        check(odd(Odd::Outlying(0.01)), [1.02, 1.06]);
    }

    #[test]
    fn a_lasting_change_begins_with_the_third_day_and_stays() {
        let means = half_hours(&Cell { lasting: 0.05, ..Cell::PLAIN }, 3);
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
        // Days 1 and 2 have 96 half hours.
        let found = [mean(&means[..96]), means[96], mean(&means[96..])];
        for (found, expected) in found.into_iter().zip([1.0, 1.05, 1.05]) {
            assert!((found - expected).abs() < 0.007, "{found} for {expected}");
        }
    }

    #[test]
    fn a_hidden_job_is_hidden_and_still_works() {
        let nuisances = Nuisances { jobs: Jobs::of(0.08), ..Nuisances::NONE };
        let seen = Cell { nuisances, ..Cell::PLAIN };
        let run = |cell: &Cell| {
            let mut moves = Moves::new(cell, PER_HOUR, 3);
            (0..50_000).map(|_| moves.step()).collect::<Vec<_>>()
        };
        let (seen, hidden) = (run(&seen), run(&Cell { job_is_hidden: true, ..seen }));
        assert!(
            seen.iter().all(|next| (1..=5).contains(&next.job)) && hidden.iter().all(|next| next.job == 0)
        );
        assert!(seen.iter().zip(&hidden).all(|(a, b)| (a.at, a.evidence) == (b.at, b.evidence)));
    }

    fn minutes(moves: &mut Moves, count: u32) -> Vec<(f64, i32)> {
        let mut by_minute = vec![(0.0, 0); 1440];
        for _ in 0..count {
            let Move { at, evidence, .. } = moves.step();
            let Evidence::Value(time) = evidence else { panic!("settled") };
            let minute = &mut by_minute[(at % DAY / MINUTE) as usize];
            *minute = (minute.0 + f64::from(time) / TYPICAL, minute.1 + 1);
        }
        by_minute
    }

    #[test]
    fn cold_mornings_and_breaks_are_slow_and_nobody_works_at_night() {
        // What remains of the slowdown: e^-(113 min / constant), and after a break 1 - (1 - e^-(120 / constant)) e^-(15 / constant).
        for (constant, part) in [(900.0, [0.0, 0.632]), (1800.0, [0.023, 0.405])] {
            let mut moves = Moves::new(&warm_up(constant), PER_HOUR, 5);
            let by_minute = minutes(&mut moves, 20 * 16 * PER_HOUR);
            let level = |from: usize| {
                let part = &by_minute[from..from + 5];
                let count = part.iter().map(|minute| minute.1).sum::<i32>();
                part.iter().map(|minute| minute.0).sum::<f64>() / f64::from(count)
            };
            let (cold, warm, resumed) = (level(1) - 1.0, level(114) - 1.0, level(136) - 1.0);
            assert!((0.07..0.2).contains(&cold), "{cold}");
            assert!((warm / cold - part[0]).abs() < 0.06, "warm {warm} of {cold}");
            assert!((resumed / cold - part[1]).abs() < 0.06, "after a break {resumed} of {cold}");
            let idle = |minutes: Range<usize>| by_minute[minutes].iter().all(|minute| minute.1 == 0);
            assert!(idle(121..134) && idle(960..1440) && !idle(100..120) && !idle(136..140));
        }
    }

    /// A move in two minutes falls into hours of work, too, and as often as it should.
    #[test]
    fn few_moves_are_spread_over_the_hours_of_work() {
        let mut moves = Moves::new(&warm_up(900.0), 30, 5);
        let by_minute = minutes(&mut moves, 28 * 57 * 30 / 4);
        let working = (0..1440).filter(|minute| Calendar::Days.works(*minute as f64 * MINUTE));
        let count: i32 = working.map(|minute| by_minute[minute].1).sum();
        assert_eq!(count, 28 * 57 * 30 / 4);
        assert!((moves.at() / DAY - 28.0).abs() < 0.5, "{}", moves.at() / DAY);
    }

    #[test]
    fn an_axis_cools_in_a_pause() {
        let mut moves = Moves::new(&warm_up(900.0), PER_HOUR, 5);
        let mut mean = |count: u32| {
            minutes(&mut moves, count).iter().map(|minute| minute.0).sum::<f64>() / f64::from(count)
        };
        let (cold, _, warm) = (mean(100), mean(900), mean(100));
        moves.pause(HOUR);
        let again = minutes(&mut moves, 100).iter().map(|minute| minute.0).sum::<f64>() / 100.0;
        assert!(cold - warm > 0.05 && (again - cold).abs() < 0.03, "{cold} {warm} {again}");
        assert!((moves.at() / HOUR - 1200.0 / 720.0 - 1.0).abs() < 0.02, "{}", moves.at());
    }

    #[test]
    fn shares_are_as_named() {
        let share = |odd, is: fn(Evidence) -> bool| {
            let mut moves = Moves::new(&Cell { odd, ..Cell::PLAIN }, PER_HOUR, 9);
            (0..100_000).filter(|_| is(moves.step().evidence)).count() as f64 / 1e5
        };
        let unsettled = |evidence| evidence == Evidence::Unsettled;
        assert!((share(Odd::Unsettled(0.05), unsettled) - 0.05).abs() < 0.003);
        assert!((share(Odd::Unsettled(0.01), unsettled) - 0.01).abs() < 0.0015);
        assert!((share(Odd::Zero(0.45), |evidence| evidence == Evidence::Value(0)) - 0.45).abs() < 0.007);
        let late = |evidence| matches!(evidence, Evidence::Value(time) if time > 120_000);
        assert!((share(Odd::Outlying(0.05), late) - 0.05).abs() < 0.003);
    }

    #[test]
    fn a_fault_has_its_size_its_begin_and_its_end() {
        let fault = Fault { size: 0.5, from: 10.0 * HOUR, over: HOUR, until: 20.0 * HOUR };
        for cell in cells().into_iter().filter(|cell| cell.resolution == 1) {
            let mut sound = Moves::new(&cell, PER_HOUR, 2);
            let mut worn = sound.clone();
            worn.set_fault(fault);
            for _ in 0..20 * PER_HOUR {
                let (a, b) = (sound.step(), worn.step());
                let (Evidence::Value(before), Evidence::Value(after)) = (a.evidence, b.evidence) else {
                    assert_eq!(a, b);
                    continue;
                };
                let grown = 1.0 + 0.5 * ((a.at - 10.0 * HOUR) / HOUR).clamp(0.0, 1.0);
                let expected = if a.at < 20.0 * HOUR { grown } else { 1.0 };
                let found = f64::from(after) / f64::from(before).max(1e-3);
                assert!(before == 0 || (found - expected).abs() < 0.01, "{cell}, {}: {found}", a.at);
            }
        }
    }

    #[test]
    fn a_seed_is_an_axis() {
        for cell in cells() {
            let run = |seed| {
                let mut moves = Moves::new(&cell, PER_HOUR, seed);
                (0..5000).map(|_| moves.step()).collect::<Vec<_>>()
            };
            assert!(run(1) == run(1) && run(1) != run(2), "{cell}");
        }
    }
}
