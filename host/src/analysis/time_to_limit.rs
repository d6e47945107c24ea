//! In: the last stretch of a series, and a limit above it. Out: when its line reaches the limit, as an interval.
//!
//! The interval holds every instant at which a line in keeping with the data crosses the limit: with the level m at
//! the middle of the stretch (standard error a) and the slope b (standard error s), nearly independent there, the
//! instants u after the middle with (limit − m − b·u)² ≤ q²·(a² + s²·u²). This is Fieller's set (J. Royal Statistical
//! Society B 16, 1954), which is open by itself when the slope can't be told from none.

use super::theil_sen::Slope;

/// A line is not drawn on for longer than this many times the stretch it was fitted to.
pub const EXTRAPOLATION: f64 = 3.0;

/// When the limit is reached, counted from the last point. Unit: s
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TimeToLimit {
    /// Nothing can be said: too few points, or the noise allows anything.
    Unknown,
    /// The level is certainly beyond the limit.
    Reached,
    /// Between two instants.
    Between(f64, f64),
    /// Not before this instant, perhaps never.
    NotBefore(f64),
    /// The line doesn't rise towards the limit.
    Never,
}

/// A fitted line as the estimate needs it. Times counted from the last point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Middle of the stretch, so not positive. Unit: s
    pub middle_s: f64,
    /// Value of the line there.
    pub value: f64,
    /// Standard error of `value`.
    pub error: f64,
    /// Length of the stretch. Unit: s
    pub span_s: f64,
}

/// When the line through `level` reaches `limit` from below. `slope` has its interval at `quantile` standard errors.
pub fn time_to_limit(level: &Level, slope: &Slope, quantile: f64, limit: f64) -> TimeToLimit {
    let error = (slope.high - slope.low) / (2.0 * quantile);
    let numbers = [level.middle_s, level.value, level.error, level.span_s, slope.slope, error, limit];
    if numbers.iter().any(|number| !number.is_finite()) || level.span_s <= 0.0 {
        return TimeToLimit::Unknown;
    }
    let now = -level.middle_s;
    let end = now + EXTRAPOLATION * level.span_s;
    let reach = limit - level.value;
    let at = |u: f64, side: f64| {
        slope.slope * u + side * quantile * (level.error.powi(2) + (error * u).powi(2)).sqrt() - reach
    };
    // The upper bound of the line is convex and the lower concave: from a point below the limit on, the first crosses
    // it at most once, and the second once if the slope is certain to rise.
    let upper = |u| at(u, 1.0);
    let lower = |u| at(u, -1.0);
    if lower(now) >= 0.0 {
        return TimeToLimit::Reached;
    }
    if upper(now) < 0.0 && slope.slope + quantile * error <= 0.0 {
        return TimeToLimit::Never;
    }
    let earliest = if upper(now) >= 0.0 { Some(now) } else { crossing(upper, now, end) };
    match (earliest, crossing(lower, now, end)) {
        (Some(from), Some(to)) => TimeToLimit::Between(from - now, to - now),
        (Some(from), None) if from <= now => TimeToLimit::Unknown,
        (Some(from), None) => TimeToLimit::NotBefore(from - now),
        (None, _) => TimeToLimit::NotBefore(end - now),
    }
}

/// Where a function that is negative at `from` becomes positive, if it has by `to`.
fn crossing(function: impl Fn(f64) -> f64, from: f64, to: f64) -> Option<f64> {
    let (mut low, mut high) = (from, to);
    if function(to) < 0.0 {
        return None;
    }
    for _ in 0..80 {
        let middle = low.midpoint(high);
        if function(middle) < 0.0 { low = middle } else { high = middle }
    }
    Some(high)
}

impl TimeToLimit {
    /// The interval's ends, `None` where it is open. Unit: s
    pub fn ends(self) -> (Option<f64>, Option<f64>) {
        match self {
            TimeToLimit::Unknown | TimeToLimit::Never => (None, None),
            TimeToLimit::Reached => (Some(0.0), Some(0.0)),
            TimeToLimit::Between(from, to) => (Some(from), Some(to)),
            TimeToLimit::NotBefore(from) => (Some(from), None),
        }
    }

