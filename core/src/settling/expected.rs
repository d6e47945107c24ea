//! In: samples that are as expected. Out: the status, by the shortest way; the result is the same as by the long one.

use super::{Due, Settling, Status};
use crate::sample::Sample;
use crate::sample::stretch::Alike;
use crate::settings::Settings;
use crate::settling::window::Position;

impl Settling {
    /// Adds one sample that is [`Settling::expected`], the command changing as before.
    #[inline(always)]
    pub fn step_moving(&mut self, settings: &Settings, sample: Sample) -> Status {
        self.peaks.moving(sample);
        self.approach.step(sample.feedback, sample.tick, settings.window);
        self.window.moving(settings, sample.error);
        if self.curve_due > Due::Stamp {
            self.clear_curve(sample.tick);
        }
        Status { moving: true, position: self.window.position(), ..Status::default() }
    }

    /// Which of these samples need no closer look: once the target is reached, those between known extremes;
    /// and how many [`Settling::step_reached`] can take.
    pub fn expected(&self, settings: &Settings, alike: Alike) -> (Alike, u32) {
        if self.moving || self.window.position() != Position::TargetReached {
            return (alike, 0);
        }
        let summed = self.rest.room(settings).is_some();
        (self.peaks.known(alike), if summed { alike.samples } else { 0 })
    }

    /// Adds one sample that is [`Settling::expected`], the target being reached; [`Settling::reached_for`] counts it.
    #[inline]
    pub fn step_reached(&mut self, sample: Sample) -> Status {
        self.curve.stamp(sample.error_before().unsigned_abs(), sample.tick);
        self.rest.add(sample.error, sample.feedback_change);
        Status { position: Position::TargetReached, ..Status::default() }
    }

    /// Counts so many of them.
    #[inline]
    pub fn reached_for(&mut self, samples: u32) {
        self.rest.count_on(samples);
    }

    /// Adds one sample that is [`Settling::expected`], the command standing as before.
    #[inline]
    pub fn step_held(&mut self, settings: &Settings, sample: Sample) -> Status {
        self.curve.stamp(sample.error_before().unsigned_abs(), sample.tick);
        if self.window.position() == Position::TargetReached {
            // Nothing is summed any more.
            return Status { position: Position::TargetReached, ..Status::default() };
        }
        self.peaks.held(sample.error);
        if self.window.position() == Position::Outside {
            self.window.outside(sample.error);
            self.outside(sample);
            return Status { position: Position::Outside, ..Status::default() };
        }
        self.window.inside_for += sample.elapsed;
        self.rest.step_on(settings, sample.error, sample.feedback_change);
        Status { position: Position::Inside, ..Status::default() }
    }
}
