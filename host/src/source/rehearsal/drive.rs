//! In: the command and the motor's state. Out: the effort of the motor.
//!
//! The usual cascade: position P, velocity PI, feedforward of speed and acceleration, an effort limit, and the lag of
//! the effort loop. The integral is held while the limit is reached, so that it can't wind up.

/// Settings of a drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gains {
    /// Position gain. Unit: 1/s
    pub position: f64,
    /// Velocity gain. Unit: effort·s/unit
    pub velocity: f64,
    /// Integral action of the velocity loop. Unit: 1/s
    pub integral: f64,
    /// Share of the command's speed that is fed forward. Unit: 1
    pub speed_feedforward: f64,
    /// Feedforward effort per acceleration of the command. Unit: effort·s²/unit
    pub acceleration_feedforward: f64,
    /// Largest effort. Unit: effort
    pub effort_limit: f64,
    /// Time constant of the effort loop. Unit: s
    pub effort_lag: f64,
}

/// The command at one instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Command {
    /// Unit: unit
    pub position: f64,
    /// Unit: unit/s
    pub velocity: f64,
    /// Unit: unit/s²
    pub acceleration: f64,
}

/// State of a drive.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Drive {
    /// Effort of the integral action. Unit: effort
    integral: f64,
    /// Effort after the lag. Unit: effort
    effort: f64,
}

impl Drive {
    /// One step of `h` seconds towards `command`; returns the effort of the motor.
    pub fn step(&mut self, gains: &Gains, command: Command, position: f64, velocity: f64, h: f64) -> f64 {
        let target_velocity =
            gains.position * (command.position - position) + gains.speed_feedforward * command.velocity;
        let proportional = gains.velocity * (target_velocity - velocity);
        let demand = proportional + self.integral + gains.acceleration_feedforward * command.acceleration;
        // Not `clamp`, which panics on a limit below zero.
        let limited = demand.min(gains.effort_limit).max(-gains.effort_limit);
        if limited == demand {
            self.integral += h * gains.integral * proportional;
        }
        self.effort += (limited - self.effort) * (h / gains.effort_lag);
        self.effort
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GAINS: Gains = Gains {
        position: 30.0,
        velocity: 2.0,
        integral: 20.0,
        speed_feedforward: 0.9,
        acceleration_feedforward: 0.01,
        effort_limit: 100.0,
        effort_lag: 5e-4,
    };

    /// Holds the inputs for a while and compares the effort with a sum calculated by hand.
    fn check(command: Command, seconds: f64, expected: f64) {
        let (mut drive, h) = (Drive::default(), 50e-6);
        let mut effort = 0.0;
        for _ in 0..(seconds / h).round() as u32 {
            effort = drive.step(&GAINS, command, 0.0, 0.0, h);
        }
        assert!((effort - expected).abs() < 0.01 * expected.abs().max(1.0), "{command:?}: {effort}");
    }

    #[test]
    fn adds_up_its_paths() {
        let rest = Command::default();
        // 2 × 30 × 0.1 = 6, and the integral adds 20/s of it, less the lag's share.
        check(Command { position: 0.1, ..rest }, 0.05, 6.0 + 6.0 * 20.0 * (0.05 - 5e-4));
        check(Command { velocity: 10.0, ..rest }, 0.05, 18.0 + 18.0 * 20.0 * (0.05 - 5e-4));
        check(Command { acceleration: 1000.0, ..rest }, 0.05, 10.0);
        check(Command { position: 50.0, ..rest }, 1.0, 100.0);
        check(Command { position: -50.0, ..rest }, 1.0, -100.0);
    }
}
