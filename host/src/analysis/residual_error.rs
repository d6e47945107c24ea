//! In: settling curves and a limit of the settling time. Out: the residual error at that limit, group by group.
//!
//! The residual error of a move is the largest error after the limit has passed. A move settles later than the limit
//! exactly if its residual error exceeds the window. Settling times jump: a ring that grows into the window adds half a
//! period at once, a creep that stops short of the window adds a whole rest. The residual error grows steadily and
//! reaches the window at the instant at which the settling time reaches the limit, so it can be extrapolated.

use std::collections::BTreeMap;
use std::ops::Range;

use stillpoint_core::CurvePoint;

use super::interval_stats::IntervalStats;

/// Length of the time slots of moves with curves: short enough to show the last minutes. Unit: s
pub const SLOT: f64 = 60.0;
/// Resolution of the stored errors. Unit: 1/window
const PARTS: f64 = 65_536.0;
/// Larger errors are stored as this one. Unit: windows
const LARGEST: f64 = 2.0;

/// Bounds of the residual error of one move. Unit: parts of a window
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Bracket {
    high: u32,
    low: u32,
}

/// Settling of one move.
#[derive(Clone, Copy, Debug)]
pub struct Stop<'a> {
    /// Command end. Unit: s
    pub time_s: f64,
    /// Settling time; `None` if it did not settle. Unit: ticks
    pub settling: Option<u32>,
    /// Settling curve, from the widest window on.
    pub curve: &'a [CurvePoint],
    /// Position window. Unit: counts
    pub window: u32,
}

/// Residual errors at one limit, by time slot.
#[derive(Clone, Debug, PartialEq)]
pub struct ResidualErrors {
    slot_s: f64,
    slots: BTreeMap<i64, BTreeMap<Bracket, u64>>,
}

impl ResidualErrors {
    /// Empty, with slots of this length. Unit: s
    pub fn new(slot_s: f64) -> ResidualErrors {
        ResidualErrors { slot_s, slots: BTreeMap::new() }
    }

    /// Substitute where there are no curves: the statistic of every interval as a share of the limit.
    pub fn from_intervals(
        intervals: &[IntervalStats],
        interval_s: f64,
        statistic: impl Fn(&IntervalStats) -> f64,
        limit_s: f64,
    ) -> ResidualErrors {
        let mut errors = ResidualErrors::new(interval_s);
        for interval in intervals {
            let share = parts(statistic(interval) / limit_s);
            errors.add(interval.time_s, Bracket { low: share, high: share });
        }
        errors
    }

    fn add(&mut self, time_s: f64, bracket: Bracket) {
        let slot = (time_s / self.slot_s).floor() as i64;
        *self.slots.entry(slot).or_default().entry(bracket).or_default() += 1;
    }

    /// Adds a move; `limit` in ticks. A move without a curve is not counted.
    pub fn step(&mut self, stop: &Stop, limit: u32) {
        if !stop.curve.is_empty() {
            self.add(stop.time_s, bracket(stop, limit));
        }
    }

    /// Adds the moves of `other`, which has slots of the same length.
    pub fn merge(&mut self, other: &ResidualErrors) {
        for (slot, moves) in &other.slots {
            let own = self.slots.entry(*slot).or_default();
            moves.iter().for_each(|(bracket, count)| *own.entry(*bracket).or_default() += count);
        }
    }

    /// Length of a slot. Unit: s
    pub fn slot_s(&self) -> f64 {
        self.slot_s
    }

    /// Start of the first slot; `None` if there is no slot. Unit: s
    pub fn from_s(&self) -> Option<f64> {
        self.slots.keys().next().map(|slot| *slot as f64 * self.slot_s)
    }

