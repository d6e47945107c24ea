//! In: samples, and the phase of the move at each. Out: the status at each sample; after the rest, the stop.
//!
//! One file for each kind of state: [`window`] tracks the set window exactly, [`curve`] all other windows, [`crossing`]
//! the entries, [`approach`] feedback before the command end, [`peaks`] the extremes, [`rest`] the errors inside the
//! window, [`holes`] the faults and [`following`] the time-out of the following error. [`spike`] finds excursions of a few
//! samples. [`earlier`] keeps what came before a change that may be a late pulse; [`stop`] combines all at the end of the rest.

use crate::motion::{Aside, MoveCommand, Phase};
use crate::sample::Sample;
use crate::settings::Settings;

pub(crate) mod crossing;
pub(crate) mod slope;
pub(crate) mod uncertainty;
pub(crate) mod window;
pub(crate) mod holes;
pub(crate) mod curve;
pub(crate) mod nearby;
pub(crate) mod rest;
pub(crate) mod peaks;
pub(crate) mod approach;
pub(crate) mod following;
pub(crate) mod spike;
pub(crate) mod earlier;
pub(crate) mod crossings;
pub(crate) mod stop;

use approach::{Approach, ApproachPoint, FirstCrossing};
use crossing::{Crossing, Entry};
use curve::Curve;
use earlier::{Crossed, Earlier};
use following::Following;
use holes::Holes;
use nearby::Nearby;
use peaks::{BlockStart, Least, Peaks};
use rest::Rest;
use spike::Spike;
use window::{Position, Transition, Window};

/// Status of an axis at one sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Status {
    /// The command has changed at this sample.
    pub moving: bool,
    /// There is an event at this sample: read it with [`crate::Axis::event`].
    pub event: bool,
    /// Position of feedback relative to the position window.
    pub position: Position,
    /// Following error beyond its window for longer than its time-out (statusword bit 13).
    pub following_error: bool,
}

/// The stage.
#[derive(Clone, Debug, Default)]
pub(crate) struct Settling {
    pub(crate) window: Window,
    pub(crate) curve: Curve,
    pub(crate) nearby: Nearby,
    pub(crate) peaks: Peaks,
    pub(crate) approach: Approach,
    pub(crate) rest: Rest,
    pub(crate) following: Following,
    /// Feedback at the command end.
    command_end: ApproachPoint,
    /// command − feedback at the command end. Unit: counts
    error_at_command_end: i32,
    /// First crossing into the window, once the command is at rest.
    first_crossing: Option<FirstCrossing>,
    /// The first crossing before late pulses.
    crossed: Crossed,
    /// Of the part that is set aside.
    earlier: Option<Earlier>,
    /// While outside: time stamp of the last change of feedback. Unit: ticks, wrapping
    pub(crate) changed: u32,
    /// While outside: change of feedback in the last sample. Unit: counts
    pub(crate) change: i32,
    pub(crate) holes: Holes,
    spike: Spike,
    /// The last sample changed the command.
    pub(crate) moving: bool,
}

impl Settling {
    /// Starts from the error of the first reading, or of the last one under previous settings.
    pub(crate) fn begin(&mut self, settings: &Settings, error: i32) {
        self.window.restart(settings, error);
    }

    /// Adds one sample at `now`. Unit: ticks since the first reading
    pub(crate) fn step(&mut self, settings: &Settings, sample: Sample, phase: Phase, now: u64) -> Status {
        match phase {
            Phase::Start { undecided } => self.start(settings, sample, undecided, now),
            Phase::Moving => self.command_changed(settings, sample),
            Phase::Idle | Phase::Holding | Phase::End | Phase::Resting => {
                self.command_unchanged(settings, sample, now);
            }
        }
        Status {
            moving: self.moving,
            event: false,
            position: self.window.position(),
            following_error: self.following_error(settings, sample.error, sample.elapsed),
        }
    }

