//! In: settling times with two settings, and a change. Out: how many more moves would show that change.
//!
//! The median difference scatters by √(σ₁²f₁/n₁ + σ₂²f₂/n₂), where f is the factor of moves that depend on each other and
//! σ = 1/(√12·∫f²) that of a sum of ranks (Lehmann, Annals of Mathematical Statistics 34, 1963, section 3). ∫f² is the density
//! of differences within a setting at 0; it is taken as p/(2d), with d the smallest distance that the share p of all pairs
//! keeps to; p = ¼, as in Rousseeuw & Croux, J. American Statistical Association 88 (1993). A change is shown with the
//! power P once it is t + z(P) times as large as that scatter, with the t that the interval is made with.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::dependence::Dependence;
use super::differences::difference;
use super::quantile::sorted;

/// Share of pairs by whose distance a spread is judged.
const SHARE: f64 = 0.25;
/// Latest values by which it is judged: more say hardly more, and pairs are many.
const LATEST: usize = 200;
/// Fewest values that show a spread, and with which an interval is made of placements.
pub const FEWEST: usize = 8;
/// More moves than this are as good as never.
const MOST: usize = 10_000;

/// A claim about moves to come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Claim {
    /// Size of the change. Unit: that of the values
    pub change: f64,
    /// Confidence of the interval that shows it.
    pub confidence: f64,
    /// Probability that it is shown.
    pub power: f64,
    /// Fewest moves on each side that the claim is made for.
    pub fewest: usize,
}

/// Moves that would show a change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MoreMoves {
    /// So many more of the second setting; 0: those there are would have shown it.
    OfThis(usize),
    /// So many of each in all, since those of the first setting are too few.
    OfEach(usize),
}

/// The moves that would show the change; `None` where the spread is not known, or no number of moves is enough.
pub fn more_moves(first: &[f64], second: &[f64], claim: &Claim) -> Option<MoreMoves> {
    if claim.change.is_nan() || claim.change <= 0.0 {
        return None;
    }
    let of_first = Spread::of(first)?;
    // Few moves say little of their spread; then it is taken for that of the first setting.
    let of_second = Spread::of(second).unwrap_or(of_first);
    let is_enough = |one: usize, other: usize| {
        if one.min(other) < claim.fewest {
            return false;
        }
        let scatter = (of_first.variance / one as f64 + of_second.variance / other as f64).sqrt();
        let independent = (one as f64 / of_first.factor).min(other as f64 / of_second.factor);
        factor(independent, claim).is_some_and(|factor| factor * scatter <= claim.change)
    };
    let here = second.len().max(FEWEST);
    if is_enough(first.len(), MOST) {
        let more = fewest(here, |other| is_enough(first.len(), other))?;
        return Some(MoreMoves::OfThis(more - second.len()));
    }
    fewest(here.max(first.len()), |each| is_enough(each, each)).map(MoreMoves::OfEach)
}

/// By how many times the scatter a change must be larger.
fn factor(independent: f64, claim: &Claim) -> Option<f64> {
    let freedom = (2.0 * independent - 2.0).max(1.0);
    let quantile = StudentsT::new(0.0, 1.0, freedom).ok()?.inverse_cdf(0.5 + claim.confidence / 2.0);
    Some(quantile + Normal::standard().inverse_cdf(claim.power))
}

/// The smallest number from `from` to [`MOST`] for which `holds` is true, if it is true from there on.
fn fewest(from: usize, holds: impl Fn(usize) -> bool) -> Option<usize> {
    let (mut low, mut high) = (from.checked_sub(1)?, MOST);
    if !holds(high) || from > MOST {
        return None;
    }
    while high - low > 1 {
        let middle = low.midpoint(high);
        if holds(middle) { high = middle } else { low = middle }
    }
    Some(high)
}

/// How values scatter.
#[derive(Clone, Copy, Debug)]
struct Spread {
    /// σ²·f. Unit: square of that of the values
    variance: f64,
    /// f
    factor: f64,
}

impl Spread {
    /// `None` for too few values, or if a quarter of the pairs is equal or none of them is near.
    fn of(values: &[f64]) -> Option<Spread> {
        if values.len() < FEWEST {
            return None;
        }
        let latest = &values[values.len().saturating_sub(LATEST)..];
        let pairs = latest
            .iter()
            .enumerate()
            .flat_map(|(at, one)| latest[..at].iter().map(move |other| difference(*one, *other).abs()));
        let distances = sorted(&pairs.collect::<Vec<f64>>());
        let near = distances[((distances.len() as f64 * SHARE) as usize).min(distances.len() - 1)];
        let deviation = 2.0 * near / (12.0_f64.sqrt() * SHARE);
        let factor = Dependence::of(values).factor();
        let is_known = deviation.is_finite() && deviation > 0.0;
        is_known.then_some(Spread { variance: deviation * deviation * factor, factor })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    const CLAIM: Claim = Claim { change: 10.0, confidence: 0.95, power: 0.9, fewest: 8 };

    fn drawn(random: &mut Pcg32, count: usize, deviation: f64) -> Vec<f64> {
        let mut normal =
            || (0..12).map(|_| f64::from(random.next_u32()) / f64::from(u32::MAX)).sum::<f64>() - 6.0;
        (0..count).map(|_| 100.0 + deviation * normal()).collect()
    }

    #[test]
    fn the_spread_is_that_of_a_sum_of_ranks() {
        let mut random = Pcg32::new(3, 3);
        let found = Spread::of(&drawn(&mut random, 200, 10.0)).unwrap();
        // 1/(√12·∫f²) of a normal distribution is 1.023 of its standard deviation; 200 values show it to 15 %.
        let deviation = (found.variance / found.factor).sqrt();
        assert!((deviation / 10.2 - 1.0).abs() < 0.15, "{deviation}");
    }

    #[test]
    fn more_moves_are_needed_for_less_and_for_a_wider_spread() {
        let mut random = Pcg32::new(4, 4);
        let (first, second) = (drawn(&mut random, 60, 15.0), drawn(&mut random, 12, 15.0));
        let of = |change: f64| more_moves(&first, &second, &Claim { change, ..CLAIM });
        let Some(MoreMoves::OfThis(some)) = of(10.0) else { panic!("{:?}", of(10.0)) };
        let Some(MoreMoves::OfThis(few)) = of(15.0) else { panic!("{:?}", of(15.0)) };
        assert!(few < some && (10..200).contains(&some), "{few} {some}");
        assert_eq!(of(60.0), Some(MoreMoves::OfThis(0)));
        // With 60 of the first setting no number of moves of the second shows 2 %.
        let Some(MoreMoves::OfEach(each)) = of(2.0) else { panic!("{:?}", of(2.0)) };
        assert!((500..3000).contains(&each), "{each}");
    }

    #[test]
    fn what_has_no_spread_makes_no_claim() {
        let mut random = Pcg32::new(5, 5);
        let some = drawn(&mut random, 30, 5.0);
        assert_eq!(more_moves(&[0.0; 30], &some, &CLAIM), None);
        assert_eq!(more_moves(&[f64::INFINITY; 30], &some, &CLAIM), None);
        assert_eq!(more_moves(&some[..5], &some, &CLAIM), None);
        assert_eq!(more_moves(&some, &some, &Claim { change: 0.0, ..CLAIM }), None);
        assert!(more_moves(&some, &[], &CLAIM).is_some());
    }
}
