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
    /// First crossing of the edge, through the whole window included.
    pub first_crossing: Option<Crossing>,
    /// Whether a dwell lasted the window time, and the crossing that the first of them began with, if any.
    pub reached: Option<Option<Crossing>>,
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
    pub(crate) fn restart(&mut self, settings: &Settings, error: i32) {
        let inside = error.unsigned_abs() <= settings.window;
        self.position = Position::Outside;
        self.dwell = 0;
        self.entries = 0;
        self.began_inside = inside;
        (self.first_crossing, self.reached) = (None, None);
        self.confirmed = false;
        self.largest_error = error.unsigned_abs();
        if inside {
            self.begin_dwell(settings);
        }
    }

    /// Adds one sample at the same command.
    pub(crate) fn step(&mut self, settings: &Settings, sample: Sample) -> Transition {
        let size = sample.error.unsigned_abs();
        match (self.position == Position::Outside, size <= settings.window) {
            (false, true) => {
                self.continue_dwell(settings, sample.elapsed);
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

    /// Adds time inside at the same command that does not reach the window time. Unit: ticks
    pub(crate) fn dwell_on(&mut self, passed: u32) {
        if self.position == Position::Inside {
            self.dwell += passed;
        }
    }

    /// Adds samples outside at the same command, none with a larger |error|. Unit: counts
    pub(crate) fn outside_on(&mut self, largest: u32) {
        self.largest_error = self.largest_error.max(largest);
    }

    /// Time for which feedback may stay inside before the window time is reached. Unit: ticks
    pub(crate) fn ticks_to_target_reached(&self, settings: &Settings) -> u32 {
        match self.position {
            Position::Inside => settings.window_time.saturating_sub(self.dwell.saturating_add(1)),
            Position::Outside | Position::TargetReached => u32::MAX,
        }
    }

    /// Feedback came inside at `crossing`.
    pub(crate) fn enter(&mut self, settings: &Settings, mut crossing: Crossing) {
        (crossing.largest_error, crossing.swing_error) = (self.largest_error, self.largest_error);
        if self.has_entered() {
            crossing.again = true;
            crossing.swings = (crossing.entry.before < 0) != (self.last.entry.before < 0);
            if !self.confirmed && crossing.is_chatter(settings) {
                crossing.chatter_start = self.last.chatter_start;
                crossing.entry_before = self.last.entry_before;
                crossing.swings |= self.last.swings;
                crossing.swing_error = self.last.swing_error.max(crossing.swing_error);
            } else {
                crossing.entry_before = self.last.entry.instant;
            }
        } else {
            self.first = crossing.entry;
            self.swing_through(crossing);
        }
        self.last = crossing;
        self.begin_dwell(settings);
    }

    /// Feedback crossed the edge, maybe with no sample inside.
    pub(crate) fn swing_through(&mut self, crossing: Crossing) {
        self.first_crossing = self.first_crossing.or(Some(crossing));
    }

    /// A dwell begins.
    fn begin_dwell(&mut self, settings: &Settings) {
        self.position = Position::Inside;
        self.dwell = 0;
        self.entries = self.entries.saturating_add(1);
        // Without a window time the target is reached at once.
        if settings.window_time == 0 {
            self.reach();
        }
    }

    /// A dwell continues.
    fn continue_dwell(&mut self, settings: &Settings, elapsed: u32) {
        if self.position == Position::Inside {
            self.dwell = self.dwell.saturating_add(elapsed);
            if self.dwell >= settings.window_time {
                self.reach();
            }
        }
    }

    /// Feedback has been inside for the window time.
    fn reach(&mut self) {
        self.position = Position::TargetReached;
        if self.reached.is_none() {
            self.reached = Some(self.has_entered().then_some(self.last));
        }
    }
}
