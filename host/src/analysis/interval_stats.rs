//! In: moves of one kind, summarised per interval. Out: the statistics that analysis works on, and which of them.

/// Settling of one kind of moves in one interval.
///
/// A move that did not settle within its rest has no settling time. It counts as slower than every settled move of its
/// interval. A quantile that falls among such moves is +∞, which means "not settled".
#[derive(Clone, Copy, Debug, Default, PartialEq)]
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
    /// Moves that were inside for less than the window time.
    pub interrupted: u64,
    /// From command end to the next command, summed over the unsettled and the interrupted moves; `None` if the store has
    /// no such sum. Unit: s
    pub rests_s: Option<f64>,
}

impl IntervalStats {
    /// Share of the moves that did not settle; `None` without moves.
    pub fn unsettled_share(&self) -> Option<f64> {
        let all = self.moves + self.unsettled;
        (all > 0).then(|| self.unsettled as f64 / all as f64)
    }

    /// The mean of the settled; where fewer than half settled it would describe a minority, and is +∞: not settled. NaN if
    /// it is not known. Unit: s
    fn mean(&self) -> f64 {
        if self.unsettled > self.moves { f64::INFINITY } else { self.mean_s.unwrap_or(f64::NAN) }
    }
}

/// Which statistic of an interval is followed over time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// Median settling time.
    Median,
    /// 95 % quantile of the settling time.
    P95,
    /// Mean settling time of the settled moves: where hardly any move settles near the median.
    Mean,
}

impl Measure {
    /// The statistic of an interval; +∞: not settled. Unit: s
    pub fn of(self, interval: &IntervalStats) -> f64 {
        match self {
            Measure::Median => interval.median_s,
            Measure::P95 => interval.p95_s,
            Measure::Mean => interval.mean(),
        }
    }

    /// Share of the moves that settle within the statistic; `None` for a mean, which is no quantile.
    pub fn share(self) -> Option<f64> {
        match self {
            Measure::Median => Some(0.5),
            Measure::P95 => Some(0.95),
            Measure::Mean => None,
        }
    }

    /// Name in the output.
    pub fn word(self) -> &'static str {
        match self {
            Measure::Median => "median",
            Measure::P95 => "p95",
            Measure::Mean => "mean",
        }
    }
}

/// Mean of the settled, median and 95 % quantile of the same moves; `None` where it is not known or does not exist.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Levels {
    /// Unit: s
    pub mean_s: Option<f64>,
    /// Unit: s
    pub median_s: Option<f64>,
    /// Unit: s
    pub p95_s: Option<f64>,
}

impl Levels {
    /// Those of an interval; one that is "not settled" is `None`.
    pub fn of_interval(interval: &IntervalStats) -> Levels {
        let finite = |value: f64| Some(value).filter(|value| value.is_finite());
        Levels { mean_s: interval.mean_s, median_s: finite(interval.median_s), p95_s: finite(interval.p95_s) }
    }

    /// The level that a statistic is compared with. Unit: s
    pub fn of(&self, measure: Measure) -> Option<f64> {
        match measure {
            Measure::Median => self.median_s,
            Measure::P95 => self.p95_s,
            Measure::Mean => self.mean_s,
        }
    }
}
