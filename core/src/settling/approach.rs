//! In: feedback while the command still moves. Out: when it first crossed into the target's window.
//!
//! The target is known only at the command end, but ISO 9283 7.4 starts its clock at the first
//! crossing, which may lie before. So the last few places of the approach are kept, a quarter of a
//! window apart.

use crate::settings::Settings;
use crate::settling::crossing::delay;

/// How many places are kept: they reach at least twelve windows back.
const PLACES: usize = 48;

/// Where feedback was, and when.
#[derive(Clone, Copy, Debug, Default)]
pub struct Place {
    /// Unit: ticks, wrapping
    pub tick: u32,
    /// Unit: counts, wrapping
    pub feedback: i32,
}

/// The last places of the approach, oldest overwritten.
#[derive(Clone, Debug)]
pub struct Approach {
    places: [Place; PLACES],
    /// How many places were ever kept for this move.
    kept: usize,
    last: i32,
}

impl Default for Approach {
    fn default() -> Approach {
        Approach { places: [Place::default(); PLACES], kept: 0, last: 0 }
    }
}

impl Approach {
    /// A move starts from here.
    #[cold]
    pub fn restart(&mut self, feedback: i32, tick: u32) {
        self.kept = 0;
        self.keep(feedback, tick);
    }

    /// The command has changed again; the place is kept if it is new.
    #[inline]
    pub fn step(&mut self, feedback: i32, tick: u32, window: u32) {
        if feedback.wrapping_sub(self.last).unsigned_abs() > window / 4 {
            self.keep(feedback, tick);
        }
    }

    fn keep(&mut self, feedback: i32, tick: u32) {
        if let Some(place) = self.places.get_mut(self.kept % PLACES) {
            *place = Place { tick, feedback };
        }
        self.kept += 1;
        self.last = feedback;
    }

    /// Time from the first crossing into the window to the command end. Unit: ticks
    ///
    /// `None` if that crossing is further back than the places reach.
    pub fn lead(&self, settings: &Settings, target: i32, command_end: Place) -> Option<u32> {
        let error = |place: Place| target.wrapping_sub(place.feedback);
        let inside = |place: Place| error(place).unsigned_abs() <= settings.window;
        let oldest = self.kept.saturating_sub(PLACES);
        let kept = (oldest..self.kept).filter_map(|k| self.places.get(k % PLACES));
        let mut places = kept.copied().chain([command_end]);
        let mut from = places.next().filter(|oldest| !inside(*oldest))?;
        for place in places {
            if inside(place) || (error(place) < 0) != (error(from) < 0) {
                let elapsed = place.tick.wrapping_sub(from.tick);
                let delay = delay(error(from), error(place), settings, elapsed);
                return Some(command_end.tick.wrapping_sub(from.tick.wrapping_add(delay)));
            }
            from = place;
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    #[track_caller]
    fn check(approach: &[i32], target: i32, expected: Option<u32>) {
        let settings = Settings::new(Parameters { window: 8, ..Parameters::default() }).unwrap();
        let mut places = Approach::default();
        let feedback = |k: usize| approach.get(k).copied().unwrap_or(target);
        places.restart(feedback(0), 0);
        (1..approach.len()).for_each(|k| places.step(feedback(k), k as u32 * 10, settings.window));
        let last = approach.len() - 1;
        let command_end = Place { tick: last as u32 * 10, feedback: feedback(last) };
        assert_eq!(places.lead(&settings, target, command_end), expected);
    }

    #[test]
    fn the_first_crossing_is_found_in_what_was_kept() {
        check(&[0, 100, 180, 192, 196, 199, 200], 200, Some(31));
        check(&[0, 100, 180, 190, 196, 199, 200], 200, Some(28));
        // Through the window and back, all before the command end.
        check(&[0, 100, 180, 220, 230, 205], 200, Some(28));
        // Small steps reach back further than large ones, but not without end.
        check(&std::vec::Vec::from_iter((0..=200).map(|k| k * 2)), 400, Some(43));
        check(&std::vec::Vec::from_iter((0..500).map(|k| 392 + k % 2 * 4)), 400, None);
        check(&[0, -100, -250, -200], -200, Some(14));
    }
}
