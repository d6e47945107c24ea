//! In: moves of one kind, summarised per interval. Out: the statistics that analysis works on, and which of them.

/// Settling of one kind of moves in one interval.
///
/// A move that did not settle within its rest has no settling time. It counts as slower than every settled move of its
/// interval. A quantile that falls among such moves is +∞, which means "not settled".
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IntervalStats {
    /// Start of the interval. Unit: s
    pub time_s: f64,
    /// Moves that settled.
    pub moves: u64,
    /// Moves that did not settle.
    pub unsettled: u64,
    /// Median settling time of all moves; +∞: not settled. Unit: s
    pub median_s: f64,
    /// 95 % quantile of the settling times of all moves; +∞: not settled. Unit: s
    pub p95_s: f64,
    /// Mean settling time of the settled moves, if it is known; sums need it. Unit: s
    pub mean_s: Option<f64>,
}

impl IntervalStats {
    /// Share of the moves that did not settle; `None` without moves.
    pub fn unsettled_share(&self) -> Option<f64> {
        let all = self.moves + self.unsettled;
        (all > 0).then(|| self.unsettled as f64 / all as f64)
    }
}

/// Which statistic of an interval is followed over time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// Median settling time.
    Median,
    /// 95 % quantile of the settling time.
    P95,
}

impl Measure {
    /// The statistic of an interval; +∞: not settled. Unit: s
    pub fn of(self, interval: &IntervalStats) -> f64 {
        match self {
            Measure::Median => interval.median_s,
            Measure::P95 => interval.p95_s,
        }
    }

    /// Share of the moves that settle within the statistic.
    pub fn share(self) -> f64 {
        match self {
            Measure::Median => 0.5,
            Measure::P95 => 0.95,
        }
    }

    /// Name in the output.
    pub fn word(self) -> &'static str {
        match self {
            Measure::Median => "median",
            Measure::P95 => "p95",
        }
    }
}
