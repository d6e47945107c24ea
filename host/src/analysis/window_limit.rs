//! In: settling curves of moves of one kind. Out: which window a share of all such moves keeps, from which time on.
//!
//! For a settling time each move has one number, the smallest window inside which it stays from then on, and for a window
//! its settling time; the limits are ranks of these numbers ([`super::tolerance`]). Who reads a whole curve and then picks a
//! point needs more: limits that each hold in 99 of 100 cases hold all together in 95 (found by simulation).

use super::dependence::Dependence;
use super::quantile::sorted;
use super::stop_curves::{self, Curve};
use super::tolerance::{lower_rank, upper_rank};

/// Of the chance that a limit does not hold, what each point of a curve may have so that the whole curve holds.
const PART_OF_A_POINT: f64 = 0.2;

/// What is wished.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wish {
    /// Share of all moves that must keep the window.
    pub share: f64,
    /// Probability with which that is so.
    pub confidence: f64,
}

/// A window and the time from which on a share of all moves stays inside it. A number that is not known is +∞, but for the
/// lower limit, which is 0 then.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Time from command end.
    pub settling: f64,
    /// The smallest window that is known to do for this point alone.
    pub window: f64,
    /// Below this, no window does, for all points of the curve together.
    pub low: f64,
    /// This one does, for all points of the curve together.
    pub high: f64,
    /// Dependence of each move's number on that of the move before.
    pub dependence: Dependence,
}

impl Wish {
    /// The confidence of each point by which the whole curve has the wished one.
    fn of_a_point(&self) -> f64 {
        1.0 - (1.0 - self.confidence) * PART_OF_A_POINT
    }

    /// The smallest window for this settling time.
    pub fn window(&self, curves: &[Curve], settling: f64) -> Point {
        let windows: Vec<f64> = curves.iter().map(|curve| stop_curves::window(curve, settling)).collect();
        let (ordered, count) = (sorted(&windows), windows.len());
        let at = |rank: Option<usize>| rank.map(|rank| ordered[rank - 1]);
        Point {
            settling,
            window: at(upper_rank(count, self.share, self.confidence)).unwrap_or(f64::INFINITY),
            low: at(lower_rank(count, self.share, self.of_a_point())).unwrap_or(0.0),
            high: at(upper_rank(count, self.share, self.of_a_point())).unwrap_or(f64::INFINITY),
            dependence: Dependence::of(&windows),
        }
    }

    /// The settling time that the share of moves does not exceed; +∞ where it is not known. `settlings` are those of all
    /// moves, +∞ for one that did not settle.
    pub fn settling(&self, settlings: &[f64]) -> f64 {
        let rank = upper_rank(settlings.len(), self.share, self.confidence);
        rank.map_or(f64::INFINITY, |rank| sorted(settlings)[rank - 1])
    }
}

/// Round times for a curve, from 0 to the first at which no curve changes any more; at most about `most`, and not finer
/// than `finest`. Unit: that of the curves
pub fn times(curves: &[Curve], most: usize, finest: f64) -> Vec<f64> {
    let last = curves.iter().flatten().filter_map(|(_, settling)| *settling).fold(0.0, f64::max);
    let rough = (last / most.max(1) as f64).max(finest).max(f64::MIN_POSITIVE);
    let decade = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .map(|digit| digit * decade)
        .into_iter()
        .find(|step| *step >= rough * (1.0 - 1e-9));
    let step = step.unwrap_or(10.0 * decade);
    (0..=(last / step).ceil().min(10.0 * most as f64) as usize).map(|at| at as f64 * step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 100 moves with tails of different height: inside the window w from ln(height/w) on.
    fn curves() -> Vec<Curve> {
        let window = |place: u32| 64.0 * 0.84_f64.powi(place as i32);
        let curve = |height: f64| {
            (0..30).map(move |place| (window(place), Some((height / window(place)).ln().max(0.0))))
        };
        (1..=100).map(|move_| curve(0.1 * f64::from(move_ * 37 % 101)).collect()).collect()
    }

    #[test]
    fn a_window_is_one_that_so_many_moves_keep() {
        let (curves, wish) = (curves(), Wish { share: 0.9, confidence: 0.95 });
        for time in [0.0, 0.3, 1.0, 2.0, 3.5] {
            let point = wish.window(&curves, time);
            let keep = |window: f64| {
                curves.iter().filter(|curve| stop_curves::settling(curve, window) <= time).count()
            };
            // The 96th of 100 at 95 %; the 97th and the 83rd where each point has 99 %.
            assert!(keep(point.window) >= 96 && keep(point.window * 0.9) < 96, "{time}: {point:?}");
            assert!(keep(point.high) >= 97 && keep(point.low * 0.9) < 83, "{time}: {point:?}");
            assert!(point.low <= point.window && point.window <= point.high);
            let settlings: Vec<f64> =
                curves.iter().map(|curve| stop_curves::settling(curve, point.window)).collect();
            assert!(wish.settling(&settlings) <= time + 1e-12, "{time}");
        }
        let few = wish.window(&curves[..20], 1.0);
        assert_eq!((few.window, few.high), (f64::INFINITY, f64::INFINITY));
    }

    #[test]
    fn times_are_round_and_not_finer_than_samples() {
        let curve = |last: f64| vec![vec![(2.0, Some(0.0)), (1.0, Some(last)), (0.5, None)]];
        let found = times(&curve(0.141), 20, 0.001);
        assert_eq!((found[0], found.len()), (0.0, 16), "{found:?}");
        assert!((found[15] - 0.15).abs() < 1e-12);
        assert_eq!(times(&curve(0.004), 20, 0.002).len(), 3);
        assert_eq!(times(&[], 20, 0.002), [0.0]);
    }
}
