//! In: counts of two outcomes. Out: exact probabilities of such counts by chance.
//!
//! Exact for independent moves, however few. Moves that fail in bursts are not independent: whoever judges by these
//! probabilities looks besides at how many intervals have failures.

/// Ties are counted with the observed table up to this ratio, as rounding may part them; the value is R's `fisher.test`.
const TIE: f64 = 1.0 + 1e-7;

/// Fisher's exact test, two-sided: the probability, with both margins given, of a table no more probable than the one
/// with `a` of `of_a` and `b` of `of_b`. `None` if a count is beyond its total or a total is 0.
///
/// Source: R. A. Fisher, Statistical Methods for Research Workers, 5th ed., 1934, section 21.02; the sum over all less
/// probable tables is common practice.
pub fn fisher((a, of_a): (u64, u64), (b, of_b): (u64, u64)) -> Option<f64> {
    if a > of_a || b > of_b || of_a == 0 || of_b == 0 {
        return None;
    }
    let (all, marked) = (of_a + of_b, a + b);
    let (lowest, highest) = (marked.saturating_sub(of_b), marked.min(of_a));
    // P(k + 1) / P(k) of the hypergeometric distribution.
    let ratio = |k: u64| {
        let (up, down) = ((marked - k) as f64 * (of_a - k) as f64, (k + 1) as f64);
        up / (down * (all + k + 1 - marked - of_a) as f64)
    };
    let mut tables = Sums { equal_or_less: 1.0, all: 1.0 };
    tables.add((a..highest).map(ratio));
    tables.add((lowest..a).rev().map(|k| 1.0 / ratio(k)));
    Some(tables.share())
}

/// The probability of `count` or more of `of` moves if each has the probability `share`: the upper tail of the binomial
/// distribution.
pub fn at_least(count: u64, of: u64, share: f64) -> f64 {
    if count == 0 || share >= 1.0 {
        return 1.0;
    }
    if count > of || share <= 0.0 {
        return 0.0;
    }
    let odds = share / (1.0 - share);
    let ratio = |k: u64| odds * (of - k) as f64 / (k + 1) as f64;
    // Relative to the probability of `count`, as that itself may be too small for a number.
    let (mut term, mut above) = (1.0, 1.0);
    for k in count..of {
        term *= ratio(k);
        above += term;
    }
    let (mut term, mut below) = (1.0, 0.0);
    for k in (0..count).rev() {
        term /= ratio(k);
        below += term;
    }
    match (above.is_infinite(), below.is_infinite()) {
        (true, _) => 1.0,
        (_, true) => 0.0,
        _ => above / (above + below),
    }
}

/// Sums of probabilities relative to that of the observed table.
struct Sums {
    equal_or_less: f64,
    all: f64,
}

impl Sums {
    /// Adds the tables on one side, by the ratio of each to the one before.
    fn add(&mut self, ratios: impl Iterator<Item = f64>) {
        let mut term = 1.0;
        for ratio in ratios {
            term *= ratio;
            self.all += term;
            self.equal_or_less += if term <= TIE { term } else { 0.0 };
        }
    }

    fn share(&self) -> f64 {
        if self.all.is_infinite() { 0.0 } else { (self.equal_or_less / self.all).min(1.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// n over k in whole numbers.
    fn choose(n: u64, k: u64) -> u128 {
        (0..k).fold(1, |product, i| product * u128::from(n - i) / u128::from(i + 1))
    }

    /// The slow twin: every table counted in whole numbers.
    fn counted((a, of_a): (u64, u64), (b, of_b): (u64, u64)) -> f64 {
        let marked = a + b;
        let ways = |k: u64| choose(of_a, k) * choose(of_b, marked - k);
        let tables = marked.saturating_sub(of_b)..=marked.min(of_a);
        let less: u128 = tables.map(ways).filter(|table| *table <= ways(a)).sum();
        less as f64 / choose(of_a + of_b, marked) as f64
    }

    #[test]
    fn tables_are_counted_exactly() {
        for of_a in 1..=9 {
            for of_b in 1..=12 {
                for (a, b) in (0..=of_a).flat_map(|a| (0..=of_b).map(move |b| (a, b))) {
                    let found = fisher((a, of_a), (b, of_b)).expect("counts within totals");
                    let expected = counted((a, of_a), (b, of_b));
                    assert!((found - expected).abs() < 1e-12, "{a}/{of_a} {b}/{of_b}: {found} {expected}");
                }
            }
        }
        assert_eq!([fisher((2, 1), (0, 1)), fisher((0, 0), (0, 1))], [None, None]);
    }

    /// The tea tasting and the like-sex twins of Fisher, as the manual of R's `fisher.test` prints their p: from memory,
    /// and counted by the twin.
    #[test]
    fn published_tables() {
        let check = |a, b, printed: f64, last_digit: f64| {
            let found = fisher(a, b).expect("counts within totals");
            assert!((found - printed).abs() <= last_digit / 2.0, "{found}, printed {printed}");
            assert!((found - counted(a, b)).abs() < 1e-12);
        };
        check((3, 4), (1, 4), 0.4857, 1e-4);
        check((2, 17), (10, 13), 0.000_536_7, 1e-7);
    }

    #[test]
    fn large_counts_stay_numbers() {
        let p = fisher((100_000, 200_000), (100, 1_000_000)).expect("counts within totals");
        assert!((0.0..1e-300).contains(&p), "{p}");
        let same = fisher((1000, 100_000), (10_000, 1_000_000)).expect("counts within totals");
        assert!(same > 0.9 && same <= 1.0, "{same}");
    }

    #[test]
    fn binomial_tails_are_sums_in_whole_numbers() {
        for of in 1..=20_u64 {
            for count in 0..=of {
                // A share of 1/4: every way is weighed by 3 to the power of the others.
                let ways = |k: u64| choose(of, k) * 3_u128.pow((of - k) as u32);
                let expected = (count..=of).map(ways).sum::<u128>() as f64 / 4_f64.powi(of as i32);
                let found = at_least(count, of, 0.25);
                assert!((found - expected).abs() < 1e-12, "{count} of {of}: {found} {expected}");
            }
        }
        assert_eq!([at_least(0, 5, 0.0), at_least(1, 5, 0.0), at_least(6, 5, 0.5)], [1.0, 0.0, 0.0]);
        assert!(at_least(90_000, 100_000, 0.01) < 1e-300);
    }
}
