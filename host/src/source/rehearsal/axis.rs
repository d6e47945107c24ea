//! In: the data of one invented axis, a seed and a rate. Out: its samples, one after another, without end.

use rand_pcg::Pcg32;
use stillpoint_core::{Fraction, Reading};
use thiserror::Error;

use super::conditions::{Conditions, Response};
use super::drive::{Command, Drive, Gains};
use super::lever::{Adjustment, Setup};
use super::mechanics::{Body, State};
use super::nuisance::Nuisance;
use super::profile::{Profile, Unplannable};
use super::script::{Move, Run, Script, noise};
use super::wear::{Slip, Wear};

/// Steps of the simulation in one second; the drive works at the same rate. Unit: 1/s
pub const STEPS_PER_SECOND: u32 = 20_000;
/// Ticks of the virtual monitor's clock in one second. Unit: 1/s
pub const TICKS_PER_SECOND: u32 = 1_000_000;
const STEP: f64 = 1.0 / STEPS_PER_SECOND as f64;

/// The data of one axis.
#[derive(Clone, Debug, PartialEq)]
pub struct AxisData {
    /// Name in records and files.
    pub name: &'static str,
    /// Unit of every length of this axis.
    pub unit: &'static str,
    /// Exact scale of command and feedback. Unit: counts/unit
    pub counts_per_unit: Fraction,
    /// Mechanics.
    pub body: Body,
    /// Settings of the drive.
    pub gains: Gains,
    /// Speed limit of the command. Unit: unit/s
    pub speed: f64,
    /// Acceleration limit of the command. Unit: unit/s²
    pub acceleration: f64,
    /// Jerk limit of the command. Unit: unit/s³
    pub jerk: f64,
    /// Noise of the sampled feedback; the drive's feedback has none. Unit: counts
    pub noise_rms: f64,
    /// Rest before the first move. Unit: s
    pub lead_in: f64,
    /// Its moves.
    pub script: Script,
    /// Its wear.
    pub wear: Wear,
    /// How nuisances change its mechanics.
    pub response: Response,
    /// Nuisances that vary from move to move or stop the machine; see [`AxisData::with_nuisances`].
    pub nuisances: Vec<Nuisance>,
    /// What is changed while it runs, in the order of time; each change takes effect with the next move.
    pub adjustments: Vec<Adjustment>,
}

/// Factor on the noise of a noisy sensor.
const NOISY: f64 = 20.0;
/// Age at which a belt is retensioned: three quarters of the time until the machine is worn out.
const RETENSIONED: f64 = 0.6;

impl AxisData {
    /// A random stream for each axis and use: neither the rate nor another axis changes the moves.
    pub(super) fn stream(&self) -> u64 {
        self.name.bytes().fold(0, |sum: u64, byte| sum.wrapping_mul(31).wrapping_add(u64::from(byte)))
    }

    /// What can be changed on it.
    pub fn setup(&self) -> Setup {
        Setup { body: self.body, gains: self.gains, acceleration: self.acceleration, jerk: self.jerk }
    }

    /// The same axis under these nuisances.
    pub fn with_nuisances(self, nuisances: &[Nuisance]) -> AxisData {
        let has = |nuisance| nuisances.contains(&nuisance);
        let retensioned = if has(Nuisance::RetensionedBelt) { RETENSIONED } else { self.wear.retensioned };
        AxisData {
            noise_rms: self.noise_rms * if has(Nuisance::SensorNoise) { NOISY } else { 1.0 },
            wear: Wear { retensioned, ..self.wear },
            nuisances: nuisances.to_vec(),
            ..self
        }
    }
}

/// Why an axis can't be simulated.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum Unusable {
    /// The rate doesn't divide that of the simulation.
    #[error("{0} samples per second don't divide {STEPS_PER_SECOND} steps; take 1000, 4000 or 10000")]
    Rate(u32),
    /// The machine can't wear out within this time.
    #[error("a machine can't wear out within {0} hours; give a finite number above zero")]
    Life(f64),
    /// A move of the script can't be planned.
    #[error("axis {axis}: {reason}")]
    Move {
        /// Name of the axis.
        axis: &'static str,
        /// What is wrong with the move.
        reason: Unplannable,
    },
}

/// The current move and its rest.
#[derive(Clone, Copy, Debug)]
struct Leg {
    start: f64,
    target: f64,
    profile: Profile,
    moving: u32,
    length: u32,
    done: u32,
    slip: f64,
    /// Whether the machine is off: nothing moves.
    off: bool,
}

/// A simulated axis. The iterator of its samples never ends.
#[derive(Clone, Debug)]
pub struct Axis {
    data: AxisData,
    as_built: Setup,
    /// Changes that have taken effect.
    adjusted: usize,
    run: Run,
    conditions: Conditions,
    random: Pcg32,
    scale: f64,
    steps_per_sample: u32,
    ticks_per_sample: u32,
    tick: u32,
    steps: u64,
    age: f64,
    slip: Slip,
    moves: u64,
    leg: Leg,
    body: Body,
    drive: Drive,
    state: State,
}