    /// Adds one error, `elapsed` ticks after the last; returns whether it has lasted longer than its time-out.
    pub(crate) fn following_error(&mut self, settings: &Settings, error: i32, elapsed: u32) -> bool {
        self.following.step(settings, error, elapsed)
    }

    /// Position of feedback relative to the window.
    pub(crate) fn position(&self) -> Position {
        self.window.position()
    }

    /// Whether the clock had no fault since the move began; with a fault the curve's time stamps are wrong.
    pub(crate) fn clock_is_sound(&self) -> bool {
        self.holes.clock_is_sound()
    }

    /// The command is at rest, so that the target is known: finds the first crossing into its window.
    pub(crate) fn command_at_rest(&mut self, settings: &Settings, move_command: &MoveCommand) {
        let (target, end) = (self.target(), self.command_end);
        let crossing = self.crossed.crossing(settings.window, target, end);
        self.first_crossing = Some(
            crossing
                .unwrap_or_else(|| self.approach.first_crossing(settings, target, move_command.travel, end)),
        );
        self.holes.command_at_rest();
    }

    /// The feedback that would leave no error. Unit: counts, wrapping
    fn target(&self) -> i32 {
        self.command_end.feedback.wrapping_add(self.error_at_command_end)
    }

    /// The part set aside joins what came after it, or stands alone.
    pub(crate) fn resolve(&mut self, aside: Aside) {
        let Some(earlier) = self.earlier.take() else { return };
        if let Aside::Joins { beyond } = aside {
            self.peaks.join(&earlier.peaks);
            self.holes.join(earlier.holes);
            self.crossed = if beyond { Crossed::Unseen } else { earlier.crossed };
        }
    }

    /// What is measured up to the sample before this one.
    fn set_aside(&self, settings: &Settings, sample: Sample, now: u64) -> Earlier {
        let mut peaks = self.peaks.clone();
        peaks.resume(self.target());
        Earlier { peaks, holes: self.holes, crossed: self.crossed_by(settings, sample, now) }
    }

    /// The first crossing by now, for the target before this sample.
    fn crossed_by(&self, settings: &Settings, sample: Sample, now: u64) -> Crossed {
        let (target, end) = (self.target(), self.command_end.tick);
        let edge = |entry: &Entry| {
            let since = now.saturating_sub(entry.edge(entry.delay(settings)));
            sample.tick.wrapping_sub(since as u32)
        };
        let entries = self.window.crossings().map(|(first, last)| (edge(first), edge(&last.entry)));
        let (first, last) = match (self.first_crossing, entries) {
            (Some(FirstCrossing::Before { first, last }), entries) => {
                let last = entries.map_or(end.wrapping_sub(last), |(_, last)| last);
                (end.wrapping_sub(first), last)
            }
            (Some(FirstCrossing::NotYet), Some(entries)) => entries,
            (Some(FirstCrossing::Unseen), _) => return Crossed::Unseen,
            (Some(FirstCrossing::NotYet) | None, _) => return Crossed::NotYet,
        };
        Crossed::At { target, first, last }
    }

    /// Adds the first sample of an excursion.
    fn start(&mut self, settings: &Settings, sample: Sample, undecided: bool, now: u64) {
        self.earlier = undecided.then(|| self.set_aside(settings, sample, now));
        (self.first_crossing, self.crossed) = (None, Crossed::NotYet);
        self.holes = Holes::default();
        self.peaks.restart(settings, sample);
        self.approach.restart(sample.feedback_before(), sample.tick_before());
        self.command_moves(settings, sample);
    }

    /// Adds a further sample at which the command has changed.
    fn command_changed(&mut self, settings: &Settings, sample: Sample) {
        if !self.moving {
            // The command paused for less than the rest time: that was no command end.
            self.peaks.resume(self.target());
        }
        self.peaks.moving(settings, sample);
        self.command_moves(settings, sample);
    }

