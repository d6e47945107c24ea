//! In: settling times of one kind of moves, before a change and after it; +∞ did not settle. Out: whether it helped.
//!
//! The median difference and its interval decide, and the share of unsettled moves beside it: a share that is shown to
//! have risen is slower, as an unsettled move is later than any other. Where the two contradict each other, neither is
//! claimed. A change of the share is shown where its interval excludes zero and Fisher's exact test agrees: the interval
//! alone is too narrow where few moves did not settle. What may be claimed is limited by how much moves depend on those
//! before them.

use super::dependence::Dependence;
use super::exact::fisher;
use super::newcombe::{Share, share_difference};
use super::quantile::median;
use super::shift_interval::{self, Shift, shift};

/// Largest correlation of neighbours for which intervals hold; found by simulation.
const MOST_DEPENDENT: f64 = 0.75;
/// Fewest independent moves that a side must be worth; found by simulation.
pub const FEWEST_INDEPENDENT: f64 = 8.0;
/// Fewest moves by which dependence can be judged at all.
pub const FEWEST_FOR_DEPENDENCE: usize = 20;

/// How a comparison is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// Probability with which each interval holds, 0 … 1.
    pub confidence: f64,
    /// Smallest change that matters.
    pub margin: Margin,
}

/// Smallest change that matters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Margin {
    /// Unit: that of the values
    Time(f64),
    /// A part of the median before. Unit: 1
    Share(f64),
}

/// What a comparison shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Sooner by more than the margin.
    Faster,
    /// Later by more than the margin.
    Slower,
    /// Neither is shown.
    NotShown,
    /// Too few moves on a side.
    TooFew,
    /// Moves depend too much on those before them.
    TooDependent,
}

impl Verdict {
    /// The verdict as a word, as in reports and files.
    pub const fn word(self) -> &'static str {
        match self {
            Verdict::Faster => "faster",
            Verdict::Slower => "slower",
            Verdict::NotShown => "no difference shown",
            Verdict::TooFew => "too few",
            Verdict::TooDependent => "too dependent",
        }
    }
}

/// One side of a comparison.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Side {
    /// Number of moves.
    pub moves: usize,
    /// Moves that did not settle.
    pub unsettled: usize,
    /// +∞ if half or more did not settle; NaN without moves, or where the median lies between a number and +∞.
    pub median: f64,
    /// How its moves depend on each other.
    pub dependence: Dependence,
    /// What is assumed of that, the other side considered; none if its moves are too few to show it.
    pub assumed: Option<Dependence>,
}

impl Side {
    /// Of settling times in their order.
    pub fn of(values: &[f64]) -> Side {
        Side {
            moves: values.len(),
            unsettled: values.iter().filter(|value| value.is_infinite()).count(),
            median: median(values).unwrap_or(f64::NAN),
            dependence: Dependence::of(values),
            assumed: None,
        }
    }

    fn beside(self, other: &Side) -> Side {
        let assumed = self.dependence.beside(&other.dependence);
        Side { assumed: Some(assumed).filter(|_| self.moves >= FEWEST_FOR_DEPENDENCE), ..self }
    }

    /// Factor on its variance; moves that are too few to show a dependence are taken as independent.
    fn factor(&self) -> f64 {
        self.assumed.map_or(1.0, |assumed| assumed.factor())
    }

    fn share(&self) -> Share {
        let factor = self.factor();
        Share { count: self.unsettled as f64 / factor, of: self.moves as f64 / factor }
    }

    fn is_too_dependent(&self) -> bool {
        self.assumed.is_some_and(|assumed| {
            assumed.correlation > MOST_DEPENDENT || assumed.independent() < FEWEST_INDEPENDENT
        })
    }
}

/// A comparison of one kind of moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Comparison {
    /// Before and after.
    pub sides: [Side; 2],
    /// By how much it is later after than before; none if there are too few moves, or they depend too much on each other.
    pub shift: Option<Shift>,
    /// Change of the share of unsettled moves, and the ends of its interval; none like `shift`.
    pub unsettled: Option<(f64, f64, f64)>,
    /// Whether that change is shown.
    pub unsettled_is_shown: bool,
    /// The margin. Unit: that of the values
    pub margin: f64,
    /// What it shows.
    pub verdict: Verdict,
}

