//! In: nothing. Out: moves of each axis, simulated in full, by age and entry of the script.

use std::thread;

use stillpoint::source::rehearsal::axis::AxisData;
use stillpoint::source::rehearsal::monitor::{AxisInfo, Monitor};
use stillpoint::source::rehearsal::transplanter;
use stillpoint_core::drift::{DriftConfig, DriftSettings};
use stillpoint_core::{CurvePoint, Record, Settings};

use super::full::{RATE, Simulated};
use crate::chance::Chance;

/// Steps of age from 0 to 1. On every axis wear begins at a whole one.
pub const STEPS: usize = 80;

/// A move that was simulated.
#[derive(Clone, Debug)]
pub struct Draw {
    /// The record of the core.
    pub record: Record,
    /// Its settling curve.
    pub curve: Vec<CurvePoint>,
    /// From its start to that of the next. Unit: ticks
    pub lasts: u64,
}

/// How many moves are simulated.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    /// Without wear, where rare moves count.
    pub sound: usize,
    /// At each of the other ages.
    pub worn: usize,
}

/// The moves of one axis.
#[derive(Debug)]
pub struct Library {
    /// Known data of the axis.
    pub known: AxisInfo,
    /// What it is made of.
    pub data: AxisData,
    /// By age and entry; none at ages without wear, which are as age 0.
    draws: Vec<Option<Vec<Vec<Draw>>>>,
}

impl Library {
    /// Simulates all axes.
    pub fn all(size: Size) -> Vec<Library> {
        let known = Monitor::new(1, RATE, None).expect("a machine").1;
        thread::scope(|scope| {
            // Chance of its own at every age.
            let begin = |data: &AxisData, settings: Settings, step: usize| {
                let (data, moves) = (data.clone(), if step == 0 { size.sound } else { size.worn });
                (step == 0 || is_worn(&data, age(step))).then(|| {
                    scope.spawn(move || by_entry(data, settings, 1000 + step as u64, age(step), moves))
                })
            };
            let begun: Vec<_> = known
                .into_iter()
                .zip(transplanter::axes())
                .map(|(known, data)| {
                    let steps: Vec<_> = (0..=STEPS).map(|step| begin(&data, known.settings, step)).collect();
                    (known, data, steps)
                })
                .collect();
            let ended = begun.into_iter().map(|(known, data, steps)| {
                let draws = steps.into_iter().map(|step| Some(step?.join().expect("a simulation ends")));
                Library { known, data, draws: draws.collect() }
            });
            ended.collect()
        })
    }

    /// Entries of its script.
    pub fn entries(&self) -> usize {
        self.data.script.moves.len()
    }

    /// All moves of an entry at a step of age.
    pub fn at(&self, step: usize, entry: usize) -> &[Draw] {
        let sound = || self.draws[0].as_ref().expect("age 0 is simulated");
        &self.draws[step].as_ref().unwrap_or_else(sound)[entry]
    }

    /// A move of an entry: of the step of age below or above, each as often as it is near.
    pub fn draw(&self, entry: usize, age: f64, chance: &mut Chance) -> &Draw {
        let step = age.clamp(0.0, 1.0) * STEPS as f64 + chance.uniform();
        let draws = self.at((step as usize).min(STEPS), entry);
        &draws[chance.below(draws.len() as u64) as usize]
    }

    /// The shipped settings with the moves per hour of this axis.
    pub fn watch(&self) -> DriftSettings {
        let draws = || (0..self.entries()).flat_map(|entry| self.at(0, entry));
        let ticks: u64 = draws().map(|draw| draw.lasts).sum();
        let hours = ticks as f64 / f64::from(self.known.settings.ticks_per_second) / 3600.0;
        let moves_per_hour = (draws().count() as f64 / hours) as u32;
        let config = DriftConfig::at(self.known.settings.ticks_per_second);
        DriftSettings::new(DriftConfig { moves_per_hour, ..config }).expect("valid settings")
    }
}

fn age(step: usize) -> f64 {
    step as f64 / STEPS as f64
}

/// Whether an axis is worn at an age.
pub(super) fn is_worn(data: &AxisData, age: f64) -> bool {
    let wear = &data.wear;
    wear.worn(&data.body, age) != wear.worn(&data.body, 0.0) || wear.slip.at(age) != wear.slip.at(0.0)
}

/// The moves of an axis at one age, by entry of its script.
pub(super) fn by_entry(
    data: AxisData,
    settings: Settings,
    seed: u64,
    age: f64,
    moves: usize,
) -> Vec<Vec<Draw>> {
    let entries = data.script.moves.len();
    let mut draws = vec![Vec::new(); entries];
    // The first time through the script still shows how the axis began.
    let mut records = Simulated::new(data, settings, seed, |_| age).skip(entries);
    let (mut record, mut curve) = records.next().expect("it never ends");
    for (place, next) in records.take(moves).enumerate() {
        draws[place % entries].push(Draw { record, curve, lasts: next.0.start - record.start });
        (record, curve) = next;
    }
    draws
}
