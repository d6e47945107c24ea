//! In: nuisances and their sizes, minutes of work and of pauses, seeds. Out: the slowdown of each minute, and the job.
//!
//! The axes of a machine share days and jobs; each has a warm-up and a wander of its own.

use std::f64::consts::TAU;

use super::calendar::{DAY, HOUR, MINUTE};
use crate::chance::Chance;

/// Unit: s
const HALF_A_YEAR: f64 = 182.0 * DAY;

/// What changes the level of settling times while nothing is wrong with the axis; 0: absent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nuisances {
    /// Amplitude of a sine of 24 h. Unit: 1
    pub daily: f64,
    /// Deviation of a normal process that forgets. Unit: 1
    pub wander: f64,
    /// Its time constant. Unit: h
    pub wander_hours: f64,
    /// Amplitude of a sine of half a year. Unit: 1
    pub season: f64,
    /// Time constant of warming and of cooling; cold, an axis is slower by 8 to 20 %, always the same. Unit: s
    pub warm_up: f64,
    /// Jobs, one product each.
    pub jobs: Jobs,
}

/// Jobs, each with another product than the one before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jobs {
    /// Number of products, 2 or more; 0: no jobs.
    pub products: u32,
    /// Slowdown of the slowest product, and negative that of the fastest; the others lie evenly between. Unit: 1
    pub level: f64,
    /// Length of the shortest and of the longest job. Unit: h
    pub hours: [f64; 2],
}

impl Nuisances {
    /// Nothing changes.
    pub const NONE: Nuisances =
        Nuisances { daily: 0.0, wander: 0.0, wander_hours: 2.0, season: 0.0, warm_up: 0.0, jobs: Jobs::NONE };
}

impl Jobs {
    /// No jobs.
    pub const NONE: Jobs = Jobs { products: 0, level: 0.0, hours: [0.5, 2.0] };

    /// Five products, jobs of 30 to 120 min.
    pub const fn of(level: f64) -> Jobs {
        Jobs { products: 5, level, ..Jobs::NONE }
    }

    /// Slowdown of a product, counted from 1. Unit: 1
    pub fn slowdown(&self, product: u32) -> f64 {
        let part = f64::from(product.max(1) - 1) / f64::from(self.products.max(2) - 1);
        self.level * (2.0 * part - 1.0)
    }
}

/// Relative slowdowns of a minute.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Slowdown {
    /// By the temperature of day and axis. Unit: 1
    pub cold: f64,
    /// By the product. Unit: 1
    pub product: f64,
    /// Without a cause. Unit: 1
    pub wander: f64,
}

impl Slowdown {
    /// Factor on settling times.
    pub fn level(&self) -> f64 {
        (1.0 + self.cold) * (1.0 + self.product) * (1.0 + self.wander)
    }
}

/// The conditions of one axis.
#[derive(Clone, Debug)]
pub struct Conditions {
    nuisances: Nuisances,
    /// Chance of the machine.
    common: Chance,
    /// Chance of the axis.
    own: Chance,
    /// Phase of the day.
    phase: f64,
    /// Slowdown while cold. Unit: 1
    cold: f64,
    /// From 0, cold, to 1.
    warmth: f64,
    /// Unit: deviations
    wander: f64,
    job: u32,
    /// Unit: s
    job_ends: f64,
}

impl Conditions {
    /// Cold. Axes of one machine have the same first seed.
    pub fn new(nuisances: Nuisances, machine: u64, axis: u64) -> Conditions {
        let (mut common, mut own) = (Chance::new(mixed(machine)), Chance::new(mixed(axis ^ 1 << 40)));
        let phase = common.uniform() * TAU;
        let cold = 0.08 + 0.12 * own.uniform();
        let wander = own.normal();
        Conditions { nuisances, common, own, phase, cold, warmth: 0.0, wander, job: 0, job_ends: 0.0 }
    }

    /// A minute of a pause.
    pub fn rest(&mut self) {
        self.warm(0.0);
    }

