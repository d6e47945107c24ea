//! In: the record of a move. Out: its kind, and which kind had to go for it.
//!
//! Settling times may be compared only between moves of one direction, about one distance and one speed.
//! Nobody lists them beforehand: a kind is whatever keeps coming, and follows its moves slowly.

use crate::record::{Outcome, Reasons, Record};
use crate::settings::Settings;

/// Kinds watched on one axis at a time, unless asked for otherwise.
pub const KINDS: usize = 16;

/// A move belongs to a kind if its distance is at most this part of the kind's away from it: 12.5 %.
pub const DISTANCE_TOLERANCE: f32 = 0.125;
/// The same for the peak speed: 25 %. Taken over eight samples it is less sure than the distance.
pub const SPEED_TOLERANCE: f32 = 0.25;
/// Differences no encoder can tell don't make a kind. Unit: encoder steps
const STEPS: f32 = 2.0;
/// How far a kind follows each of its moves: a creep of up to 0.7 % a move doesn't split it.
const FOLLOW: f32 = 1.0 / 16.0;

/// Why a kind was told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arrival {
    /// Such moves were there before.
    Known,
    /// The first of its kind.
    New,
    /// The first of its kind; another had to go, the one unseen for longest.
    InsteadOf {
        /// Number of the dropped kind.
        number: u32,
        /// Moves it had.
        moves: u32,
    },
}

/// Where a move belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// Row of the table, below its length; whatever is kept per kind is kept under it.
    pub row: usize,
    /// Number of the kind on its axis, from 1; never used again.
    pub number: u32,
    /// Whether it is new, and at whose cost.
    pub arrival: Arrival,
}

/// Moves that may be compared with each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kind {
    /// Number on its axis, from 1.
    pub number: u32,
    /// Whether the command runs towards larger counts.
    pub forward: bool,
    /// Typical distance. Unit: counts
    pub distance: f32,
    /// Typical peak speed. Unit: counts/tick
    pub speed: f32,
    /// Moves so far.
    pub moves: u32,
    last: u32,
}

/// All kinds of one axis.
#[derive(Clone, Debug)]
pub struct Kinds<const N: usize = KINDS> {
    table: [Option<Kind>; N],
    told: u32,
    moves: u32,
}

impl<const N: usize> Default for Kinds<N> {
    fn default() -> Kinds<N> {
        Kinds::new()
    }
}

impl<const N: usize> Kinds<N> {
    /// None yet.
    pub const fn new() -> Kinds<N> {
        Kinds { table: [None; N], told: 0, moves: 0 }
    }

    /// Finds the kind of a move, or makes one.
    ///
    /// None for a move whose travel can't be trusted, and so for a table without rows.
    pub fn step(&mut self, settings: &Settings, record: &Record) -> Option<Place> {
        if record.outcome == Outcome::Untrusted || record.reasons.has(Reasons::JOINED) {
            return None;
        }
        let seen = Kind::of(record);
        let step = STEPS * settings.encoder_step as f32;
        let step_speed = step / record.peak_speed.time.max(1) as f32;
        self.moves = self.moves.wrapping_add(1);
        let nearest = self
            .kinds()
            .map(|(row, kind)| (row, kind.away(&seen, step, step_speed)))
            .filter(|(_, away)| *away <= 1.0)
            .min_by(|one, other| one.1.total_cmp(&other.1));
        match nearest {
            Some((row, _)) => self.join(row, &seen),
            None => self.make(&seen),
        }
    }

    /// The kinds and their rows.
    pub fn kinds(&self) -> impl Iterator<Item = (usize, &Kind)> {
        self.table.iter().enumerate().filter_map(|(row, kind)| Some((row, kind.as_ref()?)))
    }

    fn join(&mut self, row: usize, seen: &Kind) -> Option<Place> {
        let kind = self.table.get_mut(row)?.as_mut()?;
        kind.distance += (seen.distance - kind.distance) * FOLLOW;
        kind.speed += (seen.speed - kind.speed) * FOLLOW;
        kind.moves = kind.moves.saturating_add(1);
        kind.last = self.moves;
        Some(Place { row, number: kind.number, arrival: Arrival::Known })
    }

    fn make(&mut self, seen: &Kind) -> Option<Place> {
        let now = self.moves;
        // An empty row is older than any kind.
        let age = |kind: &Option<Kind>| kind.map_or(u64::MAX, |kind| u64::from(now.wrapping_sub(kind.last)));
        let (row, oldest) = self
            .table
            .iter_mut()
            .enumerate()
            .reduce(|one, other| if age(other.1) > age(one.1) { other } else { one })?;
        let arrival =
            oldest.map_or(Arrival::New, |gone| Arrival::InsteadOf { number: gone.number, moves: gone.moves });
        self.told = self.told.wrapping_add(1);
        *oldest = Some(Kind { number: self.told, last: now, ..*seen });
        Some(Place { row, number: self.told, arrival })
    }
}

impl Kind {
    /// A kind of this one move.
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

    /// How far a move is from this kind: at most 1 if it belongs here.
    fn away(&self, seen: &Kind, step: f32, step_speed: f32) -> f32 {
        if self.forward != seen.forward {
            return f32::INFINITY;
        }
        let distance = (self.distance - seen.distance).abs() / (self.distance * DISTANCE_TOLERANCE).max(step);
        let speed = (self.speed - seen.speed).abs() / (self.speed * SPEED_TOLERANCE).max(step_speed);
        distance.max(speed)
    }
}

#[cfg(test)]
#[path = "kind/tests.rs"]
mod tests;
