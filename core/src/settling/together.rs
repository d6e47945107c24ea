//! In: a stretch of samples that are alike. Out: the same as from one step for each.

use super::Settling;
use crate::sample::stretch::{Alike, Stretch};
use crate::settings::Settings;
use crate::settling::window::Position;

/// Longest time a stretch may take. Unit: ticks
const LONGEST: u32 = (1 << 31) - 1;

impl Settling {
    /// What the next samples are if nothing happens; `None` if something may.
    #[inline]
    pub fn alike(&self, settings: &Settings) -> Option<Alike> {
        let (ticks, samples, widest) = (LONGEST, u32::MAX, settings.following_error_window);
        let nearest = settings.window + 1;
        let outside = self.window.position() == Position::Outside && !self.moving;
        if !self.following.is_inside() || outside && widest < nearest {
            return None;
        }
        if self.moving {
            return Some(Alike { moving: true, size: (0, widest), ticks, samples });
        }
        let outside = Alike { moving: false, size: (nearest, widest), ticks, samples };
        let size = (0, widest.min(settings.window));
        let inside = Alike { size, samples: self.rest.room(settings).unwrap_or(u32::MAX), ..outside };
        Some(match self.window.position() {
            Position::Outside => outside,
            Position::Inside => {
                Alike { ticks: settings.window_time.saturating_sub(self.window.inside_for), ..inside }
            }
            Position::TargetReached => inside,
        })
    }

    /// Adds a stretch of samples that are [`Settling::alike`].
    #[inline]
    pub fn take(&mut self, settings: &Settings, stretch: &Stretch) {
        let errors = stretch.errors();
        if self.moving {
            self.peaks.moving_all(stretch);
            self.approach.step_all(&stretch.feedback()[1..], &stretch.ticks()[1..], settings.window);
            self.window.moving(settings, stretch.last_error());
            return;
        }
        let largest = self.peaks.held_all(errors);
        self.curve.stamp_all(&errors[..stretch.samples()], &stretch.ticks()[1..], largest);
        self.window.step_all(stretch.passed(), largest);
        if self.window.position() != Position::Outside {
            if self.rest.room(settings).is_some() {
                self.rest.step_all(errors);
            }
            return;
        }
        self.peaks.blocks(stretch);
        self.flat(stretch);
    }

    /// When the error changed last, and by how much in the last sample.
    #[inline]
    fn flat(&mut self, stretch: &Stretch) {
        let feedback = stretch.feedback();
        let last = feedback.windows(2).rposition(|pair| pair[0] != pair[1]);
        if let Some(last) = last {
            self.changed = stretch.ticks()[last + 1];
        }
        self.change = feedback.last_chunk::<2>().map_or(0, |last| last[1].wrapping_sub(last[0]));
    }
}
