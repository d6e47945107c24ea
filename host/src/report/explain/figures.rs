//! In: the stops of one kind with one signature. Out: what is typical of them, each figure with its interval.

use serde::Serialize;

use super::super::move_report::MoveReport;
use super::super::number::{decimals, fixed, plain_to};
use crate::analysis::median_interval::{MedianInterval, median_interval};

/// What is typical of some stops.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figures {
    /// Of the error after command end. Unit: Hz
    pub ringing_hz: Option<MedianInterval>,
    /// Unit: 1
    pub damping_ratio: Option<MedianInterval>,
    /// Time constant with which the ringing decays. Unit: s
    pub decay_s: Option<MedianInterval>,
    /// Unit: 1
    pub turning_points: Option<MedianInterval>,
    /// Two turning points further it swings as before. Unit: s
    pub period_s: Option<MedianInterval>,
    /// Share of the time between turning points. Unit: 1
    pub standing: Option<MedianInterval>,
    /// Unit: s
    pub cruise_lag_s: Option<MedianInterval>,
    /// Unit: s
    pub tail_s: Option<MedianInterval>,
    /// Unit: that of position
    pub overshoot: Option<MedianInterval>,
    /// Positive: feedback is behind the target in the direction of travel. Unit: that of position
    pub error_at_command_end: Option<MedianInterval>,
    /// The same at rest. Unit: that of position
    pub rest_error: Option<MedianInterval>,
    /// The widest window that was not held. Unit: that of position
    pub not_held: Option<MedianInterval>,
    /// Lower and higher frequency of stops that show two oscillations. Unit: Hz
    pub two_modes_hz: Option<[MedianInterval; 2]>,
}

/// A figure as other tools read it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FigureLine {
    /// Which.
    pub name: &'static str,
    /// Its unit.
    pub unit: String,
    /// Median over the stops.
    pub median: f64,
    /// Ends of its 95 % interval; none for too few stops.
    pub interval_95: Option<[f64; 2]>,
    /// Stops that have it.
    pub stops: usize,
}

impl Figures {
    /// Of these stops.
    pub fn of(stops: &[&MoveReport]) -> Figures {
        let typical = |value: fn(&MoveReport) -> Option<f64>| {
            median_interval(&stops.iter().filter_map(|stop| value(stop)).collect::<Vec<f64>>())
        };
        Figures {
            ringing_hz: typical(|stop| stop.ringing_hz),
            damping_ratio: typical(|stop| stop.damping_ratio),
            decay_s: typical(decay),
            turning_points: typical(|stop| stop.turning_points.map(f64::from)),
            period_s: typical(|stop| stop.turning_spacing_s.map(|half| 2.0 * half)),
            standing: typical(|stop| stop.standing),
            cruise_lag_s: typical(|stop| stop.cruise_lag_s),
            tail_s: typical(|stop| stop.tail_s),
            overshoot: typical(|stop| Some(stop.overshoot)),
            error_at_command_end: typical(|stop| Some(behind(stop, stop.error_at_command_end))),
            rest_error: typical(|stop| stop.rest_error.map(|error| behind(stop, error))),
            not_held: typical(not_held),
            two_modes_hz: typical(|stop| two_modes(stop, f64::min))
                .zip(typical(|stop| two_modes(stop, f64::max)))
                .map(|(lower, higher)| [lower, higher]),
        }
    }

    /// All that are known, for other tools; `unit` is that of position.
    pub fn lines(&self, unit: &str) -> Vec<FigureLine> {
        let line = |(name, unit, figure): (&'static str, &str, Option<MedianInterval>)| {
            let figure = figure?;
            let interval_95 = figure.ends.map(|(low, high)| [low, high]);
            Some(FigureLine {
                name,
                unit: unit.to_owned(),
                median: figure.median,
                interval_95,
                stops: figure.values,
            })
        };
        let figures = [
            ("ringing_hz", "Hz", self.ringing_hz),
            ("damping_ratio", "1", self.damping_ratio),
            ("decay_s", "s", self.decay_s),
            ("turning_points", "1", self.turning_points),
            ("period_s", "s", self.period_s),
            ("standing", "1", self.standing),
            ("cruise_lag_s", "s", self.cruise_lag_s),
            ("tail_s", "s", self.tail_s),
            ("overshoot", unit, self.overshoot),
            ("error_at_command_end", unit, self.error_at_command_end),
            ("rest_error", unit, self.rest_error),
            ("not_held", unit, self.not_held),
        ];
        figures.into_iter().filter_map(line).collect()
    }
}