    /// The slots from `from_s` on, without those that begin within one of the `excluded` times. Unit: s
    pub fn hot(&self, from_s: f64, excluded: &[Range<f64>]) -> ResidualErrors {
        let is_hot = |slot: i64| {
            let at = slot as f64 * self.slot_s;
            at >= from_s && !excluded.iter().any(|range| range.contains(&at))
        };
        let slots = self.slots.iter().filter(|(slot, _)| is_hot(**slot));
        let slots = slots.map(|(slot, moves)| (*slot, moves.clone())).collect();
        ResidualErrors { slot_s: self.slot_s, slots }
    }

    /// Error quantile `share` in each of `count` groups of `slots` slots; the last group ends at `end_s`. `None` for a
    /// group without moves. Unit: windows
    pub fn groups(&self, end_s: f64, (count, slots): (usize, usize), share: f64) -> Vec<Option<f64>> {
        let end = (end_s / self.slot_s).ceil() as i64;
        let group = |back: usize| {
            let to = end - (back * slots) as i64;
            let mut moves = BTreeMap::<Bracket, u64>::new();
            for (bracket, count) in self.slots.range(to - slots as i64..to).flat_map(|(_, moves)| moves) {
                *moves.entry(*bracket).or_default() += count;
            }
            quantile(&moves, share)
        };
        (0..count).rev().map(group).collect()
    }
}

/// Unit: parts of a window
fn parts(windows: f64) -> u32 {
    // NaN comes from no settled move, so it counts as the largest error.
    if windows.is_nan() { (LARGEST * PARTS) as u32 } else { (windows.clamp(0.0, LARGEST) * PARTS) as u32 }
}

/// The residual error is below the windows of the curve that settle by the limit, and above the next narrower one. The
/// move's own settling time decides on which side of its own window the error lies.
fn bracket(stop: &Stop, limit: u32) -> Bracket {
    let settles = |settling: Option<u32>| settling.is_some_and(|settling| settling <= limit);
    let size = |window: u32| parts(f64::from(window) / f64::from(stop.window.max(1)));
    let (own, largest) = (size(stop.window), parts(LARGEST));
    let settled = stop.curve.iter().take_while(|point| settles(point.settling)).last();
    let unsettled = stop.curve.iter().find(|point| !settles(point.settling));
    let high = settled.map_or(largest, |point| size(point.window));
    let low = unsettled.map_or(0, |point| size(point.window));
    match settles(stop.settling) {
        true => Bracket { low: low.min(own), high: high.min(own) },
        false => Bracket { low: low.max(own), high: high.max(own) },
    }
}

