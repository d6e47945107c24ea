//! In: causes and chance. Out: a plant with these causes, and the same plant without one of them.

use stillpoint_core::Signature;

use super::command::Command;
use super::drive::{Drive, PERIOD};
use super::machine::{Friction, Machine};
use super::plant::Plant;
use crate::chance::Chance;

/// A plant with its causes, and how it is measured.
#[derive(Clone, Copy, Debug)]
pub struct Drawn {
    /// With all causes.
    pub plant: Plant,
    /// Without any.
    pub sound: Plant,
    /// Half-width of the window. Unit: mm
    pub window: f64,
    /// Smallest step of the encoder. Unit: mm
    pub step: f64,
    /// Deviation of the noise of one reading. Unit: mm
    pub noise: f64,
    /// Control periods from sample to sample.
    pub periods: usize,
    /// Command end to the end of the rest. Unit: s
    pub rest: f64,
}

/// A number between these, all alike likely.
fn between(chance: &mut Chance, least: f64, most: f64) -> f64 {
    least + (most - least) * chance.uniform()
}

/// A number between these, each octave alike likely.
fn spread(chance: &mut Chance, least: f64, most: f64) -> f64 {
    least * (most / least).powf(chance.uniform())
}

impl Drawn {
    /// A sound axis with these causes added.
    pub fn new(causes: &[Signature], chance: &mut Chance) -> Drawn {
        let sound = sound(chance);
        let window = spread(chance, 0.01, 0.08);
        let mut drawn = Drawn {
            plant: sound,
            sound,
            window,
            step: window / spread(chance, 4.0, 100.0),
            noise: window * spread(chance, 0.003, 0.08),
            periods: 1 << chance.below(4),
            rest: spread(chance, 0.3, 1.5),
        };
        for cause in causes {
            drawn.add(*cause, chance);
        }
        // The drive is strong enough for what it has to move and to hold.
        let Plant { command, machine, .. } = &drawn.plant;
        let strength = 2.0 * command.acceleration + 2.0 * machine.gravity + 3.0 * machine.friction.sliding;
        (drawn.plant.drive.limit, drawn.sound.drive.limit) = (strength, strength);
        drawn
    }

    /// The same without what this signature advises to remove.
    pub fn without(&self, signature: Signature) -> Drawn {
        let (mut drawn, sound) = (*self, &self.sound);
        let Plant { drive, machine, .. } = &mut drawn.plant;
        match signature {
            Signature::Clean | Signature::Unsure => (),
            Signature::Lag => {
                drive.speed_share = sound.drive.speed_share;
                drive.acceleration_share = sound.drive.acceleration_share;
            }
            Signature::Ringing => {
                (machine.frequency, machine.damping) = (sound.machine.frequency, sound.machine.damping);
                drive.position_gain = sound.drive.position_gain;
            }
            Signature::Creep => machine.friction = sound.machine.friction,
            Signature::Overshoot => *drive = Drive { dead_band: drive.dead_band, ..sound.drive },
            Signature::Hunting => {
                machine.friction = sound.machine.friction;
                drive.position_gain = sound.drive.position_gain;
            }
            Signature::Offset => {
                machine.friction = sound.machine.friction;
                machine.gravity = sound.machine.gravity;
                drive.dead_band = 0.0;
            }
        }
        drawn
    }

    fn add(&mut self, cause: Signature, chance: &mut Chance) {
        match cause {
            Signature::Clean | Signature::Unsure => (),
            Signature::Lag => self.plant.drive.speed_share = between(chance, 0.0, 0.9),
            Signature::Ringing => self.add_spring(chance),
            Signature::Creep => self.add_creep(chance),
            Signature::Overshoot => self.add_overshoot(chance),
            Signature::Hunting => self.add_hunting(chance),
            Signature::Offset => self.add_offset(chance),
        }
    }

    fn add_spring(&mut self, chance: &mut Chance) {
        let machine = &mut self.plant.machine;
        machine.frequency = spread(chance, 8.0, 50.0);
        machine.damping = spread(chance, 0.005, 0.08);
        if chance.below(2) == 0 {
            let sliding = self.acceleration() * spread(chance, 0.01, 0.12);
            self.plant.machine.friction = self.friction(chance, sliding, 1.2);
        }
    }

    /// The acceleration that the loops need for an error of one window. Unit: mm/s²
    fn acceleration(&self) -> f64 {
        self.window * self.plant.drive.position_gain * self.plant.drive.speed_gain
    }

