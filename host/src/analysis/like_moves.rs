//! In: travel and peak speed of the moves of an axis, from several recordings. Out: which of them may be compared.
//!
//! The core's own kinds decide, on one scale for all recordings, whatever counts each of them has.

use stillpoint_core::kind::{Kind, Kinds};
use stillpoint_core::wire::record::Move;
use stillpoint_core::{Outcome, Parameters, Reasons, Record, Settings, Speed};

/// Kinds told apart; a recording with more moves at random over and over.
const MOST: usize = 64;
/// The longest travel on the common scale. Unit: counts
const LONGEST: f64 = 1e8;
/// Time to which peak speeds are scaled, as the core measures them. Unit: ticks
const SPEED_TIME: u32 = 2000;
/// Unit: ticks/s
const TICKS: f64 = 1e6;

/// How far and how fast a move went.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motion {
    /// With its sign. Unit: any, the same for all moves
    pub travel: f64,
    /// None where it was not seen. Unit: that per second
    pub peak_speed: Option<f64>,
}

/// The typical move of a kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TypicalMove {
    /// Number of the kind, from 1, in the order in which they came.
    pub number: u32,
    /// Towards larger positions.
    pub forward: bool,
    /// Unit: that of the moves
    pub distance: f64,
    /// 0 where it was not seen. Unit: that per second
    pub speed: f64,
}

/// The number of the kind of each move, and the typical move of each kind, in order; `None` for a move whose travel is not
/// known. `step` is the smallest change of a position that all recordings show.
pub fn kinds(moves: &[Option<Motion>], step: f64) -> (Vec<Option<u32>>, Vec<TypicalMove>) {
    let longest = moves.iter().flatten().map(|one| one.travel.abs()).fold(0.0, f64::max);
    let scale = if longest > 0.0 { LONGEST / longest } else { 1.0 };
    let encoder_step = (step * scale).round().clamp(1.0, LONGEST) as u32;
    let Ok(settings) = Settings::new(Parameters { encoder_step, ..Parameters::at(TICKS as u32) }) else {
        return (vec![None; moves.len()], Vec::new());
    };
    let (mut table, mut typical) = (Kinds::<MOST>::new(), Vec::<TypicalMove>::new());
    let mut number_of = |motion: &Option<Motion>| {
        let number = table.step(&settings, &record((*motion)?, scale))?.number;
        let (_, kind) = table.kinds().find(|(_, kind)| kind.number == number)?;
        typical.retain(|one| one.number != number);
        typical.push(typical_move(kind, scale));
        Some(number)
    };
    let numbers = moves.iter().map(&mut number_of).collect();
    typical.sort_by_key(|one| one.number);
    (numbers, typical)
}

/// What the core looks at to assign a move.
fn record(motion: Motion, scale: f64) -> Record {
    let per_time = f64::from(SPEED_TIME) / TICKS;
    let peak_speed = motion.peak_speed.map_or(Speed { distance: 0, time: 0 }, |speed| Speed {
        distance: (speed * scale * per_time).round() as u32,
        time: SPEED_TIME,
    });
    Record {
        travel: (motion.travel * scale).round() as i32,
        peak_speed,
        outcome: Outcome::Settled,
        reasons: Reasons::NONE,
        ..Record::from(&Move::default())
    }
}

fn typical_move(kind: &Kind, scale: f64) -> TypicalMove {
    TypicalMove {
        number: kind.number,
        forward: kind.forward,
        distance: f64::from(kind.distance) / scale,
        speed: f64::from(kind.speed) * TICKS / scale,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn motion(travel: f64, speed: f64) -> Option<Motion> {
        Some(Motion { travel, peak_speed: Some(speed) })
    }

    #[test]
    fn moves_of_two_recordings_share_their_kinds() {
        let moves = [
            motion(60.0, 600.0),
            motion(-60.0, 600.0),
            None,
            motion(61.0, 640.0),
            motion(60.0, 800.0),
            motion(-540.0, 611.0),
            Some(Motion { travel: -60.0, peak_speed: None }),
        ];
        let (numbers, typical) = kinds(&moves, 0.001);
        assert_eq!(numbers, [Some(1), Some(2), None, Some(1), Some(3), Some(4), Some(2)]);
        assert!((typical[0].distance - 60.0).abs() < 0.2 && (typical[0].speed - 600.0).abs() < 5.0);
        assert!(!typical[3].forward && (typical[3].distance - 540.0).abs() < 1e-3, "{typical:?}");
        // 3 of 10 steps of an encoder are no other distance, 3 of 1,000 steps are less than the tolerance.
        assert_eq!(kinds(&[motion(8.0, 1.0), motion(10.0, 1.0)], 1.0).0, [Some(1), Some(1)]);
        assert_eq!(kinds(&[motion(8.0, 1.0), motion(10.0, 1.0)], 0.1).0, [Some(1), Some(2)]);
    }
}