    /// One word.
    pub fn word(self) -> &'static str {
        match self {
            TimeToLimit::Unknown => "unknown",
            TimeToLimit::Reached => "reached",
            TimeToLimit::Between(..) => "between",
            TimeToLimit::NotBefore(_) => "not-before",
            TimeToLimit::Never => "never",
        }
    }

    /// What is still possible if either may be true.
    pub fn or(self, other: TimeToLimit) -> TimeToLimit {
        use TimeToLimit::{Between, Never, NotBefore, Reached, Unknown};
        match (self, other) {
            (same, again) if same == again => same,
            (Unknown, _) | (_, Unknown) => Unknown,
            (Never, NotBefore(from)) | (NotBefore(from), Never) => NotBefore(from),
            (Never, Between(from, _)) | (Between(from, _), Never) => NotBefore(from),
            // Long passed or never: the lines have nothing in common.
            (Never, Reached) | (Reached, Never) => Unknown,
            (a, b) => match (a.ends(), b.ends()) {
                ((Some(a), Some(end)), (Some(b), Some(other))) => Between(a.min(b), end.max(other)),
                ((a, _), (b, _)) => NotBefore(a.unwrap_or(0.0).min(b.unwrap_or(0.0))),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use TimeToLimit::{Between, Never, NotBefore, Reached, Unknown};

    fn found(value: f64, error: f64, slope: f64, slope_error: f64, limit: f64) -> TimeToLimit {
        let level = Level { middle_s: -50.0, value, error, span_s: 100.0 };
        let (low, high) = (slope - 2.0 * slope_error, slope + 2.0 * slope_error);
        time_to_limit(&level, &Slope { slope, low, high, intercept: 0.0 }, 2.0, limit)
    }

    #[test]
    fn the_interval_opens_as_the_noise_grows() {
        let check = |got: TimeToLimit, expected: TimeToLimit| {
            let same = match (got, expected) {
                (Between(a, b), Between(c, d)) => (a - c).abs() < 1e-6 && (b - d).abs() < 1e-6,
                (NotBefore(a), NotBefore(b)) => (a - b).abs() < 1e-6,
                _ => got == expected,
            };
            assert!(same, "{got:?}, expected {expected:?}");
        };
        check(found(10.0, 0.0, 0.1, 0.0, 25.0), Between(100.0, 100.0));
        // Level known: slopes from 0.08 to 0.12 reach 15 more after 125 and 187.5 from the middle.
        check(found(10.0, 0.0, 0.1, 0.01, 25.0), Between(75.0, 137.5));
        check(found(10.0, 0.0, 0.1, 0.045, 25.0), NotBefore(15.0 / 0.19 - 50.0));
        check(found(10.0, 0.0, 0.0, 0.0, 25.0), Never);
        check(found(10.0, 0.0, -0.1, 0.02, 25.0), Never);
        check(found(10.0, 0.0, 0.01, 0.0, 25.0), NotBefore(300.0));
        check(found(24.0, 5.0, 0.0, 0.1, 25.0), Unknown);
        check(found(30.0, 0.1, 0.0, 0.001, 25.0), Reached);
        check(found(f64::NAN, 0.1, 0.0, 0.001, 25.0), Unknown);
        check(found(1.0, 0.1, 0.0, f64::INFINITY, 25.0), Unknown);
    }

    #[test]
    fn either_keeps_what_both_allow() {
        for (a, b, expected) in [
            (Between(1.0, 2.0), Between(1.5, 4.0), Between(1.0, 4.0)),
            (Between(1.0, 2.0), NotBefore(0.5), NotBefore(0.5)),
            (Between(1.0, 2.0), Reached, Between(0.0, 2.0)),
            (Between(1.0, 2.0), Never, NotBefore(1.0)),
            (Never, Never, Never),
            (Never, Reached, Unknown),
            (Unknown, Never, Unknown),
        ] {
            assert_eq!(a.or(b), expected, "{a:?} or {b:?}");
            assert_eq!(b.or(a), expected, "{b:?} or {a:?}");
        }
    }
}