    /// Adds one sample of a moving command to window and approach points.
    fn command_moves(&mut self, settings: &Settings, sample: Sample) {
        self.approach.step(sample.feedback, sample.tick, settings.window);
        self.window.moving(settings, sample.error);
        self.moving = true;
        self.holes.moving(settings, sample);
    }

    /// Adds one sample at which the command is unchanged.
    fn command_unchanged(&mut self, settings: &Settings, sample: Sample, now: u64) {
        if self.moving {
            self.command_ended(settings, sample);
        }
        let size = sample.error_before().unsigned_abs();
        self.curve.stamp(size, sample.tick);
        self.nearby.stamp(settings, size, sample.tick);
        self.peaks.standing(sample.error);
        let before = self.window.position();
        let transition = self.window.step(settings, sample);
        self.holes.standing(settings, sample, before, transition);
        match transition {
            Transition::Inside => self.rest.step(settings, sample.error, sample.feedback_change),
            Transition::Outside => self.outside(settings, sample, now),
            Transition::Entered => self.entered(settings, sample, now),
            Transition::Exited => self.exited(settings, sample),
        }
    }

    /// The sample before this one may have been the command end.
    fn command_ended(&mut self, settings: &Settings, sample: Sample) {
        let (tick, feedback) = (sample.tick_before(), sample.feedback_before());
        let error = sample.error_before();
        self.moving = false;
        self.curve.restart(tick);
        self.nearby.restart(tick);
        self.command_end = ApproachPoint { tick, feedback };
        self.error_at_command_end = error;
        self.peaks.command_ended(error);
        self.window.restart(settings, error);
        if self.window.began_inside {
            self.rest.restart(error);
        } else {
            self.rest.clear();
        }
        (self.changed, self.change) = (tick, 0);
        self.spike = Spike::default();
        self.holes.confirm();
    }

    /// Adds a window transition.
    fn crosses(&mut self, settings: &Settings, sample: Sample, transition: Transition) {
        let (fastest, entries) = (self.peaks.fastest(), self.window.entries);
        self.spike.add(settings, sample, fastest, (transition, entries));
    }

    /// Adds one sample outside the window, not the first.
    fn outside(&mut self, settings: &Settings, sample: Sample, now: u64) {
        if (sample.error < 0) != (sample.error_before() < 0) {
            self.window.swing_through(self.crossing(sample, now));
        }
        self.peaks.add_to_block(BlockStart::at(sample), Least::of(settings));
        self.change = sample.feedback_change;
        if self.change != 0 {
            self.changed = sample.tick;
        }
    }

    /// Adds the first sample inside the window.
    fn entered(&mut self, settings: &Settings, sample: Sample, now: u64) {
        self.crosses(settings, sample, Transition::Entered);
        self.rest.restart(sample.error);
        self.window.enter(settings, self.crossing(sample, now));
        (self.changed, self.change) = (sample.tick, sample.feedback_change);
    }

    /// A crossing of the window's edge between this sample and the one before.
    fn crossing(&self, sample: Sample, now: u64) -> Crossing {
        let (earlier, earlier_time) = self.peaks.earlier(sample);
        let entry = Entry {
            instant: now,
            elapsed: sample.elapsed,
            before: sample.error_before(),
            after: sample.error,
        };
        Crossing {
            flat: sample.tick.wrapping_sub(self.changed),
            earlier,
            earlier_time,
            bend: sample.feedback_change.wrapping_sub(self.change).unsigned_abs(),
            ..Crossing::first(entry)
        }
    }

    /// Adds the first sample outside the window.
    fn exited(&mut self, settings: &Settings, sample: Sample) {
        self.crosses(settings, sample, Transition::Exited);
        self.holes.confirm();
        self.rest.clear();
        self.peaks.exited(sample);
        (self.changed, self.change) = (sample.tick, sample.feedback_change);
    }
}
