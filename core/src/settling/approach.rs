//! In: feedback while the command moves; then the target. Out: the first and last crossing into the target's window.
//!
//! The target is known only at the command end. The stabilization time of ISO 9283 7.4 starts at the first crossing,
//! which may come before the command end, even if feedback has run through the window and out again. So approach
//! points are stored: the last ones a quarter of a window apart (fine), older ones 16 times as far apart (coarse).

use core::ops::Range;

use heapless::Vec;

use crate::settings::Settings;
use crate::settling::crossing::delay;

/// Approach points stored at each of the two spacings.
const POINTS: usize = 32;
/// Coarse spacing divided by fine spacing: the points reach 128 windows of feedback travel back.
const COARSE: usize = 16;

/// An approach point: feedback at an instant.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct ApproachPoint {
    /// Unit: ticks, wrapping
    pub tick: u32,
    /// Unit: counts, wrapping
    pub feedback: i32,
}

/// The approach points of a move, in two rings that overwrite the oldest.
#[derive(Clone, Debug, Default)]
pub(crate) struct Approach {
    /// Number of points stored for this move, overwritten ones included.
    count: usize,
    /// Feedback of the last point. Unit: counts, wrapping
    last: i32,
    fine: [ApproachPoint; POINTS],
    /// Every sixteenth of the points.
    coarse: [ApproachPoint; POINTS],
}

impl Approach {
    /// A move starts from this feedback.
    pub(crate) fn restart(&mut self, feedback: i32, tick: u32) {
        self.count = 0;
        self.push(feedback, tick);
    }

    /// Adds feedback while the command moves; it is stored if it is more than a quarter of the window from the last
    /// point.
    pub(crate) fn step(&mut self, feedback: i32, tick: u32, window: u32) {
        if feedback.wrapping_sub(self.last).unsigned_abs() > window / 4 {
            self.push(feedback, tick);
        }
    }

    fn push(&mut self, feedback: i32, tick: u32) {
        let point = ApproachPoint { tick, feedback };
        self.fine[self.count % POINTS] = point;
        if self.count.is_multiple_of(COARSE) {
            self.coarse[self.count / COARSE % POINTS] = point;
        }
        self.count += 1;
        self.last = feedback;
    }

    /// The points, oldest first, and the command end after them.
    fn path(&self, command_end: ApproachPoint) -> Vec<ApproachPoint, { 2 * POINTS + 1 }> {
        let fine = self.count.saturating_sub(POINTS)..self.count;
        let oldest = self.count.div_ceil(COARSE).saturating_sub(POINTS);
        let coarse = ring(&self.coarse, oldest..fine.start.div_ceil(COARSE));
        let fine = ring(&self.fine, fine);
        let mut path = Vec::new();
        for points in [coarse.0, coarse.1, fine.0, fine.1, &[command_end]] {
            // There is room for all of them.
            let _ = path.extend_from_slice(points);
        }
        path
    }

    /// The crossings into the window about `target`, for a move that ends at `command_end`.
    ///
    /// Each crossing is interpolated between the approach points before and after it.
    pub(crate) fn first_crossing(
        &self,
        settings: &Settings,
        target: i32,
        travel: i32,
        command_end: ApproachPoint,
    ) -> FirstCrossing {
        let error = |point: &ApproachPoint| target.wrapping_sub(point.feedback);
        let inside = |point: &ApproachPoint| error(point).unsigned_abs() <= settings.window;
        let short_of_target = short_of_target(settings.window, travel);
        let since = |from: &ApproachPoint, to: &ApproachPoint| {
            let delay = delay(error(from), error(to), settings, to.tick.wrapping_sub(from.tick));
            command_end.tick.wrapping_sub(from.tick.wrapping_add(delay))
        };
        let path = self.path(command_end);
        let Some(crossed) = path.iter().position(|point| !short_of_target(error(point))) else {
            return FirstCrossing::NotYet;
        };
        let Some([from, to]) = crossed.checked_sub(1).and_then(|before| path.get(before..=crossed)) else {
            return FirstCrossing::Unseen;
        };
        let first = since(from, to);
        let last = path.windows(2).rev().find_map(|pair| {
            let [from, to] = pair else { return None };
            let swings_through = (error(to) < 0) != (error(from) < 0);
            (!inside(from) && (inside(to) || swings_through)).then(|| since(from, to))
        });
        FirstCrossing::Before { first, last: last.unwrap_or(first) }
    }
}

/// A test whether an error lies outside the window, on the side from which a move of this travel comes.
fn short_of_target(window: u32, travel: i32) -> impl Fn(i32) -> bool {
    // The bitwise complement mirrors errors without overflow: it is the negative less one.
    let backward = travel >> 31;
    let edge = (window as i32).wrapping_add(backward);
    move |error| error ^ backward > edge
}

/// The points of a ring with these numbers, in order: at most `POINTS` of them.
fn ring(points: &[ApproachPoint; POINTS], numbers: Range<usize>) -> (&[ApproachPoint], &[ApproachPoint]) {
    let (start, count) = (numbers.start % POINTS, numbers.len());
    let (newer, older) = points.split_at(start);
    let wrapped = count.saturating_sub(older.len());
    (older.get(..count).unwrap_or(older), newer.get(..wrapped).unwrap_or(newer))
}

/// The first crossing of feedback into the window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FirstCrossing {
    /// None by the command end.
    #[default]
    NotYet,
    /// Before the command end.
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
        let command_end = ApproachPoint { tick: last as u32 * 10, feedback: feedback(last) };
        assert_eq!(path.first_crossing(&settings, target, target - feedback(0), command_end), expected);
    }

    #[test]
    fn the_first_crossing_is_found_in_the_stored_points() {
        check(&[0, 100, 180, 192, 196, 199, 200], 200, before(30, 30));
        check(&[0, 100, 180, 190, 196, 199, 200], 200, before(27, 27));
        // Through the window and back, all before the command end.
        check(&[0, 100, 180, 220, 230, 205], 200, before(27, 1));
        check(&std::vec::Vec::from_iter((0..100).map(|k| k * 5).chain([200])), 200, before(617, 0));
        // Through the window, a hundred windows beyond, and back.
        check(
            &std::vec::Vec::from_iter((0..400).chain((200..400).rev()).map(|k| k * 4)),
            800,
            before(4011, 21),
        );
        // Small steps: the points reach 200 steps back, but not 2000.
        check(&std::vec::Vec::from_iter((0..=200).map(|k| k * 2)), 400, before(42, 42));
        check(&std::vec::Vec::from_iter((0..2000).map(|k| 392 + k % 2 * 4)), 400, FirstCrossing::Unseen);
        check(&[0, 50, 100, 150], 200, FirstCrossing::NotYet);
        check(&[0, -100, -250, -200], -200, before(14, 2));
    }
}
