//! In: the record of a move. Out: the kind of the move, and the kind that was dropped for it, if any.
//!
//! Settling times can be compared only between moves of one direction, about one distance and about one speed. Kinds
//! are not configured: a move that fits no kind begins a new one, and a kind's typical distance and speed follow its
//! moves.

use crate::reasons::Reasons;
use crate::record::{Outcome, Record};
use crate::settings::Settings;

/// Default size of the table of kinds of one axis.
pub const KINDS: usize = 16;

/// Largest difference to the kind's typical distance, as a part of it: 12.5 %.
pub const DISTANCE_TOLERANCE: f32 = 0.125;
/// Largest difference to the kind's typical peak speed, as a part of it: 25 %, because a speed over a few samples is
/// less precise than a distance.
pub const SPEED_TOLERANCE: f32 = 0.25;
/// Least tolerance of the distance, below which an encoder shows no difference. Unit: encoder steps
const STEPS: f32 = 2.0;
/// Part of the difference by which typical distance and speed follow each move: a creep of up to 0.7 % a move does not
/// split a kind.
const FOLLOW: f32 = 1.0 / 16.0;

/// Whether the kind of a move is new.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arrival {
    /// The kind had moves before.
    Known,
    /// The move is the first of a new kind.
    New,
    /// The move is the first of a new kind, for which the kind unseen for longest was dropped.
    Replacing {
        /// Number of the dropped kind.
        number: u32,
        /// Number of moves of the dropped kind.
        moves: u32,
    },
}

/// The kind that a move is assigned to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Assignment {
    /// Row of the table, from 0: index for whatever a caller stores per kind.
    pub row: usize,
    /// Number of the kind on its axis, from 1; a number is used once.
    pub number: u32,
    /// Whether the kind is new.
    pub arrival: Arrival,
}

/// Moves that can be compared with each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kind {
    /// Number on its axis, from 1.
    pub number: u32,
    /// Whether the command runs towards larger counts.
    pub forward: bool,
    /// Typical distance. Unit: counts
    pub distance: f32,
    /// Typical peak speed; 0 as long as no move had enough samples for one. Unit: counts/tick
    pub speed: f32,
    /// Number of moves so far.
    pub moves: u32,
    /// Value of [`Kinds::moves`] at the last move of the kind.
    last: u32,
}

/// All kinds of one axis.
#[derive(Clone, Debug)]
pub struct Kinds<const N: usize = KINDS> {
    table: [Option<Kind>; N],
    /// Number of the newest kind: kinds numbered so far.
    numbered: u32,
    /// Moves assigned so far, wrapping.
    moves: u32,
}

impl<const N: usize> Default for Kinds<N> {
    fn default() -> Kinds<N> {
        Kinds::new()
    }
}

impl<const N: usize> Kinds<N> {
    /// An empty table.
    pub const fn new() -> Kinds<N> {
        Kinds { table: [None; N], numbered: 0, moves: 0 }
    }

    /// Assigns a move to its kind, or to a new one.
    ///
    /// `None` if the travel can't be trusted (untrusted or joined late), or the table has no rows.
    pub fn step(&mut self, settings: &Settings, record: &Record) -> Option<Assignment> {
        if record.outcome == Outcome::Untrusted || record.reasons.has(Reasons::JOINED) {
            return None;
        }
        let candidate = Kind::of(record);
        let step = STEPS * settings.encoder_step as f32;
        let step_speed = step / record.peak_speed.time.max(1) as f32;
        self.moves = self.moves.wrapping_add(1);
        let nearest = self
            .kinds()
            .map(|(row, kind)| (row, kind.difference(&candidate, step, step_speed)))
            .filter(|(_, difference)| *difference <= 1.0)
            .min_by(|one, other| one.1.total_cmp(&other.1));
        match nearest {
            Some((row, _)) => self.join(row, &candidate),
            None => self.add(&candidate),
        }
    }

    /// The kinds and their rows.
    pub fn kinds(&self) -> impl Iterator<Item = (usize, &Kind)> {
        self.table.iter().enumerate().filter_map(|(row, kind)| Some((row, kind.as_ref()?)))
    }

    /// Adds a move to the kind in this row.
    fn join(&mut self, row: usize, candidate: &Kind) -> Option<Assignment> {
        let kind = self.table.get_mut(row)?.as_mut()?;
        kind.distance += (candidate.distance - kind.distance) * FOLLOW;
        if candidate.speed > 0.0 {
            let part = if kind.speed > 0.0 { FOLLOW } else { 1.0 };
            kind.speed += (candidate.speed - kind.speed) * part;
        }
        kind.moves = kind.moves.saturating_add(1);
        kind.last = self.moves;
        Some(Assignment { row, number: kind.number, arrival: Arrival::Known })
    }

    /// Adds a new kind, in the row of the kind unseen for longest.
    fn add(&mut self, candidate: &Kind) -> Option<Assignment> {
        let now = self.moves;
        // An empty row counts as unseen for longer than any kind.
        let age = |kind: &Option<Kind>| kind.map_or(u64::MAX, |kind| u64::from(now.wrapping_sub(kind.last)));
        let (row, oldest) = self
            .table
            .iter_mut()
            .enumerate()
            .reduce(|one, other| if age(other.1) > age(one.1) { other } else { one })?;
        let arrival =
            oldest.map_or(Arrival::New, |kind| Arrival::Replacing { number: kind.number, moves: kind.moves });
        self.numbered = self.numbered.wrapping_add(1);
        *oldest = Some(Kind { number: self.numbered, last: now, ..*candidate });
        Some(Assignment { row, number: self.numbered, arrival })
    }
}

