//! In: settling curves and a limit of the settling time. Out: the error left when that time is up, group by group.
//!
//! A move settles later than the limit exactly if an error larger than the window is seen after the limit. Settling times
//! jump: a ring that grows into the window adds half a swing at once, a creep that stops short of it adds a rest. The
//! largest error left at the limit grows evenly, and it reaches the window when the settling time reaches the limit: it
//! tells beforehand what the settling time tells when it has happened.

use std::collections::BTreeMap;
use std::ops::Range;

use stillpoint_core::CurvePoint;

use super::point::Point;

/// Length of the slots that moves with curves are kept in: short enough to see what the last minutes bring. Unit: s
pub const SLOT: f64 = 60.0;
/// Parts of a window that errors are kept in.
const PARTS: f64 = 65_536.0;
/// Errors beyond this are all alike. Unit: windows
const MOST: f64 = 2.0;

/// Between which sizes the largest error left lies. Unit: parts of a window
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Bracket {
    high: u32,
    low: u32,
}

/// What a move says of a limit.
#[derive(Clone, Copy, Debug)]
pub struct Stop<'a> {
    /// Command end. Unit: s
    pub time_s: f64,
    /// Settling time; none if it did not settle. Unit: ticks
    pub settling: Option<u32>,
    /// Its settling curve, from the widest window on.
    pub curve: &'a [CurvePoint],
    /// Its window. Unit: counts
    pub window: u32,
}

/// Errors left at a limit, slot of time by slot of time.
#[derive(Clone, Debug, PartialEq)]
pub struct Left {
    slot_s: f64,
    slots: BTreeMap<i64, BTreeMap<Bracket, u64>>,
}

impl Left {
    /// None yet; moves are kept in slots of this length. Unit: s
    pub fn new(slot_s: f64) -> Left {
        Left { slot_s, slots: BTreeMap::new() }
    }

    /// Without curves: a figure of every interval, as a share of the limit.
    pub fn of_figures(
        points: &[Point],
        interval_s: f64,
        figure: impl Fn(&Point) -> f64,
        limit_s: f64,
    ) -> Left {
        let mut left = Left::new(interval_s);
        for point in points {
            let share = parts(figure(point) / limit_s);
            left.add(point.time_s, Bracket { low: share, high: share });
        }
        left
    }

    fn add(&mut self, time_s: f64, bracket: Bracket) {
        let slot = (time_s / self.slot_s).floor() as i64;
        *self.slots.entry(slot).or_default().entry(bracket).or_default() += 1;
    }

    /// Adds a move; `limit` in ticks. A move without a curve says nothing.
    pub fn step(&mut self, stop: &Stop, limit: u32) {
        if !stop.curve.is_empty() {
            self.add(stop.time_s, bracket(stop, limit));
        }
    }

    /// Adds the moves of another one with slots of the same length.
    pub fn merge(&mut self, other: &Left) {
        for (slot, moves) in &other.slots {
            let mine = self.slots.entry(*slot).or_default();
            moves.iter().for_each(|(bracket, count)| *mine.entry(*bracket).or_default() += count);
        }
    }

    /// Length of a slot. Unit: s
    pub fn slot_s(&self) -> f64 {
        self.slot_s
    }

    /// From the start of the first slot on; none if there is none. Unit: s
    pub fn from_s(&self) -> Option<f64> {
        self.slots.keys().next().map(|slot| *slot as f64 * self.slot_s)
    }

    /// Without slots that begin before an instant or within certain times. Unit: s
    pub fn hot(&self, from_s: f64, without: &[Range<f64>]) -> Left {
        let is_hot = |slot: i64| {
            let at = slot as f64 * self.slot_s;
            at >= from_s && !without.iter().any(|range| range.contains(&at))
        };
        let slots = self.slots.iter().filter(|(slot, _)| is_hot(**slot));
        Left { slot_s: self.slot_s, slots: slots.map(|(slot, moves)| (*slot, moves.clone())).collect() }
    }

    /// The error that a share of the moves keep, in each of so many groups of so many slots, the last one until `end_s`;
    /// `None` where there was no move. Unit: windows
    pub fn groups(&self, end_s: f64, (count, slots): (usize, usize), share: f64) -> Vec<Option<f64>> {
        let end = (end_s / self.slot_s).ceil() as i64;
        let group = |back: usize| {
            let to = end - (back * slots) as i64;
            let mut moves = BTreeMap::<Bracket, u64>::new();
            for (bracket, count) in self.slots.range(to - slots as i64..to).flat_map(|(_, moves)| moves) {
                *moves.entry(*bracket).or_default() += count;
            }
            ranked(&moves, share)
        };
        (0..count).rev().map(group).collect()
    }
}

/// Unit: parts of a window
fn parts(windows: f64) -> u32 {
    // A figure that is no number is none of a settled move.
    if windows.is_nan() { (MOST * PARTS) as u32 } else { (windows.clamp(0.0, MOST) * PARTS) as u32 }
}

