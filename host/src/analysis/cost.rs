//! In: moves per interval and their settling. Out: seconds and parts lost per shift, against a baseline and against zero.
//!
//! Seconds lost are Σ moves × (mean settling − reference); against a baseline they may be negative, which is a gain. A
//! cycle of c seconds with l seconds of settling would take c − l seconds without it, so the lost time would have made
//! lost / (c − l) parts. This assumes that the machine waits for the axis and that one cycle makes one part: the results
//! are upper bounds of the cost.

use super::interval_stats::IntervalStats;

/// A named interval of time.
#[derive(Clone, Debug, PartialEq)]
pub struct Shift {
    /// Name.
    pub name: String,
    /// First instant. Unit: s
    pub from_s: f64,
    /// First instant after it. Unit: s
    pub to_s: f64,
}

/// Origin of the baseline.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// The user's option.
    Option,
    /// The monitor's baseline, a median.
    Monitor,
    /// The mean of the first hot interval.
    FirstInterval,
}

impl Baseline {
    /// The baseline of the first interval, if a move in it settled.
    pub(super) fn of_first(intervals: &[IntervalStats]) -> Option<Baseline> {
        let first = intervals.first()?;
        let settling_s = Some(first.mean_s.unwrap_or(first.median_s)).filter(|first| first.is_finite())?;
        Some(Baseline { settling_s, source: Source::FirstInterval })
    }
}

impl Source {
    /// Name in the output.
    pub fn words(self) -> &'static str {
        match self {
            Source::Option => "asked",
            Source::Monitor => "monitor",
            Source::FirstInterval => "first interval",
        }
    }
}

/// Reference settling time of a kind, from when it was good.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Baseline {
    /// Unit: s
    pub settling_s: f64,
    /// Where it comes from.
    pub source: Source,
}

/// Cost of settling.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cost {
    /// Moves that settled.
    pub moves: u64,
    /// Moves that did not settle; their cost is unknown and not included in the seconds.
    pub unsettled: u64,
    /// Seconds against zero: all time spent settling.
    pub seconds: f64,
    /// Seconds against the baseline, negative for a gain; `None` without one.
    pub seconds_against_baseline: Option<f64>,
    /// Parts against zero; `None` without a cycle time, or if settling takes longer than the cycle.
    pub parts: Option<f64>,
    /// Parts against the baseline.
    pub parts_against_baseline: Option<f64>,
}

/// The machine cycle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cycle {
    /// Time from part to part, settling included. Unit: s
    pub seconds: f64,
    /// Moves of this kind in one cycle.
    pub moves: f64,
}

/// Cost of the intervals that start within `shift`, or of all without one. Intervals without a mean use their median.
pub fn cost(
    intervals: &[IntervalStats],
    shift: Option<&Shift>,
    baseline_s: Option<f64>,
    cycle: Option<Cycle>,
) -> Cost {
    let within = |interval: &&IntervalStats| {
        shift.is_none_or(|shift| (shift.from_s..shift.to_s).contains(&interval.time_s))
    };
    let (mut moves, mut unsettled, mut seconds) = (0_u64, 0, 0.0);
    for interval in intervals.iter().filter(within) {
        unsettled += interval.unsettled;
        let mean = interval.mean_s.unwrap_or(interval.median_s);
        if mean.is_finite() {
            moves += interval.moves;
            seconds += interval.moves as f64 * mean;
        }
    }
    let against = baseline_s.map(|baseline| seconds - moves as f64 * baseline);
    let parts = |seconds: f64| cycle.and_then(|cycle| parts(seconds, moves, cycle));
    Cost {
        moves,
        unsettled,
        seconds,
        seconds_against_baseline: against,
        parts: parts(seconds),
        parts_against_baseline: against.and_then(parts),
    }
}

/// Parts that could have been made in `seconds` lost over `moves`.
fn parts(seconds: f64, moves: u64, cycle: Cycle) -> Option<f64> {
    if moves == 0 {
        return Some(0.0);
    }
    let without = cycle.seconds - seconds / moves as f64 * cycle.moves;
    (without > 0.0 && without.is_finite()).then_some(seconds / without)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn interval(time_s: f64, moves: u64, median_s: f64, mean_s: Option<f64>) -> IntervalStats {
        IntervalStats { time_s, moves, unsettled: moves / 9, median_s, p95_s: median_s, mean_s }
    }

    #[test]
    fn seconds_and_parts() {
        let intervals = [
            interval(0.0, 100, 0.05, None),
            interval(300.0, 300, 0.06, Some(0.07)),
            interval(600.0, 9, 0.1, None),
        ];
        let shift = Shift { name: "early".to_owned(), from_s: 0.0, to_s: 600.0 };
        let cycle = Some(Cycle { seconds: 2.0, moves: 2.0 });
        let found = cost(&intervals, Some(&shift), Some(0.05), cycle);
        assert_eq!((found.moves, found.unsettled), (400, 11 + 33));
        assert!(
            (found.seconds - 26.0).abs() < 1e-12
                && (found.seconds_against_baseline.unwrap() - 6.0).abs() < 1e-12
        );
        // 400 moves are 200 cycles in 400 s; without 26 s they'd take 374 s, and 400 s would make 213.9 parts.
        assert!((found.parts.unwrap() - (400.0 / (374.0 / 200.0) - 200.0)).abs() < 1e-9, "{found:?}");
        assert!((found.parts_against_baseline.unwrap() - (400.0 / (394.0 / 200.0) - 200.0)).abs() < 1e-9);
        assert_eq!(cost(&intervals, None, None, None).moves, 409);
        let absurd = cost(&intervals, None, Some(0.08), Some(Cycle { seconds: 0.01, moves: 1.0 }));
        assert!(absurd.parts.is_none() && absurd.seconds_against_baseline.unwrap() < 0.0);
        assert_eq!(cost(&[], None, None, cycle).parts, Some(0.0));
    }
}
