//! In: readings, and the length of a turn if the unit has one. Out: whether positions have jumped by close to a turn.
//!
//! An axis that wraps from 359 to 1 has moved by 2, not by −358. Only the user knows, so a jump that looks like one is a
//! question:
//!
//! - In a unit of angle: feedback jumps by a whole turn ± [`CLOSE`] from one reading to the next, and [`FAST`] times as far
//!   as in the reading before.
//! - In counts, or without a unit: command and feedback jump alike, by at least half of all positions seen and [`ALONE`]
//!   times as far as in any reading nearby, and one of them moves the other way before and after the jump.

use std::collections::VecDeque;

use stillpoint_core::Reading;

/// Share of a turn by which a jump in a unit of angle may differ from it: an axis may move that far between two readings.
const CLOSE: f64 = 0.25;

/// Least ratio of a jump in a unit of angle to the change of the reading before.
const FAST: u32 = 3;

/// Least ratio of any other jump to the changes nearby.
const ALONE: u32 = 8;

/// Readings before and after a jump that are nearby.
const NEARBY: usize = 4;

/// Readings by which feedback may jump later than the command.
const LAG: u64 = 256;

/// Jumps remembered until their move is reported.
const JUMPS: usize = 1000;

/// Largest difference of the two jumps, as a share of them.
const ALIKE: f64 = 0.1;

/// Units of angle, and what one turn is in them.
const UNITS: [(&str, f64); 10] = [
    ("deg", 360.0),
    ("rad", core::f64::consts::TAU),
    ("mrad", 1e3 * core::f64::consts::TAU),
    ("rev", 1.0),
    ("revs", 1.0),
    ("turn", 1.0),
    ("turns", 1.0),
    ("gon", 400.0),
    ("arcmin", 21_600.0),
    ("arcsec", 1_296_000.0),
];

/// A whole turn in this unit; `None` for a unit of length, counts, or an unknown one.
pub(super) fn turn(unit: &str) -> Option<f64> {
    UNITS.iter().find(|(name, _)| *name == unit).map(|&(_, turn)| turn)
}

/// A jump of one signal: index of the reading, its instant, size, and whether the signal moves the other way around it.
#[derive(Clone, Copy, Debug)]
struct Jump {
    at: u64,
    /// Unit: ticks since the first reading
    now: u64,
    size: i32,
    is_against: bool,
}

/// Looks for jumps by a turn.
#[derive(Clone, Debug)]
pub(super) struct TurnJumps {
    /// Unit: feedback counts
    turn: Option<f64>,
    last: Option<Reading>,
    /// Instants and changes of command and feedback: the one under test in the middle.
    changes: VecDeque<(u64, [i32; 2])>,
    /// Unit: ticks since the first reading
    now: u64,
    /// Number of readings.
    count: u64,
    /// Lowest and highest feedback so far.
    span: (i32, i32),
    /// Last jump of the command.
    command: Option<Jump>,
    /// Last jump of the feedback.
    feedback: Option<Jump>,
    /// Instants of jumps that belong to no move yet. Unit: ticks since the first reading
    jumps: Vec<u64>,
}

impl TurnJumps {
    /// `turn`: of the unit, if it has one. Unit: feedback counts
    pub(super) fn new(turn: Option<f64>) -> TurnJumps {
        TurnJumps {
            turn,
            last: None,
            changes: VecDeque::new(),
            count: 0,
            span: (i32::MAX, i32::MIN),
            command: None,
            feedback: None,
            now: 0,
            jumps: Vec::new(),
        }
    }

    /// Whether positions have jumped after `start` and up to `end`; earlier jumps are forgotten.
    /// Unit: ticks since the first reading
    pub(super) fn has_jumped(&mut self, start: u64, end: u64) -> bool {
        let has_jumped = self.jumps.iter().any(|at| (start + 1..=end).contains(at));
        self.jumps.retain(|&at| at > end);
        has_jumped
    }

    /// Adds a reading.
    pub(super) fn push(&mut self, reading: Reading) {
        self.count += 1;
        let Some(last) = self.last.replace(reading) else { return };
        // A clock that goes back stands still for the core, too.
        self.now += u64::from(reading.tick.wrapping_sub(last.tick).cast_signed().max(0).unsigned_abs());
        let feedback = reading.feedback.wrapping_sub(last.feedback);
        match self.turn {
            Some(turn) => self.angle(turn, feedback),
            None => {
                self.span = (self.span.0.min(reading.feedback), self.span.1.max(reading.feedback));
                self.changes.push_back((self.now, [reading.command.wrapping_sub(last.command), feedback]));
                if self.changes.len() > 2 * NEARBY {
                    self.nearby();
                    self.changes.pop_front();
                }
            }
        }
    }

    /// Remembers a jump; of very many, the last one.
    fn add(&mut self, at: u64) {
        if self.jumps.len() == JUMPS {
            self.jumps.pop();
        }
        self.jumps.push(at);
    }