impl Comparison {
    /// Compares two sides; their values stand in the order in which they came.
    pub fn of(before: &[f64], after: &[f64], terms: &Terms) -> Comparison {
        let [one, other] = [before, after].map(Side::of);
        let sides = [one.beside(&other), other.beside(&one)];
        let margin = match terms.margin {
            Margin::Time(time) => time,
            Margin::Share(share) if sides[0].median.is_finite() => share * sides[0].median,
            Margin::Share(_) => 0.0,
        };
        let none = Comparison {
            sides,
            shift: None,
            unsettled: None,
            unsettled_is_shown: false,
            margin,
            verdict: Verdict::TooFew,
        };
        if sides.iter().any(|side| side.moves == 0) {
            return none;
        }
        if sides.iter().any(Side::is_too_dependent) {
            return Comparison { verdict: Verdict::TooDependent, ..none };
        }
        let [one, other] = sides.map(|side| side.factor());
        let Some(shift) = shift(before, after, terms.confidence, (one, other)) else { return none };
        let shares = sides.map(|side| side.share());
        let unsettled = share_difference(shares[0], shares[1], terms.confidence);
        let unsettled_is_shown = is_shown(shares, unsettled, terms.confidence);
        let change = if unsettled_is_shown { unsettled.0 } else { 0.0 };
        let verdict = verdict(&shift, change, margin);
        Comparison { shift: Some(shift), unsettled: Some(unsettled), unsettled_is_shown, verdict, ..none }
    }

    /// Moves that each side needs, where there are too few.
    pub fn needed(terms: &Terms) -> usize {
        shift_interval::fewest(terms.confidence)
    }

    /// Moves by which a side would be worth enough independent ones; none where no number is enough.
    pub fn needed_of(assumed: &Dependence) -> Option<usize> {
        let enough = FEWEST_INDEPENDENT * assumed.factor();
        (assumed.correlation <= MOST_DEPENDENT).then_some(enough.ceil() as usize)
    }
}

/// Whether a change of the share is shown, by its interval and by Fisher's exact test of the whole counts next to those of
/// independent moves.
fn is_shown(shares: [Share; 2], (_, low, high): (f64, f64, f64), confidence: f64) -> bool {
    let whole = |share: Share| (share.count.round() as u64, share.of.round() as u64);
    let p = fisher(whole(shares[0]), whole(shares[1]));
    (low > 0.0 || high < 0.0) && p.is_some_and(|p| p < 1.0 - confidence)
}