    /// A minute of work that begins at a time. Unit: s
    pub fn work(&mut self, at: f64) -> Slowdown {
        let Nuisances { daily, wander, wander_hours, season, warm_up, jobs } = self.nuisances;
        self.warm(1.0);
        self.change_job(at);
        if wander > 0.0 {
            let forgets = (-MINUTE / (wander_hours * HOUR)).exp();
            self.wander = forgets * self.wander + (1.0 - forgets * forgets).sqrt() * self.own.normal();
        }
        let cold = if warm_up > 0.0 { self.cold * (1.0 - self.warmth) } else { 0.0 };
        Slowdown {
            cold: cold
                + daily * (TAU * at / DAY + self.phase).sin()
                + season * (TAU * at / HALF_A_YEAR).sin(),
            product: jobs.slowdown(self.job),
            wander: wander * self.wander,
        }
    }

    /// Number of the job, that of its product, from 1; 0 without jobs.
    pub fn job(&self) -> u32 {
        self.job
    }

    /// Another job than before, once the present one has ended.
    fn change_job(&mut self, at: f64) {
        let Jobs { products, hours: [shortest, longest], .. } = self.nuisances.jobs;
        if products > 0 && at >= self.job_ends {
            let others = u64::from(products) - 1;
            self.job = (self.job + self.common.below(others) as u32) % products + 1;
            self.job_ends = at + HOUR * (shortest + (longest - shortest) * self.common.uniform());
        }
    }

    /// A minute towards a warmth.
    fn warm(&mut self, goal: f64) {
        if self.nuisances.warm_up > 0.0 {
            self.warmth = goal + (self.warmth - goal) * (-MINUTE / self.nuisances.warm_up).exp();
        }
    }
}

/// Mixes a seed, so that neighbours begin far apart. Source: the finaliser of SplitMix64, Steele, Lea & Flood 2014.
pub fn mixed(seed: u64) -> u64 {
    let seed = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let seed = (seed ^ seed >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let seed = (seed ^ seed >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
    seed ^ seed >> 31
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_of_a_machine_share_days_and_jobs() {
        let all =
            Nuisances { daily: 0.05, wander: 0.02, warm_up: 900.0, jobs: Jobs::of(0.08), ..Nuisances::NONE };
        let run = |machine, axis| {
            let mut conditions = Conditions::new(all, machine, axis);
            (0..3000)
                .map(|minute| (conditions.work(f64::from(minute) * MINUTE), conditions.job()))
                .collect::<Vec<_>>()
        };
        let (a, b, c) = (run(1, 1), run(1, 2), run(2, 1));
        assert_eq!(a, run(1, 1));
        assert!(a.iter().zip(&b).all(|(a, b)| a.1 == b.1 && a.0.product == b.0.product));
        assert!(a.iter().zip(&b).all(|(a, b)| a.0.wander != b.0.wander));
        // Warm axes differ by nothing but the wander.
        assert!(a[2000..].iter().zip(&b[2000..]).all(|(a, b)| (a.0.cold - b.0.cold).abs() < 1e-9));
        assert!(a.iter().zip(&c).any(|(a, c)| a.1 != c.1));
    }

    #[test]
    fn every_job_has_another_product_than_the_one_before() {
        let mut conditions = Conditions::new(Nuisances { jobs: Jobs::of(0.08), ..Nuisances::NONE }, 7, 1);
        let products: Vec<u32> = (0..60_000)
            .map(|minute| {
                let product = conditions.work(f64::from(minute) * MINUTE).product;
                assert!((product - (-0.08 + 0.04 * f64::from(conditions.job() - 1))).abs() < 1e-12);
                conditions.job()
            })
            .collect();
        let jobs: Vec<&[u32]> = products.chunk_by(|a, b| a == b).collect();
        assert!(jobs[..jobs.len() - 1].iter().all(|job| (30..=121).contains(&job.len())));
        for product in 1..=5 {
            let share = jobs.iter().filter(|job| job[0] == product).count() as f64 / jobs.len() as f64;
            assert!((0.15..0.25).contains(&share), "product {product}: {share}");
        }
    }
}
