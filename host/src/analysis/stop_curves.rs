//! In: settling curves of many moves. Out: settling times for a window, windows for a settling time, and their spread.
//!
//! A curve is a list of windows, the widest first, each with the time from which on the error stayed inside it, or none. A
//! window between two of them settles no later than the narrower and no earlier than the wider one: what is given here is
//! the later time and the wider window, so that nothing is promised that was not seen.

use super::quantile::{quantile_sorted, sorted};

/// Windows, the widest first, each with its settling time; none if it was not held.
pub type Curve = Vec<(f64, Option<f64>)>;

/// Numbers that differ by this ratio are the same: a difference of two times, or a length that a person typed.
const SAME: f64 = 1.0 + 1e-9;

/// From command end until the error stays inside `window`; +∞ if it did not.
pub fn settling(curve: &[(f64, Option<f64>)], window: f64) -> f64 {
    // The widest window is the narrowest that the error never left.
    let narrower = curve.get(curve.partition_point(|(of, _)| *of > window * SAME));
    narrower.and_then(|(_, settling)| *settling).unwrap_or(f64::INFINITY)
}

/// The smallest window inside which the error stays from `settling` on; +∞ if that was not seen.
pub fn window(curve: &[(f64, Option<f64>)], settling: f64) -> f64 {
    let in_time = curve.partition_point(|(_, of)| of.is_some_and(|of| of <= settling * SAME));
    in_time.checked_sub(1).map_or(f64::INFINITY, |at| curve[at].0)
}

/// Quantiles of what moves need; +∞ where that many did not settle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Of these, one in twenty needs less.
    pub low: f64,
    /// The median.
    pub middle: f64,
    /// One in twenty needs more.
    pub high: f64,
}

impl Spread {
    /// Of values in any order; `None` without values.
    pub fn of(values: &[f64]) -> Option<Spread> {
        let values = sorted(values);
        let at = |share| {
            quantile_sorted(&values, share).map(|value| if value.is_nan() { f64::INFINITY } else { value })
        };
        Some(Spread { low: at(0.05)?, middle: at(0.5)?, high: at(0.95)? })
    }
}

/// The narrowest window in which a move settles, and the widest that a move needs to be inside at once; `None` if no move
/// settles in any.
pub fn range(curves: &[Curve]) -> Option<(f64, f64)> {
    let settled = curves.iter().flatten().filter(|(window, settling)| *window > 0.0 && settling.is_some());
    let low = settled.map(|point| point.0).reduce(f64::min)?;
    let widest = curves.iter().filter_map(|curve| Some(curve.first()?.0));
    Some((low, widest.fold(low, f64::max)))
}

/// The windows of the curves within their range, the narrowest first; if there are more than `most`, as many at equal ratios
/// instead.
pub fn windows(curves: &[Curve], most: usize) -> Vec<f64> {
    let Some((low, high)) = range(curves) else { return Vec::new() };
    let mut all: Vec<f64> =
        curves.iter().flatten().map(|point| point.0).filter(|window| *window >= low).collect();
    all.sort_by(f64::total_cmp);
    all.dedup();
    if all.len() <= most {
        return all;
    }
    let last = (most.max(2) - 1) as f64;
    (0..most.max(2)).map(|at| low * (high / low).powf(at as f64 / last)).collect()
}

/// Round windows within the range of the curves, and one beyond each end; six to a decade.
pub fn round_windows(curves: &[Curve]) -> Vec<f64> {
    let Some((low, high)) = range(curves) else { return Vec::new() };
    let (first, last) = (low.log10().floor() as i32, high.log10().ceil() as i32);
    let decade = |exponent: i32| [1.0, 1.5, 2.0, 3.0, 5.0, 7.0].map(|digit| digit * 10_f64.powi(exponent));
    let all: Vec<f64> = (first..=last).flat_map(decade).collect();
    let from = all.partition_point(|window| *window <= low).saturating_sub(1);
    let to = (all.partition_point(|window| *window < high) + 1).min(all.len());
    all[from..to].to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn between_two_points_the_later_time_and_the_wider_window_count() {
        let curve = [(20.0, Some(0.0)), (10.0, Some(5.0)), (8.0, Some(9.0)), (4.0, None)];
        let check = |window: f64, expected: f64| assert_eq!(settling(&curve, window), expected, "{window}");
        check(30.0, 0.0);
        check(20.0, 0.0);
        check(19.9, 5.0);
        check(9.0, 9.0);
        check(7.0, f64::INFINITY);
        check(1.0, f64::INFINITY);
        let check = |time: f64, expected: f64| assert_eq!(window(&curve, time), expected, "{time}");
        check(0.0, 20.0);
        check(4.9, 20.0);
        check(5.0, 10.0);
        check(100.0, 8.0);
        assert_eq!(window(&[(3.0, None)], 9.0), f64::INFINITY);
        assert_eq!((settling(&[], 1.0), window(&[], 1.0)), (f64::INFINITY, f64::INFINITY));
    }

    /// 9.978 ms may come out of two times a hair above.
    #[test]
    fn a_hair_makes_no_other_window() {
        let curve = [(20.0, Some(0.0)), (10.0, Some(0.009_978_000_000_003)), (8.0, Some(0.02))];
        assert_eq!(window(&curve, 0.009_978), 10.0);
        assert_eq!(settling(&curve, 9.999_999_999_999), 0.009_978_000_000_003);
    }

    #[test]
    fn windows_span_what_moves_need() {
        let curves: Vec<Curve> = vec![
            (3..=40).rev().map(|k| (f64::from(k), Some(0.1))).collect(),
            vec![(20.0, Some(0.0)), (2.5, Some(0.2)), (0.5, None)],
        ];
        assert_eq!(range(&curves), Some((2.5, 40.0)));
        assert_eq!(windows(&curves, 100).len(), 39);
        let few = windows(&curves, 7);
        assert!(few.len() == 7 && few[0] == 2.5 && (few[6] - 40.0).abs() < 1e-9, "{few:?}");
        assert_eq!(round_windows(&curves), [2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 50.0]);
        assert!(windows(&[vec![(1.0, None)]], 5).is_empty() && round_windows(&[]).is_empty());
    }
}
