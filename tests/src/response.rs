//! In: a transfer function. Out: its step response, integrated in steps too small to matter.
//!
//! Controllable canonical form, classical Runge–Kutta of fourth order. Slow and obvious.

/// A proper transfer function, coefficients from the highest power down.
pub struct System {
    numerator: Vec<f64>,
    denominator: Vec<f64>,
    state: Vec<f64>,
}

impl System {
    /// At rest.
    pub fn new(numerator: &[f64], denominator: &[f64]) -> System {
        let lead = denominator[0];
        let order = denominator.len() - 1;
        let mut padded = vec![0.0; order + 1 - numerator.len()];
        padded.extend(numerator.iter().map(|part| part / lead));
        let denominator: Vec<f64> = denominator.iter().map(|part| part / lead).collect();
        System { numerator: padded, denominator, state: vec![0.0; order] }
    }

    /// Second order: natural frequency in rad/s, damping ratio.
    pub fn second_order(frequency: f64, damping: f64) -> System {
        let square = frequency * frequency;
        System::new(&[square], &[1.0, 2.0 * damping * frequency, square])
    }

    /// Output at this input.
    pub fn output(&self, input: f64) -> f64 {
        let order = self.state.len();
        let through = self.numerator[0];
        let strictly = (0..order).map(|k| {
            let weight = self.numerator[order - k] - self.denominator[order - k] * through;
            weight * self.state[k]
        });
        strictly.sum::<f64>() + through * input
    }

    fn rates(&self, state: &[f64], input: f64) -> Vec<f64> {
        let order = state.len();
        let pulled: f64 = (0..order).map(|k| self.denominator[order - k] * state[k]).sum();
        (0..order).map(|k| if k + 1 < order { state[k + 1] } else { input - pulled }).collect()
    }

    /// Goes on by `dt` seconds with a constant input.
    pub fn advance(&mut self, input: f64, dt: f64) {
        let along = |slope: &[f64], part: f64| -> Vec<f64> {
            self.state.iter().zip(slope).map(|(value, slope)| value + slope * dt * part).collect()
        };
        let first = self.rates(&self.state, input);
        let second = self.rates(&along(&first, 0.5), input);
        let third = self.rates(&along(&second, 0.5), input);
        let fourth = self.rates(&along(&third, 1.0), input);
        for k in 0..self.state.len() {
            self.state[k] += dt / 6.0 * (first[k] + 2.0 * second[k] + 2.0 * third[k] + fourth[k]);
        }
    }
}
