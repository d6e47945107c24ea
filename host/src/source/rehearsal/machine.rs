//! In: a seed, a rate and the time until the machine is worn out. Out: the readings of its axes, tick by tick.

use stillpoint_core::Reading;

use super::axis::{Axis, AxisData, Unusable};
use super::calendar::Calendar;
use super::transplanter;

/// Share of its life in which a machine shows no wear: three hours of a shift of eight.
pub const HEALTHY_PART: f64 = 0.375;

/// The age of a machine as a function of its samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Life {
    seconds_per_sample: f64,
    wears_out_after: Option<f64>,
    calendar: Calendar,
}

impl Life {
    /// Time of a sample, from the start. Unit: s
    pub fn seconds(&self, sample: u64) -> f64 {
        sample as f64 * self.seconds_per_sample
    }

    /// Share of its wear that has happened at a sample, 0 to 1; always 0 if the machine is healthy. It doesn't wear in
    /// pauses.
    pub fn age(&self, sample: u64) -> f64 {
        self.wears_out_after.map_or(0.0, |hours| {
            let share = self.calendar.worked(self.seconds(sample)) / self.calendar.worked(3600.0 * hours);
            ((share - HEALTHY_PART) / (1.0 - HEALTHY_PART)).clamp(0.0, 1.0)
        })
    }
}

/// The simulated transplanter. The iterator of its readings never ends.
#[derive(Clone, Debug)]
pub struct Machine {
    axes: [Axis; 3],
    life: Life,
    samples: u64,
}

impl Machine {
    /// Every axis at rest at zero; `rate` in samples per second. The machine is worn out after `wears_out_after` hours, of
    /// which the first three eighths are without wear, and wears no further then; `None`: a healthy machine.
    ///
    /// Fails if the rate doesn't divide [`STEPS_PER_SECOND`](super::axis::STEPS_PER_SECOND) or the
    /// hours aren't a finite number above zero.
    pub fn new(seed: u64, rate: u32, wears_out_after: Option<f64>) -> Result<Machine, Unusable> {
        Machine::with_axes(transplanter::axes(), seed, rate, wears_out_after)
    }

    /// As [`Machine::new`], with other axes, some of which may never wear; all under the same nuisances.
    pub fn with_axes(
        axes: [AxisData; 3],
        seed: u64,
        rate: u32,
        wears_out_after: Option<f64>,
    ) -> Result<Machine, Unusable> {
        if let Some(hours) = wears_out_after.filter(|&hours| !(hours.is_finite() && hours > 0.0)) {
            return Err(Unusable::Life(hours));
        }
        let [a, b, c] = axes;
        // All axes pause together.
        let calendar = Calendar::new(&a.nuisances);
        Ok(Machine {
            axes: [Axis::new(a, seed, rate)?, Axis::new(b, seed, rate)?, Axis::new(c, seed, rate)?],
            life: Life { seconds_per_sample: 1.0 / f64::from(rate), wears_out_after, calendar },
            samples: 0,
        })
    }

    /// The axes, in the order of the readings.
    pub fn axes(&self) -> &[Axis; 3] {
        &self.axes
    }

    /// Time of the next readings, from the start; unlike their ticks it doesn't wrap. Unit: s
    pub fn seconds(&self) -> f64 {
        self.life.seconds(self.samples)
    }

    /// Readings of each axis so far.
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// Its age as a function of the samples.
    pub fn life(&self) -> Life {
        self.life
    }

    /// Share of its wear that has happened, 0 to 1; always 0 if the machine is healthy.
    pub fn age(&self) -> f64 {
        self.life.age(self.samples)
    }

    /// The next reading of each axis, all at the same tick. Unit: counts
    pub fn step(&mut self) -> [Reading; 3] {
        let age = self.age();
        self.samples += 1;
        self.axes.each_mut().map(|axis| {
            axis.set_age(age);
            axis.step()
        })
    }
}

impl Iterator for Machine {
    type Item = [Reading; 3];

