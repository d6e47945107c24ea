//! In: values in the order of time. Out: where they change, and by which test.
//!
//! Sources: Pettitt, "A non-parametric approach to the change-point problem", Applied Statistics 28 (1979); least
//! squares and binary segmentation: Scott & Knott, Biometrics 30 (1974); penalty: Schwarz, Annals of Statistics 6
//! (1978), on the long-run variance instead of the plain one, as neighbours may be alike.

use std::ops::Range;

use super::line::Stretches;
use super::noise::Noise;
use super::order::ranks;

/// Fewest points of a stretch.
pub const SHORTEST: usize = 8;

/// Pettitt's test for one change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pettitt {
    /// Number of values before the change.
    pub before: usize,
    /// Largest difference of rank sums.
    pub statistic: f64,
    /// Probability of a statistic as large without a change; approximate, at most 1.
    pub p: f64,
}

/// Pettitt's test; `None` under two values.
pub fn pettitt(values: &[f64]) -> Option<Pettitt> {
    let n = values.len() as f64;
    let mut sum = 0.0;
    let mut best: Option<(usize, f64)> = None;
    for (place, rank) in ranks(values).0.iter().enumerate().take(values.len().saturating_sub(1)) {
        sum += 2.0 * rank - (n + 1.0);
        if best.is_none_or(|(_, most)| f64::abs(sum) > most) {
            best = Some((place + 1, f64::abs(sum)));
        }
    }
    let (before, statistic) = best?;
    let p = 2.0 * (-6.0 * statistic * statistic / (n.powi(3) + n * n)).exp();
    Some(Pettitt { before, statistic, p: p.min(1.0) })
}

/// What a stretch between two changes is thought to follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Model {
    /// One level: finds steps; makes stairs of a ramp.
    Level,
    /// One line: finds steps, bends and both; a ramp has no change in it.
    Line,
}

impl Model {
    fn about(self, stretches: &Stretches, range: Range<usize>) -> f64 {
        match self {
            Model::Level => stretches.about_level(range),
            Model::Line => stretches.about_line(range),
        }
    }

    /// Figures that one more change adds: those of a stretch, and its place.
    fn figures(self) -> f64 {
        match self {
            Model::Level => 2.0,
            Model::Line => 3.0,
        }
    }
}

/// The best cut of a stretch in two.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Split {
    /// First point of the second part.
    pub at: usize,
    /// Sum of squares about both parts.
    pub after: f64,
    /// Sum of squares without the cut.
    pub before: f64,
}

/// The least-squares cut of a stretch, parts of at least `shortest` points; `None` if it is too short for that.
pub fn split(stretches: &Stretches, range: Range<usize>, model: Model, shortest: usize) -> Option<Split> {
    let before = model.about(stretches, range.clone());
    let parts = |at| model.about(stretches, range.start..at) + model.about(stretches, at..range.end);
    (range.start + shortest.max(1)..(range.end + 1).saturating_sub(shortest.max(1)))
        .map(|at| Split { at, after: parts(at), before })
        .min_by(|a, b| a.after.total_cmp(&b.after))
}

/// First points of the new stretches, in order, by binary segmentation: a stretch is cut where that takes most off
/// its sum of squares, if it takes off more than the [`penalty`].
pub fn change_points(time: &[f64], values: &[f64], model: Model) -> Vec<usize> {
    let stretches = Stretches::new(time, values);
    let Some(noise) = Noise::of(values) else { return Vec::new() };
    let penalty = penalty(&noise, values.len(), model);
    let mut found = Vec::new();
    let whole = 0..stretches.len();
    let mut open = Vec::from([whole]);
    while let Some(range) = open.pop() {
        let Some(split) = split(&stretches, range.clone(), model, SHORTEST) else { continue };
        if split.before - split.after > penalty {
            found.push(split.at);
            open.extend([range.start..split.at, split.at..range.end]);
        }
    }
    found.sort_unstable();
    found
}

/// What a change must take off the sum of squares: figures it adds × ln n × long-run variance.
pub fn penalty(noise: &Noise, n: usize, model: Model) -> f64 {
    model.figures() * (n.max(2) as f64).ln() * noise.sd * noise.sd * noise.variance_factor()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    #[test]
    fn steps_and_bends_are_found_and_ramps_left_alone() {
        let time: Vec<f64> = (0..120).map(f64::from).collect();
        let check = |model, shape: &dyn Fn(f64) -> f64, expected: &[usize]| {
            let mut chance = Pcg32::new(9, 9);
            let mut even = || f64::from(chance.next_u32()) / f64::from(u32::MAX);
            let values: Vec<f64> = time.iter().map(|t| shape(*t) + even()).collect();
            let found = change_points(&time, &values, model);
            assert_eq!(found.len(), expected.len(), "{model:?}: {found:?}, expected {expected:?}");
            for (found, expected) in found.iter().zip(expected) {
                assert!(found.abs_diff(*expected) <= 6, "{model:?}: {found}, expected {expected}");
            }
        };
        check(Model::Level, &|_| 0.0, &[]);
        check(Model::Level, &|t| if t < 70.0 { 0.0 } else { 2.0 }, &[70]);
        check(Model::Level, &|t| [0.0, 3.0, 1.0][(t / 40.0) as usize], &[40, 80]);
        check(Model::Line, &|t| 0.1 * t, &[]);
        check(Model::Line, &|t| 0.1 * (t - 60.0).max(0.0), &[60]);
        check(Model::Line, &|t| if t < 50.0 { 5.0 } else { 0.05 * t }, &[50]);
    }

    #[test]
    fn too_few_have_no_change() {
        assert_eq!(pettitt(&[1.0]), None);
        assert_eq!(pettitt(&[]), None);
        assert_eq!(change_points(&[], &[], Model::Line), Vec::<usize>::new());
        assert_eq!(change_points(&[1.0; 9], &[1.0; 9], Model::Level), Vec::<usize>::new());
    }
}
