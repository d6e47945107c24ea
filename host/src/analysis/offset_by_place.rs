//! In: rest errors of one axis, each with the position and the direction of arrival. Out: their parts, or why they can't be told apart.
//!
//! rest error = constant + (1 forward, −1 backward) × by direction + position × per position, by least squares over the
//! places where moves end. A place has one direction of arrival: the same position reached from both sides is two. Moves to
//! one place share what is wrong there, so each place counts once.

use std::collections::BTreeMap;

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::linear::linear_fit;
use super::median_interval::{MedianInterval, median_interval};

/// Above this the places are too alike to tell position from direction: the limit of identification.
const MOST_INFLATION: f64 = 12.0;
/// Fewest places: two more than parts.
pub const FEWEST_PLACES: usize = 5;
/// Fewest moves in each direction: as many as a median with an interval has.
pub const FEWEST_MOVES: usize = 6;

/// A move that stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrival {
    /// Towards larger positions.
    pub forward: bool,
    /// The target, from any origin. Unit: that of position
    pub position: f64,
    /// command − feedback at rest. Unit: that of position
    pub error: f64,
}

/// Where moves end, coming from one side.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Place {
    forward: bool,
    /// Unit: that of position
    position: f64,
    /// Unit: that of position
    error: MedianInterval,
}

/// A part of the rest errors with its intervals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Unit: that of position; per position: 1
    pub value: f64,
    /// Half-width of the 95 % interval. The same unit.
    pub half_width: f64,
    /// Half-width of the 99 % interval, by which a cause is named: three parts are looked at, and a wrong cause costs a
    /// repair. The same unit.
    pub wide: f64,
}

impl Part {
    /// Whether its 99 % interval lies beyond this on one side of zero.
    pub fn is_beyond(&self, least: f64) -> bool {
        self.least() > least
    }

    /// The smallest size in its 99 % interval; negative if that spans zero.
    fn least(&self) -> f64 {
        self.value.abs() - self.wide
    }

    /// The largest.
    fn most(&self) -> f64 {
        self.value.abs() + self.wide
    }
}

/// The parts of the rest errors of an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parts {
    /// In the middle of the range, the mean of both directions.
    pub constant: Part,
    /// Changes its sign with the direction; positive: feedback stops short of the target.
    pub by_direction: Part,
    /// Growth with position.
    pub per_position: Part,
    /// From the lowest place to the highest. Unit: that of position
    pub range: f64,
    /// Number of places.
    pub places: usize,
}

/// Which parts are beyond zero by enough to act on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shown {
    /// The constant, where growth with position can't make it.
    pub constant: bool,
    /// By direction.
    pub by_direction: bool,
    /// Per position.
    pub per_position: bool,
}

impl Parts {
    /// Which parts are shown, where errors up to `least` are not worth acting on. Unit of `least`: that of position
    pub fn shown(&self, least: f64) -> Shown {
        let per_position = self.per_position.is_beyond(least / self.range);
        Shown {
            constant: self.constant.is_beyond(least) && !per_position && self.zero_beyond() > self.range,
            by_direction: self.by_direction.is_beyond(least),
            per_position,
        }
    }

    /// How far the zero of a scale error must lie from the middle of the range for that error to make the constant: the
    /// origin of the positions is not known. Unit: that of position
    pub fn zero_beyond(&self) -> f64 {
        self.constant.least() / self.per_position.most()
    }
}

/// Why the parts are not stated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refusal {
    /// Fewer than [`FEWEST_MOVES`] in one of the directions.
    FewMoves,
    /// Too few places, or each direction has places of its own that lie together. With the largest error that the intervals
    /// of all places allow; +∞ where one has none. Unit: that of position
    Confounded(f64),
}

/// The parts. Targets within `same` of each other are one place. Unit of `same`: that of position
pub fn offset_by_place(arrivals: &[Arrival], same: f64) -> Result<Parts, Refusal> {
    let forward = arrivals.iter().filter(|arrival| arrival.forward).count();
    if forward.min(arrivals.len() - forward) < FEWEST_MOVES {
        return Err(Refusal::FewMoves);
    }
    let places = places(arrivals, same);
    parts(&places).ok_or_else(|| Refusal::Confounded(most(&places)))
}

fn places(arrivals: &[Arrival], same: f64) -> Vec<Place> {
    let mut moves = BTreeMap::<(bool, i64), (f64, Vec<f64>)>::new();
    for arrival in arrivals {
        let key = (arrival.forward, (arrival.position / same).round() as i64);
        let (sum, errors) = moves.entry(key).or_default();
        *sum += arrival.position;
        errors.push(arrival.error);
    }
    let place = |((forward, _), (sum, errors)): ((bool, i64), (f64, Vec<f64>))| {
        let position = sum / errors.len() as f64;
        Some(Place { forward, position, error: median_interval(&errors)? })
    };
    moves.into_iter().filter_map(place).collect()
}

fn parts(places: &[Place]) -> Option<Parts> {
    let positions = || places.iter().map(|place| place.position);
    let (low, high) =
        (positions().fold(f64::INFINITY, f64::min), positions().fold(f64::NEG_INFINITY, f64::max));
    let middle = f64::midpoint(low, high);
    let columns = [
        vec![1.0; places.len()],
        places.iter().map(|place| if place.forward { 1.0 } else { -1.0 }).collect(),
        positions().map(|position| position - middle).collect(),
    ];
    let errors: Vec<f64> = places.iter().map(|place| place.error.median).collect();
    let fit = linear_fit(&columns, &errors)?;
    // Constant and direction may be alike, as where all but one place are reached forward: their intervals are wide then.
    if fit.inflation[2] > MOST_INFLATION {
        return None;
    }
    let student = StudentsT::new(0.0, 1.0, (places.len() - columns.len()) as f64).ok()?;
    let normal = Normal::standard();
    let within = within(places);
    let part = |at: usize| {
        // What the moves of each place scatter is the least that is unknown, however well so few places lie on the line.
        let lengths: f64 = columns[at].iter().map(|value| value * value).sum();
        let least = within * (fit.inflation[at] / lengths).sqrt() / normal.inverse_cdf(0.975);
        let half = |tail: f64| (student.inverse_cdf(tail) * fit.sd[at]).max(normal.inverse_cdf(tail) * least);
        Part { value: fit.factors[at], half_width: half(0.975), wide: half(0.995) }
    };
    let [constant, by_direction, per_position] = [0, 1, 2].map(part);
    Some(Parts { constant, by_direction, per_position, range: high - low, places: places.len() })
}

/// The largest error that the intervals allow. Unit: that of position
fn most(places: &[Place]) -> f64 {
    let of_place =
        |place: &Place| place.error.ends.map_or(f64::INFINITY, |(low, high)| low.abs().max(high.abs()));
    places.iter().map(of_place).fold(0.0, f64::max)
}

/// Typical half-width of the error of a place, of those that have one. Unit: that of position
fn within(places: &[Place]) -> f64 {
    let widths: Vec<f64> = places.iter().filter_map(|place| place.error.half_width()).collect();
    (widths.iter().map(|half| half * half).sum::<f64>() / widths.len().max(1) as f64).sqrt()
}

#[cfg(test)]
mod tests;
