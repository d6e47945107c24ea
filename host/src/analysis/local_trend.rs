//! In: evenly spaced values, some of them missing. Out: the probability that their level will be beyond 1 at a later time.
//!
//! The local linear trend (Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989, 2.3 and 3.1;
//! continuous form: 9.1): values scatter about a level, the level changes by a slope, and the slope is a random walk. The
//! variance of that walk, the agility, is not known beforehand: a Kalman filter runs for each agility of a grid, and the
//! forecast is their mean, weighted by likelihood.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Fewest values for a forecast.
pub const FEWEST: usize = 8;
/// Agilities, 10^(−3 … 2) in half powers: variance that the slope gains per value, over the variance of the scatter.
const AGILITIES: std::ops::RangeInclusive<i32> = -6..=4;
/// Prior scatter, with the weight of two values: a run of equal values does not mean that there is no scatter.
const PRIOR_SCATTER: f64 = 0.01;
const PRIOR_VALUES: f64 = 2.0;
/// Variance of an unknown level and an unknown slope, over the variance of the scatter.
const DIFFUSE: f64 = 1e8;

/// State of the Kalman filter for one agility.
#[derive(Clone, Copy, Debug, PartialEq)]
struct State {
    agility: f64,
    level: f64,
    slope: f64,
    /// Variances and covariance of level and slope, over the variance of the scatter.
    level_level: f64,
    level_slope: f64,
    slope_slope: f64,
    /// Sum of the squared innovations over their variances.
    innovations: f64,
    /// Sum of the logarithms of these variances.
    logarithms: f64,
    values: usize,
}

impl State {
    fn new(agility: f64, first: f64) -> State {
        let (level_level, slope_slope) = (DIFFUSE, DIFFUSE);
        let state =
            State { agility, level: first, slope: 0.0, level_level, level_slope: 0.0, slope_slope, ..EMPTY };
        state.updated(first)
    }

    /// Predicts one step ahead.
    fn predicted(self) -> State {
        let State { agility, level, slope, level_level, level_slope, slope_slope, .. } = self;
        State {
            level: level + slope,
            level_level: level_level + 2.0 * level_slope + slope_slope + agility / 3.0,
            level_slope: level_slope + slope_slope + agility / 2.0,
            slope_slope: slope_slope + agility,
            ..self
        }
    }

    /// Corrects the state by one value.
    fn updated(self, value: f64) -> State {
        let variance = self.level_level + 1.0;
        let innovation = value - self.level;
        let (gain, gain_of_slope) = (self.level_level / variance, self.level_slope / variance);
        // The first two values determine level and slope, and carry no information on the agility.
        let counts = f64::from(u8::from(self.values >= 2));
        State {
            level: self.level + gain * innovation,
            slope: self.slope + gain_of_slope * innovation,
            level_level: self.level_level - gain * self.level_level,
            level_slope: self.level_slope - gain * self.level_slope,
            slope_slope: self.slope_slope - gain_of_slope * self.level_slope,
            innovations: self.innovations + counts * innovation * innovation / variance,
            logarithms: self.logarithms + counts * variance.ln(),
            values: self.values + 1,
            ..self
        }
    }

    /// Degrees of freedom of the scatter, the prior included.
    fn freedom(&self) -> f64 {
        self.values as f64 - 2.0 + PRIOR_VALUES
    }

    /// Variance of the scatter.
    fn scatter(&self) -> f64 {
        (self.innovations + PRIOR_VALUES * PRIOR_SCATTER * PRIOR_SCATTER) / self.freedom()
    }

    /// Logarithm of the likelihood, without a constant term.
    fn log_likelihood(&self) -> f64 {
        -0.5 * (self.freedom() * self.scatter().ln() + self.logarithms)
    }

    /// Level after `steps` steps, and its variance.
    fn forecast(&self, steps: f64) -> (f64, f64) {
        let own = self.level_level + 2.0 * steps * self.level_slope + steps * steps * self.slope_slope;
        let variance = self.scatter() * (own + self.agility * steps.powi(3) / 3.0);
        (self.level + steps * self.slope, variance)
    }
}

