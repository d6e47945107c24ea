//! In: equally spaced values. Out: the same without what is faster than a cut-off, and not delayed.

use std::f64::consts::{PI, SQRT_2};

/// A Butterworth low-pass of fourth order, run forward and backward, so that nothing is delayed.
///
/// Run both ways the gain at the cut-off is one half. Source: bilinear transform of the two conjugate pole pairs of the
/// prototype (Oppenheim & Schafer, from memory); `tests` holds it against the formula of the gain.
#[derive(Clone, Copy, Debug)]
pub struct LowPass {
    sections: [Section; 2],
    /// Values over which the answer to a step dies out. Unit: values
    settling: usize,
}

/// Two poles and a double zero.
#[derive(Clone, Copy, Debug)]
struct Section {
    gain: f64,
    feedback: [f64; 2],
}

impl LowPass {
    /// `cut_off` in cycles per value, above 0 and below 0.5.
    pub fn new(cut_off: f64) -> LowPass {
        let warped = (PI * cut_off).tan();
        // Twice the damping of the pole pairs at ± 22.5° and ± 67.5° from the negative real axis.
        let section = |angle: f64| {
            let (damping, square) = (2.0 * angle.cos() * warped, warped * warped);
            let scale = 1.0 / (1.0 + damping + square);
            Section {
                gain: square * scale,
                feedback: [2.0 * (square - 1.0) * scale, (1.0 - damping + square) * scale],
            }
        };
        LowPass {
            sections: [section(PI / 8.0), section(3.0 * PI / 8.0)],
            settling: (SQRT_2 / cut_off).ceil() as usize,
        }
    }

    /// Number of values at either end that the missing neighbours beyond it change.
    pub fn edge(&self) -> usize {
        self.settling
    }

    /// The values without what is faster. At both ends they are continued by their point reflection.
    pub fn run(&self, values: &[f64]) -> Vec<f64> {
        let ([first, ..], [.., last]) = (values, values) else { return Vec::new() };
        let pad = (3 * self.settling).min(values.len() - 1);
        let before = values[1..=pad].iter().rev().map(|value| 2.0 * first - value);
        let after =
            values[values.len() - 1 - pad..values.len() - 1].iter().rev().map(|value| 2.0 * last - value);
        let mut run: Vec<f64> = before.chain(values.iter().copied()).chain(after).collect();
        for _ in 0..2 {
            self.sections.iter().for_each(|section| section.run(&mut run));
            run.reverse();
        }
        run[pad..pad + values.len()].to_vec()
    }
}

impl Section {
    /// Filters in place; before the first value the input stood at it.
    fn run(&self, values: &mut [f64]) {
        let Some(&start) = values.first() else { return };
        let ([mut input, mut input_before], [mut output, mut output_before]) = ([start; 2], [start; 2]);
        for value in values {
            let next = self.gain * (*value + 2.0 * input + input_before)
                - self.feedback[0] * output
                - self.feedback[1] * output_before;
            (input, input_before) = (*value, input);
            (output, output_before) = (next, output);
            *value = next;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gain of the analog filter at the warped frequency, both ways: 1/(1 + (tan πf / tan πc)^8).
    #[test]
    fn the_gain_is_that_of_the_formula_and_nothing_is_delayed() {
        for (cut_off, frequency) in [(0.1, 0.02), (0.1, 0.1), (0.1, 0.13), (0.02, 0.025), (0.3, 0.35)] {
            let low_pass = LowPass::new(cut_off);
            let wave = |i: usize| (2.0 * PI * frequency * i as f64 + 0.3).cos();
            let values: Vec<f64> = (0..4000).map(wave).collect();
            let expected = 1.0 / (1.0 + ((PI * frequency).tan() / (PI * cut_off).tan()).powi(8));
            for (at, value) in low_pass.run(&values).iter().enumerate().take(2500).skip(1500) {
                assert!((value - expected * wave(at)).abs() < 1e-9, "{cut_off} {frequency} {at}: {value}");
            }
        }
    }

    /// To within what is left of the answer to a step at the end of the continuation.
    #[test]
    fn a_line_passes_unchanged_to_its_ends() {
        let line: Vec<f64> = (0..200).map(|i| 5.0 - 0.25 * f64::from(i)).collect();
        for (value, expected) in LowPass::new(0.05).run(&line).iter().zip(&line) {
            assert!((value - expected).abs() < 1e-4, "{value} {expected}");
        }
        assert_eq!(LowPass::new(0.05).run(&[]), [0.0; 0]);
        assert_eq!(LowPass::new(0.05).run(&[2.0]), [2.0]);
    }
}
