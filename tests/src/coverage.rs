//! In: a family of stops. Out: how often their stated intervals hold the truth, and how wide they are.

use stillpoint_core::Reasons;

use crate::chance::Chance;
use crate::stops::{Family, Measured};

/// How well the stated intervals of a family hold.
#[derive(Clone, Copy, Debug, Default)]
pub struct Coverage {
    /// Number of moves that settled.
    pub moves: f64,
    /// Share of all that were drawn.
    pub settled: f64,
    /// Per cent of the settled moves whose interval holds the truth.
    pub held: f64,
    /// Per cent of the settled moves that carry the caution of a fragile stop.
    pub fragile: f64,
    /// Per cent of these whose interval holds the truth.
    pub fragile_held: f64,
    /// Mean width as a multiple of the shortest honest one: the best factor on the stated widths, or the best constant
    /// width, that holds 95 of 100.
    pub width: f64,
    /// Mean and rms error as multiples of the standard uncertainty.
    pub bias: f64,
    /// The latter.
    pub spread: f64,
    /// Mean half-width. Unit: ticks
    pub mean_half_width: f64,
}

impl Coverage {
    /// Of this many stops.
    pub fn of(
        family: &Family,
        moves: u64,
        fragile: impl Fn(Reasons) -> bool,
        chance: &mut Chance,
    ) -> Coverage {
        let found: Vec<Measured> = (0..moves).filter_map(|_| family.one(chance)).collect();
        let share = |of: &[&Measured], test: &dyn Fn(&Measured) -> bool| {
            100.0 * of.iter().filter(|found| test(found)).count() as f64 / of.len().max(1) as f64
        };
        let holds = |found: &Measured| found.away().abs() <= found.half_width();
        let all: Vec<&Measured> = found.iter().collect();
        let cautioned: Vec<&Measured> = found.iter().filter(|found| fragile(found.record.reasons)).collect();
        let mean =
            |value: &dyn Fn(&Measured) -> f64| found.iter().map(value).sum::<f64>() / found.len() as f64;
        let scaled = |found: &Measured| found.away() / f64::from(found.record.settling_u).max(0.5);
        let mean_half_width = mean(&|found| found.half_width());
        let constant = quantile(found.iter().map(|found| found.away().abs()).collect());
        let factor =
            quantile(found.iter().map(|found| found.away().abs() / found.half_width().max(0.5)).collect());
        Coverage {
            moves: found.len() as f64,
            settled: found.len() as f64 / moves as f64,
            held: share(&all, &holds),
            fragile: share(&all, &|found| fragile(found.record.reasons)),
            fragile_held: share(&cautioned, &holds),
            width: ((mean_half_width - 1.0) / constant).max((1.0 - 1.0 / mean_half_width) / factor),
            bias: mean(&scaled),
            spread: mean(&|found| scaled(found).powi(2)).sqrt(),
            mean_half_width,
        }
    }
}

/// The value that 95 of 100 do not exceed.
fn quantile(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() * 95 / 100).copied().unwrap_or(f64::NAN)
}