/// Windows of the curve that settle by the limit are not left any more, narrower ones are; the move's own window tells by
/// its own settling time.
fn bracket(stop: &Stop, limit: u32) -> Bracket {
    let settles = |settling: Option<u32>| settling.is_some_and(|settling| settling <= limit);
    let size = |window: u32| parts(f64::from(window) / f64::from(stop.window.max(1)));
    let (own, most) = (size(stop.window), parts(MOST));
    let held = stop.curve.iter().take_while(|point| settles(point.settling)).last();
    let broken = stop.curve.iter().find(|point| !settles(point.settling));
    let (high, low) =
        (held.map_or(most, |point| size(point.window)), broken.map_or(0, |point| size(point.window)));
    match settles(stop.settling) {
        true => Bracket { low: low.min(own), high: high.min(own) },
        false => Bracket { low: low.max(own), high: high.max(own) },
    }
}

/// The error that a share of moves keep, as if those between two sizes were spread evenly between them. Unit: windows
fn ranked(moves: &BTreeMap<Bracket, u64>, share: f64) -> Option<f64> {
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
    fn errors(chance: &mut Pcg32) -> Vec<u32> {
        let mut even = || f64::from(chance.next_u32()) / f64::from(u32::MAX);
        let (size, lasts, swing) = (50.0 + 400.0 * even(), 5.0 + 30.0 * even(), 0.3 + 0.5 * even());
        let error = |tick: u32| size * (-f64::from(tick) / lasts).exp() * (swing * f64::from(tick)).cos();
        (0..REST).map(|tick| (error(tick) + 3.0 * even()).abs() as u32).collect()
    }

    /// Its curve, and the settling time of the window itself.
    fn measured(errors: &[u32]) -> (Vec<CurvePoint>, u32) {
        let parameters =
            Parameters { window: WINDOW, window_time: 10, rest_time: 20, ..Parameters::at(1000) };
        let mut axis = Axis::new(Settings::new(parameters).expect("sound settings"));
        let stands = (0..30).map(|_| (0, 0));
        let stops = errors.iter().map(|error| (10_000, 10_000 - *error as i32));
        for (tick, (command, feedback)) in (0..).zip(stands.chain(stops)) {
            axis.step(Reading { tick, command, feedback });
        }
        axis.finish();
        let curve = axis.curve().collect();
        let settling = errors.iter().rposition(|error| *error > WINDOW).map_or(0, |at| at as u32 + 1);
        (curve, settling)
    }

    #[test]
    fn brackets_hold_the_largest_error_after_the_limit() {
        let mut chance = Pcg32::new(3, 3);
        let mut narrow = 0;
        for _ in 0..500 {
            let errors = errors(&mut chance);
            let (curve, settling) = measured(&errors);
            for limit in [3, 10, 25, 60] {
                let stop = Stop { time_s: 0.0, settling: Some(settling), curve: &curve, window: WINDOW };
                let Bracket { low, high } = bracket(&stop, limit);
                // The slow twin: an error counts until the sample after it.
                let left = errors[limit as usize..].iter().max().expect("samples");
                let most = parts(f64::from(*left) / f64::from(WINDOW));
                assert!(low <= most && most <= high, "{low} to {high}, {left} left at {limit} in {errors:?}");
                assert_eq!(low >= parts(1.0), settling > limit, "the window's own settling time tells");
                narrow += u64::from(high < parts(MOST) && (high - low) * 2 < high);
            }
        }
        assert!(narrow > 1000, "{narrow}");
        let none = Stop { time_s: 0.0, settling: None, curve: &[], window: WINDOW };
        assert_eq!(bracket(&none, 9), Bracket { low: parts(1.0), high: parts(MOST) });
    }

    #[test]
    fn groups_rank_their_moves_and_leave_out_what_they_are_told_to() {
        let mut left = Left::new(60.0);
        let mut add = |minute: f64, low: f64, high: f64| {
            left.add(60.0 * minute, Bracket { low: parts(low), high: parts(high) });
        };
        (0..4).for_each(|_| add(0.0, 0.2, 0.4));
        (0..4).for_each(|_| add(1.5, 0.4, 0.8));
        add(3.0, 1.0, 1.5);
        let check = |left: &Left, groups: (usize, usize), share: f64, expected: &[Option<f64>]| {
            let found = left.groups(240.0, groups, share);
            let near = |(a, b): (&Option<f64>, &Option<f64>)| match (a, b) {
                (Some(a), Some(b)) => (a - b).abs() < 1e-4,
                (a, b) => a == b,
            };
            assert!(found.len() == expected.len() && found.iter().zip(expected).all(near), "{found:?}");
        };
        check(&left, (4, 1), 0.5, &[Some(0.3), Some(0.6), None, Some(1.25)]);
        check(&left, (2, 2), 0.5, &[Some(0.4), Some(1.25)]);
        check(&left, (1, 4), 0.25, &[Some(0.2 + 0.2 * 2.25 / 4.0)]);
        check(&left, (1, 4), 0.95, &[Some(1.0 + 0.5 * 0.55)]);
        let mut both = left.clone();
        both.merge(&left);
        check(&both, (1, 4), 0.25, &[Some(0.2 + 0.2 * 4.5 / 8.0)]);
        check(&left.hot(60.0, &[170.0..200.0]), (4, 1), 0.5, &[None, Some(0.6), None, None]);
    }
}