    /// Friction that the loops overcome slowly, because the integral is weak.
    fn add_creep(&mut self, chance: &mut Chance) {
        let sliding = self.acceleration() * spread(chance, 1.5, 15.0);
        self.plant.machine.friction = self.friction(chance, sliding, 1.3);
        self.plant.drive.integral_time *= spread(chance, 4.0, 40.0);
    }

    /// Feedforward above 100 %, of speed or of acceleration, or a strong integral.
    fn add_overshoot(&mut self, chance: &mut Chance) {
        let drive = &mut self.plant.drive;
        match chance.below(3) {
            0 => drive.speed_share = between(chance, 1.05, 1.4),
            1 => drive.acceleration_share = between(chance, 1.5, 3.0),
            _ => {
                drive.integral_time = between(chance, 3.0, 6.0) / drive.speed_gain;
                drive.acceleration_share = between(chance, 0.0, 0.5);
            }
        }
    }

    /// Friction that sticks, or a position loop that oscillates.
    fn add_hunting(&mut self, chance: &mut Chance) {
        let (drive, sound) = (&mut self.plant.drive, &mut self.sound.drive);
        self.rest = spread(chance, 0.6, 2.0);
        if chance.below(2) == 0 {
            drive.integral_time = between(chance, 3.0, 8.0) / drive.speed_gain;
            drive.speed_share = between(chance, 0.8, 0.98);
            let sliding = self.acceleration() * spread(chance, 8.0, 40.0);
            let friction = self.friction(chance, sliding, 3.0);
            // It sticks outside the window, where it is slower than this.
            let speed = self.window * self.plant.drive.position_gain * between(chance, 2.0, 8.0);
            self.plant.machine.friction = Friction { speed, ..friction };
        } else {
            let delay = spread(chance, 0.002, 0.012);
            drive.delay = (delay / PERIOD) as usize;
            (sound.delay, sound.position_gain) = (drive.delay, 0.3 / delay);
            drive.position_gain = between(chance, 1.5, 2.3) / delay;
        }
    }

    /// Gravity or friction without integral action, or a dead band.
    fn add_offset(&mut self, chance: &mut Chance) {
        let acceleration = self.acceleration() * spread(chance, 1.2, 10.0);
        match chance.below(3) {
            0 => {
                self.plant.drive.integral_time = f64::INFINITY;
                self.plant.machine.gravity = acceleration / self.plant.machine.load;
            }
            1 => {
                self.plant.drive.integral_time = f64::INFINITY;
                self.plant.machine.friction = self.friction(chance, acceleration, 1.3);
            }
            _ => {
                self.plant.drive.dead_band = self.window * spread(chance, 1.2, 5.0);
                self.plant.drive.speed_share = between(chance, 0.5, 0.95);
            }
        }
    }

    /// Friction that sticks up to this many times stronger than it slides. Unit: mm/s², none
    fn friction(&self, chance: &mut Chance, sliding: f64, sticking: f64) -> Friction {
        Friction {
            sliding,
            sticking: between(chance, (1.0 + sticking) / 2.0, sticking),
            speed: self.window * self.plant.drive.position_gain * spread(chance, 0.05, 1.0),
            presliding: self.window * spread(chance, 0.02, 0.2),
        }
    }
}

/// An axis that stops well.
fn sound(chance: &mut Chance) -> Plant {
    let speed_gain = between(chance, 200.0, 600.0);
    let command = Command {
        distance: spread(chance, 10.0, 200.0),
        speed: between(chance, 100.0, 600.0),
        acceleration: between(chance, 1000.0, 8000.0),
        smoothing: between(chance, 0.002, 0.03),
    };
    let drive = Drive {
        position_gain: speed_gain / between(chance, 4.0, 8.0),
        speed_gain,
        integral_time: between(chance, 10.0, 20.0) / speed_gain,
        speed_share: 1.0,
        acceleration_share: between(chance, 0.99, 1.0),
        delay: 0,
        dead_band: 0.0,
        balance: 0.0,
        limit: f64::INFINITY,
    };
    let machine = Machine {
        frequency: 400.0,
        damping: 0.1,
        load: between(chance, 0.3, 0.7),
        friction: Friction::default(),
        gravity: 0.0,
    };
    Plant { command, drive, machine }
}
