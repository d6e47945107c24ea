//! In: nothing. Out: moves of each axis, simulated in full, by age, product, cold and entry of the script.
//!
//! As [`library`](super::library), for a machine whose conditions change: product and cold change the mechanics, as in the
//! rehearsal, and so the settling, which jumps by half swings as it does there. Every cell is simulated with the same
//! chance, so that neighbours differ by their conditions and not by chance.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use stillpoint::source::rehearsal::axis::AxisData;
use stillpoint::source::rehearsal::conditions::Change;
use stillpoint::source::rehearsal::monitor::{AxisInfo, Monitor};
use stillpoint::source::rehearsal::transplanter;
use stillpoint_core::Settings;

use super::full::RATE;
use super::library::{Draw, by_entry, is_worn};
use crate::chance::Chance;
use crate::nuisance::conditions::{Jobs, Slowdown};

/// The jobs of the machine.
pub const JOBS: Jobs = Jobs::of(0.08);
const PRODUCTS: usize = JOBS.products as usize;
/// Steps of cold, from −5 to 25 %. Unit: 1
const COLD: [f64; 7] = [-0.05, 0.0, 0.05, 0.1, 0.15, 0.2, 0.25];
/// Seed of every simulation.
const SEED: u64 = 5000;

/// How many moves are simulated in a cell, of a product and a step of cold.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    /// Without wear.
    pub sound: usize,
    /// At each age with wear.
    pub worn: usize,
    /// Steps of age from 0 to 1.
    pub ages: usize,
}

/// The moves of one axis.
#[derive(Debug)]
pub struct Stock {
    /// Known data of the axis.
    pub known: AxisInfo,
    ages: usize,
    entries: usize,
    /// By age, product and cold; none at ages without wear, which are as age 0. Then by entry.
    cells: Vec<Option<Vec<Vec<Draw>>>>,
}

impl Stock {
    /// Simulates all axes.
    pub fn all(size: Size) -> Vec<Stock> {
        let known = Monitor::new(1, RATE, None).expect("a machine").1;
        let axes = known.into_iter().zip(transplanter::axes());
        axes.map(|(known, data)| Stock::new(known, &data, size)).collect()
    }

    fn new(known: AxisInfo, data: &AxisData, size: Size) -> Stock {
        let cell = |place: usize| {
            let (age, product, cold) = place_of(place, size.ages);
            let moves = if age == 0.0 { size.sound } else { size.worn };
            let is_needed = age == 0.0 || is_worn(data, age);
            is_needed.then(|| simulate(data, known.settings, age, [product, cold], moves))
        };
        let count = (size.ages + 1) * PRODUCTS * COLD.len();
        let cells = on_all_processors(count, cell);
        Stock { known, ages: size.ages, entries: data.script.moves.len(), cells }
    }

    /// Entries of its script.
    pub fn entries(&self) -> usize {
        self.entries
    }

    /// A move of an entry: of the step of age and of cold below or above, each as often as it is near.
    pub fn draw(&self, entry: usize, age: f64, job: u32, slowdown: Slowdown, chance: &mut Chance) -> &Draw {
        let age = (age.clamp(0.0, 1.0) * self.ages as f64 + chance.uniform()) as usize;
        let cold = (slowdown.cold - COLD[0]) / (COLD[1] - COLD[0]) + chance.uniform();
        let cold = (cold.max(0.0) as usize).min(COLD.len() - 1);
        let of_age =
            |age: usize| self.cells[(age * PRODUCTS + job as usize - 1) * COLD.len() + cold].as_ref();
        let draws = of_age(age.min(self.ages)).or_else(|| of_age(0)).expect("age 0 is simulated");
        let draws = &draws[entry];
        &draws[chance.below(draws.len() as u64) as usize]
    }

    /// Largest age at which it is as new. Unit: 1
    pub fn wears_from(&self) -> f64 {
        let cell = |age: usize| &self.cells[age * PRODUCTS * COLD.len()];
        let first = (1..=self.ages).find(|age| cell(*age).is_some()).unwrap_or(self.ages);
        (first - 1) as f64 / self.ages as f64
    }

