//! In: rest errors of the kinds of one axis. Out: how much of them is constant, follows the direction, grows with distance.
//!
//! rest error = constant + (1 forward, −1 backward) × by direction + travel × per distance, where travel has its sign. All
//! three by least squares over kinds where these are enough and their distances differ enough; else the first two, from
//! kinds there and back of the same distance.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::linear::linear_fit;
use super::median_interval::MedianInterval;

/// Distances that are taken for the same, as for a kind. Unit: 1
const SAME_DISTANCE: f64 = 0.125;
/// Above this the distances are too alike to tell distance from direction: the limit of identification.
const MOST_INFLATION: f64 = 12.0;
/// Fewest kinds for three parts: two more than parts.
pub const FEWEST_KINDS: usize = 5;

/// Rest errors of one kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KindOffset {
    /// Towards larger positions.
    pub forward: bool,
    /// Unit: that of position
    pub distance: f64,
    /// command − feedback at rest; its interval is known. Unit: that of position
    pub error: MedianInterval,
}

/// A part of the rest errors with the half-width of its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Unit: that of position; per distance: 1
    pub value: f64,
    /// The same unit.
    pub half_width: f64,
}

impl Part {
    /// Whether its interval lies beyond this on one side of zero.
    pub fn is_beyond(&self, least: f64) -> bool {
        self.value.abs() - self.half_width > least
    }
}

/// The parts of the rest errors of an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parts {
    /// The same in both directions.
    pub constant: Part,
    /// Changes its sign with the direction; positive: feedback stops short of the target.
    pub by_direction: Part,
    /// Of the distance; none where the kinds can't tell.
    pub per_distance: Option<Part>,
}

/// Why the parts are not stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// All kinds go the same way, or there are none.
    OneDirection,
    /// No distance is travelled in both directions, and there are too few kinds for three parts.
    UnlikeDistances,
}

/// The parts.
pub fn offset_by_direction(kinds: &[KindOffset]) -> Result<Parts, Refusal> {
    let goes = |forward: bool| kinds.iter().any(|kind| kind.forward == forward);
    if !(goes(true) && goes(false)) {
        return Err(Refusal::OneDirection);
    }
    three_parts(kinds).or_else(|| two_parts(kinds)).ok_or(Refusal::UnlikeDistances)
}

/// 1 forward, −1 backward.
fn sign(kind: &KindOffset) -> f64 {
    if kind.forward { 1.0 } else { -1.0 }
}

fn three_parts(kinds: &[KindOffset]) -> Option<Parts> {
    let columns = [
        vec![1.0; kinds.len()],
        kinds.iter().map(sign).collect(),
        kinds.iter().map(|kind| sign(kind) * kind.distance).collect(),
    ];
    let errors: Vec<f64> = kinds.iter().map(|kind| kind.error.median).collect();
    let fit = linear_fit(&columns, &errors)?;
    if fit.inflation.iter().any(|inflation| *inflation > MOST_INFLATION) {
        return None;
    }
    let student = StudentsT::new(0.0, 1.0, (kinds.len() - columns.len()) as f64).ok()?.inverse_cdf(0.975);
    let widths: f64 = kinds.iter().filter_map(|kind| kind.error.half_width()).map(|half| half * half).sum();
    let within = (widths / kinds.len() as f64).sqrt();
    let part = |at: usize| {
        // What the moves of each kind scatter is the least that is unknown, however well so few kinds lie on the line.
        let lengths: f64 = columns[at].iter().map(|value| value * value).sum();
        let least = within * (fit.inflation[at] / lengths).sqrt();
        Part { value: fit.factors[at], half_width: (student * fit.sd[at]).max(least) }
    };
    Some(Parts { constant: part(0), by_direction: part(1), per_distance: Some(part(2)) })
}