const EMPTY: State = State {
    agility: 0.0,
    level: 0.0,
    slope: 0.0,
    level_level: 0.0,
    level_slope: 0.0,
    slope_slope: 0.0,
    innovations: 0.0,
    logarithms: 0.0,
    values: 0,
};

/// The states after the last value.
#[derive(Clone, Debug)]
pub struct LocalTrend {
    /// Weights and states; the weights add up to 1.
    states: Vec<(f64, State)>,
    distribution: StudentsT,
}

impl LocalTrend {
    /// Filters values in time order; a missing value is `None`. Gives `None` for fewer than [`FEWEST`] values.
    pub fn new(values: &[Option<f64>]) -> Option<LocalTrend> {
        let start = values.iter().position(Option::is_some)?;
        let first = values[start]?;
        let filtered = |half: i32| {
            let agility = 10_f64.powf(f64::from(half) / 2.0);
            values[start + 1..].iter().fold(State::new(agility, first), |state, value| {
                let state = state.predicted();
                value.map_or(state, |value| state.updated(value))
            })
        };
        let states: Vec<State> = AGILITIES.map(filtered).collect();
        let known = states.first().filter(|state| state.values >= FEWEST)?;
        let distribution = StudentsT::new(0.0, 1.0, known.freedom()).ok()?;
        let largest = states.iter().map(State::log_likelihood).fold(f64::NEG_INFINITY, f64::max);
        let weight = |state: &State| (state.log_likelihood() - largest).exp();
        let sum: f64 = states.iter().map(weight).sum();
        Some(LocalTrend {
            states: states.iter().map(|state| (weight(state) / sum, *state)).collect(),
            distribution,
        })
    }

