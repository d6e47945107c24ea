//! In: nuisances, a seed, the start of each move. Out: factors on the mechanics of the axis during that move.
//!
//! Cold and the product are relative slowdowns, which [`Response`] converts into mechanics. Axes share jobs and days,
//! because these depend on the seed alone.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;

use super::calendar::Calendar;
use super::nuisance::Nuisance;
use super::script::uniform;

const MINUTE: f64 = 60.0;
const DAY: f64 = 86_400.0;
/// Streams of random numbers that all axes share.
const JOBS: u64 = 1 << 40;
const DAYS: u64 = 2 << 40;
/// Combined with an axis's own stream.
const WARM_UP: u64 = 3 << 40;
const HUMPS: u64 = 4 << 40;
/// Settling levels of jobs. Unit: relative slowdown
const LEVELS: [f64; 4] = [-0.08, -0.04, 0.04, 0.08];
/// Shares of slow moves, by turns. Unit: 1
const SHARES: [f64; 2] = [0.2, 0.4];

/// Changes of the mechanics by a relative slowdown: the factor on each is 1 + change × slowdown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Of the inertia of the load.
    pub load: f64,
    /// Of viscous friction.
    pub viscous: f64,
    /// Of the stiffness of the joint.
    pub stiffness: f64,
}

impl Change {
    /// No change.
    pub const NONE: Change = Change { load: 0.0, viscous: 0.0, stiffness: 0.0 };

    fn factors(&self, slowdown: f64) -> Factors {
        let factor = |change: f64| 1.0 + change * slowdown;
        Factors { load: factor(self.load), viscous: factor(self.viscous), stiffness: factor(self.stiffness) }
    }
}

/// What makes an axis slower: its median settling time, or the mean if many moves settle at once. The figures are found
/// by trial, for slowdowns of −10 to 20 %; the tests of this folder measure them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// By the product.
    pub product: Change,
    /// By cold.
    pub cold: Change,
    /// Addition to the inertia of the load in a move of the slow hump; 0 on an axis without. Unit: 1
    pub slow_hump: f64,
}

/// Factors on the mechanics.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Factors {
    /// On the inertia of the load.
    pub load: f64,
    /// On viscous friction.
    pub viscous: f64,
    /// On the stiffness of the joint.
    pub stiffness: f64,
}

/// The conditions of one axis.
#[derive(Clone, Debug)]
pub struct Conditions {
    calendar: Calendar,
    response: Response,
    warm_up: Option<WarmUp>,
    days: Option<Days>,
    products: Option<Products>,
    humps: Option<Humps>,
}

impl Conditions {
    /// The same seed and stream give the same conditions.
    pub fn new(nuisances: &[Nuisance], response: Response, seed: u64, stream: u64) -> Conditions {
        let has = |nuisance| nuisances.contains(&nuisance);
        Conditions {
            calendar: Calendar::new(nuisances),
            response,
            warm_up: has(Nuisance::WarmUp).then(|| WarmUp::new(generator(seed, stream ^ WARM_UP))),
            days: has(Nuisance::DailyTemperature).then(|| Days::new(generator(seed, DAYS))),
            products: Products::new(nuisances, seed),
            humps: has(Nuisance::TwoHumps).then(|| Humps::new(generator(seed, stream ^ HUMPS))),
        }
    }

    /// Whether the machine works at a time since the start. Unit: s
    pub fn works(&self, seconds: f64) -> bool {
        self.calendar.works(seconds)
    }

    /// Factors of a move that begins now; times must not decrease. Unit: s
    pub fn next_move(&mut self, seconds: f64) -> Factors {
        let calendar = &self.calendar;
        let warm_up = self.warm_up.as_mut().map_or(0.0, |warm_up| warm_up.slowdown(calendar, seconds));
        let cold = warm_up + self.days.as_mut().map_or(0.0, |days| days.slowdown(seconds));
        let product = self.products.as_mut().map_or(0.0, |products| products.slowdown(seconds));
        let slow = self.humps.as_mut().is_some_and(|humps| humps.is_slow(seconds));
        let (product, cold) = (self.response.product.factors(product), self.response.cold.factors(cold));
        let hump = 1.0 + if slow { self.response.slow_hump } else { 0.0 };
        Factors {
            load: product.load * cold.load * hump,
            viscous: product.viscous * cold.viscous,
            stiffness: product.stiffness * cold.stiffness,
        }
    }
}

