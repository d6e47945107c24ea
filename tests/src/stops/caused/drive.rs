//! In: commanded and measured positions. Out: the acceleration that a drive commands.
//!
//! A position loop over a speed loop with integral action, and feedforward of speed and acceleration: the usual cascade.

use std::collections::VecDeque;

/// Period of the loops. Unit: s
pub const PERIOD: f64 = 250e-6;

/// Parameters of a drive.
#[derive(Clone, Copy, Debug)]
pub struct Drive {
    /// Speed for a position error. Unit: 1/s
    pub position_gain: f64,
    /// Acceleration for a speed error. Unit: 1/s
    pub speed_gain: f64,
    /// Integral time of the speed loop; infinite without integral action. Unit: s
    pub integral_time: f64,
    /// Share of the commanded speed that is fed forward.
    pub speed_share: f64,
    /// Share of the commanded acceleration that is fed forward.
    pub acceleration_share: f64,
    /// How late the position loop has its error. Unit: control periods
    pub delay: usize,
    /// Position errors up to this do nothing. Unit: mm
    pub dead_band: f64,
    /// Acceleration that balances gravity. Unit: mm/s²
    pub balance: f64,
    /// Largest acceleration. Unit: mm/s²
    pub limit: f64,
}

/// What a drive remembers.
#[derive(Clone, Debug, Default)]
pub struct Memory {
    /// Position errors that are on their way. Unit: mm
    errors: VecDeque<f64>,
    /// Position of the period before. Unit: mm
    position: f64,
    /// Unit: mm/s
    speed: f64,
    /// Unit: mm/s²
    integral: f64,
    /// Acceleration decided in the period before: computing takes one. Unit: mm/s²
    decided: f64,
}

impl Drive {
    /// The acceleration of this period; `command` has the command of this period and of the two before. Unit: mm
    pub fn step(&self, memory: &mut Memory, command: [f64; 3], position: f64) -> f64 {
        let speed = (command[0] - command[1]) / PERIOD;
        let acceleration = (command[0] - 2.0 * command[1] + command[2]) / (PERIOD * PERIOD);
        memory.errors.push_back(command[0] - position);
        let late = if memory.errors.len() > self.delay { memory.errors.pop_front() } else { None };
        let error = late.unwrap_or(0.0);
        let error = error.signum() * (error.abs() - self.dead_band).max(0.0);
        // The measured speed is averaged over some three periods.
        memory.speed += 0.5 * ((position - memory.position) / PERIOD - memory.speed);
        memory.position = position;
        let speed_error = self.position_gain * error + self.speed_share * speed - memory.speed;
        let wanted = self.speed_gain * speed_error
            + memory.integral
            + self.acceleration_share * acceleration
            + self.balance;
        let given = wanted.clamp(-self.limit, self.limit);
        if given == wanted {
            memory.integral += self.speed_gain * speed_error * PERIOD / self.integral_time;
        }
        std::mem::replace(&mut memory.decided, given)
    }
}
