//! In: feedback while the command still moves. Out: when it first crossed into the target's window.
//!
//! The target is known only at the command end. ISO 9283 7.4 starts its clock at the first crossing, which may lie
//! before it, even when feedback has run through the window and out again. So points of the path are stored: the
//! last ones a quarter of a window apart, older ones more widely spaced.

use core::ops::Range;

use crate::settings::Settings;
use crate::settling::crossing::delay;

/// Points stored at each spacing.
const POINTS: usize = 32;
/// The wider spacing is this many times the narrower one: the points reach 128 windows back.
const WIDER: usize = 16;

/// Where feedback was, and when.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct PathPoint {
    /// Unit: ticks, wrapping
    pub tick: u32,
    /// Unit: counts, wrapping
    pub feedback: i32,
}

/// The last points of the path, oldest overwritten.
#[derive(Clone, Debug, Default)]
pub(crate) struct Approach {
    /// Points stored for this move, those overwritten included.
    count: usize,
    last: i32,
    near: [PathPoint; POINTS],
    /// Every sixteenth of them.
    far: [PathPoint; POINTS],
}

impl Approach {
    /// A move starts from here.
    pub(crate) fn restart(&mut self, feedback: i32, tick: u32) {
        self.count = 0;
        self.push(feedback, tick);
    }

    /// The command has changed again; the point is stored if it is far enough from the last.
    pub(crate) fn step(&mut self, feedback: i32, tick: u32, window: u32) {
        if feedback.wrapping_sub(self.last).unsigned_abs() > window / 4 {
            self.push(feedback, tick);
        }
    }

    fn push(&mut self, feedback: i32, tick: u32) {
        let point = PathPoint { tick, feedback };
        self.near[self.count % POINTS] = point;
        if self.count % WIDER == 0 {
            self.far[self.count / WIDER % POINTS] = point;
        }
        self.count += 1;
        self.last = feedback;
    }

    /// Oldest first.
    fn points(&self) -> [&[PathPoint]; 4] {
        let near = self.count.saturating_sub(POINTS)..self.count;
        let oldest = self.count.div_ceil(WIDER).saturating_sub(POINTS);
        let far = ring(&self.far, oldest..near.start.div_ceil(WIDER));
        let near = ring(&self.near, near);
        [far.0, far.1, near.0, near.1]
    }

    /// When feedback first and last crossed into the window, for a move that ends at `command_end`.
    ///
    /// Only the two pairs of points around these crossings are interpolated.
    pub(crate) fn first_crossing(
        &self,
        settings: &Settings,
        target: i32,
        travel: i32,
        command_end: PathPoint,
    ) -> FirstCrossing {
        let error = |point: &PathPoint| target.wrapping_sub(point.feedback);
        let inside = |point: &PathPoint| error(point).unsigned_abs() <= settings.window;
        let short_of_target = short_of_target(settings.window, travel);
        let runs = self.points();
        let path = || runs.iter().copied().flatten().chain(core::iter::once(&command_end));
        let since = |(from, to): (&PathPoint, &PathPoint)| {
            let delay = delay(error(from), error(to), settings, to.tick.wrapping_sub(from.tick));
            command_end.tick.wrapping_sub(from.tick.wrapping_add(delay))
        };
        let Some(from) = path().take_while(|point| short_of_target(error(point))).last() else {
            return FirstCrossing::Unseen;
        };
        let Some(to) = path().find(|point| !short_of_target(error(point))) else {
            return FirstCrossing::NotYet;
        };
        let crosses = |(from, to): &(&PathPoint, &PathPoint)| {
            let swings_through = (error(to) < 0) != (error(from) < 0);
            !inside(from) && (inside(to) || swings_through)
        };
        let last = path().zip(path().skip(1)).filter(crosses).last();
        let first = since((from, to));
        FirstCrossing::Before { first, last: last.map_or(first, since) }
    }
}

/// Whether an error lies outside the window, on the side that a move of this travel comes from.
fn short_of_target(window: u32, travel: i32) -> impl Fn(i32) -> bool {
    // The complement is one less than the negative, so that no error is its own opposite.
    let backward = travel >> 31;
    let edge = (window as i32).wrapping_add(backward);
    move |error| error ^ backward > edge
}

/// The points of a ring stored under these numbers, at most as many as the ring holds.
fn ring(points: &[PathPoint; POINTS], numbers: Range<usize>) -> (&[PathPoint], &[PathPoint]) {
    let (start, count) = (numbers.start % POINTS, numbers.len());
    let (newer, older) = points.split_at(start);
    let wrapped = count.saturating_sub(older.len());
    (older.get(..count).unwrap_or(older), newer.get(..wrapped).unwrap_or(newer))
}

/// When feedback first crossed into the window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FirstCrossing {
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
    /// Further back than the stored points reach.
    Unseen,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Parameters;

    fn before(first: u32, last: u32) -> FirstCrossing {
        FirstCrossing::Before { first, last }
    }

    #[track_caller]
    fn check(approach: &[i32], target: i32, expected: FirstCrossing) {
        let settings = Settings::new(Parameters { window: 8, ..Parameters::at(1_000_000) }).unwrap();
        let mut path = Approach::default();
        let feedback = |k: usize| approach.get(k).copied().unwrap_or(target);
        path.restart(feedback(0), 0);
        (1..approach.len()).for_each(|k| path.step(feedback(k), k as u32 * 10, settings.window));
        let last = approach.len() - 1;
        let command_end = PathPoint { tick: last as u32 * 10, feedback: feedback(last) };
        assert_eq!(path.first_crossing(&settings, target, target - feedback(0), command_end), expected);
    }

    #[test]
    fn the_first_crossing_is_found_in_the_stored_points() {
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
        check(&std::vec::Vec::from_iter((0..2000).map(|k| 392 + k % 2 * 4)), 400, FirstCrossing::Unseen);
        check(&[0, 50, 100, 150], 200, FirstCrossing::NotYet);
        check(&[0, -100, -250, -200], -200, before(14, 2));
    }
}
