//! In: causes and chance. Out: simulated stops of which it is known why they are slow.
//!
//! Each stop is simulated with its causes and again without one of them: what removal saves is what that cause costs.

pub mod command;
pub mod drive;
pub mod machine;
pub mod plant;
pub mod draw;
pub mod truth;
pub mod table;

use stillpoint_core::{Parameters, Reading, Signature};

use self::draw::Drawn;
use self::drive::PERIOD;
use self::truth::TrueError;
use crate::chance::Chance;

/// Time stamps. Unit: ticks/s
const TICKS: u32 = 1_000_000;

/// One simulated stop.
#[derive(Clone, Debug)]
pub struct Caused {
    /// What was simulated.
    pub drawn: Drawn,
    /// Settings of the measurement.
    pub parameters: Parameters,
    /// What a monitor sees of it.
    pub readings: Vec<Reading>,
    /// Its true error.
    pub error: TrueError,
}

impl Caused {
    /// A stop with these causes.
    pub fn new(causes: &[Signature], chance: &mut Chance) -> Caused {
        let drawn = Drawn::new(causes, chance);
        let motion = drawn.plant.run(drawn.rest);
        let parameters = Parameters {
            window: (drawn.window / drawn.step) as u32,
            synchronous: true,
            ..Parameters::at(TICKS)
        };
        let phase = chance.uniform();
        let tick = |k: usize| (k as f64 * PERIOD * f64::from(TICKS)).round() as u32;
        // A recorder that is slower begins so that it sees the command end as soon as it happens.
        let first = motion.command_end % drawn.periods;
        let readings = (first..motion.command.len()).step_by(drawn.periods).map(|k| {
            let seen = motion.position[k] + drawn.noise * chance.normal();
            Reading {
                tick: tick(k),
                command: (motion.command[k] / drawn.step).round() as i32,
                feedback: (seen / drawn.step + phase).floor() as i32,
            }
        });
        Caused { parameters, readings: readings.collect(), error: true_error(&drawn, &motion), drawn }
    }

    /// The true error of the same stop without what this signature advises to remove.
    pub fn error_without(&self, signature: Signature) -> TrueError {
        let other = self.drawn.without(signature);
        true_error(&other, &other.plant.run(other.rest))
    }
}

fn true_error(drawn: &Drawn, motion: &plant::Motion) -> TrueError {
    let error = |k: usize| (motion.command[k] - motion.position[k]) / drawn.window;
    // Times count from the last change of the command that a monitor sees, in whole steps.
    let seen = |k: usize| (motion.command[k] / drawn.step).round();
    let target = seen(motion.command_end);
    let end = (0..motion.command_end).rev().find(|k| seen(*k) != target).map_or(0, |k| k + 1);
    TrueError { errors: (end..motion.command.len()).map(error).collect(), period: PERIOD }
}
