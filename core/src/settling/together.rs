//! In: a stretch of samples that are alike. Out: the same as from one step for each.

use super::Settling;
use crate::sample::stretch::{Alike, LONGEST, Stretch};
use crate::settings::Settings;
use crate::settling::window::Position;

impl Settling {
    /// What the next samples are if nothing happens, the last error being this; `None` if something may.
    #[inline]
    pub fn alike(&self, settings: &Settings, error: i32) -> Option<Alike> {
        if !self.following.is_inside() {
            return None;
        }
        let counts = |counts: u32| i32::try_from(counts).unwrap_or(i32::MAX);
        let (widest, window) = (counts(settings.following_error_window), counts(settings.window));
        let between = |least: i32, most: i32| {
            let span = most.wrapping_sub(least) as u32;
            Alike { moving: self.moving, least, span, ticks: LONGEST, samples: u32::MAX }
        };
        if self.moving {
            return Some(between(-widest, widest));
        }
        // Ranges no wider than a jump.
        let (near, far) =
            (window.saturating_add(1), widest.min(window.saturating_add(counts(settings.jump))));
        let edge = window.min(widest).min(counts(settings.jump / 2));
        let samples = self.rest.room(settings).unwrap_or(u32::MAX);
        let inside = Alike { samples, ..between(-edge, edge) };
        match self.window.position() {
            Position::Outside if far <= window => None,
            Position::Outside if error < 0 => Some(between(-far, -near)),
            Position::Outside => Some(between(near, far)),
            Position::Inside => Some(Alike {
                ticks: settings.window_time.saturating_sub(self.window.inside_for + 1),
                ..inside
            }),
            Position::TargetReached => Some(inside),
        }
    }

    /// Adds a stretch of samples that are [`Settling::alike`].
    #[inline]
    pub fn take(&mut self, settings: &Settings, stretch: &Stretch) {
        let (readings, errors) = (stretch.readings(), stretch.errors());
        let (_, last) = stretch.end();
        if self.moving {
            self.peaks.moving_all(stretch);
            self.approach.step_all(readings, settings.window);
            self.window.moving(settings, stretch.last_error());
            return;
        }
        if self.stale {
            self.renew_curve(stretch.before().tick);
        }
        let largest = self.peaks.held_all(errors);
        self.curve.stamp_all(errors, readings, largest);
        self.window.step_all(last.tick.wrapping_sub(stretch.before().tick), largest);
        if self.window.position() == Position::Outside {
            self.peaks.blocks(stretch);
            self.flat(stretch);
        } else if self.rest.room(settings).is_some() {
            self.rest.step_all(errors);
        }
    }

    /// When the error changed last, and by how much in the last sample.
    #[inline]
    fn flat(&mut self, stretch: &Stretch) {
        let (last_but_one, last) = stretch.end();
        self.change = last.feedback.wrapping_sub(last_but_one.feedback);
        let pairs = stretch.errors().windows(2).zip(stretch.readings()).rev();
        if let Some((_, reading)) = pairs.into_iter().find(|(pair, _)| pair[0] != pair[1]) {
            self.changed = reading.tick;
        }
    }
}