    fn angle(&mut self, turn: f64, change: i32) {
        let before = self.changes.pop_front().map_or(0, |(_, [_, feedback])| feedback);
        let is_close = (f64::from(change).abs() - turn).abs() <= CLOSE * turn;
        if is_close && change.unsigned_abs() / FAST >= before.unsigned_abs() {
            self.add(self.now);
        }
        self.changes.push_back((self.now, [0, change]));
    }

    fn nearby(&mut self) {
        let at = self.count;
        // Most readings are no jump: one comparison each.
        for signal in 0..2 {
            if let Some(jump) = self.jump(signal, at) {
                *(if signal == 0 { &mut self.command } else { &mut self.feedback }) = Some(jump);
                self.pair();
            }
        }
    }

    /// The jump in the middle of the changes of a signal, if it stands out.
    fn jump(&self, signal: usize, at: u64) -> Option<Jump> {
        let change = |place: usize| self.changes.get(place).map_or(0, |(_, changes)| changes[signal]);
        let size = change(NEARBY);
        if size.unsigned_abs() < ALONE {
            return None;
        }
        let others = || (0..=2 * NEARBY).filter(|&place| place != NEARBY).map(change);
        let is_alone = others().all(|other| other.unsigned_abs() <= size.unsigned_abs() / ALONE);
        let against = |from: usize| {
            let sum: i64 = (from..from + NEARBY).map(|place| i64::from(change(place))).sum();
            let same = (from..from + NEARBY).all(|place| change(place).signum() != size.signum());
            same && sum != 0
        };
        let now = self.changes.get(NEARBY).map_or(0, |&(now, _)| now);
        is_alone.then(|| Jump { at, now, size, is_against: against(0) && against(NEARBY + 1) })
    }

    /// Compares the last jump of both signals.
    fn pair(&mut self) {
        let (Some(command), Some(feedback)) = (self.command, self.feedback) else { return };
        let (one, other) = (f64::from(command.size), f64::from(feedback.size));
        let half = (f64::from(self.span.1) - f64::from(self.span.0)) / 2.0;
        let is_turn = command.at.abs_diff(feedback.at) <= LAG
            && (one - other).abs() <= ALIKE * one.abs()
            && other.abs() >= half
            && (command.is_against || feedback.is_against);
        if is_turn && self.jumps.last().is_none_or(|&last| feedback.now > last) {
            self.add(feedback.now);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(turn: Option<f64>, positions: impl Iterator<Item = (i32, i32)>, expected: bool) {
        let mut jumps = TurnJumps::new(turn);
        for (tick, (command, feedback)) in (7..).zip(positions) {
            jumps.push(Reading { tick, command, feedback });
        }
        let first = jumps.jumps.first().copied();
        assert_eq!(first.is_some(), expected);
        if let Some(at) = first {
            let mut before = jumps.clone();
            assert!(!before.has_jumped(0, at - 1) && before.has_jumped(at - 1, at));
        }
        assert_eq!(jumps.has_jumped(0, 10_000), expected);
        assert!(!jumps.has_jumped(0, 10_000));
    }

    /// A move by ± 60 from 330 with a lag of seven readings, as a drive counts it.
    fn ramp(speed: i32, wrap: impl Fn(i32) -> i32) -> impl Iterator<Item = (i32, i32)> {
        let position = move |row: i32| wrap(330 + speed * row.clamp(0, 60));
        (-20..100).map(move |row| (position(row), position(row - 7)))
    }

    #[test]
    fn a_wrap_is_found_in_angles_and_in_counts() {
        for turn in [Some(360.0), None] {
            check(turn, ramp(1, |position| position % 360), true);
            check(turn, ramp(1, |position| position), false);
            check(turn, ramp(-1, |position| position % 360), false);
            check(turn, ramp(-6, |position| (position + 360) % 360), true);
        }
        let wide = |position: i32| (position * 10) % 3600;
        check(None, ramp(1, wide), true);
        check(None, ramp(-6, |position| (position * 10 + 3600) % 3600), true);
    }

    #[test]
    fn a_step_and_a_single_bad_reading_are_no_wrap_in_counts() {
        check(None, (0..100).map(|row| if row < 50 { (0, 0) } else { (4000, 4000) }), false);
        let overshoot = |row: i32| if row < 50 { row % 2 } else { 4000 - (row - 52).min(3) };
        check(None, (0..100).map(|row| (if row < 50 { 0 } else { 4000 }, overshoot(row))), false);
        check(None, (0..100).map(|row| (row, if row == 50 { 4000 } else { row })), false);
        check(
            Some(360.0),
            (0..100).map(|row| (if row < 50 { 0 } else { 360 }, 6 * (row - 50).clamp(0, 60))),
            false,
        );
    }
}
