//! In: values. Out: their quantiles and their median.
//!
//! Definition 7 of Hyndman & Fan, "Sample quantiles in statistical packages", The American Statistician 50 (1996):
//! linear between the sorted values, at (n − 1)·p + 1.

/// Scales a median absolute deviation to the standard deviation of a normal distribution: 1 / Φ⁻¹(3/4).
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// The `p` quantile of sorted values; `None` without values or for a `p` outside 0 … 1. A value may be infinite.
pub fn quantile_sorted(sorted: &[f64], p: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    if !(0.0..=1.0).contains(&p) {
        return None;
    }
    let rank = 1.0 + p * last as f64;
    let at = |one_based: f64| sorted[(one_based as usize - 1).min(last)];
    let (low, high) = (at(rank.floor()), at(rank.floor() + 1.0));
    let share = rank - rank.floor();
    // The difference of two infinities is not a number.
    Some(if share == 0.0 || low == high { low } else { low + share * (high - low) })
}

/// Zero-based rank of the quantile `share` of `count` values, as a store's sketch and all tables use it: the value itself, not
/// one between two; `None` without values.
pub fn rank(share: f64, count: u64) -> Option<u64> {
    Some((share.clamp(0.0, 1.0) * count.checked_sub(1)? as f64) as u64)
}

/// Sorted copy.
pub fn sorted(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
}

/// The median of values in any order; `None` without values.
pub fn median(values: &[f64]) -> Option<f64> {
    quantile_sorted(&sorted(values), 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_meet_the_ends_and_refuse_nonsense() {
        let check =
            |values: &[f64], p, expected| assert_eq!(quantile_sorted(values, p), expected, "{values:?} {p}");
        check(&[1.0, 2.0, 3.0], 0.0, Some(1.0));
        check(&[1.0, 2.0, 3.0], 1.0, Some(3.0));
        check(&[1.0, 2.0, 3.0], 0.75, Some(2.5));
        check(&[5.0], 0.3, Some(5.0));
        check(&[], 0.5, None);
        check(&[1.0], 1.5, None);
        check(&[1.0], f64::NAN, None);
        check(&[1.0, f64::INFINITY, f64::INFINITY], 1.0, Some(f64::INFINITY));
        check(&[f64::INFINITY, f64::INFINITY], 0.5, Some(f64::INFINITY));
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
    }
}
