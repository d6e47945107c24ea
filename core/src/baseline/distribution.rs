//! In: settling times of a kind while it is good. Out: their distribution, and a score for every later value.
//!
//! A histogram of 20 places around the first values. The score of a value is the normal score of its rank among all
//! values, each of which counts as spread over a range to either side that the caller gives. So ties have their
//! mid-rank, two humps and a half at zero are ranked as they are, and where values scatter less than the smallest
//! change, scores grow in proportion to the distance. Source of normal scores: B. L. van der Waerden, "Order tests for
//! the two-sample problem", Indagationes Mathematicae 14, 1952, 453–458; the spreading is ours, with the kernel of
//! V. A. Epanechnikov, Theory of Probability and its Applications 14, 1969, 153–158.

use super::first::{Evidence, First};
use super::normal::{normal_score, sqrt};

/// Number of places.
const PLACES: usize = 20;
/// The last place.
const LAST: f32 = (PLACES - 1) as f32;
/// Score of one standard deviation.
pub(crate) const UNIT: i32 = 256;
/// Largest score: one outlier has a bounded effect. Unit: standard deviations
const FURTHEST: f32 = 3.5;
/// Resolution of the table. Unit: 1/standard deviations
const STEPS: f32 = 25.0;
/// Score of an unsettled move in normal scores of its rank, at most 5: one of them in a subgroup of eight raises no alarm,
/// three soon do.
const UNSETTLED_WEIGHT: f32 = 2.0;
const FURTHEST_UNSETTLED: f32 = 5.0;

/// How often each place was met.
#[derive(Clone, Copy, Debug, Default)]
pub struct Distribution {
    /// Value at place 0, and distance between places. Unit: that of the values
    low: u32,
    width: u32,
    places: [u16; PLACES],
    unsettled: u16,
    count: u32,
}

/// Where a value lies among the places. Unit: 1/256 places; [`UNSETTLED`] for a move that did not settle
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Place(u16);

const UNSETTLED: Place = Place(u16::MAX);

impl Place {
    /// Neither slower nor faster than the baseline, for all that is known; it never belongs to a baseline.
    pub(crate) const NEUTRAL: Place = Place(u16::MAX - 1);
}

/// Scores of the places; that of an unsettled move. Unit: 1/25 standard deviations
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Scores {
    places: [i8; PLACES],
    unsettled: i8,
}

/// Mean, variance, skewness and excess kurtosis of scores. Unit: standard deviations of scores, and powers
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Moments {
    pub(crate) mean: f32,
    pub(crate) variance: f32,
    pub(crate) skewness: f32,
    pub(crate) kurtosis: f32,
}

impl Distribution {
    /// Places for values like the first ones, at least a quarter of `smallest` apart; `None` if half of the first are
    /// unsettled. Unit of `smallest`: that of the values
    pub(crate) fn around(first: &First, smallest: f32) -> Option<Distribution> {
        let (lower, upper) = first.range()?;
        let width = ((smallest / 4.0) as u32).max((upper - lower) / (PLACES as u32 - 8)).max(1);
        let centre = lower + (upper - lower) / 2;
        // The centre is a place, so that values which are all alike lie at it.
        let below = (centre / width).min(PLACES as u32 / 2);
        let width =
            if below < PLACES as u32 / 2 { centre.checked_div(below).unwrap_or(width) } else { width };
        let low = centre - width.saturating_mul(below).min(centre);
        let mut new = Distribution { low, width, ..Distribution::default() };
        first.values().for_each(|value| new.step(new.place(value)));
        Some(new)
    }

    /// Where a value lies; values beyond the first or last place lie there.
    pub(crate) fn place(&self, evidence: Evidence) -> Place {
        let Evidence::Value(value) = evidence else { return UNSETTLED };
        let position = (value as f32 - self.low as f32) / self.width.max(1) as f32;
        Place((position.clamp(0.0, LAST) * 256.0) as u16)
    }

    /// Adds a value.
    pub(crate) fn step(&mut self, place: Place) {
        self.count = self.count.saturating_add(1);
        let weight = match place {
            UNSETTLED => Some(&mut self.unsettled),
            Place(position) => self.places.get_mut(usize::from(position.saturating_add(128) >> 8)),
        };
        let Some(weight) = weight else { return };
        *weight += 1;
        if *weight == u16::MAX {
            self.places.iter_mut().for_each(|weight| *weight /= 2);
            self.unsettled /= 2;
        }
    }

    /// Number of values added.
    pub fn count(&self) -> u32 {
        self.count
    }

    /// Weight of the settled values, and of all; they halve now and then.
    fn settled(&self) -> f32 {
        self.places.iter().map(|weight| u32::from(*weight)).sum::<u32>() as f32
    }

    fn total(&self) -> f32 {
        (self.settled() + f32::from(self.unsettled)).max(1.0)
    }

    /// Mean of the settled values, each moved to its place. Unit: that of the values
    pub fn mean(&self) -> f32 {
        let sum: u32 = (0..).zip(&self.places).map(|(place, weight)| place * u32::from(*weight)).sum();
        self.low as f32 + self.width as f32 * sum as f32 / self.settled().max(1.0)
    }