/// Error quantile `share`, taking the errors of one bracket as evenly spread over it. Unit: windows
fn quantile(moves: &BTreeMap<Bracket, u64>, share: f64) -> Option<f64> {
    let rank = share * moves.values().sum::<u64>() as f64;
    let mut below = 0.0;
    for (bracket, count) in moves {
        let count = *count as f64;
        if below + count > rank || bracket == moves.keys().next_back()? {
            let (low, high) = (f64::from(bracket.low), f64::from(bracket.high));
            return Some((low + (high - low) * (rank - below) / count) / PARTS);
        }
        below += count;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;
    use stillpoint_core::{Axis, Parameters, Reading, Settings};

    const WINDOW: u32 = 60;
    /// Samples of a rest; the last errors are small.
    const REST: u32 = 200;

    /// A ring that dies out in noise: errors at ticks 0, 1, 2 …
    fn errors(random: &mut Pcg32) -> Vec<u32> {
        let mut uniform = || f64::from(random.next_u32()) / f64::from(u32::MAX);
        let (size, lasts, swing) = (50.0 + 400.0 * uniform(), 5.0 + 30.0 * uniform(), 0.3 + 0.5 * uniform());
        let error = |tick: u32| size * (-f64::from(tick) / lasts).exp() * (swing * f64::from(tick)).cos();
        (0..REST).map(|tick| (error(tick) + 3.0 * uniform()).abs() as u32).collect()
    }

    /// Its curve, and the settling time of the window itself.
    fn measured(errors: &[u32]) -> (Vec<CurvePoint>, u32) {
        // Many ticks a sample: the set window settles between two samples, and a wider one no later.
        const TICKS: u32 = 1000;
        let parameters = Parameters {
            window: WINDOW,
            window_time: 10 * TICKS,
            rest_time: 20 * TICKS,
            synchronous: true,
            ..Parameters::at(1000 * TICKS)
        };
        let mut axis = Axis::new(Settings::new(parameters).expect("valid settings"));
        let rest = (0..30).map(|_| (0, 0));
        let stop = errors.iter().map(|error| (10_000, 10_000 - *error as i32));
        for (tick, (command, feedback)) in (0..).zip(rest.chain(stop)) {
            axis.step(Reading { tick: tick * TICKS, command, feedback });
        }
        axis.finish();
        let samples = |settling: Option<u32>| settling.map(|ticks| ticks.div_ceil(TICKS));
        let curve =
            axis.curve().map(|point| CurvePoint { settling: samples(point.settling), ..point }).collect();
        let settling = errors.iter().rposition(|error| *error > WINDOW).map_or(0, |at| at as u32 + 1);
        (curve, settling)
    }

    #[test]
    fn brackets_hold_the_largest_error_after_the_limit() {
        let mut random = Pcg32::new(3, 3);
        let mut narrow = 0;
        for _ in 0..500 {
            let errors = errors(&mut random);
            let (curve, settling) = measured(&errors);
            for limit in [3, 10, 25, 60] {
                let stop = Stop { time_s: 0.0, settling: Some(settling), curve: &curve, window: WINDOW };
                let Bracket { low, high } = bracket(&stop, limit);
                // The slow twin: an error counts until the sample after it.
                let largest = errors[limit as usize..].iter().max().expect("samples");
                let exact = parts(f64::from(*largest) / f64::from(WINDOW));
                assert!(low <= exact && exact <= high, "{low} to {high}, {largest} at {limit} in {errors:?}");
                assert_eq!(low >= parts(1.0), settling > limit, "the window's own settling time decides");
                narrow += u64::from(high < parts(LARGEST) && (high - low) * 2 < high);
            }
        }
        assert!(narrow > 1000, "{narrow}");
        let none = Stop { time_s: 0.0, settling: None, curve: &[], window: WINDOW };
        assert_eq!(bracket(&none, 9), Bracket { low: parts(1.0), high: parts(LARGEST) });
    }

    #[test]
    fn groups_rank_their_moves_and_omit_excluded_times() {
        let mut errors = ResidualErrors::new(60.0);
        let mut add = |minute: f64, low: f64, high: f64| {
            errors.add(60.0 * minute, Bracket { low: parts(low), high: parts(high) });
        };
        (0..4).for_each(|_| add(0.0, 0.2, 0.4));
        (0..4).for_each(|_| add(1.5, 0.4, 0.8));
        add(3.0, 1.0, 1.5);
        let check =
            |errors: &ResidualErrors, groups: (usize, usize), share: f64, expected: &[Option<f64>]| {
                let found = errors.groups(240.0, groups, share);
                let near = |(a, b): (&Option<f64>, &Option<f64>)| match (a, b) {
                    (Some(a), Some(b)) => (a - b).abs() < 1e-4,
                    (a, b) => a == b,
                };
                assert!(found.len() == expected.len() && found.iter().zip(expected).all(near), "{found:?}");
            };
        check(&errors, (4, 1), 0.5, &[Some(0.3), Some(0.6), None, Some(1.25)]);
        check(&errors, (2, 2), 0.5, &[Some(0.4), Some(1.25)]);
        check(&errors, (1, 4), 0.25, &[Some(0.2 + 0.2 * 2.25 / 4.0)]);
        check(&errors, (1, 4), 0.95, &[Some(1.0 + 0.5 * 0.55)]);
        let mut both = errors.clone();
        both.merge(&errors);
        check(&both, (1, 4), 0.25, &[Some(0.2 + 0.2 * 4.5 / 8.0)]);
        check(&errors.hot(60.0, &[170.0..200.0]), (4, 1), 0.5, &[None, Some(0.6), None, None]);
    }
}