/// Time and the shown change of the share of unsettled moves together, 0 where none is shown; where they contradict each
/// other, neither is claimed.
fn verdict(shift: &Shift, change: f64, margin: f64) -> Verdict {
    let is_faster = shift.high < -margin || change < 0.0;
    let is_slower = shift.low > margin || change > 0.0;
    match (is_faster, is_slower) {
        (true, false) => Verdict::Faster,
        (false, true) => Verdict::Slower,
        _ => Verdict::NotShown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NEVER: f64 = f64::INFINITY;
    const TERMS: Terms = Terms { confidence: 0.95, margin: Margin::Time(0.0) };

    /// Values around 50 in an order without dependence, later by `shift`.
    fn values(count: u32, shift: f64) -> Vec<f64> {
        (0..count).map(|k| 50.0 + shift + f64::from(k * 7919 % 97) * 0.1).collect()
    }

    fn verdict(before: &[f64], after: &[f64], margin: Margin) -> Verdict {
        Comparison::of(before, after, &Terms { margin, ..TERMS }).verdict
    }

    #[test]
    fn a_verdict_needs_more_than_the_margin() {
        let (before, sooner) = (values(60, 0.0), values(60, -8.0));
        for (margin, expected) in [(0.0, Verdict::Faster), (5.0, Verdict::Faster), (7.9, Verdict::NotShown)] {
            assert_eq!(verdict(&before, &sooner, Margin::Time(margin)), expected, "{margin}");
        }
        assert_eq!(verdict(&sooner, &before, Margin::Share(0.1)), Verdict::Slower);
        assert_eq!(verdict(&sooner, &before, Margin::Share(0.2)), Verdict::NotShown);
        assert_eq!(verdict(&before, &values(50, 0.1), Margin::Time(0.0)), Verdict::NotShown);
    }

    #[test]
    fn too_few_moves_or_none_give_no_interval() {
        for (before, after) in [(3, 3), (0, 30), (1, 200)] {
            let found = Comparison::of(&values(before, 0.0), &values(after, -30.0), &TERMS);
            assert_eq!((found.verdict, found.shift), (Verdict::TooFew, None), "{before} {after}");
        }
        assert_eq!(verdict(&values(4, 0.0), &values(4, -30.0), Margin::Time(0.0)), Verdict::Faster);
        assert_eq!(Comparison::needed(&TERMS), 4);
    }

    #[test]
    fn moves_that_follow_each_other_are_refused_with_a_number() {
        let slow: Vec<f64> = (0..60).map(|k| 50.0 + (f64::from(k) * 0.1).sin()).collect();
        let found = Comparison::of(&slow, &values(60, -30.0), &TERMS);
        assert_eq!(found.verdict, Verdict::TooDependent);
        let assumed = |correlation| Dependence { values: 30, correlation };
        assert_eq!(Comparison::needed_of(&assumed(0.6)), Some(32));
        assert_eq!(Comparison::needed_of(&assumed(0.9)), None);
    }

    #[test]
    fn unsettled_moves_are_later_than_any_and_no_one_hides_them() {
        let mut often = values(60, -20.0);
        often.iter_mut().step_by(3).for_each(|value| *value = NEVER);
        let found = Comparison::of(&values(60, 0.0), &often, &TERMS);
        // Sooner, but a third does not settle any more: neither is claimed.
        assert_eq!(found.verdict, Verdict::NotShown, "{found:?}");
        assert!(found.shift.is_some_and(|shift| shift.high < 0.0));
        assert!(
            found.unsettled.is_some_and(|(change, low, _)| low > 0.1 && (change - 1.0 / 3.0).abs() < 1e-12)
        );
        let mut seldom = values(60, 0.0);
        seldom.iter_mut().step_by(3).for_each(|value| *value = NEVER);
        assert_eq!(verdict(&values(60, 0.0), &seldom, Margin::Time(0.0)), Verdict::Slower);
        assert_eq!(verdict(&[NEVER; 30], &values(30, 0.0), Margin::Share(0.1)), Verdict::Faster);
        assert_eq!(verdict(&[NEVER; 30], &[NEVER; 30], Margin::Time(0.0)), Verdict::NotShown);
    }

    /// Settled moves, and then some that did not settle.
    fn with_unsettled(all: u32, unsettled: usize) -> Vec<f64> {
        let mut values = values(all, 0.0);
        let step = values.len() / unsettled.max(1);
        values.iter_mut().step_by(step).take(unsettled).for_each(|value| *value = NEVER);
        values
    }

    /// The p are those of `fisher_exact` of scipy 1.17.1, and were counted in whole numbers besides. In the first, the fourth
    /// and the last pair the interval excludes zero all the same.
    #[test]
    fn a_change_of_the_share_needs_the_interval_and_the_exact_test() {
        let pairs = [
            ((0, 822), (1, 104), 0.112_31, false),
            ((0, 822), (2, 104), 0.012_51, true),
            ((0, 60), (6, 60), 0.027_41, true),
            ((0, 60), (5, 60), 0.057_32, false),
            ((3, 200), (12, 190), 0.016_56, true),
            ((1, 40), (7, 45), 0.061_23, false),
        ];
        for (before, after, p, is_shown) in pairs {
            let wide = |(count, of): (usize, u32)| (count as u64, u64::from(of));
            assert!((fisher(wide(before), wide(after)).unwrap() - p).abs() < 1e-5, "{before:?} {after:?}");
            let of = |(count, of): (usize, u32)| with_unsettled(of, count);
            let found = Comparison::of(&of(before), &of(after), &TERMS);
            assert!(found.unsettled.is_some_and(|(_, low, _)| low > 0.0), "{found:?}");
            assert_eq!((found.unsettled_is_shown, found.verdict == Verdict::Slower), (is_shown, is_shown));
        }
    }

    /// The sum over all pairs of counts: how often a change of equal shares is shown.
    #[test]
    fn equal_shares_are_seldom_shown_to_differ() {
        let binomial = |of: u64, share: f64| -> Vec<f64> {
            let ratio = |k: u64| (of - k) as f64 / (k + 1) as f64 * share / (1.0 - share);
            let first = (1.0 - share).powi(of as i32);
            std::iter::successors(Some((0, first)), |(k, p)| (*k < of).then(|| (k + 1, p * ratio(*k))))
                .map(|(_, p)| p)
                .collect()
        };
        for (one, other, share) in
            [(822, 104, 0.002), (822, 104, 0.02), (60, 60, 0.05), (60, 60, 0.2), (40, 100, 0.01)]
        {
            let (before, after) = (binomial(one, share), binomial(other, share));
            let (mut by_interval, mut shown) = (0.0, 0.0);
            for (a, p_a) in before.iter().enumerate().filter(|(_, p)| **p > 1e-9) {
                for (b, p_b) in after.iter().enumerate().filter(|(_, p)| **p > 1e-9) {
                    let share = |count: usize, of: u64| Share { count: count as f64, of: of as f64 };
                    let shares = [share(a, one), share(b, other)];
                    let ends = share_difference(shares[0], shares[1], 0.95);
                    by_interval += if ends.1 > 0.0 || ends.2 < 0.0 { p_a * p_b } else { 0.0 };
                    shown += if is_shown(shares, ends, 0.95) { p_a * p_b } else { 0.0 };
                }
            }
            println!(
                "{one} and {other} moves, share {share}: {by_interval:.3} by the interval, {shown:.3} with the test"
            );
            assert!(shown <= 0.05, "{one} {other} {share}: {shown}");
        }
    }
}
