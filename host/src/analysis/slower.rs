//! In: settling times of now and of before. Out: whether those of now are shown to be slower by more than a change that
//! matters.
//!
//! By ranks, unsettled moves as the largest: the times of now, shortened by that change but never below 0, against those
//! of before. So what is shown is a change beyond it. Moves that hang together make the test too sure of small changes;
//! for a question to a person that is enough.

use super::rank_sum::rank_sum;

/// Fewest moves on each side. Common practice, no source
pub const FEWEST: usize = 8;

/// Now is slower.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slower {
    /// Mean settling time of the settled, now and before; none if none settled. Unit: that of the values
    pub mean: [Option<f64>; 2],
    /// Share of the moves that did not settle, now and before.
    pub unsettled: [f64; 2],
}

/// The change that matters: the larger of a share of each settling time and a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SmallestChange {
    /// Unit: 1
    pub share: f64,
    /// Unit: that of the values
    pub time: f64,
}

/// Whether `now` is slower than `before`, at an error of at most `risk`; `None` if that isn't shown. A value is `None` if
/// the move did not settle.
pub fn slower(
    now: &[Option<f64>],
    before: &[Option<f64>],
    smallest: SmallestChange,
    risk: f64,
) -> Option<Slower> {
    if now.len().min(before.len()) < FEWEST {
        return None;
    }
    let shortened = |value: f64| (value / (1.0 + smallest.share)).min(value - smallest.time).max(0.0);
    let now_heights: Vec<f64> = now.iter().map(|value| value.map_or(f64::MAX, shortened)).collect();
    let before_heights: Vec<f64> = before.iter().map(|value| value.unwrap_or(f64::MAX)).collect();
    let found = rank_sum(&now_heights, &before_heights)?;
    // Half of both sides is the side of the slower.
    let is_slower = found.delta > 0.0 && found.p / 2.0 < risk;
    is_slower
        .then(|| Slower { mean: [mean(now), mean(before)], unsettled: [unsettled(now), unsettled(before)] })
}

fn mean(values: &[Option<f64>]) -> Option<f64> {
    let settled: Vec<f64> = values.iter().copied().flatten().collect();
    (!settled.is_empty()).then(|| settled.iter().sum::<f64>() / settled.len() as f64)
}

fn unsettled(values: &[Option<f64>]) -> f64 {
    values.iter().filter(|value| value.is_none()).count() as f64 / values.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    const SMALLEST: SmallestChange = SmallestChange { share: 0.1, time: 0.5 };
    const RISK: f64 = 0.01;

    /// A value around 50 with a spread of 5, zero in so many of a hundred; slower by a factor.
    fn values(random: &mut Pcg32, count: usize, factor: f64, zeros: u32) -> Vec<Option<f64>> {
        let mut next = || f64::from(random.next_u32()) / f64::from(u32::MAX);
        let mut value = || {
            let normal = (0..12).map(|_| next()).sum::<f64>() - 6.0;
            if next() * 100.0 < f64::from(zeros) { 0.0 } else { factor * (50.0 + 5.0 * normal) }
        };
        (0..count).map(|_| Some(value())).collect()
    }

    /// How often of 100 a change is found, in an hour of 200 moves after a week of 1000.
    fn found(factor: f64, zeros: u32) -> usize {
        let mut random = Pcg32::new(7, 7);
        let mut one = || {
            let before = values(&mut random, 1000, 1.0, zeros);
            slower(&values(&mut random, 200, factor, zeros), &before, SMALLEST, RISK).is_some()
        };
        (0..100).filter(|_| one()).count()
    }

    #[test]
    fn only_a_change_beyond_the_smallest_is_found() {
        for zeros in [0, 45] {
            for factor in [1.0, 1.05, 1.1] {
                assert!(found(factor, zeros) <= 4, "{factor} with {zeros} zeros: {}", found(factor, zeros));
            }
        }
        assert!(found(1.2, 0) >= 99 && found(1.4, 45) >= 97, "{} {}", found(1.2, 0), found(1.4, 45));
        assert_eq!(found(0.7, 0), 0, "faster");
    }

    #[test]
    fn moves_that_no_longer_settle_are_slower() {
        let mut random = Pcg32::new(3, 3);
        let before = values(&mut random, 1000, 1.0, 0);
        let mut now = values(&mut random, 100, 1.0, 0);
        now.iter_mut().step_by(2).for_each(|value| *value = None);
        let found = slower(&now, &before, SMALLEST, RISK);
        assert_eq!(found.map(|found| found.unsettled), Some([0.5, 0.0]));
        let all = slower(&[None; 8], &before, SMALLEST, RISK).unwrap();
        assert_eq!((all.mean[0], all.unsettled[0]), (None, 1.0));
        assert_eq!(slower(&[None; 7], &before, SMALLEST, RISK), None, "too few");
    }
}
