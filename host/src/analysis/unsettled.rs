//! In: hot points of one kind. Out: how many moves do not settle, and whether more and more do not.

use super::fit::widening;
use super::mann_kendall::{MannKendall, mann_kendall};
use super::point::Point;
use super::theil_sen::median_slope;

/// Moves that did not settle, as shares of all that did or did not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unsettled {
    /// Share over the first quarter of the points.
    pub before: f64,
    /// Share over their last quarter.
    pub now: f64,
    /// Mann–Kendall test of the shares of the points; `None` if all are equal or too few.
    pub test: Option<MannKendall>,
}

/// The shares of points in the order of time; `None` without moves.
pub fn unsettled(points: &[Point]) -> Option<Unsettled> {
    let quarter = points.len().div_ceil(4);
    let before = pooled(points.get(..quarter)?)?;
    let now = pooled(points.get(points.len() - quarter..)?)?;
    let (time, shares): (Vec<f64>, Vec<f64>) =
        points.iter().filter_map(|point| Some((point.time_s, point.unsettled_share()?))).unzip();
    let slope = median_slope(&time, &shares).unwrap_or(0.0);
    let first = time.first().copied().unwrap_or(0.0);
    let flat: Vec<f64> =
        time.iter().zip(&shares).map(|(time, share)| share - slope * (time - first)).collect();
    let mean = flat.iter().sum::<f64>() / flat.len().max(1) as f64;
    let residuals: Vec<f64> = flat.iter().map(|share| share - mean).collect();
    Some(Unsettled { before, now, test: mann_kendall(&shares, widening(&residuals)) })
}

/// The share of all moves together.
fn pooled(points: &[Point]) -> Option<f64> {
    let (moves, unsettled) =
        points.iter().fold((0, 0), |sum, point| (sum.0 + point.moves, sum.1 + point.unsettled));
    let all = moves + unsettled;
    (all > 0).then(|| unsettled as f64 / all as f64)
}

/// Start, unsettled moves and all moves of each interval with unsettled ones.
pub(super) fn intervals(points: &[Point]) -> Vec<(f64, u64, u64)> {
    let with = points.iter().filter(|point| point.unsettled > 0);
    with.map(|point| (point.time_s, point.unsettled, point.moves + point.unsettled)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_and_their_trend() {
        let check = |of: &dyn Fn(u64) -> u64, before: f64, now: f64, direction: i64| {
            let points: Vec<Point> = (0..40)
                .map(|i| {
                    let (unsettled, time_s) = (of(i), 300.0 * i as f64);
                    let moves = 20 - unsettled;
                    Point { time_s, moves, unsettled, median_s: 0.1, p95_s: 0.1, mean_s: None }
                })
                .collect();
            let found = unsettled(&points).expect("moves");
            assert!((found.before - before).abs() < 1e-9 && (found.now - now).abs() < 1e-9, "{found:?}");
            let told = found.test.filter(|test| test.p < 0.01).map_or(0, |test| test.statistic.signum());
            assert_eq!(told, direction, "{found:?}");
        };
        check(&|_| 0, 0.0, 0.0, 0);
        check(&|i| i % 2, 0.025, 0.025, 0);
        check(&|i| i / 4, 0.04, 0.41, 1);
        check(&|i| 10 - i / 4, 0.46, 0.09, -1);
        assert_eq!(unsettled(&[]), None);
    }
}