impl Kind {
    /// A kind with this move as its only one; not numbered yet.
    fn of(record: &Record) -> Kind {
        Kind {
            number: 0,
            forward: record.travel >= 0,
            distance: record.travel.unsigned_abs() as f32,
            speed: record.peak_speed.distance as f32 / record.peak_speed.time.max(1) as f32,
            moves: 1,
            last: 0,
        }
    }

    /// Difference of a move to this kind, in units of the tolerances: at most 1 if it belongs to the kind.
    ///
    /// `step` and `step_speed` are the least tolerances. Unit: counts, counts/tick
    fn difference(&self, candidate: &Kind, step: f32, step_speed: f32) -> f32 {
        if self.forward != candidate.forward {
            return f32::INFINITY;
        }
        let distance =
            (self.distance - candidate.distance).abs() / (self.distance * DISTANCE_TOLERANCE).max(step);
        // Without a speed, direction and distance decide.
        if self.speed == 0.0 || candidate.speed == 0.0 {
            return distance;
        }
        let speed = (self.speed - candidate.speed).abs() / (self.speed * SPEED_TOLERANCE).max(step_speed);
        distance.max(speed)
    }
}

#[cfg(test)]
mod tests {
    use std::vec::Vec;

    use super::*;
    use crate::record::fixture;
    use crate::settings::Parameters;
    use crate::settling::peaks::Speed;

    fn settings() -> Settings {
        Settings::new(Parameters { window: 5, ..Parameters::at(1_000_000) }).unwrap()
    }

    fn record(travel: i32, speed: u32) -> Record {
        Record { travel, peak_speed: Speed { distance: speed, time: 8 }, ..fixture::settled() }
    }

    /// Number of the kind of each (travel, distance in eight ticks).
    fn numbers(moves: &[(i32, u32)]) -> Vec<u32> {
        let (settings, mut kinds) = (settings(), Kinds::<4>::default());
        moves
            .iter()
            .map(|&(travel, speed)| kinds.step(&settings, &record(travel, speed)).unwrap().number)
            .collect()
    }

    #[test]
    fn moves_within_the_tolerances_share_a_kind() {
        for (moves, expected) in [
            (&[(1000, 80), (-1000, 80), (1000, 80)][..], &[1, 2, 1][..]),
            (&[(1000, 80), (1110, 80), (1300, 80), (1000, 80)], &[1, 1, 2, 1]),
            (&[(1000, 80), (1000, 96), (1000, 160), (1000, 40)], &[1, 1, 2, 3]),
            (&[(2, 1), (4, 2), (1, 0)], &[1, 1, 1]),
            // Without a speed, direction and distance decide, and the typical speed stays.
            (&[(1000, 80), (1000, 0), (1000, 84), (1000, 160), (-1000, 0)], &[1, 1, 1, 2, 3]),
            (&[(1000, 0), (1000, 80), (1000, 160)], &[1, 1, 2]),
        ] {
            assert_eq!(numbers(moves), expected, "{moves:?}");
        }
    }

    #[test]
    fn a_slow_creep_splits_nothing_and_distances_30_percent_apart_never_mix() {
        let (settings, mut kinds) = (settings(), Kinds::<4>::default());
        for k in 0..4000 {
            // Both grow to four times their size, 5 % of scatter apart.
            let scatter = (k % 11 - 5) * 500;
            let short = (100_000 + 75 * k) / 100 * (10_000 + scatter / 5) / 100;
            let long = short / 10 * 13;
            for (travel, number) in [(short, 1), (long, 2)] {
                let assignment = kinds.step(&settings, &record(travel, 80)).unwrap();
                assert_eq!(assignment.number, number, "move {k} of {travel} counts");
            }
        }
        assert_eq!(kinds.kinds().map(|(_, kind)| kind.moves).collect::<Vec<_>>(), [4000, 4000]);
    }

    #[test]
    fn the_kind_unseen_for_longest_is_dropped_and_named() {
        let (settings, mut kinds) = (settings(), Kinds::<2>::default());
        let mut step = |travel| kinds.step(&settings, &record(travel, 80)).unwrap();
        assert_eq!(step(1000), Assignment { row: 0, number: 1, arrival: Arrival::New });
        assert_eq!(step(2000), Assignment { row: 1, number: 2, arrival: Arrival::New });
        assert_eq!(step(1000).arrival, Arrival::Known);
        assert_eq!(
            step(4000),
            Assignment { row: 1, number: 3, arrival: Arrival::Replacing { number: 2, moves: 1 } }
        );
        assert_eq!(step(2000).arrival, Arrival::Replacing { number: 1, moves: 2 });
    }

    #[test]
    fn a_move_without_a_trusted_travel_has_no_kind() {
        let (settings, mut kinds) = (settings(), Kinds::<2>::default());
        let untrusted = Record { outcome: Outcome::Untrusted, ..record(1000, 80) };
        let joined = Record { reasons: Reasons::JOINED, ..record(1000, 80) };
        assert_eq!(kinds.step(&settings, &untrusted), None);
        assert_eq!(kinds.step(&settings, &joined), None);
        assert_eq!(Kinds::<0>::default().step(&settings, &record(1000, 80)), None);
    }
}
