//! In: samples, and the part of a move each belongs to. Out: the status now; after the rest, the stop.
//!
//! The work is split by what has to be remembered: [`window`] tracks the set window exactly, [`curve`] every other
//! window, [`crossing`] the entries, [`approach`] the path before the command end, [`peaks`] the extremes, [`rest`]
//! the errors inside the window and [`following`] the time-out of the following error. [`stop`] puts them together.

use crate::motion::{Course, Phase};
use crate::sample::{Faults, Sample};
use crate::settings::Settings;

pub(crate) mod crossing;
pub(crate) mod window;
pub(crate) mod curve;
pub(crate) mod rest;
pub(crate) mod peaks;
pub(crate) mod approach;
pub(crate) mod following;
pub(crate) mod stop;

use approach::{Approach, FirstCrossing, PathPoint};
use crossing::{Crossing, Entry};
use curve::{Curve, CurvePoint, Readout};
use following::Following;
use peaks::Peaks;
use rest::Rest;
use window::{Passage, Position, Window};

/// What can be said at every sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Status {
    /// The command has changed at this sample.
    pub moving: bool,
    /// An event was queued at this sample: read it with [`crate::Axis::event`].
    pub event: bool,
    /// Where feedback stands in the position window.
    pub position: Position,
    /// Following error beyond its window for longer than its time-out (statusword bit 13).
    pub following_error: bool,
}

/// The stage.
#[derive(Clone, Debug, Default)]
pub(crate) struct Settling {
    window: Window,
    curve: Curve,
    peaks: Peaks,
    approach: Approach,
    rest: Rest,
    following: Following,
    /// Where feedback was at the command end, and its error there. Unit of the error: counts
    command_end: PathPoint,
    error_at_command_end: i32,
    first_crossing: FirstCrossing,
    /// While outside: when the error changed last, and by how much in the last sample. Unit: ticks, counts
    changed: u32,
    change: i32,
    /// Faults of the move up to the last passage of the window's edge, and those since then: they count only if the
    /// edge is passed once more.
    faults: Faults,
    later_faults: Faults,
    /// The last sample changed the command.
    moving: bool,
}

impl Settling {
    /// Starts from a first error, before which nothing is known, or from one to which other settings apply.
    pub(crate) fn begin(&mut self, settings: &Settings, error: i32, now: u64) {
        self.window.restart(settings, error, now);
    }

    /// Adds one sample at `now`. Unit: ticks since the first reading
    pub(crate) fn step(&mut self, settings: &Settings, sample: Sample, phase: Phase, now: u64) -> Status {
        match phase {
            Phase::Start => self.start(settings, sample),
            Phase::Moving => self.command_changed(settings, sample),
            Phase::Idle | Phase::Holding | Phase::End | Phase::Resting => {
                self.command_stands(settings, sample, now);
            }
        }
        Status {
            moving: self.moving,
            event: false,
            position: self.window.position(),
            following_error: self.following_error(settings, sample.error, sample.elapsed),
        }
    }

    /// Whether the following error has lasted too long, `elapsed` ticks after the last one.
    pub(crate) fn following_error(&mut self, settings: &Settings, error: i32, elapsed: u32) -> bool {
        self.following.step(settings, error, elapsed)
    }

    /// Where feedback stands.
    pub(crate) fn position(&self) -> Position {
        self.window.position()
    }

    /// Whether the clock has advanced since the move began; if not, the curve's time stamps mean nothing.
    pub(crate) fn clock_is_sound(&self) -> bool {
        !self.faults.with(self.later_faults).has(Faults::CLOCK)
    }

