//! In: values in the order in which they came. Out: how much they depend on each other.
//!
//! Correlation of the ranks of neighbours, so that a value that never came has a place too. It comes out too small by
//! about (1 + 3ρ)/n (Kendall, Biometrika 41, 1954), which is added. For values that follow each other as AR(1), n of them
//! say as much as n(1 − ρ)/(1 + ρ) independent ones.

use super::order::ranks;

/// How values depend on those before them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dependence {
    /// Number of values.
    pub values: usize,
    /// Correlation of the ranks of neighbours, −1 … 1.
    pub correlation: f64,
}

impl Dependence {
    /// Of values in their order.
    pub fn of(values: &[f64]) -> Dependence {
        let count = values.len() as f64;
        let middle = (count + 1.0) / 2.0;
        let away: Vec<f64> = ranks(values).0.iter().map(|rank| rank - middle).collect();
        let power: f64 = away.iter().map(|one| one * one).sum();
        let plain = away.windows(2).map(|pair| pair[0] * pair[1]).sum::<f64>() / power;
        // All are equal: nothing shows that they depend on each other.
        let correlation =
            if power > 0.0 { (plain + (1.0 + 3.0 * plain) / count).clamp(-1.0, 1.0) } else { 0.0 };
        Dependence { values: values.len(), correlation }
    }

    /// What is assumed of one of two sides of the same axis. The correlation of few values is uncertain by 1/√n: where both
    /// sides together show more than this side less half of that, they count; and one beyond chance is taken for half of it
    /// larger. Both halves were found by simulation.
    pub fn beside(&self, other: &Dependence) -> Dependence {
        let (own, others) = (self.values as f64, other.values as f64);
        let error = 1.0 / own.sqrt();
        let pooled = (own * self.correlation + others * other.correlation) / (own + others);
        let base = pooled.max(self.correlation - 0.5 * error);
        let correlation = if base > error { base + 0.5 * error * (1.0 - base * base) } else { base };
        Dependence { correlation, ..*self }
    }

    /// Factor on the variance of their mean, at least 1.
    pub fn factor(&self) -> f64 {
        let correlation = self.correlation.clamp(0.0, 0.999);
        (1.0 + correlation) / (1.0 - correlation)
    }

    /// How many independent values say as much.
    pub fn independent(&self) -> f64 {
        self.values as f64 / self.factor()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    /// AR(1) values, some of which never came.
    fn drawn(random: &mut Pcg32, count: usize, correlation: f64) -> Vec<f64> {
        let mut uniform = || f64::from(random.next_u32()) / f64::from(u32::MAX) - 0.5;
        let mut normal = || (0..12).map(|_| uniform()).sum::<f64>();
        let mut state = normal();
        let mut one = || {
            let value = if state > 1.2 { f64::INFINITY } else { state };
            state = correlation * state + (1.0 - correlation * correlation).sqrt() * normal();
            value
        };
        (0..count).map(|_| one()).collect()
    }

    #[test]
    fn correlation_is_found_with_little_bias() {
        let mut random = Pcg32::new(8, 8);
        for correlation in [0.0, 0.3, 0.6] {
            for count in [20, 200] {
                let mean = (0..400)
                    .map(|_| Dependence::of(&drawn(&mut random, count, correlation)).correlation)
                    .sum::<f64>()
                    / 400.0;
                // Ranks show a little less, and of few values less still.
                let most = if count < 100 { 0.12 } else { 0.05 };
                assert!((mean - correlation).abs() < most, "{correlation} of {count}: {mean}");
            }
        }
        assert_eq!(Dependence::of(&[3.0; 30]).factor(), 1.0);
        assert_eq!(Dependence::of(&[]).correlation, 0.0);
    }

    #[test]
    fn one_side_speaks_for_both_unless_it_differs() {
        let side = |values, correlation| Dependence { values, correlation };
        let of = |own: Dependence, other: Dependence| own.beside(&other).correlation;
        assert_eq!(of(side(100, 0.0), side(100, 0.1)), 0.05);
        // 0.6 is beyond chance: less half of the error of 0.1, more half of it.
        let found = of(side(100, 0.6), side(100, 0.0));
        assert!((found - (0.55 + 0.05 * (1.0 - 0.55 * 0.55))).abs() < 1e-12, "{found}");
        assert!(of(side(100, 0.0), side(100, 0.6)) > 0.3, "and what it shows counts for the other");
        assert_eq!(side(100, 0.5).independent(), 100.0 / 3.0);
    }
}