impl Axis {
    /// An axis at rest at zero; `rate` in samples per second. Every move of the script is planned here once, so that
    /// a step can't fail.
    pub fn new(data: AxisData, seed: u64, rate: u32) -> Result<Axis, Unusable> {
        if rate == 0 || !STEPS_PER_SECOND.is_multiple_of(rate) {
            return Err(Unusable::Rate(rate));
        }
        let rest = plan(&data, 0.0)?;
        for entry in &data.script.moves {
            plan(&data, entry.target)?;
        }
        let stream = data.stream();
        let length = steps(data.lead_in);
        Ok(Axis {
            run: Run::new(data.script.clone(), seed, stream),
            conditions: Conditions::new(&data.nuisances, data.response, seed, stream),
            random: Pcg32::new(seed, !stream),
            scale: data.counts_per_unit.to_f64(),
            steps_per_sample: STEPS_PER_SECOND / rate,
            ticks_per_sample: TICKS_PER_SECOND / rate,
            tick: 0,
            steps: 0,
            age: 0.0,
            slip: Slip::default(),
            moves: 0,
            leg: Leg {
                start: 0.0,
                target: 0.0,
                profile: rest,
                moving: 0,
                length,
                done: 0,
                slip: 0.0,
                off: false,
            },
            body: data.body,
            drive: Drive::default(),
            state: State::default(),
            adjusted: 0,
            as_built: data.setup(),
            data,
        })
    }

    /// The data of the axis.
    pub fn data(&self) -> &AxisData {
        &self.data
    }

    /// The same axis, as if it had begun that much earlier. Unit: s
    #[cfg(test)]
    pub(super) fn later(mut self, seconds: f64) -> Axis {
        self.steps = (seconds / STEP) as u64;
        self
    }

    /// Number of moves begun.
    pub fn moves(&self) -> u64 {
        self.moves
    }

    /// Sets the share of its wear that has happened, 0 to 1; takes effect from the next move on.
    pub fn set_age(&mut self, age: f64) {
        self.age = age;
    }

    /// The next sample. The first is at tick zero, at rest.
    pub fn step(&mut self) -> Reading {
        let command = self.command();
        let encoder_position = self.state.motor_position + self.slip.offset();
        let feedback = encoder_position * self.scale + self.data.noise_rms * noise(&mut self.random);
        let reading = Reading {
            tick: self.tick,
            command: nearest(command.position * self.scale),
            feedback: nearest(feedback),
        };
        for _ in 0..self.steps_per_sample {
            self.advance();
        }
        self.tick = self.tick.wrapping_add(self.ticks_per_sample);
        reading
    }

    /// The command now.
    fn command(&self) -> Command {
        let Leg { start, target, profile, moving, done, .. } = &self.leg;
        if done >= moving {
            return Command { position: *target, ..Command::default() };
        }
        let t = f64::from(*done) * STEP;
        Command {
            position: start + profile.position(t),
            velocity: profile.velocity(t),
            acceleration: profile.acceleration(t),
        }
    }

    /// One step. Unit: 1 / [`STEPS_PER_SECOND`]
    fn advance(&mut self) {
        if self.leg.done >= self.leg.length {
            self.begin_leg();
        }
        if !self.leg.off {
            self.simulate();
        }
        self.leg.done += 1;
        self.steps += 1;
    }

    /// One step of drive and mechanics.
    fn simulate(&mut self) {
        let State { motor_position, motor_velocity, .. } = self.state;
        let command = self.command();
        let effort = self.drive.step(&self.data.gains, command, motor_position, motor_velocity, STEP);
        self.state.step(&self.body, effort, STEP);
        if self.leg.done == self.leg.moving {
            self.slip.aim(self.leg.slip);
        }
        self.slip.step(STEP);
    }

    /// The next move, or a second of a pause.
    fn begin_leg(&mut self) {
        let now = self.steps as f64 * STEP;
        if self.conditions.works(now) {
            self.begin_move(now);
        } else {
            self.leg = Leg { moving: 0, length: STEPS_PER_SECOND, done: 0, off: true, ..self.leg };
        }
    }

    /// Makes the changes that are due. Unit: s
    fn adjust(&mut self, now: f64) {
        while let Some(due) = self.data.adjustments.get(self.adjusted).filter(|one| one.at <= now).copied() {
            let mut setup = self.data.setup();
            (due.lever.set)(&mut setup, &self.as_built, due.value);
            let Setup { body, gains, acceleration, jerk } = setup;
            (self.data.body, self.data.gains) = (body, gains);
            (self.data.acceleration, self.data.jerk) = (acceleration, jerk);
            self.adjusted += 1;
        }
    }

