//! In: two grids of frequency, damping, noise and tail. Out: per cell how often the core states an answer, how far it is from
//! the truth in units of the bound, and how often its uncertainty covers the truth.

use core::f64::consts::TAU;

use stillpoint_core::ringing::{Answer, Damping, Ringing};

use crate::chance::Chance;
use crate::ringing::bound::Bound;
use crate::ringing::stops::{RATE, Stop, capture, fitted};

/// Samples of a stop.
pub const SAMPLES: usize = 1024;

/// A cell of a grid.
#[derive(Clone, Copy, Debug)]
pub struct Cell {
    /// Damping ratio.
    pub damping: f64,
    /// Periods in the record.
    pub periods: f64,
    /// Signal to noise at the first sample. Unit: dB
    pub decibels: f64,
    /// Size in amplitudes, and time constant in lengths of the record; 0 for none.
    pub tail: (f64, f64),
    /// Unit: counts
    pub amplitude: f64,
}

/// Offset only.
pub fn without_tail() -> Vec<Cell> {
    let mut cells = vec![];
    for damping in [0.02, 0.1, 0.2] {
        for periods in [1.5, 2.0, 3.0, 5.0, 10.0, 20.0] {
            for decibels in [10.0, 20.0, 40.0, 60.0] {
                cells.push(Cell { damping, periods, decibels, tail: (0.0, 0.0), amplitude: 100_000.0 });
            }
        }
    }
    cells
}

/// Offset, tail and encoder steps of 2 % of the amplitude.
pub fn with_tail() -> Vec<Cell> {
    let mut cells = vec![];
    for tail in [(1.0, 0.3), (3.0, 0.7)] {
        for damping in [0.02, 0.1, 0.2] {
            for periods in [1.5, 3.0, 5.0, 10.0] {
                for decibels in [20.0, 30.0, 40.0, 60.0] {
                    cells.push(Cell { damping, periods, decibels, tail, amplitude: 50.0 });
                }
            }
        }
    }
    cells
}

/// What the runs of a cell came to.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// All runs.
    pub runs: u32,
    /// Runs whose truth shows 1.5 periods.
    pub visible: u32,
    /// Of these, answers with damping.
    pub accepted: u32,
    /// Of these, answers with a frequency alone.
    pub frequency_only: u32,
    /// Errors in units of the bound, of frequency and damping, as squares.
    pub squares: (f64, f64),
    /// Answers within two uncertainties.
    pub covered: (u32, u32),
    /// Further from the truth than eight bounds and 5 %.
    pub gross: u32,
    /// Slices of work of all fits.
    pub slices: u64,
    /// Refusals by their name.
    pub refusals: std::collections::BTreeMap<String, u32>,
}

impl Tally {
    /// Root mean squares in units of the bound.
    pub fn ratios(&self) -> (f64, f64) {
        let count = f64::from(self.accepted.max(1));
        ((self.squares.0 / count).sqrt(), (self.squares.1 / count).sqrt())
    }

    /// Adds the runs of another tally.
    pub fn add(&mut self, other: &Tally) {
        self.runs += other.runs;
        self.visible += other.visible;
        self.accepted += other.accepted;
        self.frequency_only += other.frequency_only;
        self.squares.0 += other.squares.0;
        self.squares.1 += other.squares.1;
        self.covered.0 += other.covered.0;
        self.covered.1 += other.covered.1;
        self.gross += other.gross;
        self.slices += other.slices;
        for (name, count) in &other.refusals {
            *self.refusals.entry(name.clone()).or_default() += count;
        }
    }
}

impl Cell {
    /// Standard deviation of the noise. Unit: counts
    fn noise(&self) -> f64 {
        self.amplitude / 2.0_f64.sqrt() * 10.0_f64.powf(-self.decibels / 20.0)
    }

    /// A stop of this cell.
    pub fn stop(&self, chance: &mut Chance) -> Stop {
        let seconds = SAMPLES as f64 / RATE;
        let sign = if chance.uniform() < 0.5 { -1.0 } else { 1.0 };
        Stop {
            frequency: self.periods / seconds,
            damping: self.damping,
            amplitude: self.amplitude,
            phase: TAU * chance.uniform(),
            offset: self.amplitude * (chance.uniform() - 0.5),
            tail: sign * self.tail.0 * self.amplitude,
            tail_time: self.tail.1 * seconds,
            noise: self.noise(),
            samples: SAMPLES,
        }
    }

    /// Runs of this cell.
    pub fn run(&self, runs: u64, chance: &mut Chance) -> Tally {
        let mut tally = Tally::default();
        for _ in 0..runs {
            let stop = self.stop(chance);
            tally.one(&stop, &stop.errors(chance));
        }
        tally
    }
}

impl Tally {
    fn one(&mut self, stop: &Stop, errors: &[i32]) {
        let captured = capture(errors);
        let (count, samples) = (captured.points().len(), captured.samples() as usize);
        let deviation = (stop.noise * stop.noise + 1.0 / 12.0).sqrt() / (samples as f64).sqrt();
        let bound = Bound::new(stop, count, samples, deviation, true);
        let seen = (bound.amplitude / (2.0 * deviation.max(0.29))).ln() / (stop.decay() / stop.frequency);
        let recorded = stop.frequency * (count * samples) as f64 / RATE;
        let (answer, slices) = fitted(&captured);
        self.runs += 1;
        self.slices += u64::from(slices);
        if seen.min(recorded) < 1.5 - 1e-9 {
            return;
        }
        self.visible += 1;
        match answer {
            Answer::Ringing(Ringing {
                frequency,
                frequency_u,
                damping: Some(Damping { ratio: damping, u: damping_u }),
                ..
            }) => {
                let of_frequency = f64::from(frequency) - stop.frequency;
                let of_damping = f64::from(damping) - stop.damping;
                self.accepted += 1;
                self.squares.0 += (of_frequency / bound.frequency).powi(2);
                self.squares.1 += (of_damping / bound.damping).powi(2);
                self.covered.0 += u32::from(of_frequency.abs() <= 2.0 * f64::from(frequency_u));
                self.covered.1 += u32::from(of_damping.abs() <= 2.0 * f64::from(damping_u));
                let far =
                    of_frequency.abs() > 8.0 * bound.frequency && of_frequency.abs() > 0.05 * stop.frequency;
                self.gross += u32::from(far);
            }
            Answer::Ringing(_) => self.frequency_only += 1,
            Answer::Refused(refusal) => *self.refusals.entry(format!("{refusal:?}")).or_default() += 1,
        }
    }
}
