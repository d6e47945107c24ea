//! In: errors. Out: whether feedback is inside the window, since when, and how often it came in.

use crate::sample::Sample;
use crate::settings::Settings;
use crate::settling::crossing::{Crossing, Entry};

/// Where feedback stands in the position window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Position {
    /// |error| is above the window.
    #[default]
    Outside,
    /// |error| is at most the window.
    Inside,
    /// Inside for the window time, the command standing still (statusword bit 10).
    TargetReached,
}

/// What happened between a sample and the one before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Passage {
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
    /// How long feedback has been inside at this command. Unit: ticks
    inside_for: u32,
    /// Times feedback came to be inside at this command; being inside at its start is one.
    pub entries: u32,
    /// First and last entry from outside, if there was one.
    first: Entry,
    last: Crossing,
    /// When the first stay began that lasted the window time. Unit: ticks since the first reading
    pub reached: Option<u64>,
    /// The stay inside before the present excursion had lasted the window time.
    confirmed: bool,
    /// Largest |error| since the window was left. Unit: counts
    farthest: u32,
    /// Whether feedback was inside at the last command change.
    pub began_inside: bool,
}

impl Window {
    /// Where feedback stands now.
    pub(crate) fn position(&self) -> Position {
        self.position
    }

    /// First and last entry from outside; none while feedback was inside from the start on.
    pub(crate) fn crossings(&self) -> Option<(&Entry, &Crossing)> {
        self.has_entered().then_some((&self.first, &self.last))
    }

    fn has_entered(&self) -> bool {
        self.entries > u32::from(self.began_inside)
    }

    /// The command has changed again.
    pub(crate) fn moving(&mut self, settings: &Settings, error: i32) {
        let inside = error.unsigned_abs() <= settings.window;
        // Without a window time there is nothing to wait for.
        self.position = match (inside, settings.window_time) {
            (false, _) => Position::Outside,
            (true, 0) => Position::TargetReached,
            (true, _) => Position::Inside,
        };
    }

    /// The command has changed for the last time: everything counts from here.
    pub(crate) fn restart(&mut self, settings: &Settings, error: i32, now: u64) {
        let inside = error.unsigned_abs() <= settings.window;
        self.position = Position::Outside;
        self.inside_for = 0;
        self.entries = 0;
        self.began_inside = inside;
        self.reached = None;
        self.confirmed = false;
        self.farthest = error.unsigned_abs();
        if inside {
            self.come_inside(settings, now);
        }
    }

    /// Adds one sample at the same command.
    pub(crate) fn step(&mut self, settings: &Settings, sample: Sample, now: u64) -> Passage {
        let size = sample.error.unsigned_abs();
        match (self.position == Position::Outside, size <= settings.window) {
            (false, true) => {
                self.stay(settings, sample.elapsed, now);
                Passage::Inside
            }
            (true, false) => {
                self.farthest = self.farthest.max(size);
                Passage::Outside
            }
            (true, true) => Passage::Entered,
            (false, false) => {
                self.confirmed = self.position == Position::TargetReached;
                self.farthest = size;
                self.position = Position::Outside;
                Passage::Exited
            }
        }
    }

    /// Feedback came inside at `crossing`.
    pub(crate) fn enter(&mut self, settings: &Settings, mut crossing: Crossing) {
        crossing.farthest = self.farthest;
        if self.has_entered() {
            crossing.entry_before = self.last.entry.instant;
            if !self.confirmed && crossing.is_chatter(settings) {
                crossing.cluster = self.last.cluster;
            }
        } else {
            self.first = crossing.entry;
        }
        self.last = crossing;
        self.come_inside(settings, crossing.entry.instant);
    }

    /// A stay inside begins.
    fn come_inside(&mut self, settings: &Settings, now: u64) {
        self.position = Position::Inside;
        self.inside_for = 0;
        self.entries = self.entries.saturating_add(1);
        // Without a window time it is long enough at once.
        if settings.window_time == 0 {
            self.reach(now);
        }
    }

    /// A stay inside goes on.
    fn stay(&mut self, settings: &Settings, elapsed: u32, now: u64) {
        if self.position == Position::Inside {
            self.inside_for = self.inside_for.saturating_add(elapsed);
            if self.inside_for >= settings.window_time {
                self.reach(now);
            }
        }
    }

    /// Feedback has been inside for the window time.
    fn reach(&mut self, now: u64) {
        self.position = Position::TargetReached;
        self.reached = self.reached.or(Some(now - u64::from(self.inside_for)));
    }
}
