//! In: a list of moves and a seed. Out: the moves one after another, with small random variations.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;

/// One entry of a script.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// Target position. Unit: unit
    pub target: f64,
    /// Rest of the command after the move, before variation. Unit: s
    pub dwell: f64,
    /// Factor on the inertia of the load, before variation.
    pub load: f64,
    /// Factor on friction.
    pub friction: f64,
    /// Slip at its stop as a share of the largest slip, before variation.
    pub slip: f64,
}

impl Move {
    /// A move with normal load, friction and slip.
    pub const fn to(target: f64, dwell: f64) -> Move {
        Move { target, dwell, load: 1.0, friction: 1.0, slip: 1.0 }
    }
}

/// The moves of one axis, repeated without end, and their variation.
#[derive(Clone, Debug, PartialEq)]
pub struct Script {
    /// An axis with an empty list rests for ever.
    pub moves: Vec<Move>,
    /// Largest relative variation of the load, uniform in both directions. Unit: 1
    pub load_spread: f64,
    /// Largest relative variation of the dwell, uniform in both directions. Unit: 1
    pub dwell_spread: f64,
}

/// Progress of a script.
#[derive(Clone, Debug)]
pub struct Run {
    script: Script,
    next: usize,
    random: Pcg32,
}

impl Run {
    /// Starts at the first move; the same seed and stream give the same variation.
    pub fn new(script: Script, seed: u64, stream: u64) -> Run {
        Run { script, next: 0, random: Pcg32::new(seed, stream) }
    }

    /// The next move, varied; `None` only for an empty script.
    pub fn next_move(&mut self) -> Option<Move> {
        let entry = *self.script.moves.get(self.next)?;
        self.next = (self.next + 1) % self.script.moves.len();
        Some(Move {
            dwell: entry.dwell * (1.0 + self.script.dwell_spread * uniform(&mut self.random)),
            load: entry.load * (1.0 + self.script.load_spread * uniform(&mut self.random)),
            slip: entry.slip * (0.5 + 0.5 * uniform(&mut self.random)),
            ..entry
        })
    }
}

/// Uniform over −1 … 1, in steps of 2⁻³¹.
pub(super) fn uniform(random: &mut Pcg32) -> f64 {
    f64::from(random.next_u32() as i32) / 2_147_483_648.0
}

/// Noise close to a normal distribution: the sum of four 16-bit numbers, bounded at ±3.46 rms.
pub fn noise(random: &mut Pcg32) -> f64 {
    // Four uniform numbers of 0 … 65535 have a variance of 4 × (65536² − 1) / 12.
    const PER_RMS: f64 = 1.0 / 37_837.227_237_206_48;
    let (a, b) = (random.next_u32(), random.next_u32());
    let sum = (a & 0xFFFF) + (a >> 16) + (b & 0xFFFF) + (b >> 16);
    (f64::from(sum) - 131_070.0) * PER_RMS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn variation_stays_in_its_spread_and_repeats() {
        let script = Script { moves: vec![Move::to(60.0, 0.2)], load_spread: 0.3, dwell_spread: 0.1 };
        let mut runs = [1, 1, 2].map(|seed| Run::new(script.clone(), seed, 7));
        let mut loads = Vec::new();
        for _ in 0..1000 {
            let [one, same, other] = runs.each_mut().map(|run| run.next_move().unwrap());
            assert_eq!(one, same);
            assert_ne!(one, other);
            assert!((one.load - 1.0).abs() <= 0.3 && (0.0..=1.0).contains(&one.slip));
            assert!((one.dwell / 0.2 - 1.0).abs() <= 0.1 + 1e-12);
            loads.push(one.load);
        }
        loads.sort_by(f64::total_cmp);
        assert!(loads[0] < 0.71 && loads[999] > 1.29, "the spread is used: {} {}", loads[0], loads[999]);
        let empty = Script { moves: vec![], ..script };
        assert_eq!(Run::new(empty, 1, 7).next_move(), None);
    }

    #[test]
    fn noise_has_no_mean_and_an_rms_of_one() {
        let mut random = Pcg32::new(5, 5);
        let (mut sum, mut squares, count) = (0.0, 0.0, 100_000.0);
        for _ in 0..100_000 {
            let value = noise(&mut random);
            sum += value;
            squares += value * value;
        }
        assert!((sum / count).abs() < 4.0 / 316.0, "mean {}", sum / count);
        assert!((squares / count - 1.0).abs() < 0.02, "mean square {}", squares / count);
    }
}
