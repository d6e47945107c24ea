//! In: one reading. Out: the status at it, by the shortest of four ways.
//!
//! At most samples nothing new happens, and a few comparisons tell: they go one of three short ways, by what is
//! expected of them. Those at which feedback passes an edge or grows beyond known extremes go a longer one while no
//! phase can end, and only the others are looked at closely. The result is the same, and a test holds it to that.

use super::Axis;
use crate::sample::stretch::{Alike, LONGEST};
use crate::sample::{Reading, Sample};
use crate::settings::Settings;
use crate::settling::Status;

impl Axis {
    /// Adds one reading; the status holds for this instant.
    #[inline(always)]
    pub fn step(&mut self, settings: &Settings, reading: Reading) -> Status {
        // One by one they come in registers.
        let Reading { tick, command, feedback } = reading;
        if self.sampler.expects_rest() && !self.sampler.moves(command) {
            self.step_reached(settings, tick, command, feedback)
        } else if self.sampler.expects_motion() {
            self.step_moving(settings, tick, command, feedback)
        } else if self.sampler.moves(command) {
            self.step_away(settings, tick, command, feedback)
        } else {
            self.step_held(settings, tick, command, feedback)
        }
    }

    #[inline(never)]
    fn step_reached(&mut self, settings: &Settings, tick: u32, command: i32, feedback: i32) -> Status {
        let Some(sample) = self.sampler.step_reached(Reading { tick, command, feedback }) else {
            return self.step_held(settings, tick, command, feedback);
        };
        self.settling.step_reached(sample)
    }

    /// Counts the samples that only the sampler has counted so far.
    #[inline]
    pub(super) fn catch_up(&mut self) {
        let passed = self.sampler.passed();
        if passed > 0 {
            self.motion.held_for(passed);
            self.settling.reached_for(passed);
        }
    }

    #[inline(never)]
    fn step_moving(&mut self, settings: &Settings, tick: u32, command: i32, feedback: i32) -> Status {
        if !self.sampler.moves(command) {
            return self.step_stopped(settings, tick, command, feedback);
        }
        let Some(sample) = self.sampler.step_moving(settings, Reading { tick, command, feedback }) else {
            return self.step_closely(settings, tick, command, feedback);
        };
        self.motion.step_moving(sample);
        self.settling.step_moving(settings, sample)
    }

    /// Adds the first reading of a command that stands after it has moved.
    #[inline(never)]
    fn step_stopped(&mut self, settings: &Settings, tick: u32, command: i32, feedback: i32) -> Status {
        let Some(sample) = self.sampler.step_stopped(settings, Reading { tick, command, feedback }) else {
            return self.step_closely(settings, tick, command, feedback);
        };
        let now = self.sampler.now();
        self.motion.stopped(sample, now);
        Status { position: self.settling.stopped(settings, sample, now), ..Status::default() }
    }

    #[inline(never)]
    fn step_held(&mut self, settings: &Settings, tick: u32, command: i32, feedback: i32) -> Status {
        let reading = Reading { tick, command, feedback };
        if let Some(sample) = self.sampler.step_held(reading) {
            self.motion.step_held();
            return self.settling.step_held(settings, sample);
        }
        let Some(sample) = self.sampler.step_calm(settings, reading) else {
            return self.step_closely(settings, tick, command, feedback);
        };
        self.step_calm(settings, sample)
    }

    /// Adds the first reading of a command that moves after it has stood, while there is no move to tell.
    #[inline(never)]
    fn step_away(&mut self, settings: &Settings, tick: u32, command: i32, feedback: i32) -> Status {
        let reading = Reading { tick, command, feedback };
        let sample = if self.pending.is_none() { self.sampler.step_away(settings, reading) } else { None };
        let Some(sample) = sample else {
            return self.step_closely(settings, tick, command, feedback);
        };
        // How many samples only the sampler has counted is no longer asked for.
        let phase = self.motion.step_away(settings, sample, self.sampler.now());
        let position = self.settling.step_away(settings, sample, phase);
        self.sampler.expect_motion();
        Status { moving: true, position, ..Status::default() }
    }

    /// Adds a sample of a standing command at which no phase ends.
    #[inline(always)]
    fn step_calm(&mut self, settings: &Settings, sample: Sample) -> Status {
        self.catch_up();
        self.motion.step_held();
        let quiet = self.settling.step_calm(settings, sample, || self.sampler.now());
        self.sampler.expect_nothing();
        // Only after a sample at which nothing has happened: that leaves time for it.
        if quiet {
            self.expect(settings, sample.error);
        }
        Status { position: self.settling.position(), ..Status::default() }
    }

    #[inline(never)]
    fn step_closely(&mut self, settings: &Settings, tick: u32, command: i32, feedback: i32) -> Status {
        self.catch_up();
        let status = self.step_any(settings, &Reading { tick, command, feedback });
        if self.sampler.is_sound() && self.settling.is_following() {
            if status.moving {
                self.sampler.expect_motion();
            } else {
                // How long nothing but the place of feedback can change, if the command stands.
                self.sampler.stay_calm(self.phase_left(settings).min(LONGEST));
            }
        }
        status
    }

    /// Most likely the next samples of a standing command are like this one, and need no closer look.
    #[inline]
    fn expect(&mut self, settings: &Settings, error: i32) {
        let Some(alike) = self.settling.alike_standing(settings, error) else { return };
        let ticks = alike.ticks.min(self.sampler.calm_left());
        // From an error out of the range feedback may jump into it.
        if alike.samples > 0 && alike.has(error) {
            let (alike, reached) = self.settling.expected(settings, Alike { ticks, ..alike });
            self.sampler.expect(alike, reached);
        }
    }
}
