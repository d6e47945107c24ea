//! In: samples, and the part of a move each belongs to. Out: the status now; after the rest, the stop.
//!
//! The work is split by what has to be remembered: [`window`] tracks the one window that was asked
//! for, [`curve`] all others, [`crossing`] the last entry, [`approach`] what came before the command
//! end, [`peaks`] the extremes, [`rest`] the stretch afterwards and [`following`] the error's time-out.

use crate::motion::{Course, Phase};
use crate::sample::{Faults, Sample};
use crate::settings::Settings;

pub mod approach;
pub mod crossing;
pub mod curve;
pub mod following;
pub mod peaks;
pub mod rest;
pub mod window;

use approach::{Approach, First, Place};
use crossing::{Crossing, Uncertainty};
use curve::{Curve, Point, Readout};
use following::Following;
use peaks::{Peaks, Speed};
use rest::Rest;
use window::{Passage, Position, Window};

/// What can be said at every sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Status {
    /// Where feedback stands in the position window.
    pub position: Position,
    /// Following error beyond its window for longer than its time-out (statusword bit 13).
    pub following_error: bool,
}

/// What one stop was like. Instants count ticks since the first reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stop {
    /// Where feedback stood at the end of the rest.
    pub position: Position,
    /// Feedback was inside at the command end.
    pub began_inside: bool,
    /// First entry after the command end, if feedback was outside then. Unit: ticks
    pub first_entry: Option<u64>,
    /// Last entry, if feedback was ever outside. Unit: ticks
    pub last_entry: Option<u64>,
    /// How well `last_entry` is known. Unit: ticks
    pub uncertainty: Uncertainty,
    /// Sample at which the stay began that first reached the target. Unit: ticks
    pub reached: Option<u64>,
    /// First crossing into the window, if before the command end.
    pub first_crossing: First,
    /// Times feedback came to be inside.
    pub entries: u32,
    /// Largest excursion beyond the target in the direction of travel. Unit: counts
    pub overshoot: u32,
    /// Largest |error|. Unit: counts
    pub peak_following_error: u32,
    /// Unit: counts
    pub error_at_command_end: i32,
    /// Fastest feedback over eight samples.
    pub peak_speed: Speed,
    /// Mean error over the rest. Unit: 1/256 counts
    pub rest_error: i64,
    /// Rms of the error about it. Unit: 1/256 counts
    pub rest_noise: u32,
    /// Samples in the rest.
    pub rest_samples: u32,
    /// Command end to the last sample of the rest. Unit: ticks
    pub held: u64,
    /// Samples from the command end to the end of the rest.
    pub held_samples: u32,
    /// What was wrong in the move or before it had settled.
    pub faults: Faults,
}

/// The stage.
#[derive(Clone, Debug, Default)]
pub struct Settling {
    window: Window,
    curve: Curve,
    rest: Rest,
    peaks: Peaks,
    approach: Approach,
    following: Following,
    /// The sample before. Unit: counts
    error: i32,
    feedback: i32,
    tick: u32,
    now: u64,
    /// How long the error has been what it is. Unit: ticks
    flat: u32,
    /// Change of the error in the last step. Unit: counts
    change: i32,
    command_end: Place,
    error_at_command_end: i32,
    held_samples: u32,
    /// Faults that count, and those that will if the window is left again.
    faults: Faults,
    later: Faults,
    /// The curve still belongs to the move before.
    stale: bool,
}

impl Settling {
    /// Adds one sample.
    #[inline]
    pub fn step(&mut self, settings: &Settings, sample: &Sample, phase: Phase, now: u64) -> Status {
        match phase {
            Phase::Start => self.start(settings, sample, now),
            Phase::Moving => self.moving(settings, sample, now),
            Phase::Idle | Phase::Holding | Phase::End | Phase::Resting => self.held(settings, sample, now),
        }
        self.peaks.step(sample.feedback, sample.error, sample.elapsed);
        self.error = sample.error;
        self.feedback = sample.feedback;
        self.tick = sample.tick;
        self.now = now;
        let following_error = self.following.step(settings, sample.error, sample.elapsed);
        Status { position: self.window.position(), following_error }
    }