    /// Probability that the level is 1 or more, `steps` after the last value; 0 to 1.
    pub fn beyond(&self, steps: f64) -> f64 {
        let of = |(weight, state): &(f64, State)| {
            let (level, variance) = state.forecast(steps);
            weight * self.distribution.cdf((level - 1.0) / variance.sqrt())
        };
        self.states.iter().map(of).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const VALUES: [Option<f64>; 14] = [
        Some(0.31),
        Some(0.30),
        None,
        Some(0.33),
        Some(0.36),
        Some(0.35),
        Some(0.41),
        Some(0.44),
        None,
        None,
        Some(0.52),
        Some(0.55),
        Some(0.61),
        Some(0.60),
    ];

    fn state(half: i32) -> State {
        let trend = LocalTrend::new(&VALUES).expect("enough values");
        let index = AGILITIES.into_iter().position(|each| each == half).expect("of the grid");
        trend.states[index].1
    }

    fn check(found: f64, expected: f64) {
        assert!((found - expected).abs() <= 1e-6 * expected.abs(), "{found}, expected {expected}");
    }

    /// statsmodels 0.15.0, a state space model with these matrices, exact diffuse initialisation, `filter` and `predict`.
    #[test]
    fn states_equal_those_of_a_reference_library() {
        let figures = |half: i32| {
            let state = state(half);
            let (level, variance) = state.forecast(3.0);
            let variances = [state.level_level, state.level_slope, state.slope_slope];
            let sums = [state.innovations, state.logarithms];
            [&[state.level, state.slope], &variances[..], &sums, &[level, variance / state.scatter()]]
                .concat()
        };
        for (half, expected) in [(-6, AGILITY_0_001), (-2, AGILITY_0_1), (2, AGILITY_10)] {
            figures(half).into_iter().zip(expected).for_each(|(found, expected)| check(found, expected));
        }
    }

    /// Level, slope, their variances and covariance, sums of squares and of logarithms, forecast over 3 and its variance.
    const AGILITY_0_001: [f64; 9] = [
        0.601_560_398_651,
        0.026_207_479_834,
        0.311_899_042_271,
        0.038_578_552_047,
        0.009_392_600_641,
        0.005_450_508_881_923,
        7.763_534_950_885,
        0.680_182_838_152_087,
        0.636_903_760_325_841,
    ];
    const AGILITY_0_1: [f64; 9] = [
        0.614_674_593_07,
        0.029_465_818_062,
        0.549_680_776_822,
        0.214_928_354_351,
        0.219_102_734_204,
        0.002_605_340_461_630,
        10.540_614_259_133,
        0.703_072_047_257_301,
        4.711_175_510_758_667,
    ];
    const AGILITY_10: [f64; 9] = [
        0.605_318_331_405,
        -0.001_369_788_041,
        0.918_072_007_82,
        0.905_347_191_614,
        5.143_700_258_068,
        0.000_950_061_837_469,
        26.800_583_252_334,
        0.601_208_967_282_086,
        142.643_457_480_121,
    ];

    /// Solves a system of linear equations.
    fn solved(mut rows: Vec<Vec<f64>>) -> Vec<f64> {
        let n = rows.len();
        for at in 0..n {
            let best =
                (at..n).max_by(|a, b| rows[*a][at].abs().total_cmp(&rows[*b][at].abs())).expect("rows");
            rows.swap(at, best);
            let pivot = rows[at].clone();
            for (_, row) in rows.iter_mut().enumerate().filter(|(index, _)| *index != at) {
                let factor = row[at] / pivot[at];
                row.iter_mut().zip(&pivot).for_each(|(figure, pivot)| *figure -= factor * pivot);
            }
        }
        (0..n).map(|at| rows[at][n] / rows[at][at]).collect()
    }

    /// The slow twin: all values at once. With an unknown line, a random walk of its slope, and scatter, the best linear
    /// forecast solves one system of equations (Cressie, Statistics for Spatial Data, 1993, 3.4).
    #[test]
    fn forecasts_equal_those_from_all_values_at_once() {
        let walk = |a: f64, b: f64| {
            let (near, far) = (a.min(b), a.max(b));
            near * near * (3.0 * far - near) / 6.0
        };
        let known: Vec<(f64, f64)> =
            (0..14).filter_map(|at| Some((f64::from(at), VALUES[at as usize]?))).collect();
        for (half, steps) in [(-6, 1.0), (-3, 2.5), (0, 3.0), (4, 0.5)] {
            let (state, end) = (state(half), 13.0 + steps);
            let near = |a: f64, b: f64| state.agility * walk(a, b);
            let row = |a: f64| {
                let alike = known.iter().map(|(b, _)| near(a, *b) + f64::from(u8::from(a == *b)));
                alike.chain([1.0, a, near(a, end)]).collect()
            };
            let mut rows: Vec<Vec<f64>> = known.iter().map(|(at, _)| row(*at)).collect();
            rows.push(known.iter().map(|_| 1.0).chain([0.0, 0.0, 1.0]).collect());
            rows.push(known.iter().map(|(at, _)| *at).chain([0.0, 0.0, end]).collect());
            let share = solved(rows);
            let level: f64 = known.iter().zip(&share).map(|((_, value), share)| value * share).sum();
            let covered: f64 = known.iter().zip(&share).map(|((at, _), share)| near(*at, end) * share).sum();
            let variance = near(end, end) - covered - share[known.len()] - share[known.len() + 1] * end;
            check(state.forecast(steps).0, level);
            check(state.forecast(steps).1 / state.scatter(), variance);
        }
    }

    #[test]
    fn a_rise_is_extrapolated_and_few_values_give_no_forecast() {
        let rise: Vec<Option<f64>> = (0..24).map(|i| Some(0.4 + 0.02 * f64::from(i))).collect();
        let trend = LocalTrend::new(&rise).expect("enough values");
        // The last value is 0.86, so 1 is reached after 7 steps.
        let beyond = [0.0, 5.0, 7.0, 9.0, 30.0].map(|steps| trend.beyond(steps));
        assert!(beyond.is_sorted() && beyond[1] < 0.01 && (beyond[2] - 0.5).abs() < 0.01, "{beyond:?}");
        assert!(beyond[3] > 0.99, "{beyond:?}");
        assert!(LocalTrend::new(&rise[..7]).is_none() && LocalTrend::new(&[None; 30]).is_none());
        let flat = LocalTrend::new(&[Some(0.5); 24]).expect("enough values");
        assert!((0..24).all(|steps| flat.beyond(f64::from(steps)) < 0.025));
    }
}
