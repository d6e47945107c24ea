//! In: feedback at every row of a stop. Out: the rows at which it was renewed, where that is more seldom than every row.
//!
//! A bus holds the last feedback until it brings another. In such rows an oscillation has images: the sum or the difference
//! of their frequencies is a multiple of the rate of renewal. A recording's reader leaves held rows out where motion shows them;
//! a stop that swings quickly shows them here.

/// Changes of feedback at one distance by chance: at even rows alone, once in 2^15 stops.
const ENOUGH: usize = 16;
/// Fewest jumps between rows at which feedback stands.
const JUMPS: usize = 8;

/// When feedback is renewed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Renewal {
    /// At every row, as far as can be seen.
    Every,
    /// At the row `first` and every `each` rows from there on.
    Steady {
        /// Less than `each`.
        first: usize,
        /// Two or more.
        each: usize,
    },
    /// More seldom than every row, and not at one distance of whole rows.
    Uneven,
}

/// Finds when feedback is renewed. Unit: counts
///
/// An encoder with large steps repeats values too: then changes come at any row, and each is of one step unless the rows
/// beside it change as well. Feedback that changes by one step at most, or holds for fewer than two rows, is not noticed.
pub fn renewal(feedback: &[i32]) -> Renewal {
    let changes: Vec<(usize, u32)> = (1..feedback.len())
        .map(|row| (row, feedback[row].abs_diff(feedback[row - 1])))
        .filter(|(_, size)| *size > 0)
        .collect();
    let each = changes.windows(2).map(|pair| pair[1].0 - pair[0].0).fold(0, divisor);
    if each > 1 && changes.len() > ENOUGH {
        return Renewal::Steady { first: changes[0].0 % each, each };
    }
    if is_held(&changes) { Renewal::Uneven } else { Renewal::Every }
}

/// Whether most jumps, of more than a step, stand between rows without a change.
fn is_held(changes: &[(usize, u32)]) -> bool {
    let step = changes.iter().map(|(_, size)| *size).min().unwrap_or(0);
    // A step that is no whole number of counts is now one more, now one less.
    let is_jump = |size: u32| size > step.saturating_add(step.div_ceil(2));
    let (mut jumps, mut alone) = (0, 0);
    for three in changes.windows(3).filter(|three| is_jump(three[1].1)) {
        jumps += 1;
        alone += usize::from(three[0].0 + 1 < three[1].0 && three[1].0 + 1 < three[2].0);
    }
    alone >= JUMPS && 2 * alone > jumps
}

/// Greatest common divisor.
fn divisor(one: usize, other: usize) -> usize {
    if other == 0 { one } else { divisor(other, one % other) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn noises(count: usize) -> Vec<f64> {
        let mut state = 12_345_u64;
        let mut noise = || {
            state = (state * 1_103_515_245 + 12_345) % (1 << 31);
            ((state >> 15) % 2001) as f64 / 1000.0 - 1.0
        };
        (0..count).map(|_| noise()).collect()
    }

    /// 20 Hz at 4,000 rows a second in steps of the encoder. Unit of sizes: steps
    fn swing(size: f64, noise: f64) -> Vec<f64> {
        let at = |k: usize| size * (-0.0015 * k as f64).exp() * (TAU * k as f64 / 200.0).cos();
        noises(4000).into_iter().enumerate().map(|(k, chance)| (at(k) + noise * chance).round()).collect()
    }

    /// A step is so many counts.
    fn found(swing: &[f64], step: f64, of: fn(usize) -> usize) -> Renewal {
        let feedback = (0..swing.len()).map(|k| (step * swing[of(k)]).round() as i32);
        renewal(&feedback.collect::<Vec<i32>>())
    }

    #[test]
    fn an_encoder_that_repeats_values_is_renewed_at_every_row() {
        for size in [0.0, 1.0, 4.0, 15.0, 60.0, 1000.0] {
            for noise in [0.0, 0.3, 0.7, 1.0, 3.0] {
                for step in [1.0, 2.0, 3.3, 12.5] {
                    let found = found(&swing(size, noise), step, |k| k);
                    assert_eq!(found, Renewal::Every, "{size} {noise} {step}");
                }
            }
        }
    }

    #[test]
    fn held_feedback_is_noticed() {
        for size in [15.0, 60.0, 1000.0] {
            for noise in [0.0, 0.3, 1.0, 3.0] {
                let (swing, case) = (swing(size, noise), format!("{size} {noise}"));
                let found = |of| found(&swing, 3.3, of);
                assert_eq!(found(|k| k & !7), Renewal::Steady { first: 0, each: 8 }, "{case}");
                let from_five = found(|k| ((k + 7) / 12 * 12).saturating_sub(7));
                assert_eq!(from_five, Renewal::Steady { first: 5, each: 12 }, "{case}");
                assert_eq!(found(|k| k - k * 5 % 32 / 5), Renewal::Uneven, "{case}: 6.4 rows");
            }
        }
    }
}