    fn next(&mut self) -> Option<[Reading; 3]> {
        Some(self.step())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::rehearsal::axis::AxisData;
    use crate::source::rehearsal::nuisance::Nuisance;

    const RATE: u32 = 4000;
    const MS_PER_SAMPLE: f64 = 0.25;

    /// Settling time of each move in ms, infinite if it did not settle; deliberately independent of the core.
    fn settling(mut axis: Axis, age: f64, window: f64) -> Vec<f64> {
        axis.set_age(age);
        let window = (window * axis.data().counts_per_unit.to_f64()) as i32;
        let (mut command, mut end, mut inside_from) = (0, 0, 0);
        let mut found = Vec::new();
        for (index, reading) in axis.take(60 * RATE as usize).enumerate() {
            if reading.command != command {
                let rested = index - end;
                if end > 0 && rested > 80 {
                    let is_settled = index - inside_from >= 40;
                    let settling = MS_PER_SAMPLE * inside_from.saturating_sub(end) as f64;
                    found.push(if is_settled { settling } else { f64::INFINITY });
                }
                (command, end) = (reading.command, index);
            }
            if (reading.command - reading.feedback).abs() > window {
                inside_from = index + 1;
            }
        }
        found.sort_by(f64::total_cmp);
        found
    }

    /// Checks that the median settling time in ms lies within `median`, and the unsettled share within `unsettled`.
    fn check(data: AxisData, window: f64, age: f64, median: [f64; 2], unsettled: [f64; 2]) {
        let name = data.name;
        let found = settling(Axis::new(data, 3, RATE).unwrap(), age, window);
        assert!(found.len() > 50, "{name}: {} moves", found.len());
        let share = found.iter().filter(|ms| ms.is_infinite()).count() as f64 / found.len() as f64;
        let middle = found[found.len() / 2];
        assert!((median[0]..=median[1]).contains(&middle), "{name} at {age}: median {middle} ms");
        assert!((unsettled[0]..=unsettled[1]).contains(&share), "{name} at {age}: {share} unsettled");
    }

    #[test]
    fn settles_when_healthy_and_not_always_when_worn() {
        let [shuttle, dibble, turntable] = transplanter::axes();
        let worn = [0.1, 0.7];
        for (data, window, medians) in [
            (shuttle, 0.05, [[5.0, 15.0], [20.0, 40.0], [80.0, 200.0]]),
            (dibble, 0.02, [[8.0, 16.0], [8.0, 16.0], [30.0, 200.0]]),
            (turntable, 0.05, [[3.0, 20.0], [5.0, 40.0], [180.0, f64::INFINITY]]),
        ] {
            check(data.clone(), window, 0.0, medians[0], [0.0, 0.0]);
            check(data.clone(), window, 0.5, medians[1], [0.0, 0.0]);
            check(data, window, 1.0, medians[2], worn);
        }
    }

    /// Samples of an axis depend on that axis alone, so an axis that doesn't wear equals that of a healthy machine.
    #[test]
    fn only_the_axes_named_wear() {
        let hours = 20.0 / 3600.0;
        let run = |names: &[&str], hours| {
            let axes = transplanter::axes_wearing(|name| names.contains(&name));
            Machine::with_axes(axes, 1, 1000, hours).unwrap().take(20_000).collect::<Vec<_>>()
        };
        let (healthy, worn) = (run(&[], None), run(&transplanter::NAMES, Some(hours)));
        assert_eq!(run(&[], Some(hours)), healthy);
        for (axis, name) in transplanter::NAMES.into_iter().enumerate() {
            let found = run(&[name], Some(hours));
            let of =
                |readings: &[[Reading; 3]], axis: usize| readings.iter().map(|r| r[axis]).collect::<Vec<_>>();
            for other in 0..3 {
                let expected = if other == axis { &worn } else { &healthy };
                assert!(of(&found, other) == of(expected, other), "{name} wears, axis {other}");
            }
            assert!(of(&worn, axis) != of(&healthy, axis), "{name} does wear");
        }
    }

    #[test]
    fn a_machine_does_not_wear_while_it_is_off() {
        let life = |nuisances: &[Nuisance]| {
            let axes = transplanter::axes().map(|axis| axis.with_nuisances(nuisances));
            Machine::with_axes(axes, 1, 1, Some(80.0)).unwrap().life()
        };
        let (always, weekend) = (life(&[]), life(&[Nuisance::Weekend]));
        // Sixteen hours of work: at 5/8 of the life after ten.
        let ages = [4, 8, 40, 72, 74, 80].map(|hour| (weekend.age(3600 * hour), always.age(3600 * hour)));
        let expected = [(0.0, 0.0), (0.2, 0.0), (0.2, 0.2), (0.2, 0.84), (0.4, 0.88), (1.0, 1.0)];
        for (found, expected) in ages.into_iter().zip(expected) {
            let near = |found: f64, expected: f64| (found - expected).abs() < 1e-12;
            assert!(near(found.0, expected.0) && near(found.1, expected.1), "{found:?} for {expected:?}");
        }
    }

    #[test]
    fn age_follows_the_given_life() {
        let quick = 20.0 / 3600.0;
        let run = |life, seed| Machine::new(seed, 1000, life).unwrap();
        let (mut worn, mut healthy) = (run(Some(quick), 1), run(None, 1));
        assert!(worn.by_ref().take(10_000).eq(run(Some(quick), 1).take(10_000)), "the same again");
        assert!(!healthy.by_ref().take(10_000).eq(run(Some(quick), 1).take(10_000)), "wear shows");
        assert!(!run(None, 2).take(10_000).eq(run(None, 1).take(10_000)), "the seed shows");
        assert_eq!((worn.age(), worn.seconds(), healthy.age()), (0.2, 10.0, 0.0));
        assert_eq!(worn.by_ref().nth(30_000).map(|readings| readings.map(|r| r.tick)), Some([40_000_000; 3]));
        assert_eq!(worn.age(), 1.0);
        assert!(worn.axes().iter().all(|axis| axis.moves() > 30));
        for hours in [0.0, -1.0, f64::INFINITY] {
            assert_eq!(Machine::new(1, 1000, Some(hours)).unwrap_err(), Unusable::Life(hours));
        }
    }
}
