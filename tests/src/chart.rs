//! In: a chart and how the mean changes. Out: how long the chart runs on simulated normal values.
//!
//! [`Sums`] are the shipped ones; [`Average`] is the plain EWMA, the usual comparison.

use stillpoint_core::drift::Cusum;

use crate::scatter::{Scatter, Shape};

/// A control chart: receives values in standard deviations and signals at one of them.
pub trait Chart: Clone {
    /// Whether it signals.
    fn step(&mut self, deviation: f64) -> bool;
}

/// The shipped sums with limits of one's choice.
#[derive(Clone, Copy, Debug)]
pub struct Sums {
    k: f32,
    h: f32,
    both: bool,
    moves: u32,
    up: Cusum,
    down: Cusum,
}

impl Sums {
    /// One side, or both.
    pub fn new(k: f64, h: f64, both: bool) -> Sums {
        let (up, down) = (Cusum::default(), Cusum::default());
        Sums { k: k as f32, h: h as f32, both, moves: 0, up, down }
    }
}

impl Chart for Sums {
    fn step(&mut self, deviation: f64) -> bool {
        self.moves += 1;
        let deviation = deviation as f32;
        self.up.step(deviation, self.k, self.h, self.moves);
        self.down.step(-deviation, self.k, self.h, self.moves);
        self.up.sum() > self.h || self.both && self.down.sum() > self.h
    }
}

/// A two-sided EWMA. Source: S. W. Roberts 1959; NIST/SEMATECH e-Handbook 6.3.2.4.
#[derive(Clone, Copy, Debug)]
pub struct Average {
    lambda: f64,
    limit: f64,
    narrow: bool,
    average: f64,
    /// (1 − λ)^2n.
    fading: f64,
}

impl Average {
    /// `limit` in deviations of the average; `narrow` if they are those of its first values at the start.
    pub fn new(lambda: f64, limit: f64, narrow: bool) -> Average {
        Average { lambda, limit, narrow, average: 0.0, fading: 1.0 }
    }

    /// Of the values so far. Unit: that of the values
    pub fn average(&self) -> f64 {
        self.average
    }

    /// Where it signals now. Unit: standard deviations of a value
    pub fn edge(&self) -> f64 {
        let known = if self.narrow { 1.0 - self.fading } else { 1.0 };
        self.limit * (self.lambda / (2.0 - self.lambda) * known).sqrt()
    }
}

impl Chart for Average {
    fn step(&mut self, deviation: f64) -> bool {
        self.average += self.lambda * (deviation - self.average);
        self.fading *= (1.0 - self.lambda) * (1.0 - self.lambda);
        self.average.abs() > self.edge()
    }
}

/// Mean of the run length over a number of runs, and its standard error; `change` gives the shift at a value, from 1.
pub fn run_length<C: Chart>(chart: &C, runs: u32, change: impl Fn(u32) -> f64) -> (f64, f64) {
    let mut scatter = Scatter::new(Shape::Normal(0.1), 0.0, 5);
    let mut run = || {
        let mut chart = chart.clone();
        let signal = (1..).find(|&step| chart.step(f64::from(scatter.deviate()) + change(step)));
        f64::from(signal.expect("a run ends"))
    };
    let lengths: Vec<f64> = (0..runs).map(|_| run()).collect();
    let mean = lengths.iter().sum::<f64>() / f64::from(runs);
    let variance = lengths.iter().map(|length| (length - mean).powi(2)).sum::<f64>() / f64::from(runs - 1);
    (mean, (variance / f64::from(runs)).sqrt())
}
