//! In: ringing frequencies of the stops of one kind. Out: their change from the first stop to the last, with an interval.
//!
//! The line is that of Theil and Sen; its interval is widened by what the frequencies about it depend on each other.

use super::dependence::Dependence;
use super::quantile::{MAD_TO_SD, median};
use super::theil_sen::theil_sen;

/// Fewest stops with a frequency: fewer show neither dependence nor a second oscillation.
pub const FEWEST: usize = 20;
/// Spread about the line from which on the frequencies are not those of one oscillation. Unit: 1
const MOST_SPREAD: f64 = 0.1;
/// Confidence of the interval.
const CONFIDENCE: f64 = 0.95;

/// How the frequency of one kind changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrequencyTrend {
    /// Stops with a frequency.
    pub stops: usize,
    /// The line at the first of these. Unit: Hz
    pub first_hz: f64,
    /// The line at the last. Unit: Hz
    pub last_hz: f64,
    /// Slope of the line and the ends of its interval. Unit: Hz per unit of place
    pub slope: [f64; 3],
    /// Change from the first to the last as a part of the first, and the ends of its interval. Unit: 1
    pub change: [f64; 3],
}

impl FrequencyTrend {
    /// Whether the interval excludes that nothing changed.
    pub fn is_shown(&self) -> bool {
        let [_, low, high] = self.change;
        low > 0.0 || high < 0.0
    }

    /// Change of the stiffness, of which the frequency is the root: twice that of the frequency. Unit: 1
    pub fn stiffness_change(&self) -> [f64; 3] {
        self.change.map(|change| 2.0 * change)
    }
}

/// Why no trend is stated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refusal {
    /// Fewer than [`FEWEST`] stops have a frequency, which are so many.
    TooFew(usize),
    /// They spread about the line by this part.
    Spread(f64),
    /// They follow each other too closely for an interval, or have one place only.
    NoInterval,
}

/// The trend of frequencies in Hz at their places: times, or numbers of stops.
pub fn frequency_trend(places: &[f64], frequencies: &[f64]) -> Result<FrequencyTrend, Refusal> {
    if frequencies.len() < FEWEST {
        return Err(Refusal::TooFew(frequencies.len()));
    }
    let line = |factor| theil_sen(places, frequencies, CONFIDENCE, factor).ok_or(Refusal::NoInterval);
    let plain = line(1.0)?;
    let about: Vec<f64> = places
        .iter()
        .zip(frequencies)
        .map(|(at, value)| value - plain.intercept - plain.slope * at)
        .collect();
    let sizes: Vec<f64> = about.iter().map(|one| one.abs()).collect();
    let middle = median(frequencies).unwrap_or(f64::NAN);
    let spread = MAD_TO_SD * median(&sizes).unwrap_or(f64::NAN) / middle;
    if !(spread <= MOST_SPREAD) {
        return Err(Refusal::Spread(spread));
    }
    let line = line(Dependence::of(&about).factor())?;
    let [from, to] = [f64::min, f64::max].map(|of| places.iter().copied().reduce(of).unwrap_or(f64::NAN));
    let (first_hz, last_hz) = (line.intercept + line.slope * from, line.intercept + line.slope * to);
    let slope = [line.slope, line.low, line.high];
    let change = slope.map(|slope| slope * (to - from) / first_hz);
    let is_known = first_hz > 0.0 && change.iter().all(|change| change.is_finite());
    let trend = FrequencyTrend { stops: frequencies.len(), first_hz, last_hz, slope, change };
    Some(trend).filter(|_| is_known).ok_or(Refusal::NoInterval)
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
        for (count, change) in [(20, -0.02), (60, 0.0), (60, -0.06)] {
            let (mut held, mut shown) = (0, 0);
            for _ in 0..400 {
                let (places, values) = drawn(&mut random, count, change, 0.1);
                let trend = frequency_trend(&places, &values).unwrap();
                held += usize::from(trend.change[1] <= change && change <= trend.change[2]);
                shown += usize::from(trend.is_shown());
            }
            assert!((368..=396).contains(&held), "{count}, {change}: held {held} of 400");
            let is_right = if change == 0.0 { shown <= 32 } else { shown >= 396 };
            assert!(is_right || count == 20, "{count}, {change}: shown {shown} of 400");
        }
    }

    #[test]
    fn what_shows_nothing_is_refused() {
        let mut random = Pcg32::new(4, 12);
        let (places, values) = drawn(&mut random, 19, -0.1, 0.1);
        assert_eq!(frequency_trend(&places, &values), Err(Refusal::TooFew(19)));
        let two: Vec<f64> = (0..40).map(|at| [18.0, 31.0][at % 2]).collect();
        let places: Vec<f64> = (0..40).map(f64::from).collect();
        assert!(matches!(frequency_trend(&places, &two), Err(Refusal::Spread(_))));
        assert_eq!(frequency_trend(&[1.0; 40], &[18.0; 40]), Err(Refusal::NoInterval));
    }

    #[test]
    fn stiffness_changes_twice_as_much() {
        let mut random = Pcg32::new(4, 13);
        let (places, values) = drawn(&mut random, 100, -0.05, 0.02);
        let trend = frequency_trend(&places, &values).unwrap();
        assert!((trend.change[0] + 0.05).abs() < 0.002, "{trend:?}");
        // (f₂/f₁)² − 1, of which 2Δf/f is the first term.
        let exact = (trend.last_hz / trend.first_hz).powi(2) - 1.0;
        assert!((trend.stiffness_change()[0] - exact).abs() < 0.003, "{trend:?}");
    }
}