/// An error in the direction of travel: positive where feedback is behind.
fn behind(stop: &MoveReport, error: f64) -> f64 {
    if stop.travel < 0.0 { -error } else { error }
}

/// Time constant of the envelope: 1/α with α = ωζ/√(1 − ζ²), ω the damped frequency. Unit: s
fn decay(stop: &MoveReport) -> Option<f64> {
    let (frequency, ratio) = (stop.ringing_hz?, stop.damping_ratio?);
    // Without a damping that is shown to be above zero no decay is known.
    if stop.damping_u.is_some_and(|u| ratio < 2.0 * u) {
        return None;
    }
    let alpha = std::f64::consts::TAU * frequency * ratio / (1.0 - ratio * ratio).sqrt();
    (alpha > 0.0).then(|| 1.0 / alpha)
}

/// One of two frequencies. Unit: Hz
fn two_modes(stop: &MoveReport, which: fn(f64, f64) -> f64) -> Option<f64> {
    Some(which(stop.first_mode_hz?, stop.second_mode_hz?))
}

/// The widest window that was not held.
fn not_held(stop: &MoveReport) -> Option<f64> {
    stop.settling_curve.iter().find(|point| point.1.is_none()).map(|point| point.0)
}

/// Most digits of a median: beyond these its interval says nothing that can be used.
const DIGITS: f64 = 4.0;

/// `18.20 Hz (18.10 to 18.30)`: a median with its 95 % interval, `times` a factor. Without the interval where the stops are
/// too few or alike.
pub fn with_interval(figure: &MedianInterval, times: f64, unit: &str) -> String {
    let median = figure.median * times;
    let Some((low, high)) = figure.ends.map(|(low, high)| (low * times, high * times)) else {
        return format!("{} {unit}", plain_to(median, 3));
    };
    let half = (median - low).max(high - median);
    let size = median.abs().max(half).log10().floor();
    let places = decimals(half).min((DIGITS - 1.0 - size).max(0.0) as usize);
    let [middle, low, high] = [median, low, high].map(|value| fixed(value, places));
    match low == high {
        true => format!("{} {unit}", plain_to(median, 3)),
        false => format!("{middle} {unit} ({low} to {high})"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn errors_count_in_the_direction_of_travel() {
        let report = |travel: f64| MoveReport {
            travel,
            rest_error: Some(0.2),
            error_at_command_end: -0.5,
            ..fixture::report(1, Some(0.04))
        };
        let of = |travel: f64| Figures::of(&[&report(travel)]);
        assert_eq!((of(60.0).rest_error.unwrap().median, of(-60.0).rest_error.unwrap().median), (0.2, -0.2));
        assert_eq!(of(-60.0).error_at_command_end.unwrap().median, 0.5);
        assert_eq!(of(60.0).not_held.unwrap().median, 0.005);
    }

    /// ln(swing ÷ next swing of the same side) = 2πζ/√(1 − ζ²): the logarithmic decrement (from memory).
    #[test]
    fn the_decay_is_that_of_the_logarithmic_decrement() {
        let report =
            MoveReport { ringing_hz: Some(20.0), damping_ratio: Some(0.1), ..fixture::report(1, Some(0.04)) };
        let decrement = std::f64::consts::TAU * 0.1 / (1.0f64 - 0.01).sqrt();
        let found = Figures::of(&[&report]).decay_s.unwrap().median;
        assert!((found - 1.0 / 20.0 / decrement).abs() < 1e-12, "{found}");
    }

    #[test]
    fn intervals_have_two_digits() {
        let figure = |ends| MedianInterval { median: 18.2034, ends, values: 41 };
        let text = |ends, times| with_interval(&figure(ends), times, "Hz");
        assert_eq!(text(Some((18.1, 18.3)), 1.0), "18.20 Hz (18.10 to 18.30)");
        assert_eq!(text(Some((18.1, 18.3)), 1e3), "18203 Hz (18100 to 18300)");
        assert_eq!(text(Some((18.2033, 18.2035)), 1.0), "18.2 Hz", "alike to four digits");
        assert_eq!(text(Some((17.0, 40.0)), 1.0), "18 Hz (17 to 40)");
        assert_eq!(text(None, 1.0), "18.2 Hz");
        assert_eq!(text(Some((18.2034, 18.2034)), 1.0), "18.2 Hz");
    }
}
