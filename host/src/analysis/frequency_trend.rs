//! In: ringing frequencies of the stops of one kind. Out: their change from the first stops to the last, with an interval.
//!
//! The change is that from the middle of the first fifth to the middle of the last: a frequency that stays for long and then falls, as
//! wear makes it, lies on no line. The slope beside it is that of Theil and Sen; its interval is widened by what the
//! frequencies about the line depend on each other.

use std::ops::Range;

use super::dependence::Dependence;
use super::median_interval::{MedianInterval, median_interval};
use super::quantile::{MAD_TO_SD, median};
use super::theil_sen::{Slope, median_slope, theil_sen};

/// Fewest stops with a frequency: a fifth of them has an interval.
pub const FEWEST: usize = 30;
/// Scatter from one stop to the next from which on the frequencies are not those of one oscillation. Unit: 1
const MOST_SCATTER: f64 = 0.1;
/// Confidence of the interval.
const CONFIDENCE: f64 = 0.95;

/// How the frequency of one kind changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrequencyTrend {
    /// Stops with a frequency.
    pub stops: usize,
    /// In the middle of the first fifth. Unit: Hz
    pub first: MedianInterval,
    /// In the middle of the last fifth. Unit: Hz
    pub last: MedianInterval,
    /// Over all stops; the ends are infinite where they follow each other too closely. Unit: Hz per unit of place
    pub slope: Slope,
    /// Change from the first fifth to the last as a part of the first, and the ends of its interval. Unit: 1
    pub change: [f64; 3],
}

impl FrequencyTrend {
    /// Whether the interval excludes that nothing changed.
    pub fn is_shown(&self) -> bool {
        let [_, low, high] = self.change;
        low > 0.0 || high < 0.0
    }

    /// Change of the stiffness, of which the frequency is the root for the same mass. Unit: 1
    pub fn stiffness_change(&self) -> [f64; 3] {
        self.change.map(|change| (1.0 + change).powi(2) - 1.0)
    }
}

/// Why no trend is stated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refusal {
    /// Fewer than [`FEWEST`] stops have a frequency, which are so many.
    TooFew(usize),
    /// They scatter from stop to stop by this part.
    Scatter(f64),
    /// They follow each other too closely for an interval, or have one place only.
    NoInterval,
}

/// The trend of frequencies in Hz at their places: times, or numbers of stops; in their order.
pub fn frequency_trend(places: &[f64], frequencies: &[f64]) -> Result<FrequencyTrend, Refusal> {
    let stops = frequencies.len();
    if stops < FEWEST {
        return Err(Refusal::TooFew(stops));
    }
    let scatter = scatter(frequencies);
    // NaN is no scatter to go by either.
    if scatter.is_nan() || scatter > MOST_SCATTER {
        return Err(Refusal::Scatter(scatter));
    }
    let fifth = stops / 5;
    let of =
        |range: Range<usize>| level(&places[range.clone()], &frequencies[range]).ok_or(Refusal::NoInterval);
    let (first, last) = (of(0..fifth)?, of(stops - fifth..stops)?);
    let half = |level: &MedianInterval| level.half_width().map(|half| half / level.median);
    let (Some(before), Some(after)) = (half(&first), half(&last)) else { return Err(Refusal::NoInterval) };
    let ratio = last.median / first.median;
    let width = ratio * before.hypot(after);
    let change = [ratio - 1.0, ratio - 1.0 - width, ratio - 1.0 + width];
    let slope = slope(places, frequencies).ok_or(Refusal::NoInterval)?;
    Ok(FrequencyTrend { stops, first, last, slope, change })
}

/// Standard deviation from stop to stop as a part of the median, by the median of the differences. Unit: 1
fn scatter(frequencies: &[f64]) -> f64 {
    let steps: Vec<f64> = frequencies.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    let of = |values: &[f64]| median(values).unwrap_or(f64::NAN);
    MAD_TO_SD * of(&steps) / std::f64::consts::SQRT_2 / of(frequencies)
}

/// The level in the middle of some stops: the median after their own slope is taken off, which would pass for dependence.
fn level(places: &[f64], frequencies: &[f64]) -> Option<MedianInterval> {
    let (slope, middle) = (median_slope(places, frequencies)?, median(places)?);
    let level = |(at, value): (&f64, &f64)| value - slope * (at - middle);
    median_interval(&places.iter().zip(frequencies).map(level).collect::<Vec<f64>>())
}

