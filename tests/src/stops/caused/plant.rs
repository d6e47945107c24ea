//! In: a command, a drive and a machine. Out: commanded and true positions of one move and its rest.

use super::command::Command;
use super::drive::{Drive, Memory, PERIOD};
use super::machine::{Machine, STEP};

/// Time before the command moves, in which the machine comes to rest. Unit: s
const BEFORE: f64 = 0.4;

/// An axis and what it is commanded to do.
#[derive(Clone, Copy, Debug)]
pub struct Plant {
    /// The move.
    pub command: Command,
    /// The drive, which closes its loops on the motor.
    pub drive: Drive,
    /// The machine, of which the load is measured.
    pub machine: Machine,
}

/// What the axis does, at each control period.
#[derive(Clone, Debug)]
pub struct Motion {
    /// Commanded positions. Unit: mm
    pub command: Vec<f64>,
    /// Positions of the load, less that at rest before gravity stretched anything. Unit: mm
    pub position: Vec<f64>,
    /// First period at the final command.
    pub command_end: usize,
}

impl Plant {
    /// One move and its rest of this length. Unit: s
    pub fn run(&self, rest: f64) -> Motion {
        let before = (BEFORE / PERIOD) as usize;
        let mut command = vec![0.0; before];
        command.extend(self.command.positions(PERIOD));
        let target = *command.last().expect("a command has positions");
        command.truncate(command.iter().rposition(|at| *at != target).map_or(0, |last| last + 2));
        let command_end = command.len() - 1;
        command.resize(command_end + (rest / PERIOD) as usize, target);
        let position = self.follow(&command);
        Motion { command, position, command_end }
    }

    fn follow(&self, command: &[f64]) -> Vec<f64> {
        let (mut state, mut memory) = (self.machine.at_rest(), Memory::default());
        let origin = state.position;
        let at = |k: usize, back: usize| command[k.saturating_sub(back)];
        let one = |k| {
            let seen = state.position - origin;
            let drive = self.drive.step(&mut memory, [at(k, 0), at(k, 1), at(k, 2)], state.motor);
            (0..(PERIOD / STEP).round() as usize).for_each(|_| self.machine.step(&mut state, drive));
            seen
        };
        (0..command.len()).map(one).collect()
    }
}