    /// Share of the settled values that lie at places near a value. Unit of both: that of the values
    pub(crate) fn share_near(&self, value: u32, distance: f32) -> f32 {
        let near = (distance / self.width as f32).max(1.0);
        let centre = f32::from(self.place(Evidence::Value(value)).0) / 256.0;
        let is_near = |place: usize| (place as f32 - centre).abs() <= near;
        let within = self.places.iter().enumerate().filter(|(place, _)| is_near(*place));
        within.map(|(_, weight)| f32::from(*weight)).sum::<f32>() / self.settled().max(1.0)
    }

    /// The value below which this share of the settled values lies, within half a place; `None` if that is beyond the
    /// places. Unit: that of the values
    pub(crate) fn quantile(&self, share: f32) -> Option<u32> {
        let rank = share * self.settled();
        let mut below = 0.0;
        for (place, weight) in self.places.iter().enumerate() {
            let weight = f32::from(*weight);
            if below + weight >= rank && weight > 0.0 {
                let beyond = place + 1 == PLACES || place == 0 && self.low > 0;
                let value = self.low as f32
                    + self.width as f32 * (place as f32 + self.within(place, (rank - below) / weight));
                return (!beyond).then_some(value.max(0.0) as u32);
            }
            below += weight;
        }
        None
    }

    /// Where a share of the values at a place lies: they are spread towards the neighbours that have values, too.
    /// Unit: places
    fn within(&self, place: usize, share: f32) -> f32 {
        let reaches = |neighbour: usize| self.places.get(neighbour).is_some_and(|weight| *weight > 0);
        let lower = if reaches(place.wrapping_sub(1)) { -0.5 } else { 0.0 };
        let upper = if reaches(place + 1) { 0.5 } else { 0.0 };
        lower + share * (upper - lower)
    }

    /// The scores, with every value spread over `range` to either side. Unit of `range`: that of the values
    pub(crate) fn scores(&self, range: f32) -> Scores {
        let (all, step) = (self.total(), self.width as f32 / range);
        let mut scores = Scores::default();
        for (place, score) in scores.places.iter_mut().enumerate() {
            let mut below = 0.0;
            for (other, weight) in self.places.iter().enumerate() {
                let distance = ((place as f32 - other as f32) * step).clamp(-1.0, 1.0);
                below += f32::from(*weight) * (0.5 + distance * (0.75 - 0.25 * distance * distance));
            }
            *score = in_steps(normal_score(below / all).clamp(-FURTHEST, FURTHEST));
        }
        let unsettled = normal_score(1.0 - f32::from(self.unsettled) / (2.0 * all)) * UNSETTLED_WEIGHT;
        scores.unsettled = in_steps(unsettled.min(FURTHEST_UNSETTLED));
        scores
    }

    /// Moments of the scores if the mean of the values were larger by `change`; a value grows in proportion to itself plus
    /// `floor`. Unit: that of the values
    pub(crate) fn moments(&self, scores: &Scores, change: f32, floor: f32) -> Moments {
        let all = self.total();
        let (width, rise) = (self.width.max(1) as f32, change / (self.mean() + floor).max(1.0));
        let mut powers = [0.0_f32; 4];
        let mut add = |score: f32, weight: u16| {
            let mut power = f32::from(weight) / all;
            for sum in &mut powers {
                power *= score;
                *sum += power;
            }
        };
        for (place, weight) in self.places.iter().enumerate() {
            let value = self.low as f32 + place as f32 * width;
            let moved = place as f32 + rise * (value + floor) / width;
            add(scores.between(moved.clamp(0.0, LAST)) / STEPS, *weight);
        }
        add(f32::from(scores.unsettled) / STEPS, self.unsettled);
        Moments::of(powers)
    }
}

impl Scores {
    /// Score of a value. Unit: 1/256 standard deviations
    pub(crate) fn of(&self, place: Place) -> i32 {
        let score = match place {
            UNSETTLED => f32::from(self.unsettled),
            Place(position) => self.between(f32::from(position) / 256.0),
        };
        (score * (UNIT as f32 / STEPS)) as i32
    }

    /// Between the scores of two places. Unit: 1/25 standard deviations
    fn between(&self, position: f32) -> f32 {
        let place = position as usize;
        let [here, next] = [place, place + 1].map(|place| self.places.get(place).copied());
        let here = f32::from(here.unwrap_or_default());
        next.map_or(here, |next| here + (f32::from(next) - here) * (position - place as f32))
    }
}

impl Moments {
    /// From the means of the first four powers.
    fn of([mean, square, cube, fourth]: [f32; 4]) -> Moments {
        let variance = (square - mean * mean).max(1e-4);
        let third = cube - 3.0 * mean * square + 2.0 * mean * mean * mean;
        let fourth =
            fourth - 4.0 * mean * cube + 6.0 * mean * mean * square - 3.0 * mean * mean * mean * mean;
        let deviation = sqrt(variance);
        Moments {
            mean,
            variance,
            skewness: third / (variance * deviation),
            kurtosis: fourth / (variance * variance) - 3.0,
        }
    }
}

/// A score, rounded. Unit: 1/25 standard deviations
fn in_steps(score: f32) -> i8 {
    (score * STEPS + if score < 0.0 { -0.5 } else { 0.5 }) as i8
}