fn slope(places: &[f64], frequencies: &[f64]) -> Option<Slope> {
    let plain = theil_sen(places, frequencies, CONFIDENCE, 1.0)?;
    let pairs = places.iter().zip(frequencies);
    let about: Vec<f64> = pairs.map(|(at, value)| value - plain.intercept - plain.slope * at).collect();
    theil_sen(places, frequencies, CONFIDENCE, Dependence::of(&about).factor())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    /// `count` frequencies about 18 Hz that change by `change` in all and scatter by `scatter` Hz.
    fn drawn(random: &mut Pcg32, count: usize, change: f64, scatter: f64) -> (Vec<f64>, Vec<f64>) {
        let mut uniform = || f64::from(random.next_u32()) / f64::from(u32::MAX) - 0.5;
        let mut normal = || (0..12).map(|_| uniform()).sum::<f64>();
        let places: Vec<f64> = (0..count).map(|at| at as f64).collect();
        let last = (count - 1) as f64;
        let values = places.iter().map(|at| 18.0 * (1.0 + change * at / last) + scatter * normal()).collect();
        (places, values)
    }

    #[test]
    fn the_interval_holds_the_true_change() {
        let mut random = Pcg32::new(4, 11);
        for (count, change) in [(30, -0.02), (60, 0.0), (200, -0.06)] {
            let (mut held, mut shown) = (0, 0);
            for _ in 0..400 {
                let (places, values) = drawn(&mut random, count, change, 0.1);
                let trend = frequency_trend(&places, &values).unwrap();
                // From the middle of the first fifth to that of the last.
                let last = (count - 1) as f64;
                let [from, to] = [(count / 5 - 1) as f64 / 2.0, last - (count / 5 - 1) as f64 / 2.0]
                    .map(|at| 1.0 + change * at / last);
                let truth = to / from - 1.0;
                held += usize::from(trend.change[1] <= truth && truth <= trend.change[2]);
                shown += usize::from(trend.is_shown());
            }
            assert!((372..=400).contains(&held), "{count}, {change}: held {held} of 400");
            // A change of 2 % of frequencies that scatter by 0.6 % is missed by a fifth of so few stops.
            let expected =
                if change == 0.0 { 0..=28 } else { if count == 30 { 280..=400 } else { 396..=400 } };
            assert!(expected.contains(&shown), "{count}, {change}: shown {shown} of 400");
            println!("{count} stops, change {change}: interval held {held} of 400, change shown in {shown}");
        }
    }

    #[test]
    fn what_shows_nothing_is_refused() {
        let mut random = Pcg32::new(4, 12);
        let (places, values) = drawn(&mut random, 29, -0.1, 0.1);
        assert_eq!(frequency_trend(&places, &values), Err(Refusal::TooFew(29)));
        let two: Vec<f64> = (0..40).map(|at| [18.0, 31.0][at % 2]).collect();
        let places: Vec<f64> = (0..40).map(f64::from).collect();
        assert!(matches!(frequency_trend(&places, &two), Err(Refusal::Scatter(_))));
        assert_eq!(frequency_trend(&[1.0; 40], &[18.0; 40]), Err(Refusal::NoInterval));
    }

    /// Steady for long, then falling: no line, but a change all the same.
    #[test]
    fn a_bend_is_no_scatter() {
        let mut random = Pcg32::new(4, 13);
        let (places, mut values) = drawn(&mut random, 500, 0.0, 0.3);
        values.iter_mut().skip(200).zip(0..).for_each(|(value, at)| *value -= 0.02 * f64::from(at));
        let trend = frequency_trend(&places, &values).unwrap();
        // The last fifth begins 200 stops after the bend, and ends 300 after it.
        assert!(trend.is_shown() && (trend.change[0] + 5.0 / 18.0).abs() < 0.01, "{trend:?}");
    }

    #[test]
    fn stiffness_goes_with_the_square() {
        let mut random = Pcg32::new(4, 14);
        let (places, values) = drawn(&mut random, 100, -0.05, 0.02);
        let trend = frequency_trend(&places, &values).unwrap();
        // 2Δf/f is the first term: -0.08 for the 80 of 100 stops between the fifths.
        assert!((trend.stiffness_change()[0] + 0.08).abs() < 0.004, "{trend:?}");
    }
}
