//! In: values in the order in which they came; +∞ is one that never came. Out: the interval of their median.
//!
//! Of n independent values the number below the median is binomial, so the interval lies between two values, whatever
//! they are distributed like (Thompson, Annals of Mathematical Statistics 7, 1936). Their ranks are those of the normal
//! approximation, (n + 1)/2 ± z·√n/2, rounded outwards: for 95 % the exact ones, or one further out. For values that
//! depend on each other, √n is √(n·f) with the factor of [`Dependence`]; fewer than 20 show no dependence.

use statrs::distribution::{ContinuousCDF, Normal};

use super::comparison::FEWEST_FOR_DEPENDENCE;
use super::dependence::Dependence;
use super::quantile::sorted;

/// The interval; `None` if the values are too few for it. An end may be +∞.
pub fn median_interval(values: &[f64], confidence: f64) -> Option<(f64, f64)> {
    let count = values.len() as f64;
    let quantile = Normal::standard().inverse_cdf(0.5 + confidence / 2.0);
    let shows_dependence = values.len() >= FEWEST_FOR_DEPENDENCE;
    let factor = if shows_dependence { Dependence::of(values).factor() } else { 1.0 };
    let rank = ((count + 1.0) / 2.0 - quantile * (count * factor).sqrt() / 2.0).floor();
    if rank.is_nan() || rank < 1.0 {
        return None;
    }
    let (rank, sorted) = (rank as usize, sorted(values));
    Some((*sorted.get(rank - 1)?, *sorted.get(values.len() - rank)?))
}

#[cfg(test)]
mod tests {
    use super::super::tolerance::lower_rank;
    use super::*;

    /// Values in an order without dependence.
    fn values(count: usize) -> Vec<f64> {
        let prime = 100_003;
        let mut order: Vec<usize> = (0..count).collect();
        order.sort_by_key(|k| (k + 1) * 7919 % prime * 104_729 % prime);
        order.into_iter().map(|value| value as f64 + 1.0).collect()
    }

    #[test]
    fn ranks_are_the_exact_ones_or_one_further_out() {
        let mut wider = 0;
        for count in 6..=200 {
            let values = values(count);
            let exact = lower_rank(count, 0.5, 0.975).unwrap();
            let Some((low, high)) = median_interval(&values, 0.95) else { panic!("{count}") };
            assert_eq!(low + high, count as f64 + 1.0);
            // Chance makes some of these orders look dependent, which widens the interval.
            let factor = if count < 20 { 1.0 } else { Dependence::of(&values).factor() };
            let most = exact as f64 - (factor.sqrt() - 1.0) * 0.98 * (count as f64).sqrt();
            assert!(low <= exact as f64 && low >= most - 2.0, "{count}: {low} for {exact}");
            wider += u32::from(factor == 1.0 && low < exact as f64);
        }
        assert!(wider < 20, "{wider}");
        assert_eq!(median_interval(&values(5), 0.95), None);
        assert_eq!(median_interval(&[], 0.95), None);
        let never = [f64::INFINITY; 9];
        assert_eq!(median_interval(&never, 0.95), Some((f64::INFINITY, f64::INFINITY)));
    }
}