    #[cold]
    fn start(&mut self, settings: &Settings, sample: &Sample, now: u64) {
        self.faults = Faults::NONE;
        self.later = Faults::NONE;
        self.stale = true;
        self.peaks.restart(self.feedback, self.error);
        self.approach.restart(self.feedback, self.tick);
        self.moving(settings, sample, now);
    }

    #[inline]
    fn moving(&mut self, settings: &Settings, sample: &Sample, now: u64) {
        self.approach.step(sample.feedback, sample.tick, settings.window);
        self.window.restart(settings, sample.error, now);
        self.command_end = Place { tick: sample.tick, feedback: sample.feedback };
        self.error_at_command_end = sample.error;
        self.held_samples = 0;
        self.faults = self.faults.with(sample.faults).with(self.later);
        self.later = Faults::NONE;
        self.rest.restart(sample.error);
        self.flat = 0;
        self.change = 0;
    }

    #[inline]
    fn held(&mut self, settings: &Settings, sample: &Sample, now: u64) {
        if self.stale {
            self.curve.clear(self.tick);
            self.stale = false;
        }
        self.curve.stamp(self.error, sample.tick);
        self.held_samples = self.held_samples.saturating_add(1);
        self.later = self.later.with(sample.faults);
        let change = sample.error.wrapping_sub(self.error);
        self.flat = self.flat.saturating_add(sample.elapsed);
        match self.window.step(settings, sample, now) {
            Passage::Stayed => self.rest.step(sample.error),
            passage => self.passed(settings, sample, passage, now),
        }
        if change != 0 {
            self.flat = 0;
        }
        self.change = change;
    }

    #[cold]
    fn passed(&mut self, settings: &Settings, sample: &Sample, passage: Passage, now: u64) {
        // Whatever was wrong before this passage was wrong before the axis had settled.
        self.faults = self.faults.with(self.later);
        self.later = Faults::NONE;
        self.rest.restart(sample.error);
        if passage == Passage::Entered {
            let (secant, secant_time) = self.peaks.secant(sample.error);
            let change = sample.error.wrapping_sub(self.error);
            let crossing = Crossing {
                instant: now,
                elapsed: sample.elapsed,
                before: self.error,
                after: sample.error,
                flat: self.flat,
                secant,
                secant_time: secant_time.saturating_add(sample.elapsed),
                bend: change.wrapping_sub(self.change).unsigned_abs(),
            };
            self.window.enter(settings, crossing);
        }
    }

    /// The stop up to the last sample, after the command took this course.
    pub fn stop(&self, settings: &Settings, course: &Course) -> Stop {
        let target = self.command_end.feedback.wrapping_add(self.error_at_command_end);
        let edge = |crossing: Crossing| crossing.edge(settings);
        let noise = self.rest.noise();
        let confirmed = self.window.position() == Position::TargetReached;
        Stop {
            position: self.window.position(),
            began_inside: self.window.began_inside,
            first_entry: self.window.first.map(edge),
            last_entry: self.window.last.map(edge),
            uncertainty: self
                .window
                .last
                .map_or_else(Uncertainty::default, |at| at.uncertainty(settings, noise)),
            reached: self.window.reached,
            first_crossing: self.approach.first_crossing(settings, target, course.travel, self.command_end),
            entries: self.window.entries,
            overshoot: self.peaks.overshoot(target, course.travel),
            peak_following_error: self.peaks.error(),
            error_at_command_end: self.error_at_command_end,
            peak_speed: self.peaks.fastest(),
            rest_error: self.rest.mean(),
            rest_noise: self.rest.rms(),
            rest_samples: self.rest.count(),
            held: self.now.saturating_sub(course.command_end),
            held_samples: self.held_samples,
            faults: if confirmed { self.faults } else { self.faults.with(self.later) },
        }
    }

    /// How the curve of the last stop is read; take it with [`Settling::stop`].
    pub fn readout(&self, settings: &Settings, course: &Course) -> Readout {
        let held = self.now.saturating_sub(course.command_end);
        Readout {
            tick: self.tick,
            error: self.error.unsigned_abs(),
            held: u32::try_from(held).unwrap_or(u32::MAX),
            window_time: settings.window_time,
        }
    }

    /// The curve that `readout` was taken for, until the next sample.
    pub fn curve(&self, readout: Readout) -> impl Iterator<Item = Point> + '_ {
        self.curve.points(readout)
    }
}
