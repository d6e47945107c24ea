//! In: the stops of one kind in their order. Out: how its ringing frequency changes, or why that can't be said.

use serde::Serialize;

use crate::analysis::frequency_trend::{FEWEST, FrequencyTrend, Refusal, frequency_trend};
use crate::report::move_report::MoveReport;
use crate::report::number::{decimals, fixed};

/// A frequency trend as other tools read it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TrendLine {
    /// Stops with a frequency.
    pub stops: usize,
    /// In the middle of the first fifth of them.
    pub first_hz: f64,
    /// In the middle of the last fifth.
    pub last_hz: f64,
    /// Slope over all of them in Hz per `slope_per`.
    pub slope: f64,
    /// Ends of its 95 % interval; none where the stops follow each other too closely.
    pub slope_95: [Option<f64>; 2],
    /// `s` where all stops stand on one clock, else `stop`.
    pub slope_per: &'static str,
    /// Change from the first fifth to the last as a part of the first.
    pub change: f64,
    /// Ends of its 95 % interval.
    pub change_95: [f64; 2],
    /// Change of the stiffness that the mass swings on as a part of the first, if the mass stayed the same; of a single part of
    /// that stiffness it is more.
    pub stiffness_change: f64,
    /// Ends of its 95 % interval.
    pub stiffness_change_95: [f64; 2],
    /// Whether the interval excludes that nothing changed.
    pub shown: bool,
}

/// The trend, or why none is stated.
pub fn trend(stops: &[&MoveReport]) -> Result<TrendLine, String> {
    let (places, slope_per) = places(stops);
    let with_frequency = || places.iter().zip(stops).filter_map(|(at, stop)| Some((*at, stop.ringing_hz?)));
    let (places, frequencies): (Vec<f64>, Vec<f64>) = with_frequency().unzip();
    let trend = frequency_trend(&places, &frequencies).map_err(why)?;
    Ok(line(&trend, slope_per))
}

/// Times where one clock runs through all stops, else their numbers from 1.
fn places(stops: &[&MoveReport]) -> (Vec<f64>, &'static str) {
    let is_one_clock = stops
        .windows(2)
        .all(|pair| pair[0].file == pair[1].file && pair[0].command_end_s < pair[1].command_end_s);
    match is_one_clock {
        true => (stops.iter().map(|stop| stop.command_end_s).collect(), "s"),
        false => ((1..=stops.len()).map(|number| number as f64).collect(), "stop"),
    }
}

fn why(refusal: Refusal) -> String {
    match refusal {
        Refusal::TooFew(stops) => format!("{FEWEST} stops with a frequency are needed, {stops} have one"),
        Refusal::Scatter(_) => {
            "the frequency scatters by more than a tenth from stop to stop: not one oscillation".to_owned()
        }
        Refusal::NoInterval => "each stop follows the one before too closely for an interval".to_owned(),
    }
}

fn line(trend: &FrequencyTrend, slope_per: &'static str) -> TrendLine {
    let finite = |end: f64| Some(end).filter(|end| end.is_finite());
    let [change, low, high] = trend.change;
    let [stiffness_change, stiffness_low, stiffness_high] = trend.stiffness_change();
    TrendLine {
        stops: trend.stops,
        first_hz: trend.first.median,
        last_hz: trend.last.median,
        slope: trend.slope.slope,
        slope_95: [finite(trend.slope.low), finite(trend.slope.high)],
        slope_per,
        change,
        change_95: [low, high],
        stiffness_change,
        stiffness_change_95: [stiffness_low, stiffness_high],
        shown: trend.is_shown(),
    }
}

impl TrendLine {
    /// In words, without a last point.
    pub fn words(&self) -> String {
        let stops = self.stops;
        let range = percent(self.change, self.change_95);
        if !self.shown {
            return format!("no change shown over {stops} stops (first fifth to last, 95 % sure: {range})");
        }
        let [first, last] = [self.first_hz, self.last_hz].map(hertz);
        let sign = if self.change < 0.0 { "fell" } else { "rose" };
        let stiffness = percent(self.stiffness_change, self.stiffness_change_95);
        format!(
            "{sign} from {first} to {last} Hz, first fifth to last of {stops} stops (95 % sure: {range}); if the moved mass stayed the same, \
             the stiffness it swings on changed by {stiffness}, that of a single worn part by more"
        )
    }
}

/// With four digits. Unit: Hz
fn hertz(frequency: f64) -> String {
    fixed(frequency, (3.0 - frequency.log10().floor()).clamp(0.0, 4.0) as usize)
}

/// `-5.1 to -4.2 %`.
fn percent(value: f64, [low, high]: [f64; 2]) -> String {
    let half = (value - low).max(high - value);
    let places = decimals(100.0 * half);
    format!("{} to {} %", fixed(100.0 * low, places), fixed(100.0 * high, places))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    fn stops(count: u32, hz: impl Fn(f64) -> f64) -> Vec<MoveReport> {
        let stop = |number: u32| MoveReport {
            ringing_hz: Some(hz(f64::from(number)) + 0.02 * f64::from(number * 7 % 11)),
            ..fixture::report(number, Some(0.04))
        };
        (1..=count).map(stop).collect()
    }

    fn of(stops: &[MoveReport]) -> Result<TrendLine, String> {
        trend(&stops.iter().collect::<Vec<_>>())
    }

    #[test]
    fn a_change_has_its_words() {
        let falling = of(&stops(60, |number| 18.0 - 0.02 * number)).unwrap();
        assert!((falling.slope + 0.02 / 0.9).abs() < 0.002, "0.9 s from stop to stop: {falling:?}");
        let words = falling.words();
        assert!(
            words.starts_with("fell from 17.97 to 16.99 Hz") && words.contains("swings on changed by -1"),
            "{words}"
        );
        let steady = of(&stops(60, |_| 18.0)).unwrap();
        assert!(
            steady.words().starts_with("no change shown over 60 stops (first fifth to last, 95 % sure: -0."),
            "{}",
            steady.words()
        );
        assert_eq!(
            of(&stops(29, |_| 18.0)).unwrap_err(),
            "30 stops with a frequency are needed, 29 have one"
        );
    }

    #[test]
    fn clocks_that_begin_anew_count_by_stops() {
        let mut two = stops(60, |number| 18.0 - 0.02 * number);
        two[40..].iter_mut().for_each(|stop| stop.command_end_s -= 20.0);
        let line = of(&two).unwrap();
        assert_eq!(line.slope_per, "stop");
        assert!((line.slope + 0.02).abs() < 0.002, "{line:?}");
    }
}
