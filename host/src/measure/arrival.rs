//! In: the distances of a noisy command from where it comes to rest. Out: when it arrived, and how certain that is.
//!
//! The last part of a move goes like a power of the time that is left: a ramp like the first, constant deceleration like the
//! second, constant jerk like the third. For each power and each instant of arrival the best such curve is fitted by least
//! squares, and zero after the arrival. Instants whose fit is not significantly worse than the best are possible (profile
//! likelihood, 95 %).

/// Powers of the time that is left.
const POWERS: [f64; 5] = [1.0, 1.5, 2.0, 2.5, 3.0];

/// Most points of a fit, and most instants that are tried.
const POINTS: usize = 300;

/// 0.95 quantile of the chi-squared distribution with one degree of freedom.
const CHI: f64 = 3.841;

/// Numbers fitted: power, instant, size.
const FITTED: usize = 3;

/// When a command arrived: the best instant, and the half-width of the interval that has the possible ones.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Arrival {
    /// Unit: that of the instants
    pub(super) at: f64,
    /// Unit: that of the instants
    pub(super) half_width: f64,
}

/// Fits the arrival to points of instant and distance, which begin on the way and end at rest.
pub(super) fn fit(points: &[(f64, f64)]) -> Option<Arrival> {
    let stride = points.len().div_ceil(POINTS).max(1);
    let points: Vec<(f64, f64)> = points.iter().copied().step_by(stride).collect();
    let (first, last) = (points.first()?.0, points.last()?.0);
    let freedom = points.len().checked_sub(FITTED + 1)? as f64;
    let all: f64 = points.iter().map(|point| point.1 * point.1).sum();
    let instant = |step: usize| first + (last - first) * step as f64 / POINTS as f64;
    let tried = (1..POINTS).flat_map(|step| POWERS.map(|power| (instant(step), power)));
    let fits: Vec<(f64, f64)> = tried.map(|(at, power)| (at, all - explained(&points, at, power))).collect();
    let best = fits.iter().copied().min_by(|one, other| one.1.total_cmp(&other.1))?;
    let limit = best.1 * (1.0 + CHI / freedom);
    let possible = || fits.iter().filter(|fit| fit.1 <= limit).map(|fit| fit.0);
    let (low, high) = (possible().fold(best.0, f64::min), possible().fold(best.0, f64::max));
    Some(Arrival { at: (low + high) / 2.0, half_width: (high - low) / 2.0 })
}

/// The part of the sum of squares that the best curve of this power explains, which is zero from `at` on.
fn explained(points: &[(f64, f64)], at: f64, power: f64) -> f64 {
    let scale = at - points.first().map_or(0.0, |point| point.0);
    let way = points.iter().take_while(|point| point.0 < at);
    let (both, own) = way.fold((0.0, 0.0), |(both, own), &(t, distance)| {
        let shape = ((at - t) / scale).powf(power);
        (both + shape * distance, own + shape * shape)
    });
    if own > 0.0 { both * both / own } else { 0.0 }
}