    fn begin_move(&mut self, now: f64) {
        self.adjust(now);
        let start = self.leg.target;
        let planned = self.run.next_move().and_then(|next| {
            let profile = plan(&self.data, next.target - start).ok()?;
            Some((next, profile))
        });
        let Some((next, profile)) = planned else {
            // No move: the axis rests again.
            self.leg = Leg { done: self.leg.moving, off: false, ..self.leg };
            return;
        };
        let Move { target, dwell, load, friction, slip } = next;
        let moving = steps(profile.duration());
        let length = moving.saturating_add(steps(dwell).max(1));
        let slip = slip * self.data.wear.slip.at(self.age) * (target - start).signum();
        self.leg = Leg { start, target, profile, moving, length, done: 0, slip, off: false };
        let worn = self.data.wear.worn(&self.data.body, self.age);
        let factors = self.conditions.next_move(now);
        self.body = Body {
            load_inertia: worn.load_inertia * load * factors.load,
            friction: worn.friction * friction,
            viscous: worn.viscous * factors.viscous,
            stiffness: worn.stiffness * factors.stiffness,
            ..worn
        };
        self.moves += 1;
    }
}

impl Iterator for Axis {
    type Item = Reading;

    fn next(&mut self) -> Option<Reading> {
        Some(self.step())
    }
}

fn plan(data: &AxisData, distance: f64) -> Result<Profile, Unusable> {
    Profile::new(distance, data.speed, data.acceleration, Some(data.jerk))
        .map_err(|reason| Unusable::Move { axis: data.name, reason })
}

/// Whole steps that cover `seconds`; none for a negative time.
fn steps(seconds: f64) -> u32 {
    (seconds * f64::from(STEPS_PER_SECOND)).ceil() as u32
}

/// Nearest count; a cast is faster than `round` and gives the same result on every platform.
fn nearest(counts: f64) -> i32 {
    (if counts < 0.0 { counts - 0.5 } else { counts + 0.5 }) as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::rehearsal::transplanter::tray_shuttle;
    use crate::source::rehearsal::wear::Ramp;

    fn readings(seed: u64, rate: u32, count: usize) -> Vec<Reading> {
        Axis::new(tray_shuttle(), seed, rate).unwrap().take(count).collect()
    }

    #[test]
    fn the_same_seed_gives_the_same_samples() {
        assert_eq!(readings(1, 4000, 20_000), readings(1, 4000, 20_000));
        assert_ne!(readings(1, 4000, 20_000), readings(2, 4000, 20_000));
    }

    #[test]
    fn the_rate_only_chooses_the_sampled_instants() {
        let (slow, fast) = (readings(1, 2000, 4000), readings(1, 10_000, 20_000));
        for (slow, fast) in slow.iter().zip(fast.iter().step_by(5)) {
            assert_eq!((slow.tick, slow.command), (fast.tick, fast.command));
            // Only the noise differs: at most 3.46 rms on each side and the rounding.
            let difference = f64::from((slow.feedback - fast.feedback).abs());
            assert!(difference <= 2.0 * 3.5 * tray_shuttle().noise_rms + 1.0, "{slow:?} {fast:?}");
        }
    }

    #[test]
    fn unusable_data_is_refused_with_a_reason() {
        for rate in [0, 3, 7000, 40_000] {
            assert_eq!(Axis::new(tray_shuttle(), 1, rate).unwrap_err(), Unusable::Rate(rate));
        }
        let broken = AxisData { speed: 0.0, ..tray_shuttle() };
        let message = Axis::new(broken, 1, 4000).unwrap_err().to_string();
        assert_eq!(
            message,
            "axis tray_shuttle: the speed limit of a move is 0; give a finite number above zero"
        );
        let mut idle = tray_shuttle();
        idle.script.moves.clear();
        let mut idle = Axis::new(idle, 1, 4000).unwrap();
        assert!(idle.by_ref().take(10_000).all(|reading| reading.command == 0));
        assert_eq!(idle.moves(), 0);
    }

    #[test]
    fn slip_shifts_the_feedback_at_rest() {
        let mut data = tray_shuttle();
        data.wear = Wear { slip: Ramp::steady(0.5), ..Wear::NONE };
        let sound = Axis::new(AxisData { wear: Wear::NONE, ..data.clone() }, 1, 4000).unwrap();
        let slipped = Axis::new(data, 1, 4000).unwrap();
        let offset: Vec<_> = sound.zip(slipped).take(2000).map(|(a, b)| b.feedback - a.feedback).collect();
        assert!(offset[..1000].iter().all(|&counts| counts == 0), "before the first stop");
        assert!((100..=8800).contains(&offset[1900]), "at rest: {}", offset[1900]);
        assert!(offset[1100] < offset[1900] && offset[1900] == offset[1901], "slips on and stays");
    }
}