/// The heat of work: one time constant, whether it warms or cools.
#[derive(Clone, Debug)]
struct WarmUp {
    /// Relative slowdown while cold.
    cold: f64,
    /// Unit: s
    time_constant: f64,
    /// 0 cold, 1 warm.
    warmth: f64,
    /// Unit: s
    until: f64,
}

impl WarmUp {
    /// Longest step of the equation of heat. Unit: s
    const STEP: f64 = 10.0;

    fn new(mut random: Pcg32) -> WarmUp {
        let cold = 0.14 + 0.06 * uniform(&mut random);
        let time_constant = if below(&mut random, 2) == 0 { 15.0 * MINUTE } else { 30.0 * MINUTE };
        WarmUp { cold, time_constant, warmth: 0.0, until: 0.0 }
    }

    /// By how much the axis is slower.
    fn slowdown(&mut self, calendar: &Calendar, seconds: f64) -> f64 {
        while self.until < seconds {
            let goal = f64::from(u8::from(calendar.works(self.until)));
            let step = (seconds - self.until).min(WarmUp::STEP);
            self.warmth += (goal - self.warmth) * (step / self.time_constant);
            self.until += step;
        }
        self.cold * (1.0 - self.warmth)
    }
}

/// The temperature of the air: two parabolas a day, which differ from a sine by 6 % at most.
#[derive(Clone, Debug)]
struct Days {
    random: Pcg32,
    amplitude: f64,
    begun: f64,
}

impl Days {
    fn new(random: Pcg32) -> Days {
        let mut days = Days { random, amplitude: 0.0, begun: 0.0 };
        days.draw();
        days
    }

    /// The next day's amplitude, 2.5 to 10 %.
    fn draw(&mut self) {
        self.amplitude = 0.0625 + 0.0375 * uniform(&mut self.random);
    }

    /// Coldest a quarter of a day after the start, warmest half a day later.
    fn slowdown(&mut self, seconds: f64) -> f64 {
        while seconds >= self.begun + DAY {
            self.begun += DAY;
            self.draw();
        }
        let half = 2.0 * (seconds - self.begun) / DAY;
        let (sign, part) = if half < 1.0 { (1.0, half) } else { (-1.0, half - 1.0) };
        sign * self.amplitude * 4.0 * part * (1.0 - part)
    }
}

/// Jobs of 30 to 120 min, each other than the one before.
#[derive(Clone, Debug)]
struct Jobs {
    random: Pcg32,
    number: usize,
    numbers: usize,
    ends: f64,
}

impl Jobs {
    fn new(mut random: Pcg32, numbers: usize) -> Jobs {
        let number = below(&mut random, numbers);
        let mut jobs = Jobs { random, number, numbers, ends: 0.0 };
        jobs.ends = jobs.length();
        jobs
    }

    /// Unit: s
    fn length(&mut self) -> f64 {
        MINUTE * (75.0 + 45.0 * uniform(&mut self.random))
    }

    /// Number of the job, from 0.
    fn number(&mut self, seconds: f64) -> usize {
        while seconds >= self.ends {
            let others = self.numbers.saturating_sub(1);
            self.number = (self.number + 1 + below(&mut self.random, others)) % self.numbers.max(1);
            self.ends += self.length();
        }
        self.number
    }
}

/// The products that a machine works on, one job after another: those by which the conditions of its axes change.
#[derive(Clone, Debug)]
pub struct Products(Jobs);

impl Products {
    /// Those of a machine with this seed; none if it works on one product alone.
    pub fn new(nuisances: &[Nuisance], seed: u64) -> Option<Products> {
        let has_several = nuisances.contains(&Nuisance::ProductChanges);
        has_several.then(|| Products(Jobs::new(generator(seed, JOBS), LEVELS.len())))
    }