    /// Mean time from move to move without wear. Unit: s
    pub fn period(&self) -> f64 {
        let sound = self.cells[..PRODUCTS * COLD.len()].iter().flatten().flatten().flatten();
        let (count, ticks) = sound.fold((0_u64, 0), |(count, ticks), draw| (count + 1, ticks + draw.lasts));
        ticks as f64 / count as f64 / f64::from(self.known.settings.ticks_per_second)
    }
}

/// Age, product and cold of a cell.
fn place_of(place: usize, ages: usize) -> (f64, f64, f64) {
    let (rest, cold) = (place / COLD.len(), COLD[place % COLD.len()]);
    let product = JOBS.slowdown((rest % PRODUCTS) as u32 + 1);
    ((rest / PRODUCTS) as f64 / ages as f64, product, cold)
}

/// The moves of a cell, without their curves.
fn simulate(
    data: &AxisData,
    settings: Settings,
    age: f64,
    slowdowns: [f64; 2],
    moves: usize,
) -> Vec<Vec<Draw>> {
    let mut draws = by_entry(slowed(data, slowdowns), settings, SEED, age, moves);
    draws.iter_mut().flatten().for_each(|draw| draw.curve = vec![]);
    draws
}

/// The axis with the mechanics that a product and cold give it, as in the rehearsal's conditions.
fn slowed(data: &AxisData, [product, cold]: [f64; 2]) -> AxisData {
    let mut slowed = data.clone();
    let factor = |of: fn(&Change) -> f64| {
        (1.0 + of(&data.response.product) * product) * (1.0 + of(&data.response.cold) * cold)
    };
    slowed.body.load_inertia *= factor(|change| change.load);
    slowed.body.viscous *= factor(|change| change.viscous);
    slowed.body.stiffness *= factor(|change| change.stiffness);
    slowed
}

/// The results of `one` for every number below `count`, in their order.
fn on_all_processors<T: Send>(count: usize, one: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicUsize::new(0);
    let work = || {
        let mut results = vec![];
        loop {
            let place = next.fetch_add(1, Ordering::Relaxed);
            if place >= count {
                return results;
            }
            results.push((place, one(place)));
        }
    };
    let mut results: Vec<(usize, T)> = thread::scope(|scope| {
        let begun: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        begun.into_iter().flat_map(|thread| thread.join().expect("it ends")).collect()
    });
    results.sort_by_key(|result| result.0);
    results.into_iter().map(|result| result.1).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Median settling time of a cell, or the mean where half of the moves settle at once. Unit: ticks
    fn middle(data: &AxisData, settings: Settings, slowdowns: [f64; 2]) -> f64 {
        let draws = simulate(data, settings, 0.0, slowdowns, 600);
        let mut times: Vec<u32> = draws.iter().flatten().filter_map(|draw| draw.record.settling).collect();
        times.sort_unstable();
        let mean = times.iter().map(|time| f64::from(*time)).sum::<f64>() / times.len() as f64;
        if times[times.len() / 4] == 0 { mean } else { f64::from(times[times.len() / 2]) }
    }

    #[test]
    fn products_and_cold_slow_every_axis_down() {
        let known = Monitor::new(1, RATE, None).expect("a machine").1;
        for (known, data) in known.into_iter().zip(transplanter::axes()) {
            let middle = |slowdowns| middle(&data, known.settings, slowdowns);
            let as_is = middle([0.0; 2]);
            for slowdowns in [[0.08, 0.0], [-0.08, 0.0], [0.0, 0.2], [0.0, -0.05]] {
                let (found, expected) = (middle(slowdowns) / as_is - 1.0, slowdowns[0] + slowdowns[1]);
                println!("{} {slowdowns:?}: {found:.3}", known.name);
                assert!((0.7..1.3).contains(&(found / expected)), "{}: {found} for {expected}", known.name);
            }
        }
    }

    #[test]
    fn cells_have_their_places() {
        let found: Vec<_> = [0, 1, COLD.len(), PRODUCTS * COLD.len(), 3 * PRODUCTS * COLD.len() - 1]
            .map(|place| place_of(place, 2))
            .into();
        let expected = [
            (0.0, -0.08, -0.05),
            (0.0, -0.08, 0.0),
            (0.0, -0.04, -0.05),
            (0.5, -0.08, -0.05),
            (1.0, 0.08, 0.25),
        ];
        assert_eq!(found, expected);
    }
}
