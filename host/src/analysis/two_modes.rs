//! In: the error at every sample of a stop, from its command end on. Out: two oscillations with uncertainties, where they are
//! shown.
//!
//! ```text
//! errors ► stretch: up to the rest ► points: means, 1,024 at most
//!            │                         │ seeds ► search: one mode, two modes, each without and with a tail
//!            └──► the best of each refined on the samples themselves ► judge
//! ```
//! Means may fold an oscillation; the samples themselves then leave it, and no claim stands.

mod stretch;
mod triangle;
mod roots;
mod shape;
mod seeds;
mod search;
mod judge;

use search::{Fit, search};
use shape::{Mode, Shape};

pub use judge::{Doubt, TwoModes, Vibration};
pub use stretch::MOST;

/// Points that oscillations are seeded from, of the whole stretch.
const SEEDED: [usize; 2] = [64, 256];
/// Rates of tails that a search begins with. Unit: 1/all points
const TAILS: [f64; 2] = [1.5, 6.0];

/// Looks for two oscillations; `period_s` is the time between samples, `step` that of the encoder. Unit of errors: counts
pub fn two_modes(errors: &[f64], period_s: f64, step: f64) -> Result<TwoModes, Doubt> {
    let samples = stretch::stretch(errors).ok_or(Doubt::Length)?;
    let (points, each) = stretch::search_points(samples);
    let seeds = seeded(&points);
    let alone = seeds.iter().flatten().map(|mode| [*mode, Mode::default()]);
    let one = best(&points, alone).filter(|one| judge::leaves_structure(one, &points)).ok_or(Doubt::One)?;
    let two = best(&points, pairs(&points, &seeds, &one).into_iter()).ok_or(Doubt::One)?;
    let refined = |fit: Fit| {
        Fit::new(fit.shape.in_points_of(1.0 / each as f64).bounded(samples.len()), samples).refined(samples)
    };
    judge::judge(&refined(one), &refined(two), samples, period_s, step)
}

/// Oscillations of each degree, found in means of the points. Unit: that of the points
fn seeded(points: &[f64]) -> Vec<Vec<Mode>> {
    let of_means = |most: &usize| {
        let (means, each) = stretch::points(points, *most);
        let scaled = move |mode: Mode| Mode { frequency: mode.frequency / each as f64, ..mode };
        seeds::seeds(&means).into_iter().map(move |modes| modes.into_iter().map(scaled).collect())
    };
    SEEDED.iter().flat_map(of_means).collect()
}

/// Pairs of oscillations: of one degree, or the best one and one in what it leaves, or both close by.
fn pairs(points: &[f64], seeds: &[Vec<Mode>], one: &Fit) -> Vec<[Mode; 2]> {
    let mut pairs = Vec::new();
    for modes in seeds {
        for (k, mode) in modes.iter().enumerate() {
            pairs.extend(modes[k + 1..].iter().map(|other| [*mode, *other]));
        }
    }
    let first = one.shape.modes[0];
    pairs.extend(seeded(&one.rest(points)).into_iter().flatten().map(|other| [first, other]));
    let apart = std::f64::consts::PI / points.len() as f64;
    let beside = |sign: f64| Mode { frequency: (first.frequency + sign * apart).max(apart), ..first };
    pairs.push([beside(-1.0), beside(1.0)]);
    pairs
}

/// The best fit of these modes, without a tail or with one, as Schwarz's criterion has it.
fn best(points: &[f64], starts: impl Iterator<Item = [Mode; 2]>) -> Option<Fit> {
    let plain = search(starts.map(|modes| Shape { modes, tail: 0.0 }), points)?;
    let count = points.len() as f64;
    let tails = TAILS.iter().map(|rate| plain.shape.with_tail(rate / count));
    let tailed = search(tails, points)?;
    let gain = count * (plain.squares / tailed.squares).ln();
    Some(if gain > 2.0 * count.ln() { tailed } else { plain })
}
