//! In: moves per interval, their settling and their rests. Out: seconds and parts lost, against a baseline and against zero.
//!
//! Cost is a sum over moves. A settled move costs its settling time minus the reference. A move that was unsettled or
//! interrupted gave the process no position that it could rely on until the next command came, so it costs at least
//! the whole time from command end to next command; with such moves the sum is a lower bound. Against a baseline the
//! sum may be negative, which is a gain; an interval whose failed moves were cut off sooner than the reference, or whose
//! rests are not known, has none, because its slow moves are missing.
//!
//! A cycle of c seconds with l seconds lost would take c − l seconds without them, so the lost time would have made
//! lost / (c − l) parts. This assumes that the machine waits for the axis and that one cycle makes one part.

use super::interval_stats::{IntervalStats, Levels};

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
    /// The monitor's baseline.
    Monitor,
    /// The first hot interval.
    FirstInterval,
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

/// Settling of a kind when it was good.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Baseline {
    /// From when on it is in force. Unit: s
    pub from_s: f64,
    /// What later moves are compared with, each statistic with its own.
    pub levels: Levels,
    /// Unsettled moves among all of its settled and unsettled moves, if it counted them.
    pub unsettled: Option<(u64, u64)>,
    /// Where it comes from.
    pub source: Source,
}

impl Baseline {
    /// A settling time that a person gave: the mean and the median are compared with it. Unit: s
    pub fn given(settling_s: f64) -> Baseline {
        let settling_s = Some(settling_s);
        let levels = Levels { mean_s: settling_s, median_s: settling_s, p95_s: None };
        Baseline { from_s: f64::NEG_INFINITY, levels, unsettled: None, source: Source::Option }
    }

    /// The baseline of the first interval, if a move in it settled.
    pub(super) fn of_first(intervals: &[IntervalStats]) -> Option<Baseline> {
        let first = intervals.first().filter(|first| first.moves > 0)?;
        let levels = Levels::of_interval(first);
        Some(Baseline { from_s: first.time_s, levels, unsettled: None, source: Source::FirstInterval })
    }

    /// Reference of the costs: the mean, as a sum needs it; the median of a monitor that sent no mean. Unit: s
    pub fn reference_s(&self) -> Option<f64> {
        self.levels.mean_s.or(self.levels.median_s)
    }
}

/// The baseline in force at an instant, of those in the order in which they came into force: the last until then, else
/// the first of all, as a baseline is known only when its moves are past. Unit: s
pub fn in_force(baselines: &[Baseline], at_s: f64) -> Option<&Baseline> {
    baselines.iter().rfind(|baseline| baseline.from_s <= at_s).or(baselines.first())
}

/// Cost of settling.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cost {
    /// Moves that settled.
    pub moves: u64,
    /// Moves that did not settle.
    pub unsettled: u64,
    /// Moves that were inside for less than the window time.
    pub interrupted: u64,
    /// Seconds against zero: all time spent settling, and the rests of the moves that failed.
    pub seconds: f64,
    /// Of it the rests of the unsettled and the interrupted moves.
    pub rests: f64,
    /// Seconds against the baseline, negative for a gain; `None` without one.
    pub seconds_against_baseline: Option<f64>,
    /// Parts against zero; `None` without a cycle time, or if settling takes longer than the cycle.
    pub parts: Option<f64>,
    /// Parts against the baseline.
    pub parts_against_baseline: Option<f64>,
}

impl Cost {
    /// Whether moves failed, so that the seconds are a lower bound.
    pub fn is_lower_bound(&self) -> bool {
        self.unsettled + self.interrupted > 0
    }

    /// Moves that settled or failed.
    fn all(&self) -> u64 {
        self.moves + self.unsettled + self.interrupted
    }

    /// Adds an interval; `reference` is the baseline in force. Unit: s
    fn add(&mut self, interval: &IntervalStats, reference: Option<f64>) {
        let mean = interval.mean_s.unwrap_or(interval.median_s);
        let (moves, mean) = if mean.is_finite() { (interval.moves, mean) } else { (0, 0.0) };
        let rests = interval.rests_s.unwrap_or(0.0);
        self.moves += moves;
        self.unsettled += interval.unsettled;
        self.interrupted += interval.interrupted;
        self.rests += rests;
        let seconds = moves as f64 * mean + rests;
        self.seconds += seconds;
        let failed = (interval.unsettled + interval.interrupted) as f64;
        let against = |reference: f64| {
            let lost = seconds - moves as f64 * reference;
            if interval.unsettled > 0 && rests < failed * reference { lost.max(0.0) } else { lost }
        };
        let sum = self.seconds_against_baseline;
        self.seconds_against_baseline = reference.and_then(|reference| Some(sum? + against(reference)));
    }
}