    /// The settling curve as of `readout`; valid until the next command stands.
    pub(crate) fn curve(&self, readout: Readout) -> impl Iterator<Item = CurvePoint> + '_ {
        self.curve.points(readout)
    }

    /// The command end is certain now, and with it the target that the path led to.
    pub(crate) fn rested(&mut self, settings: &Settings, course: &Course) {
        let (target, end) = (self.target(), self.command_end);
        self.first_crossing = self.approach.first_crossing(settings, target, course.travel, end);
    }

    /// The feedback that would leave no error. Unit: counts, wrapping
    fn target(&self) -> i32 {
        self.command_end.feedback.wrapping_add(self.error_at_command_end)
    }

    fn start(&mut self, settings: &Settings, sample: Sample) {
        self.faults = Faults::NONE;
        self.later_faults = Faults::NONE;
        self.peaks.restart(sample);
        self.approach.restart(sample.feedback_before(), sample.tick_before());
        self.follow(settings, sample);
    }

    fn command_changed(&mut self, settings: &Settings, sample: Sample) {
        if !self.moving {
            // The command stood only for a while: it was no command end.
            self.peaks.resume(self.target());
        }
        self.peaks.moving(sample);
        self.follow(settings, sample);
    }

    /// What every sample of a moving command adds.
    fn follow(&mut self, settings: &Settings, sample: Sample) {
        self.approach.step(sample.feedback, sample.tick, settings.window);
        self.window.moving(settings, sample.error);
        self.moving = true;
        self.faults = self.faults.with(sample.faults);
    }

    fn command_stands(&mut self, settings: &Settings, sample: Sample, now: u64) {
        if self.moving {
            self.command_ended(settings, sample, now);
        }
        self.curve.stamp(sample.error_before().unsigned_abs(), sample.tick);
        self.later_faults = self.later_faults.with(sample.faults);
        self.peaks.standing(sample.error);
        match self.window.step(settings, sample, now) {
            Passage::Inside => self.rest.step(settings, sample.error, sample.feedback_change),
            Passage::Outside => self.outside(sample),
            Passage::Entered => self.entered(settings, sample, now),
            Passage::Exited => self.exited(sample),
        }
    }

    /// The sample before this one may have been the command end.
    fn command_ended(&mut self, settings: &Settings, sample: Sample, now: u64) {
        let (tick, feedback) = (sample.tick_before(), sample.feedback_before());
        let error = sample.error_before();
        self.moving = false;
        self.curve.restart(tick);
        self.command_end = PathPoint { tick, feedback };
        self.error_at_command_end = error;
        self.peaks.command_ended(error);
        self.window.restart(settings, error, now - u64::from(sample.elapsed));
        if self.window.began_inside {
            self.rest.restart(error);
        } else {
            self.rest.clear();
        }
        (self.changed, self.change) = (tick, 0);
        self.confirm_faults();
    }

    /// What was wrong before this instant was wrong before the axis had settled.
    fn confirm_faults(&mut self) {
        self.faults = self.faults.with(self.later_faults);
        self.later_faults = Faults::NONE;
    }

    fn outside(&mut self, sample: Sample) {
        self.peaks.block(sample);
        self.change = sample.feedback_change;
        if self.change != 0 {
            self.changed = sample.tick;
        }
    }

    fn entered(&mut self, settings: &Settings, sample: Sample, now: u64) {
        self.confirm_faults();
        self.rest.restart(sample.error);
        let (earlier, earlier_time) = self.peaks.earlier(sample);
        let entry = Entry {
            instant: now,
            elapsed: sample.elapsed,
            before: sample.error_before(),
            after: sample.error,
        };
        self.window.enter(
            settings,
            Crossing {
                flat: sample.tick.wrapping_sub(self.changed),
                earlier,
                earlier_time,
                bend: sample.feedback_change.wrapping_sub(self.change).unsigned_abs(),
                ..Crossing::first(entry)
            },
        );
        (self.changed, self.change) = (sample.tick, sample.feedback_change);
    }

    fn exited(&mut self, sample: Sample) {
        self.confirm_faults();
        self.rest.clear();
        self.peaks.exited(sample);
        (self.changed, self.change) = (sample.tick, sample.feedback_change);
    }
}
