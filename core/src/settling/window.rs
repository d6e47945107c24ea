//! In: errors. Out: position relative to the window, window transitions, entries, dwell.

use crate::sample::Sample;
use crate::settings::Settings;
use crate::settling::crossing::{Crossing, Entry};

/// Position of feedback relative to the position window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Position {
    /// |error| is above the window.
    #[default]
    Outside,
    /// |error| is at most the window.
    Inside,
    /// Inside for the window time at an unchanged command (statusword bit 10).
    TargetReached,
}

/// Window transition between a sample and the one before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Transition {
    /// Feedback stayed inside.
    Inside,
    /// Feedback stayed outside.
    Outside,
    /// Feedback came inside.
    Entered,
    /// Feedback went outside.
    Exited,
}

/// Exact tracking of the set window.
#[derive(Clone, Debug, Default)]
pub(crate) struct Window {
    position: Position,
    /// Dwell: uninterrupted time inside at this command. Unit: ticks
    dwell: u32,
    /// Number of times that feedback came inside at this command; being inside at its start counts as one.
    pub entries: u32,
    /// First and last entry from outside; valid only after an entry.
    first: Entry,
    last: Crossing,
    /// Start of the first dwell that lasted the window time. Unit: ticks since the first reading
    pub reached: Option<u64>,
    /// Whether the dwell before the current excursion lasted the window time.
    confirmed: bool,
    /// Largest |error| since the window was left. Unit: counts
    largest_error: u32,
    /// Whether feedback was inside at the last command change.
    pub began_inside: bool,
}

impl Window {
    /// Position at the last sample.
    pub(crate) fn position(&self) -> Position {
        self.position
    }

    /// First and last entry from outside, if there was one.
    pub(crate) fn crossings(&self) -> Option<(&Entry, &Crossing)> {
        self.has_entered().then_some((&self.first, &self.last))
    }

    fn has_entered(&self) -> bool {
        self.entries > u32::from(self.began_inside)
    }

    /// Adds one error while the command moves.
    pub(crate) fn moving(&mut self, settings: &Settings, error: i32) {
        let inside = error.unsigned_abs() <= settings.window;
        // Without a window time the target is reached at once.
        self.position = match (inside, settings.window_time) {
            (false, _) => Position::Outside,
            (true, 0) => Position::TargetReached,
            (true, _) => Position::Inside,
        };
    }

    /// The command has changed to a new value: entries and dwell count from here.
    pub(crate) fn restart(&mut self, settings: &Settings, error: i32, now: u64) {
        let inside = error.unsigned_abs() <= settings.window;
        self.position = Position::Outside;
        self.dwell = 0;
        self.entries = 0;
        self.began_inside = inside;
        self.reached = None;
        self.confirmed = false;
        self.largest_error = error.unsigned_abs();
        if inside {
            self.begin_dwell(settings, now);
        }
    }

    /// Adds one sample at the same command.
    pub(crate) fn step(&mut self, settings: &Settings, sample: Sample, now: u64) -> Transition {
        let size = sample.error.unsigned_abs();
        match (self.position == Position::Outside, size <= settings.window) {
            (false, true) => {
                self.continue_dwell(settings, sample.elapsed, now);
                Transition::Inside
            }
            (true, false) => {
                self.largest_error = self.largest_error.max(size);
                Transition::Outside
            }
            (true, true) => Transition::Entered,
            (false, false) => {
                self.confirmed = self.position == Position::TargetReached;
                self.largest_error = size;
                self.position = Position::Outside;
                Transition::Exited
            }
        }
    }

    /// Feedback came inside at `crossing`.
    pub(crate) fn enter(&mut self, settings: &Settings, mut crossing: Crossing) {
        crossing.largest_error = self.largest_error;
        if self.has_entered() {
            crossing.entry_before = self.last.entry.instant;
            if !self.confirmed && crossing.is_chatter(settings) {
                crossing.chatter_start = self.last.chatter_start;
            }
        } else {
            self.first = crossing.entry;
        }
        self.last = crossing;
        self.begin_dwell(settings, crossing.entry.instant);
    }

    /// A dwell begins.
    fn begin_dwell(&mut self, settings: &Settings, now: u64) {
        self.position = Position::Inside;
        self.dwell = 0;
        self.entries = self.entries.saturating_add(1);
        // Without a window time the target is reached at once.
        if settings.window_time == 0 {
            self.reach(now);
        }
    }

    /// A dwell continues.
    fn continue_dwell(&mut self, settings: &Settings, elapsed: u32, now: u64) {
        if self.position == Position::Inside {
            self.dwell = self.dwell.saturating_add(elapsed);
            if self.dwell >= settings.window_time {
                self.reach(now);
            }
        }
    }

    /// Feedback has been inside for the window time.
    fn reach(&mut self, now: u64) {
        self.position = Position::TargetReached;
        self.reached = self.reached.or(Some(now - u64::from(self.dwell)));
    }
}