/// Half the sum and half the difference of each two kinds there and back, then their means.
fn two_parts(kinds: &[KindOffset]) -> Option<Parts> {
    let is_like = |one: &KindOffset, other: &KindOffset| {
        (one.distance - other.distance).abs() <= SAME_DISTANCE * one.distance.min(other.distance)
    };
    let there = kinds.iter().filter(|kind| kind.forward);
    let pairs = there.filter_map(|forward| {
        let back = kinds.iter().filter(|kind| !kind.forward && is_like(forward, kind));
        let nearest = back.min_by(|a, b| {
            (a.distance - forward.distance).abs().total_cmp(&(b.distance - forward.distance).abs())
        });
        Some((forward.error, nearest?.error))
    });
    let pairs: Vec<(MedianInterval, MedianInterval)> = pairs.collect();
    let mean = |of: fn(f64, f64) -> f64| {
        let values: Vec<f64> = pairs.iter().map(|(there, back)| of(there.median, back.median)).collect();
        let half = |error: &MedianInterval| error.half_width().unwrap_or(f64::INFINITY);
        let within: f64 = pairs
            .iter()
            .map(|(there, back)| half(there).hypot(half(back)) / 2.0)
            .map(|half| half * half)
            .sum();
        let count = pairs.len() as f64;
        let value = values.iter().sum::<f64>() / count;
        let between = values.iter().map(|one| (one - value).abs()).fold(0.0, f64::max);
        Part { value, half_width: (within.sqrt() / count).max(between) }
    };
    (!pairs.is_empty()).then(|| Parts {
        constant: mean(|there, back| (there + back) / 2.0),
        by_direction: mean(|there, back| (there - back) / 2.0),
        per_distance: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(travel: f64, error: f64, half: f64) -> KindOffset {
        let error = MedianInterval { median: error, ends: Some((error - half, error + half)), values: 20 };
        KindOffset { forward: travel > 0.0, distance: travel.abs(), error }
    }

    /// Kinds with these travels, whose errors are made of the three parts.
    fn made(travels: &[f64], [constant, by_direction, per_distance]: [f64; 3]) -> Vec<KindOffset> {
        let error = |travel: f64| constant + travel.signum() * by_direction + travel * per_distance;
        travels.iter().map(|travel| kind(*travel, error(*travel), 0.001)).collect()
    }

    #[track_caller]
    fn check(part: Part, expected: f64, most: f64) {
        let found = (part.value - expected).abs() < 1e-9 && part.half_width > 0.0 && part.half_width < most;
        assert!(found, "{part:?}, expected {expected}");
    }

    #[test]
    fn made_parts_are_found() {
        let travels = [60.0, -60.0, 540.0, -540.0, 200.0];
        let parts = offset_by_direction(&made(&travels, [0.01, 0.02, -50e-6])).unwrap();
        check(parts.constant, 0.01, 0.001);
        check(parts.by_direction, 0.02, 0.001);
        check(parts.per_distance.unwrap(), -50e-6, 5e-6);
        let parts = offset_by_direction(&made(&[60.0, -61.0], [0.01, 0.02, 0.0])).unwrap();
        check(parts.constant, 0.01, 0.001);
        check(parts.by_direction, 0.02, 0.001);
        assert_eq!(parts.per_distance, None);
        // The half-width of the mean of two independent values with ± 0.001: 0.001/√2.
        assert!((parts.constant.half_width - 0.001 / 2f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn kinds_that_cannot_tell_are_refused() {
        let refused = |travels: &[f64]| offset_by_direction(&made(travels, [0.0; 3])).err();
        assert_eq!(refused(&[]), Some(Refusal::OneDirection));
        assert_eq!(refused(&[60.0, 540.0, 200.0]), Some(Refusal::OneDirection));
        assert_eq!(refused(&[60.0, -540.0]), Some(Refusal::UnlikeDistances));
        // Five kinds of nearly one distance: distance and direction are the same column.
        let alike = offset_by_direction(&made(&[60.0, -60.0, 66.0, -66.0, 60.0], [0.0, 0.02, 0.0])).unwrap();
        assert_eq!(alike.per_distance, None);
    }

    #[test]
    fn pairs_that_contradict_each_other_widen_the_interval() {
        let kinds = [
            kind(60.0, 0.1, 0.001),
            kind(-60.0, 0.1, 0.001),
            kind(90.0, 0.0, 0.001),
            kind(-90.0, 0.0, 0.001),
        ];
        let parts = offset_by_direction(&kinds).unwrap();
        assert!(!parts.constant.is_beyond(0.0), "{parts:?}");
        assert_eq!(parts.constant.half_width, 0.05);
    }
}
