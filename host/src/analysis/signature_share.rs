//! In: how many stops of a kind have each signature. Out: the share of each with an interval, and which one prevails.
//!
//! The intervals are exact, from [`super::share_bound`] on both sides with half of the remaining probability each. They hold
//! for independent stops, however few.

use stillpoint_core::Signature;

use super::exact::at_least;
use super::share_bound::lower_bound;

/// Half of the probability that an interval of 95 % misses. Also the probability with which fewer than half prevail.
const TAIL: f64 = 0.025;
/// No more stops than these are asked for; a share that needs more to be told from a half prevails for no purpose.
const MOST_NEEDED: usize = 100;

/// How many stops of a kind have one signature.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SignatureShare {
    /// Which.
    pub signature: Signature,
    /// Stops that have it.
    pub stops: usize,
    /// Lower and upper end of the 95 % interval of their share.
    pub interval: (f64, f64),
}

/// Which signature prevails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Prevailing {
    /// More than half of all such stops have this one: the interval of its share lies above a half.
    One(Signature),
    /// None has, and more stops would not change that.
    Mixed,
    /// That many stops of the same shares would show it.
    TooFew(usize),
}

/// The signatures that occur, the most frequent first, in the order of [`Signature::ALL`] where they are as frequent.
pub fn shares(signatures: &[Signature]) -> Vec<SignatureShare> {
    let of = signatures.len();
    let share = |signature: Signature| {
        let stops = signatures.iter().filter(|one| **one == signature).count();
        SignatureShare { signature, stops, interval: share_interval(stops, of) }
    };
    let mut shares: Vec<SignatureShare> = Signature::ALL.into_iter().map(share).collect();
    shares.retain(|share| share.stops > 0);
    shares.sort_by_key(|share| std::cmp::Reverse(share.stops));
    shares
}

/// The signature that prevails, from [`shares`] of all its stops.
pub fn prevailing(shares: &[SignatureShare]) -> Prevailing {
    let of: usize = shares.iter().map(|share| share.stops).sum();
    let Some(most) = shares.first() else { return Prevailing::TooFew(needed(1, 1).unwrap_or_default()) };
    if is_most(most.stops, of) {
        return Prevailing::One(most.signature);
    }
    needed(most.stops, of).map_or(Prevailing::Mixed, Prevailing::TooFew)
}

/// The 95 % interval of the share that `count` of `of` stops show; all shares without stops.
pub fn share_interval(count: usize, of: usize) -> (f64, f64) {
    let least = |count: usize| lower_bound(count, of, 1.0 - TAIL);
    (least(count), 1.0 - least(of - count))
}

/// Whether the interval of the share lies above a half.
fn is_most(count: usize, of: usize) -> bool {
    at_least(count as u64, of as u64, 0.5) < TAIL
}

/// The number of stops of which the same share would be shown to be more than half; none if that takes more than a hundred.
fn needed(count: usize, of: usize) -> Option<usize> {
    (of..=MOST_NEEDED).find(|all| is_most(count * all / of, *all))
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Beta, ContinuousCDF};

    /// The ends are quantiles of beta distributions (common practice, no source).
    #[test]
    fn intervals_are_those_of_the_beta_distribution() {
        for (count, of) in [(0, 1), (1, 1), (0, 10), (3, 10), (10, 10), (41, 43), (1, 500), (250, 500)] {
            let (low, high) = share_interval(count, of);
            let end = |a: usize, b: usize, p| Beta::new(a as f64, b as f64).unwrap().inverse_cdf(p);
            let expected = (
                if count == 0 { 0.0 } else { end(count, of - count + 1, TAIL) },
                if count == of { 1.0 } else { end(count + 1, of - count, 1.0 - TAIL) },
            );
            assert!((low - expected.0).abs() < 1e-6 && (high - expected.1).abs() < 1e-6, "{count} of {of}");
        }
        assert_eq!(share_interval(0, 0), (0.0, 1.0));
    }

    #[track_caller]
    fn check(stops: &[(Signature, usize)], expected: Prevailing) {
        let signatures: Vec<Signature> =
            stops.iter().flat_map(|(signature, count)| vec![*signature; *count]).collect();
        assert_eq!(prevailing(&shares(&signatures)), expected, "{stops:?}");
    }

    #[test]
    fn a_signature_prevails_when_it_is_shown_to_have_more_than_half() {
        use Signature::{Clean, Lag, Ringing};
        // 2^-6 is the first power below 0.025.
        check(&[(Lag, 6)], Prevailing::One(Lag));
        check(&[(Lag, 5)], Prevailing::TooFew(6));
        check(&[], Prevailing::TooFew(6));
        // 9 of 12: P(9 or more) is 0.073. Of 20 stops 15 are three quarters: 0.021.
        check(&[(Ringing, 3), (Lag, 9)], Prevailing::TooFew(20));
        check(&[(Ringing, 5), (Lag, 15)], Prevailing::One(Lag));
        check(&[(Ringing, 55), (Lag, 45)], Prevailing::Mixed);
        check(&[(Ringing, 5), (Lag, 5)], Prevailing::Mixed);
        check(&[(Ringing, 4), (Lag, 4), (Clean, 4)], Prevailing::Mixed);
    }

    /// The first count of stops of an increasing number that is shown, by the interval itself.
    #[test]
    fn needed_stops_equal_the_slow_twin() {
        for of in 1..=30 {
            for count in 0..=of {
                let slow = (of..=100).find(|all| share_interval(count * all / of, *all).0 > 0.5);
                assert_eq!(needed(count, of), slow, "{count} of {of}");
            }
        }
    }

    #[test]
    fn shares_stand_in_the_order_of_their_stops() {
        use Signature::{Clean, Lag, Unsure};
        let order: Vec<Signature> =
            shares(&[Lag, Unsure, Unsure, Clean]).iter().map(|share| share.signature).collect();
        assert_eq!(order, [Unsure, Clean, Lag]);
    }
}
