//! In: quantiles of settling times. Out: whether any settle near the median.
//!
//! Where half of the moves settle at 0, or settling has two humps of like size, the median lies where no move settles:
//! chance puts it on one side or the other, and it wanders over all that lies between. Then it describes nothing. The rule
//! is ours: the density between the ranks within which chance moves the median of `moves` moves is compared with the mean
//! density of the middle 80 %.

/// Two standard deviations of the share of moves below the median: 2 · ½/√n. Never less than the small, nor more than the
/// large value.
const SMALLEST: f64 = 0.02;
const LARGEST: f64 = 0.2;
/// The density is empty if it is below the mean density by this factor. A flat distribution has 1, a normal one 0.79.
const FACTOR: f64 = 1.3;
/// Nor does it matter if the median wanders by less than this share of itself.
const SMALLEST_WANDER: f64 = 0.1;
/// What the steps of a store's sketch may add to a difference of two quantiles, as a share of the larger.
const STEP: f64 = 0.02;

/// By how much of all moves chance moves the rank of the median of so many moves; 95 % of the time.
pub fn rank_error(moves: u64) -> f64 {
    (1.0 / (moves.max(1) as f64).sqrt()).clamp(SMALLEST, LARGEST)
}

/// Moves that tell the density within [`rank_error`] of the median of `moves` to about 16 %.
pub fn enough(moves: u64) -> u64 {
    ((20.0 / rank_error(moves)) as u64).max(200)
}

/// Whether hardly any move settles near the median of `moves` moves, by a quantile function of share 0 … 1.
pub fn is_empty(quantile: impl Fn(f64) -> Option<f64>, moves: u64) -> bool {
    let error = rank_error(moves);
    let ends = [0.5 - error, 0.5 + error, 0.1, 0.9].map(quantile);
    let [Some(below), Some(above), Some(low), Some(high)] = ends else { return false };
    let (wander, expected) = (above - below, (high - low) * 2.0 * error / 0.8);
    wander - STEP * above > FACTOR * expected && wander > SMALLEST_WANDER * above
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::quantile::{quantile_sorted, sorted};
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    #[test]
    fn medians_in_a_gap_are_told_from_medians_in_a_hump() {
        let check = |name: &str, time: &dyn Fn(f64, f64) -> f64, expected: bool| {
            let mut random = Pcg32::new(3, 3);
            let mut uniform = || (f64::from(random.next_u32()) + 0.5) / 2_f64.powi(32);
            let mut pair = || ((0..12).map(|_| uniform()).sum::<f64>() - 6.0, uniform());
            let pairs: Vec<(f64, f64)> = (0..2000).map(|_| pair()).collect();
            for moves in [30, 100, 400] {
                for part in pairs.chunks(enough(moves) as usize).filter(|part| part.len() >= 200) {
                    let values: Vec<f64> = part.iter().map(|(normal, even)| time(*normal, *even)).collect();
                    let values = sorted(&values);
                    let found = is_empty(|share| quantile_sorted(&values, share), moves);
                    assert_eq!(found, expected, "{name}, {moves} moves");
                }
            }
        };
        check("normal", &|normal, _| 50.0 + 5.0 * normal, false);
        check("lognormal", &|normal, _| 50.0 * (0.5 * normal).exp(), false);
        check("even", &|_, even| 10.0 + 10.0 * even, false);
        check("exponential", &|_, even| -8.0 * even.ln(), false);
        check("of one value", &|_, _| 7.0, false);
        check("of nearly one value", &|_, even| if even < 0.5 { 7.0 } else { 7.01 }, false);
        let near = |normal, even| if even < 0.5 { 40.0 } else { 42.0 } + 0.1 * normal;
        check("two humps a twentieth apart", &near, false);
        check("a fifth at zero", &|normal, even| if even < 0.2 { 0.0 } else { 40.0 + 4.0 * normal }, false);
        check("half at zero", &|normal, even| if even < 0.5 { 0.0 } else { 8.0 + 2.0 * normal }, true);
        check("two humps", &|normal, even| if even < 0.5 { 20.0 } else { 40.0 } + 2.0 * normal, true);
    }
}