/// The machine cycle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cycle {
    /// Time from part to part, settling included. Unit: s
    pub seconds: f64,
    /// Moves of this kind in one cycle.
    pub moves: f64,
}

/// Cost of the intervals that start within `shift`, or of all without one, each against the baseline in force when it
/// started. Intervals without a mean use their median.
pub fn cost(
    intervals: &[IntervalStats],
    shift: Option<&Shift>,
    baselines: &[Baseline],
    cycle: Option<Cycle>,
) -> Cost {
    let within = |interval: &&IntervalStats| {
        shift.is_none_or(|shift| (shift.from_s..shift.to_s).contains(&interval.time_s))
    };
    let seconds_against_baseline = (!baselines.is_empty()).then_some(0.0);
    let mut cost = Cost { seconds_against_baseline, ..Cost::default() };
    for interval in intervals.iter().filter(within) {
        cost.add(interval, in_force(baselines, interval.time_s).and_then(Baseline::reference_s));
    }
    let parts = |seconds: f64| cycle.and_then(|cycle| parts(seconds, cost.all(), cycle));
    Cost {
        parts: parts(cost.seconds),
        parts_against_baseline: cost.seconds_against_baseline.and_then(parts),
        ..cost
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
        IntervalStats { time_s, moves, median_s, p95_s: median_s, mean_s, ..IntervalStats::default() }
    }

    fn near(found: Option<f64>, expected: f64) {
        assert!(found.is_some_and(|found| (found - expected).abs() < 1e-9), "{found:?}, not {expected}");
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
        let found = cost(&intervals, Some(&shift), &[Baseline::given(0.05)], cycle);
        assert_eq!((found.moves, found.unsettled, found.is_lower_bound()), (400, 0, false));
        near(Some(found.seconds), 26.0);
        near(found.seconds_against_baseline, 6.0);
        // 400 moves are 200 cycles in 400 s; without 26 s they'd take 374 s, and 400 s would make 213.9 parts.
        near(found.parts, 400.0 / (374.0 / 200.0) - 200.0);
        near(found.parts_against_baseline, 400.0 / (394.0 / 200.0) - 200.0);
        assert_eq!(cost(&intervals, None, &[], None).moves, 409);
        let cycle = Some(Cycle { seconds: 0.01, moves: 1.0 });
        let absurd = cost(&intervals, None, &[Baseline::given(0.08)], cycle);
        assert!(absurd.parts.is_none() && absurd.seconds_against_baseline.unwrap() < 0.0);
        assert_eq!(cost(&[], None, &[], cycle).parts, Some(0.0));
    }

    #[test]
    fn failed_moves_cost_their_rests_and_hide_no_loss() {
        let failing = |rests_s| IntervalStats {
            unsettled: 8,
            interrupted: 2,
            rests_s,
            ..interval(0.0, 90, 0.04, Some(0.04))
        };
        let of = |rests_s| cost(&[failing(rests_s)], None, &[Baseline::given(0.05)], None);
        // Ten rests of half a second; the others are 10 ms faster than the baseline.
        let found = of(Some(5.0));
        assert!(found.is_lower_bound() && (found.rests - 5.0).abs() < 1e-12, "{found:?}");
        near(Some(found.seconds), 90.0 * 0.04 + 5.0);
        near(found.seconds_against_baseline, 5.0 - 0.9);
        // Without rests, or with rests shorter than the reference, that the others are faster is no gain.
        near(of(None).seconds_against_baseline, 0.0);
        near(of(Some(0.1)).seconds_against_baseline, 0.0);
        // Only interrupted moves: none was slow.
        let interrupted = IntervalStats { unsettled: 0, ..failing(Some(0.1)) };
        near(cost(&[interrupted], None, &[Baseline::given(0.05)], None).seconds_against_baseline, 0.1 - 0.9);
    }

    #[test]
    fn each_interval_is_compared_with_the_baseline_in_force_then() {
        let intervals = [0.0, 300.0, 600.0].map(|time| interval(time, 10, 0.05, Some(0.05)));
        let from = |from_s, settling_s| Baseline { from_s, ..Baseline::given(settling_s) };
        let baselines = [from(100.0, 0.04), from(600.0, 0.01)];
        near(cost(&intervals, None, &baselines, None).seconds_against_baseline, 0.1 + 0.1 + 0.4);
        assert_eq!(in_force(&baselines, 650.0), Some(&baselines[1]));
        assert_eq!(in_force(&[], 0.0), None);
    }
}
