//! In: moves of one kind, summed up per interval. Out: the point that analysis works on.

/// Settling of one kind of moves in one interval. An interval without settled moves has no point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Start of the interval. Unit: s
    pub time_s: f64,
    /// Moves that settled in it.
    pub moves: u64,
    /// Median of their settling times. Unit: s
    pub median_s: f64,
    /// Settling time that 95 of 100 of them keep. Unit: s
    pub p95_s: f64,
    /// Mean of their settling times, if it was kept; sums need it. Unit: s
    pub mean_s: Option<f64>,
}