    /// Number of the product at a time since the start, from 1; times must not decrease. Unit: s
    pub fn number(&mut self, seconds: f64) -> u32 {
        self.0.number(seconds) as u32 + 1
    }

    fn slowdown(&mut self, seconds: f64) -> f64 {
        LEVELS.get(self.0.number(seconds)).copied().unwrap_or_default()
    }
}

/// Slow moves among the others, their share changing from job to job.
#[derive(Clone, Debug)]
struct Humps {
    jobs: Jobs,
    random: Pcg32,
}

impl Humps {
    fn new(mut random: Pcg32) -> Humps {
        let jobs = Jobs::new(generator(u64::from(random.next_u32()), HUMPS), SHARES.len());
        Humps { jobs, random }
    }

    fn is_slow(&mut self, seconds: f64) -> bool {
        let share = SHARES.get(self.jobs.number(seconds)).copied().unwrap_or_default();
        0.5 + 0.5 * uniform(&mut self.random) < share
    }
}

/// A generator whose first numbers differ between neighbouring seeds, which those of [`Pcg32::new`] hardly do.
///
/// Mixed by the finaliser of SplitMix64 (Steele, Lea & Flood 2014).
fn generator(seed: u64, stream: u64) -> Pcg32 {
    let mixed = (seed ^ seed >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let mixed = (mixed ^ mixed >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
    Pcg32::new(mixed ^ mixed >> 31, stream)
}

/// A whole number from 0, below `end`; 0 if that is 0.
fn below(random: &mut Pcg32, end: usize) -> usize {
    ((u64::from(random.next_u32()) * end as u64) >> 32) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An axis that answers to everything one to one.
    const PLAIN: Response = Response {
        product: Change { load: 1.0, ..Change::NONE },
        cold: Change { load: 0.0, viscous: 1.0, stiffness: 1.0 },
        slow_hump: 1.0,
    };
    const HOUR: f64 = 3600.0;

    fn conditions(nuisances: &[Nuisance], seed: u64) -> Conditions {
        Conditions::new(nuisances, PLAIN, seed, 7)
    }

    /// Slowdown by cold at the given times.
    fn cold(mut conditions: Conditions, times: &[f64]) -> Vec<f64> {
        times.iter().map(|&seconds| conditions.next_move(seconds).viscous - 1.0).collect()
    }

    #[test]
    fn without_nuisances_nothing_changes() {
        let mut none = conditions(&[], 1);
        for hour in 0..1000 {
            let seconds = HOUR * f64::from(hour);
            assert!(none.works(seconds));
            assert_eq!(none.next_move(seconds), Factors { load: 1.0, viscous: 1.0, stiffness: 1.0 });
        }
    }

    /// The closed form of first-order heating and cooling beside it.
    #[test]
    fn warms_up_exponentially_and_cools_in_a_pause() {
        let mut seen = [false; 2];
        for seed in 1..40 {
            let times = [0.0, 600.0, 3600.0, 7200.0, 8100.0, 9000.0];
            let found = cold(conditions(&[Nuisance::WarmUp, Nuisance::Breaks], seed), &times);
            assert!((0.08..=0.2).contains(&found[0]), "{found:?}");
            let slow = found[1] / found[0] > 0.6;
            seen[usize::from(slow)] = true;
            let e = |seconds: f64| (-seconds / if slow { 1800.0 } else { 900.0 }).exp();
            let after_break = 1.0 - (1.0 - e(7200.0)) * e(900.0);
            let expected = [1.0, e(600.0), e(3600.0), e(7200.0), after_break, after_break * e(900.0)];
            for (found, expected) in found.iter().zip(expected.map(|part| part * found[0])) {
                assert!((found - expected).abs() < 0.002, "seed {seed}: {found} for {expected}");
            }
        }
        assert_eq!(seen, [true; 2], "both time constants come up");
    }

    #[test]
    fn days_are_cold_then_warm() {
        let mut amplitudes = Vec::new();
        for day in 0..200 {
            let at = |hour: f64| DAY * f64::from(day) + HOUR * hour;
            let found = cold(
                conditions(&[Nuisance::DailyTemperature], 3),
                &[at(0.0), at(3.0), at(6.0), at(12.0), at(18.0)],
            );
            let amplitude = found[2];
            assert!((0.025..=0.1).contains(&amplitude), "{found:?}");
            // Times grow with the days, and a sum of rounding errors with them.
            assert!(found[0].abs() < 1e-9 && found[3].abs() < 1e-9, "{found:?}");
            assert!((found[1] - 0.75 * amplitude).abs() < 1e-9 && (found[4] + amplitude).abs() < 1e-9);
            amplitudes.push(amplitude);
        }
        amplitudes.sort_by(f64::total_cmp);
        assert!(amplitudes[0] < 0.03 && amplitudes[199] > 0.095, "days differ");
    }

    #[test]
    fn jobs_last_half_an_hour_to_two_hours_and_are_those_of_the_whole_machine() {
        let loads = |stream| {
            let mut axis = Conditions::new(&[Nuisance::ProductChanges], PLAIN, 5, stream);
            (0..600_000).map(|second| axis.next_move(f64::from(second)).load).collect::<Vec<_>>()
        };
        let found = loads(1);
        assert!(found == loads(2), "another axis, the same jobs");
        let jobs: Vec<&[f64]> = found.chunk_by(|a, b| a == b).collect();
        let whole = &jobs[1..jobs.len() - 1];
        assert!(whole.len() > 100, "{}", whole.len());
        assert!(whole.iter().all(|job| (1800..=7201).contains(&job.len())));
        let mut levels: Vec<f64> = whole.iter().map(|job| job[0]).collect();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        assert_eq!(levels, [0.92, 0.96, 1.04, 1.08]);
    }

    #[test]
    fn a_fifth_or_two_fifths_of_the_moves_are_slow() {
        let mut axis = conditions(&[Nuisance::TwoHumps], 5);
        let slow: Vec<f64> =
            (0..400_000).map(|second| axis.next_move(f64::from(second)).load - 1.0).collect();
        let shares: Vec<f64> = slow.chunks(1000).map(|part| part.iter().sum::<f64>() / 1000.0).collect();
        let near = |share: f64| shares.iter().filter(|found| (**found - share).abs() < 0.06).count();
        assert!(near(0.2) > 120 && near(0.4) > 120, "{} {}", near(0.2), near(0.4));
        assert!(near(0.2) + near(0.4) > 300, "jobs in between are few");
    }

    #[test]
    fn each_is_its_own_and_repeats() {
        let all = [
            Nuisance::WarmUp,
            Nuisance::DailyTemperature,
            Nuisance::ProductChanges,
            Nuisance::TwoHumps,
            Nuisance::Breaks,
        ];
        let run = |nuisances: &[Nuisance], seed| {
            let mut axis = conditions(nuisances, seed);
            (0..20_000).map(|k| axis.next_move(0.7 * f64::from(k))).collect::<Vec<_>>()
        };
        let (together, without_breaks) = (run(&all, 1), run(&all[..4], 1));
        assert_eq!(together, run(&all, 1));
        assert_ne!(together, run(&all, 2));
        assert_ne!(together, without_breaks, "breaks cool");
        // The factors of all are those of each, multiplied and added.
        let each: Vec<_> = all[..4].iter().map(|nuisance| run(&[*nuisance], 1)).collect();
        for (k, found) in without_breaks.iter().enumerate() {
            let [warm_up, day, job, hump] = [0, 1, 2, 3].map(|nuisance| each[nuisance][k]);
            assert!((found.viscous - (warm_up.viscous + day.viscous - 1.0)).abs() < 1e-12, "move {k}");
            assert_eq!((found.load, found.stiffness), (job.load * hump.load, found.viscous), "move {k}");
        }
    }
}
