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
pub enum Passage {
    /// Feedback stayed inside.
    Inside,
    /// Feedback stayed outside.
    Outside,
    /// Feedback came inside.
    Entered,
    /// Feedback went outside.
    Left,
    /// Feedback has now been inside for the window time.
    Reached,
}

/// Exact tracking of the one window that was asked for.
#[derive(Clone, Debug, Default)]
pub struct Window {
    position: Position,
    /// How long feedback has been inside at this command. Unit: ticks
    pub inside_for: u32,
    /// Times feedback came to be inside at this command; being inside at its start is one.
    pub entries: u32,
    /// First and last entry from outside, if there was one.
    first: Entry,
    last: Crossing,
    /// Dwell start and instant of the first target reached. Unit: ticks since the first reading
    pub reached: Option<u64>,
    /// The last stay inside had reached the window time.
    confirmed: bool,
    /// Largest |error| since the window was left. Unit: counts
    farthest: u32,
    /// Whether feedback was inside at the last command change.
    pub began_inside: bool,
}

impl Window {
    /// Where feedback stands now.
    pub fn position(&self) -> Position {
        self.position
    }

    /// First and last entry from outside; none while feedback was inside from the start on.
    pub fn crossings(&self) -> Option<(&Entry, &Crossing)> {
        self.has_entered().then_some((&self.first, &self.last))
    }

    #[inline]
    fn has_entered(&self) -> bool {
        self.entries > u32::from(self.began_inside)
    }

    /// The command has changed again.
    #[inline]
    pub fn moving(&mut self, settings: &Settings, error: i32) {
        let inside = error.unsigned_abs() <= settings.window;
        // Without a window time there is nothing to wait for.
        self.position = match (inside, settings.window_time) {
            (false, _) => Position::Outside,
            (true, 0) => Position::TargetReached,
            (true, _) => Position::Inside,
        };
    }

    /// The command has changed for the last time: everything counts from here.
    pub fn restart(&mut self, settings: &Settings, error: i32, now: u64) {
        let inside = error.unsigned_abs() <= settings.window;
        self.position = Position::Outside;
        self.inside_for = 0;
        self.entries = 0;
        self.began_inside = inside;
        self.reached = None;
        self.confirmed = false;
        self.farthest = error.unsigned_abs();
        if inside {
            self.position = Position::Inside;
            self.entries = 1;
            self.dwell(settings, now);
        }
    }

    /// The same command.
    #[inline]
    pub fn step(&mut self, settings: &Settings, sample: Sample) -> Passage {
        let inside = sample.error.unsigned_abs() <= settings.window;
        if inside && self.position == Position::TargetReached {
            return Passage::Inside;
        }
        match (self.position == Position::Outside, inside) {
            (false, true) => {
                self.inside_for = self.inside_for.saturating_add(sample.elapsed);
                if self.inside_for >= settings.window_time { Passage::Reached } else { Passage::Inside }
            }
            (true, false) => {
                self.outside(sample.error);
                Passage::Outside
            }
            (true, true) => Passage::Entered,
            (false, false) => {
                self.confirmed = self.position == Position::TargetReached;
                self.farthest = sample.error.unsigned_abs();
                self.position = Position::Outside;
                Passage::Left
            }
        }
    }

    /// The same command, and feedback has stayed outside.
    #[inline]
    pub fn outside(&mut self, error: i32) {
        self.farthest = self.farthest.max(error.unsigned_abs());
    }

    /// Adds a stretch at the same command and on the same side, that ends before the window time does.
    #[inline]
    pub fn step_all(&mut self, passed: u32, largest: u32) {
        match self.position {
            Position::Outside => self.farthest = self.farthest.max(largest),
            Position::Inside => self.inside_for += passed,
            Position::TargetReached => (),
        }
    }

    /// Feedback came inside at `crossing`.
    #[inline]
    pub fn enter(&mut self, settings: &Settings, mut crossing: Crossing) {
        let instant = crossing.entry.instant;
        (crossing.farthest, crossing.cluster, crossing.entry_before) = (self.farthest, instant, instant);
        if self.has_entered() {
            crossing.entry_before = self.last.entry.instant;
            if !self.confirmed && crossing.is_chatter(settings) {
                crossing.cluster = self.last.cluster;
            }
        } else {
            self.first = crossing.entry;
        }
        self.position = Position::Inside;
        self.inside_for = 0;
        self.entries = self.entries.saturating_add(1);
        self.last = crossing;
        self.dwell(settings, instant);
    }

    /// A stay inside begins; without a window time that is all.
    #[inline]
    fn dwell(&mut self, settings: &Settings, now: u64) {
        if settings.window_time == 0 {
            self.reach(now);
        }
    }

    /// Feedback has been inside for the window time.
    #[inline]
    pub fn reach(&mut self, now: u64) {
        self.position = Position::TargetReached;
        self.reached = self.reached.or(Some(now - u64::from(self.inside_for)));
    }
}
