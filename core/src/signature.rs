//! In: samples of a move and its rest, then its record. Out: the signature: which shape the stop has.
//!
//! Five features are collected sample by sample, each in a file of its own: [`lag`], [`turns`], [`blocks`], [`standing`]
//! and [`noise`]. At the end of the rest [`evidence`] reads them out, and [`rules`] compare them with thresholds, whose
//! reasons are in METHOD.md. [`offset`] tells from the blocks whether feedback stands at the end.

use crate::motion::{Aside, Phase};
use crate::sample::Sample;
use crate::settings::Settings;

pub(crate) mod lag;
pub(crate) mod turns;
pub(crate) mod blocks;
pub(crate) mod standing;
pub(crate) mod noise;
pub(crate) mod offset;
pub(crate) mod evidence;
pub(crate) mod rules;

use blocks::Blocks;
use lag::Lag;
use noise::Noise;
use standing::Standing;
use turns::{Step, Turns};

/// Which shape a stop has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Signature {
    /// It settles at once.
    Clean,
    /// The following error of the move runs out.
    Lag,
    /// It swings to and fro ever less.
    Ringing,
    /// It comes in slowly, out of nothing that was there while the axis moved.
    Creep,
    /// It comes back from beyond the target.
    Overshoot,
    /// It goes to and fro without end.
    Hunting,
    /// It stands beside the window.
    Offset,
    /// No rule fits.
    Unsure,
}

impl Signature {
    /// All of them, in order.
    pub const ALL: [Signature; 8] = [
        Signature::Clean,
        Signature::Lag,
        Signature::Ringing,
        Signature::Creep,
        Signature::Overshoot,
        Signature::Hunting,
        Signature::Offset,
        Signature::Unsure,
    ];

    /// The signature as a word, as in reports and files.
    pub const fn word(self) -> &'static str {
        match self {
            Signature::Clean => "clean",
            Signature::Lag => "lag",
            Signature::Ringing => "ringing",
            Signature::Creep => "creep",
            Signature::Overshoot => "overshoot",
            Signature::Hunting => "hunting",
            Signature::Offset => "offset",
            Signature::Unsure => "unsure",
        }
    }
}

/// The features of the move under way.
#[derive(Clone, Debug, Default)]
pub(crate) struct Shape {
    pub(crate) lag: Lag,
    /// With the hysteresis, and with twice that, for noise.
    pub(crate) turns: [Turns; 2],
    pub(crate) blocks: Blocks,
    pub(crate) standing: Standing,
    pub(crate) noise: Noise,
    moving: bool,
    inside: bool,
}

/// Smallest hysteresis of turning points: half a window, and three encoder steps. Unit: counts
pub(crate) fn hysteresis(settings: &Settings) -> u32 {
    (settings.window / 2).max(settings.encoder_step.saturating_mul(3))
}

impl Shape {
    /// Adds one sample, after which feedback is inside the window or not.
    pub(crate) fn step(&mut self, settings: &Settings, sample: Sample, phase: Phase, inside: bool) {
        match phase {
            Phase::Start { .. } => {
                self.lag.restart();
                self.changed(sample);
            }
            Phase::Moving => self.changed(sample),
            Phase::Holding | Phase::End | Phase::Idle | Phase::Resting => {
                self.lag.hold(1);
                self.unchanged(settings, sample, inside);
            }
        }
    }

    /// It is decided what becomes of the part set aside.
    pub(crate) fn resolve(&mut self, aside: Aside) {
        if matches!(aside, Aside::Joins { .. }) {
            self.lag.join();
        }
    }

    fn changed(&mut self, sample: Sample) {
        self.lag.change(sample.command_change, sample.error);
        self.moving = true;
    }

    fn unchanged(&mut self, settings: &Settings, sample: Sample, inside: bool) {
        if self.moving {
            self.command_ended(settings, sample);
        }
        if inside && !self.inside {
            self.turns.iter_mut().for_each(Turns::enter);
        }
        self.inside = inside;
        self.add(hysteresis(settings), sample.error, sample.feedback_change, sample.tick);
    }

    /// Adds one error at a standing command, and the change of feedback.
    pub(crate) fn add(&mut self, hysteresis: u32, error: i32, change: i32, tick: u32) {
        self.noise.step(change);
        self.blocks.step(error);
        self.standing.step(error);
        self.turn(hysteresis, error, tick);
    }

    /// The sample before this one may have been the command end.
    fn command_ended(&mut self, settings: &Settings, sample: Sample) {
        let (error, tick) = (sample.error_before(), sample.tick_before());
        self.moving = false;
        self.inside = error.unsigned_abs() <= settings.window;
        self.turns.iter_mut().for_each(|turns| turns.restart(error, tick));
        self.blocks.restart(error);
        self.standing = Standing::default();
        self.noise.restart();
    }

    /// Adds one error to the turning points.
    ///
    /// What is new to the larger hysteresis is new to the smaller one: its extremes are among those of the smaller one,
    /// and it turns only while the smaller one turns or finds a new extreme.
    fn turn(&mut self, hysteresis: u32, error: i32, tick: u32) {
        let [fine, coarse] = &mut self.turns;
        match fine.step(hysteresis, error, tick) {
            Step::Within => return,
            Step::Further => (),
            Step::Turned(extreme) => {
                self.blocks.turn(0);
                self.standing.turn(extreme, fine.count > 1);
            }
        }
        if let Step::Turned(_) = coarse.step(hysteresis.saturating_mul(2), error, tick) {
            self.blocks.turn(1);
        }
    }
}
