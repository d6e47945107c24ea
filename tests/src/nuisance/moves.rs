//! In: a cell, moves per hour, a seed, a fault. Out: the moves of one axis, one after another, without end.

use std::f64::consts::TAU;

use stillpoint_core::baseline::Evidence;

use super::cells::{Cell, Nuisance};
use crate::chance::Chance;
use crate::scatter::Scatter;

/// Unit: s
pub const HOUR: f64 = 3600.0;
/// Unit: s
pub const DAY: f64 = 24.0 * HOUR;
/// The level is worked out once a minute. Unit: s
const MINUTE: f64 = 60.0;
/// Two shifts; only where warm-ups count: elsewhere the machine works on. Unit: s
const WORKING_DAY: f64 = 16.0 * HOUR;
/// Work and break. Unit: s
const ROUND: [f64; 2] = [2.0 * HOUR, 0.25 * HOUR];
/// How the wander forgets. Unit: s
const FORGETS: f64 = 2.0 * HOUR;
/// Products of the jobs.
const PRODUCTS: u64 = 5;

/// A move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// When it ended. Unit: s
    pub at: f64,
    /// Its settling time. Unit: ticks (µs)
    pub evidence: Evidence,
    /// Number of the job, which a machine may know; 0 where there are none.
    pub job: u32,
}

/// A lasting slowdown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Fault {
    /// Its full size, relative. Unit: 1
    pub size: f64,
    /// Its begin. Unit: s
    pub from: f64,
    /// Time from its begin to its full size; 0: a step. Unit: s
    pub over: f64,
}

impl Fault {
    fn level(&self, at: f64) -> f64 {
        let part = if self.over > 0.0 { (at - self.from) / self.over } else { 1.0 };
        if at < self.from { 1.0 } else { 1.0 + self.size * part.min(1.0) }
    }
}

/// The moves of one axis.
#[derive(Clone)]
pub struct Moves {
    nuisance: Nuisance,
    scatter: Scatter,
    chance: Chance,
    /// Time between moves. Unit: s
    period: f64,
    at: f64,
    /// From when on the level must be worked out again. Unit: s
    until: f64,
    fault: Fault,
    /// Factor of the fault.
    worn: f32,
    /// Factor of the nuisance.
    level: f32,
    /// Share of moves that differ from the others, as the nuisance says. Unit: 1
    share: f64,
    /// Of the axis: phase of the day, or slowdown while cold.
    own: f64,
    /// The wander, or how warm the axis is.
    state: f64,
    job: u32,
    job_ends: f64,
}

