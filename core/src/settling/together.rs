//! In: a stretch of samples that are alike. Out: the same as from one step for each.

use super::{Due, Settling};
use crate::sample::stretch::{Alike, LONGEST, Stretch};
use crate::settings::{Bounds, Settings};
use crate::settling::window::Position;

impl Settling {
    /// What the next samples are if nothing happens, the last error being this; `None` if something may.
    #[inline]
    pub fn alike(&self, settings: &Settings, error: i32) -> Option<Alike> {
        if !self.following.is_inside() {
            return None;
        }
        let widest = settings.bounds().widest;
        if self.moving { Some(Alike::within(widest).moving()) } else { self.alike_standing(settings, error) }
    }

    /// The same while the command stands and the following error is inside.
    #[inline]
    pub fn alike_standing(&self, settings: &Settings, error: i32) -> Option<Alike> {
        let Bounds { far, edge, .. } = settings.bounds();
        let position = self.window.position();
        if position == Position::Outside {
            let span = far.wrapping_sub((settings.window as i32).wrapping_add(1));
            let least = if error < 0 { -far } else { far.wrapping_sub(span) };
            return (span >= 0).then_some(Alike { least, span: span as u32, ..Alike::within(0) });
        }
        let samples = self.rest.room(settings).unwrap_or(u32::MAX);
        let ticks = match position {
            Position::Inside => settings.window_time.saturating_sub(self.window.inside_for + 1),
            _ => LONGEST,
        };
        Some(Alike { ticks, samples, ..Alike::within(edge) })
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
        if self.curve_due != Due::Nothing {
            self.begin_curve(stretch.before().tick);
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
