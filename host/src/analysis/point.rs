//! In: moves of one kind, summed up per interval. Out: the point that analysis works on, and which of its figures.

/// Settling of one kind of moves in one interval.
///
/// A move that did not settle within its rest has no settling time, but it is no less slow for that: it counts as
/// larger than every time of its interval. A figure that falls among such moves is +∞, which means "not settled".
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Start of the interval. Unit: s
    pub time_s: f64,
    /// Moves that settled in it.
    pub moves: u64,
    /// Moves that did not.
    pub unsettled: u64,
    /// Median of the settling times of both; +∞: not settled. Unit: s
    pub median_s: f64,
    /// Settling time that 95 of 100 of both keep; +∞: not settled. Unit: s
    pub p95_s: f64,
    /// Mean settling time of those that settled, if it was kept; sums need it. Unit: s
    pub mean_s: Option<f64>,
}

impl Point {
    /// Share of the moves that did not settle; none without moves.
    pub fn unsettled_share(&self) -> Option<f64> {
        let all = self.moves + self.unsettled;
        (all > 0).then(|| self.unsettled as f64 / all as f64)
    }
}

/// Which figure of an interval is followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// Median settling time.
    Median,
    /// Settling time that 95 of 100 moves keep.
    P95,
}

impl Measure {
    /// The figure of a point; +∞: not settled. Unit: s
    pub fn of(self, point: &Point) -> f64 {
        match self {
            Measure::Median => point.median_s,
            Measure::P95 => point.p95_s,
        }
    }

    /// Share of the moves that keep it.
    pub fn share(self) -> f64 {
        match self {
            Measure::Median => 0.5,
            Measure::P95 => 0.95,
        }
    }

    /// One word.
    pub fn word(self) -> &'static str {
        match self {
            Measure::Median => "median",
            Measure::P95 => "p95",
        }
    }
}