impl Moves {
    /// An axis without a fault; every seed is another axis.
    pub fn new(cell: &Cell, moves_per_hour: u32, seed: u64) -> Moves {
        let seed = (seed + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let mut chance = Chance::new(seed);
        let own = match cell.nuisance {
            Nuisance::Daily(_) => chance.uniform() * TAU,
            Nuisance::WarmUp(_) => 0.08 + 0.12 * chance.uniform(),
            _ => 0.0,
        };
        let state = if let Nuisance::Wander(_) = cell.nuisance { chance.normal() } else { 0.0 };
        Moves {
            nuisance: cell.nuisance,
            scatter: Scatter::new(cell.shape, cell.alike, seed >> 7),
            chance,
            period: HOUR / f64::from(moves_per_hour),
            at: 0.0,
            until: 0.0,
            fault: Fault::default(),
            worn: 1.0,
            level: 1.0,
            share: 0.0,
            own,
            state,
            job: 0,
            job_ends: 0.0,
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
        let differs = self.share > 0.0 && self.chance.uniform() < self.share;
        let evidence = match self.nuisance {
            Nuisance::Unsettled(_) if differs => Evidence::Unsettled,
            Nuisance::Zeros(_) if differs => Evidence::Value(0),
            Nuisance::Outliers(_) if differs => Evidence::Value((5.0 * time) as u32),
            Nuisance::TwoHumps if differs => Evidence::Value((1.6 * time) as u32),
            _ => Evidence::Value(time as u32),
        };
        Move { at: self.at, evidence, job: self.job }
    }

    /// Works out level and share for the coming minute.
    fn next_minute(&mut self) {
        self.until += MINUTE;
        while matches!(self.nuisance, Nuisance::WarmUp(_)) && !works(self.until - MINUTE) {
            self.warm(0.0);
            self.until += MINUTE;
        }
        self.at = self.at.max(self.until - MINUTE);
        let level = match self.nuisance {
            Nuisance::None => 1.0,
            Nuisance::Daily(part) => 1.0 + part * (TAU * self.at / DAY + self.own).sin(),
            Nuisance::Jobs(part) => {
                self.next_job(PRODUCTS);
                1.0 + part * (2.0 * f64::from(self.job) / (PRODUCTS - 1) as f64 - 1.0)
            }
            Nuisance::Wander(part) => {
                let forgets = (-MINUTE / FORGETS).exp();
                self.state = forgets * self.state + (1.0 - forgets * forgets).sqrt() * self.chance.normal();
                1.0 + part * self.state
            }
            Nuisance::WarmUp(_) => {
                self.warm(1.0);
                1.0 + self.own * (1.0 - self.state)
            }
            Nuisance::TwoHumps => {
                self.next_job(2);
                self.share = [0.2, 0.4][self.job as usize];
                1.0
            }
            Nuisance::Zeros(share) | Nuisance::Outliers(share) | Nuisance::Unsettled(share) => {
                self.share = share;
                1.0
            }
        };
        self.level = level as f32;
        self.worn = self.fault.level(self.at) as f32;
    }

    /// Another job than before, once the present one has ended.
    fn next_job(&mut self, jobs: u64) {
        if self.at >= self.job_ends {
            self.job = (u64::from(self.job) + 1 + self.chance.below(jobs - 1)) as u32 % jobs as u32;
            self.job_ends = self.at + HOUR * (0.5 + 1.5 * self.chance.uniform());
        }
    }

    /// A minute of work, or of a pause, towards a warmth of 1, or of 0.
    fn warm(&mut self, goal: f64) {
        if let Nuisance::WarmUp(constant) = self.nuisance {
            self.state = goal + (self.state - goal) * (-MINUTE / constant).exp();
        }
    }
}

/// Whether a machine with shifts and breaks works at a time. Unit: s
fn works(at: f64) -> bool {
    let [work, pause] = ROUND;
    at % DAY < WORKING_DAY && at % DAY % (work + pause) < work
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nuisance::cells::cells;
    use crate::scatter::{Shape, TYPICAL};

    const PER_HOUR: u32 = 720;

    fn cell(nuisance: Nuisance) -> Cell {
        Cell { nuisance, shape: Shape::Normal(0.1), alike: 0.0 }
    }

    /// Mean settling time of every half hour of work of some days, relative.
    fn half_hours(nuisance: Nuisance, seed: u64) -> Vec<f64> {
        let mut moves = Moves::new(&cell(nuisance), 7200, seed);
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
    fn check(nuisance: Nuisance, expected: [f64; 2]) {
        let found = extremes(&half_hours(nuisance, 3));
        let near = found.iter().zip(expected).all(|(found, expected)| (found - expected).abs() < 0.025);
        assert!(near, "{nuisance:?}: {found:?} for {expected:?}");
    }

    #[test]
    fn levels_reach_as_far_as_they_are_said_to() {
        check(Nuisance::None, [1.0, 1.0]);
        check(Nuisance::Daily(0.1), [0.9, 1.1]);
        check(Nuisance::Jobs(0.08), [0.92, 1.08]);
        // Three deviations of 2 % among some hundred hours.
        check(Nuisance::Wander(0.02), [0.95, 1.05]);
        check(Nuisance::TwoHumps, [1.11, 1.25]);
        check(Nuisance::Zeros(0.45), [0.53, 0.57]);
        check(Nuisance::Outliers(0.01), [1.02, 1.06]);
    }

    #[test]
    fn cold_mornings_and_breaks_are_slow_and_nobody_works_at_night() {
        // What is left of the slowdown: e^-(113 min / constant), and after a break 1 - (1 - e^-(120 / constant)) e^-(15 / constant).
        for (constant, part) in [(900.0, [0.0, 0.632]), (1800.0, [0.023, 0.405])] {
            let mut moves = Moves::new(&cell(Nuisance::WarmUp(constant)), PER_HOUR, 5);
            let mut by_minute = vec![(0.0, 0); 1440];
            for _ in 0..20 * 16 * PER_HOUR {
                let Move { at, evidence, .. } = moves.step();
                let Evidence::Value(time) = evidence else { panic!("settled") };
                let minute = &mut by_minute[(at % DAY / MINUTE) as usize];
                *minute = (minute.0 + f64::from(time) / TYPICAL, minute.1 + 1);
            }
            let level = |from: usize| {
                let part = &by_minute[from..from + 5];
                part.iter().map(|minute| minute.0).sum::<f64>()
                    / part.iter().map(|minute| minute.1).sum::<i32>() as f64
            };
            let (cold, warm, resumed) = (level(1) - 1.0, level(114) - 1.0, level(136) - 1.0);
            assert!((0.07..0.2).contains(&cold), "{cold}");
            assert!((warm / cold - part[0]).abs() < 0.06, "warm {warm} of {cold}");
            assert!((resumed / cold - part[1]).abs() < 0.06, "after a break {resumed} of {cold}");
            let idle =
                |minutes: std::ops::Range<usize>| by_minute[minutes].iter().all(|minute| minute.1 == 0);
            assert!(idle(121..134) && idle(960..1440) && !idle(100..120) && !idle(136..140));
        }
    }

    #[test]
    fn shares_are_as_named() {
        let share = |nuisance, is: fn(Evidence) -> bool| {
            let mut moves = Moves::new(&cell(nuisance), PER_HOUR, 9);
            (0..100_000).filter(|_| is(moves.step().evidence)).count() as f64 / 1e5
        };
        let unsettled = |evidence| evidence == Evidence::Unsettled;
        assert!((share(Nuisance::Unsettled(0.05), unsettled) - 0.05).abs() < 0.003);
        assert!((share(Nuisance::Unsettled(0.01), unsettled) - 0.01).abs() < 0.0015);
        assert!(
            (share(Nuisance::Zeros(0.45), |evidence| evidence == Evidence::Value(0)) - 0.45).abs() < 0.007
        );
        let late = |evidence| matches!(evidence, Evidence::Value(time) if time > 120_000);
        assert!((share(Nuisance::Outliers(0.05), late) - 0.05).abs() < 0.003);
    }

    #[test]
    fn a_fault_has_its_size_and_its_begin() {
        for cell in cells() {
            let mut sound = Moves::new(&cell, PER_HOUR, 2);
            let mut worn = sound.clone();
            worn.set_fault(Fault { size: 0.5, from: 10.0 * HOUR, over: HOUR });
            for _ in 0..20 * PER_HOUR {
                let (a, b) = (sound.step(), worn.step());
                let (Evidence::Value(before), Evidence::Value(after)) = (a.evidence, b.evidence) else {
                    assert_eq!(a, b);
                    continue;
                };
                let expected = 1.0 + 0.5 * ((a.at - 10.0 * HOUR) / HOUR).clamp(0.0, 1.0);
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
