//! In: feedback while the command still moves. Out: when it first crossed into the target's window.
//!
//! The target is known only at the command end, but ISO 9283 7.4 starts its clock at the first
//! crossing, which may lie before, even when feedback has shot through the window and out again. So
//! places of the approach are kept: the last few a quarter of a window apart, older ones wider.

use core::ops::Range;

use crate::sample::Reading;
use crate::settings::Settings;
use crate::settling::crossing::delay;

/// How many places are kept at each spacing.
const PLACES: usize = 32;
/// The wider spacing is this many times the narrower one: the places reach 128 windows back.
const WIDER: usize = 16;

/// Where feedback was, and when.
#[derive(Clone, Copy, Debug, Default)]
pub struct Place {
    /// Unit: ticks, wrapping
    pub tick: u32,
    /// Unit: counts, wrapping
    pub feedback: i32,
}

/// The last places of the approach, oldest overwritten.
#[derive(Clone, Debug, Default)]
#[repr(C)]
pub struct Approach {
    /// How many places were ever kept for this move.
    kept: usize,
    last: i32,
    near: [Place; PLACES],
    /// Every sixteenth of them.
    far: [Place; PLACES],
}

impl Approach {
    /// A move starts from here.
    #[inline]
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

    /// The same for many places.
    #[inline]
    pub fn step_all(&mut self, readings: &[Reading], window: u32) {
        readings.iter().for_each(|reading| self.step(reading.feedback, reading.tick, window));
    }

    fn keep(&mut self, feedback: i32, tick: u32) {
        let place = Place { tick, feedback };
        self.near[self.kept % PLACES] = place;
        if self.kept.is_multiple_of(WIDER) {
            self.far[self.kept / WIDER % PLACES] = place;
        }
        self.kept += 1;
        self.last = feedback;
    }

    /// Oldest first.
    fn places(&self) -> [&[Place]; 4] {
        let near = self.kept.saturating_sub(PLACES)..self.kept;
        let oldest = self.kept.div_ceil(WIDER).saturating_sub(PLACES);
        let far = ring(&self.far, oldest..near.start.div_ceil(WIDER));
        let near = ring(&self.near, near);
        [far.0, far.1, near.0, near.1]
    }

    /// When feedback first crossed into the window, for a move that ends at `command_end`.
    ///
    /// Two plain searches, from either end, and only what they find is interpolated.
    pub fn first_crossing(&self, settings: &Settings, target: i32, travel: i32, command_end: Place) -> First {
        let error = |place: &Place| target.wrapping_sub(place.feedback);
        let short_of_target = short_of_target(settings.window, travel);
        let (places, end) = (self.places(), [command_end]);
        let mut forwards = places.iter().copied().chain([&end[..]]);
        let Some(mut from) =
            places.iter().find_map(|run| run.first()).filter(|oldest| short_of_target(error(oldest)))
        else {
            return First::Unseen;
        };
        let crossed = forwards.find_map(|run| {
            run.iter().find(|place| {
                let short = short_of_target(error(place));
                from = if short { place } else { from };
                !short
            })
        });
        let Some(crossed) = crossed else { return First::NotYet };
        let inside = |place: &Place| error(place).unsigned_abs() <= settings.window;
        let mut to = &command_end;
        // Found at the latest where the first one was.
        let left = places.iter().rev().find_map(|run| {
            run.iter().rev().find(|before| {
                let swung_through = (error(to) < 0) != (error(before) < 0);
                let crosses = !inside(before) && (inside(to) || swung_through);
                to = if crosses { to } else { before };
                crosses
            })
        });
        let since = |from: &Place, to: &Place| {
            let delay = delay(error(from), error(to), settings, to.tick.wrapping_sub(from.tick));
            command_end.tick.wrapping_sub(from.tick.wrapping_add(delay))
        };
        let first = since(from, crossed);
        First::Before { first, last: left.map_or(first, |left| since(left, to)) }
    }
}

/// Whether an error lies outside the window, on the side that a move of this travel comes from.
fn short_of_target(window: u32, travel: i32) -> impl Fn(i32) -> bool {
    // The complement is one less than the negative, so that no error is its own opposite.
    let backward = travel >> 31;
    let edge = (window as i32).wrapping_add(backward);
    move |error| error ^ backward > edge
}

/// The places of a ring that were kept in this range, which is no longer than the ring.
fn ring(places: &[Place; PLACES], kept: Range<usize>) -> (&[Place], &[Place]) {
    let (start, count) = (kept.start % PLACES, kept.len());
    let (begun, rest) = places.split_at(start);
    let beyond = count.saturating_sub(rest.len());
    (rest.get(..count).unwrap_or(rest), begun.get(..beyond).unwrap_or(begun))
}

/// When feedback first crossed into the window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum First {
    /// Not by the command end.
    #[default]
    NotYet,
    /// Before it.
    Before {
        /// First crossing to the command end. Unit: ticks
        first: u32,
        /// Last crossing to the command end. Unit: ticks
        last: u32,
    },
    /// Further back than the places reach.
    Unseen,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    fn before(first: u32, last: u32) -> First {
        First::Before { first, last }
    }

    #[track_caller]
    fn check(approach: &[i32], target: i32, expected: First) {
        let settings = Settings::new(Parameters { window: 8, ..Parameters::default() }).unwrap();
        let mut places = Approach::default();
        let feedback = |k: usize| approach.get(k).copied().unwrap_or(target);
        places.restart(feedback(0), 0);
        (1..approach.len()).for_each(|k| places.step(feedback(k), k as u32 * 10, settings.window));
        let last = approach.len() - 1;
        let command_end = Place { tick: last as u32 * 10, feedback: feedback(last) };
        assert_eq!(places.first_crossing(&settings, target, target - feedback(0), command_end), expected);
    }

    #[test]
    fn the_first_crossing_is_found_in_what_was_kept() {
        check(&[0, 100, 180, 192, 196, 199, 200], 200, before(31, 31));
        check(&[0, 100, 180, 190, 196, 199, 200], 200, before(28, 28));
        // Through the window and back, all before the command end.
        check(&[0, 100, 180, 220, 230, 205], 200, before(28, 2));
        check(&std::vec::Vec::from_iter((0..100).map(|k| k * 5).chain([200])), 200, before(617, 1));
        // Through the window, a hundred windows beyond, and back.
        check(
            &std::vec::Vec::from_iter((0..400).chain((200..400).rev()).map(|k| k * 4)),
            800,
            before(4012, 22),
        );
        // Small steps reach back further than large ones, but not without end.
        check(&std::vec::Vec::from_iter((0..=200).map(|k| k * 2)), 400, before(43, 43));
        check(&std::vec::Vec::from_iter((0..2000).map(|k| 392 + k % 2 * 4)), 400, First::Unseen);
        check(&[0, 50, 100, 150], 200, First::NotYet);
        check(&[0, -100, -250, -200], -200, before(14, 2));
    }
}
