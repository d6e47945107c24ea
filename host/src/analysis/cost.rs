//! In: moves per interval and their settling. Out: seconds and parts lost per shift, against a baseline and against zero.
//!
//! Seconds lost are Σ moves × (mean settling − reference); against a baseline they may be negative, which is a gain. A
//! cycle of c seconds that loses l of them would take c − l without, so the time lost would have made
//! lost / (c − l) parts. That holds where the axis keeps the machine waiting, and a part takes one cycle: the numbers
//! are what settling can have cost at most.

use super::point::Point;

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

/// Where the settling time comes from that costs are told against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Somebody gave it.
    Asked,
    /// The monitor's baseline: a median.
    Monitor,
    /// The first hot interval: its mean.
    FirstInterval,
}

impl Baseline {
    /// That of the first interval, if a move in it settled.
    pub(super) fn of_first(points: &[Point]) -> Option<Baseline> {
        let first = points.first()?;
        let settling_s = Some(first.mean_s.unwrap_or(first.median_s)).filter(|first| first.is_finite())?;
        Some(Baseline { settling_s, source: Source::FirstInterval })
    }
}

impl Source {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Source::Asked => "asked",
            Source::Monitor => "monitor",
            Source::FirstInterval => "first interval",
        }
    }
}

/// Settling time of a kind when it was good.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Baseline {
    /// Unit: s
    pub settling_s: f64,
    /// Who says so.
    pub source: Source,
}

/// What settling cost.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cost {
    /// Moves that settled.
    pub moves: u64,
    /// Moves that did not: what they cost is not known, and not in the seconds.
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

/// What a cycle takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cycle {
    /// Time from part to part as it is, settling included. Unit: s
    pub seconds: f64,
    /// Moves of this kind in one cycle.
    pub moves: f64,
}

/// Cost of the points whose interval starts within `shift` (all without one). Points without a mean use their median.
pub fn cost(points: &[Point], shift: Option<&Shift>, baseline_s: Option<f64>, cycle: Option<Cycle>) -> Cost {
    let within =
        |point: &&Point| shift.is_none_or(|shift| (shift.from_s..shift.to_s).contains(&point.time_s));
    let (mut moves, mut unsettled, mut seconds) = (0_u64, 0, 0.0);
    for point in points.iter().filter(within) {
        unsettled += point.unsettled;
        let mean = point.mean_s.unwrap_or(point.median_s);
        if mean.is_finite() {
            moves += point.moves;
            seconds += point.moves as f64 * mean;
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

/// Parts that `seconds` lost over `moves` would have made.
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

    fn point(time_s: f64, moves: u64, median_s: f64, mean_s: Option<f64>) -> Point {
        Point { time_s, moves, unsettled: moves / 9, median_s, p95_s: median_s, mean_s }
    }

    #[test]
    fn seconds_and_parts() {
        let points =
            [point(0.0, 100, 0.05, None), point(300.0, 300, 0.06, Some(0.07)), point(600.0, 9, 0.1, None)];
        let shift = Shift { name: "early".to_owned(), from_s: 0.0, to_s: 600.0 };
        let cycle = Some(Cycle { seconds: 2.0, moves: 2.0 });
        let found = cost(&points, Some(&shift), Some(0.05), cycle);
        assert_eq!((found.moves, found.unsettled), (400, 11 + 33));
        assert!(
            (found.seconds - 26.0).abs() < 1e-12
                && (found.seconds_against_baseline.unwrap() - 6.0).abs() < 1e-12
        );
        // 400 moves are 200 cycles in 400 s; without 26 s they'd take 374 s, and 400 s would make 213.9 parts.
        assert!((found.parts.unwrap() - (400.0 / (374.0 / 200.0) - 200.0)).abs() < 1e-9, "{found:?}");
        assert!((found.parts_against_baseline.unwrap() - (400.0 / (394.0 / 200.0) - 200.0)).abs() < 1e-9);
        assert_eq!(cost(&points, None, None, None).moves, 409);
        let absurd = cost(&points, None, Some(0.08), Some(Cycle { seconds: 0.01, moves: 1.0 }));
        assert!(absurd.parts.is_none() && absurd.seconds_against_baseline.unwrap() < 0.0);
        assert_eq!(cost(&[], None, None, cycle).parts, Some(0.0));
    }
}
