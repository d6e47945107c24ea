//! In: values in time order. Out: where they change.
//!
//! Sources: least squares and binary segmentation: Scott & Knott, Biometrics 30 (1974); penalty: Schwarz, Annals of
//! Statistics 6 (1978), on the long-run variance instead of the plain one, because neighbours may be correlated.

use std::ops::Range;

use super::noise::Noise;
use super::regression::PrefixSums;

/// Fewest points of a segment.
pub const SHORTEST: usize = 8;

/// Shape of a segment between two changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Model {
    /// Constant: finds steps, and splits a ramp into stairs. No command uses it; published cases of change points do.
    Level,
    /// Straight line: finds steps, bends and both; a ramp has no change in it.
    Line,
}

impl Model {
    fn squares_about(self, sums: &PrefixSums, range: Range<usize>) -> f64 {
        match self {
            Model::Level => sums.about_level(range),
            Model::Line => sums.about_line(range),
        }
    }

    /// Parameters that one more change adds: those of a segment, and its place.
    fn parameters(self) -> f64 {
        match self {
            Model::Level => 2.0,
            Model::Line => 3.0,
        }
    }
}

/// The best cut of a segment in two.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Split {
    /// First point of the second part.
    pub at: usize,
    /// Sum of squares about both parts.
    pub after: f64,
    /// Sum of squares without the cut.
    pub before: f64,
}

/// The least-squares cut of a segment into parts of at least `shortest` points; `None` if the segment is too short.
pub fn split(sums: &PrefixSums, range: Range<usize>, model: Model, shortest: usize) -> Option<Split> {
    let before = model.squares_about(sums, range.clone());
    let parts = |at| model.squares_about(sums, range.start..at) + model.squares_about(sums, at..range.end);
    (range.start + shortest.max(1)..(range.end + 1).saturating_sub(shortest.max(1)))
        .map(|at| Split { at, after: parts(at), before })
        .min_by(|a, b| a.after.total_cmp(&b.after))
}

/// First points of the new segments, in order, by binary segmentation: a segment is cut where the cut reduces its sum
/// of squares most, if it reduces them by more than the [`penalty`].
pub fn change_points(time: &[f64], values: &[f64], model: Model) -> Vec<usize> {
    let sums = PrefixSums::new(time, values);
    let Some(noise) = Noise::of(values) else { return Vec::new() };
    let penalty = penalty(&noise, values.len(), model);
    let mut found = Vec::new();
    let whole = 0..sums.len();
    let mut open = Vec::from([whole]);
    while let Some(range) = open.pop() {
        let Some(split) = split(&sums, range.clone(), model, SHORTEST) else { continue };
        if split.before - split.after > penalty {
            found.push(split.at);
            open.extend([range.start..split.at, split.at..range.end]);
        }
    }
    found.sort_unstable();
    found
}

/// Least reduction of the sum of squares by a change: parameters it adds × ln n × long-run variance.
pub fn penalty(noise: &Noise, n: usize, model: Model) -> f64 {
    model.parameters() * (n.max(2) as f64).ln() * noise.sd * noise.sd * noise.variance_factor()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    #[test]
    fn steps_and_bends_are_found_and_ramps_are_not_split() {
        let time: Vec<f64> = (0..120).map(f64::from).collect();
        let check = |model, shape: &dyn Fn(f64) -> f64, expected: &[usize]| {
            let mut random = Pcg32::new(9, 9);
            let mut uniform = || f64::from(random.next_u32()) / f64::from(u32::MAX);
            let values: Vec<f64> = time.iter().map(|t| shape(*t) + uniform()).collect();
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
    fn too_few_values_have_no_change() {
        assert_eq!(change_points(&[], &[], Model::Line), Vec::<usize>::new());
        assert_eq!(change_points(&[1.0; 9], &[1.0; 9], Model::Level), Vec::<usize>::new());
    }
}
