//! In: readings of one axis. Out: its status at every sample, and events: move records, following-error changes.
//!
//! The only place that knows all stages of a measurement. [`Axis::step`] runs through all of them; [`batch`] adds
//! many readings at once where nothing but sums and extremes would change.

use crate::motion::{Aside, Motion, MoveCommand, Phase, Rest};
use crate::record::{LONGEST_MOVE, Record};
use crate::ringing::StopCapture;
use crate::sample::{Reading, Sampler};
use crate::settings::Settings;
use crate::settling::curve::{Curve, CurvePoint, Readout};
use crate::settling::stop::{RestEnd, Stop};
use crate::settling::window::Position;
use crate::settling::{Settling, Status};
use crate::signature::Shape;
use crate::signature::evidence::Measured;

mod batch;

use batch::Batch;

/// Longest rest; then its move is reported without waiting for the next move. Unit: ticks
const LONGEST_REST: u64 = 1 << 30;

/// An event of an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// A move and its rest are over.
    Move(Record),
    /// The following-error flag has changed: set when the error has lasted longer than its time-out, cleared when it is
    /// inside its window again.
    FollowingError(bool),
}

/// One axis: its settings and the state of all stages.
#[derive(Clone, Debug)]
pub struct Axis {
    settings: Settings,
    sampler: Sampler,
    motion: Motion,
    settling: Settling,
    shape: Shape,
    /// The last move, whose rest is not over yet.
    pending: Option<MoveCommand>,
    /// A finished record. It waits to be read, or it is undecided: void if the command goes no further than a late pulse.
    finished: Option<Record>,
    undecided: bool,
    following_error: bool,
    /// Settling curve of the last finished record.
    curve: Curve,
    readout: Option<Readout>,
    /// A change of the following-error flag that waits to be read.
    changed: Option<bool>,
    lost: u32,
}

impl Axis {
    /// An axis with these settings, before its first reading.
    pub fn new(settings: Settings) -> Axis {
        Axis {
            settings,
            sampler: Sampler::default(),
            motion: Motion::default(),
            settling: Settling::default(),
            shape: Shape::default(),
            pending: None,
            finished: None,
            undecided: false,
            following_error: false,
            curve: Curve::default(),
            readout: None,
            changed: None,
            lost: 0,
        }
    }

    /// Settings in force.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Changes the settings; returns whether they are in force.
    ///
    /// Settings change between moves only: while the command is under way nothing changes and the result is `false`.
    /// During a rest, the rest ends here and its move is reported under the settings that it was measured with; wait for
    /// [`crate::Position::TargetReached`] to let it settle first. No [`Status`] announces that event: read
    /// [`Axis::event`] and [`Axis::curve`] afterwards. Instants and move numbers continue.
    #[must_use = "while the command is under way the settings are not in force"]
    pub fn set(&mut self, settings: Settings) -> bool {
        if self.is_under_way() {
            return false;
        }
        let record = self.close(self.last_sample());
        self.report(record);
        if settings.command_scale != self.settings.command_scale {
            self.sampler.rescale(&settings);
        }
        self.settings = settings;
        self.settling.begin(&settings, self.error());
        true
    }

    /// Readings are missing before the next one.
    ///
    /// Call it whenever a sample was lost: any sample rate is valid, so an axis can't notice by itself. After a counter
    /// was set anew, begin a new axis.
    pub fn gap(&mut self) {
        self.sampler.gap();
    }

    /// Adds one reading; returns the status at its instant.
    pub fn step(&mut self, reading: Reading) -> Status {
        if !self.sampler.has_begun() {
            return self.begin(reading);
        }
        // A command that stands needs neither.
        let changes = reading.command != self.sampler.last.command;
        let rest = if changes { self.rest() } else { Rest::Over };
        let last = changes.then(|| self.last_sample());
        let sample = self.sampler.step(&self.settings, reading);
        let now = self.sampler.now();
        let step = self.motion.step(&self.settings, sample, now, rest);
        let mut event = step.aside.is_some_and(|aside| self.resolve(aside));
        match step.phase {
            // The rest ended with the sample before.
            Phase::Start { undecided } => {
                let record = last.and_then(|last| self.close(last));
                event |= if undecided { self.hold(record) } else { self.report(record) };
            }
            Phase::End => {
                let move_command = self.motion.move_command();
                self.settling.command_at_rest(&self.settings, &move_command);
                self.pending = Some(move_command);
            }
            Phase::Resting | Phase::Idle | Phase::Moving | Phase::Holding => (),
        }
        let status = self.settling.step(&self.settings, sample, step.phase, now);
        self.shape.step(&self.settings, sample, step.phase, status.position != Position::Outside);
        if step.phase == Phase::Resting && self.rest_is_long(now) {
            let record = self.close(self.last_sample());
            event |= self.report(record);
        }
        let event = self.update_following_error(status.following_error) || event;
        Status { event, ..status }
    }

    /// Adds readings up to the first with an event; returns the number of readings added.
    ///
    /// The same as that many steps, and faster where many readings are at hand.
    pub fn run(&mut self, readings: &[Reading]) -> usize {
        self.run_beside(readings, |_, _, _| ())
    }

    /// As [`Axis::run`]; the stops are captured.
    pub fn run_capturing(&mut self, readings: &[Reading], stop: &mut StopCapture) -> usize {
        self.run_beside(readings, |moving, readings, errors| stop.add(moving, readings, errors))
    }

    /// Runs; `added` gets all readings and their errors, in parts with none of which the command changes or with all.
    fn run_beside(&mut self, readings: &[Reading], mut added: impl FnMut(bool, &[Reading], &[i32])) -> usize {
        let (mut remaining, mut batch) = (readings, Batch::empty());
        loop {
            let count = self.add_batch(&mut batch, remaining);
            let (before, after) = remaining.split_at_checked(count).unwrap_or_default();
            remaining = after;
            if count > 0 {
                added(self.settling.moving, before, batch.errors_of_readings());
                continue;
            }
            let Some((reading, others)) = remaining.split_first() else { return readings.len() };
            remaining = others;
            let status = self.step(*reading);
            added(status.moving, &[*reading], &[self.error()]);
            if status.event {
                return readings.len() - remaining.len();
            }
        }
    }

    /// No more readings follow: the last rest ends here and its move is reported.
    ///
    /// Returns whether a move was still under way, or may have been: its command has not stood for long enough to tell a
    /// stop from a slow pulse train. That move is not reported.
    pub fn finish(&mut self) -> bool {
        let may_go_on = self.pending.is_some() && self.motion.may_go_on(&self.settings, self.now());
        if !may_go_on {
            let record = self.close(RestEnd { ended: true, ..self.last_sample() });
            self.report(record);
        }
        may_go_on || self.motion.under_way()
    }

    /// An event that was not read before: a move first, then a change of the following-error flag. One step adds one of
    /// each at most; one that is not read before the next of its sort is lost.
    pub fn event(&mut self) -> Option<Event> {
        let record = self.finished.take_if(|_| !self.undecided);
        record.map(Event::Move).or_else(|| self.changed.take().map(Event::FollowingError))
    }

    /// Settling curve of the last move reported; empty before the first, or if its clock had a fault. Valid until the
    /// next step.
    pub fn curve(&self) -> impl Iterator<Item = CurvePoint> + '_ {
        self.readout.into_iter().flat_map(|readout| self.curve.points(readout))
    }

    /// Time since the first reading. Unit: ticks
    pub fn now(&self) -> u64 {
        self.sampler.now()
    }

    /// command − feedback at the last reading. Unit: feedback counts
    pub fn error(&self) -> i32 {
        self.sampler.error()
    }

    /// Whether the command has started and is not yet at rest.
    pub fn is_under_way(&self) -> bool {
        self.motion.under_way()
    }

    /// Whether a stop waits to be reported, because the last changes of the command may be late pulses of its move.
    pub fn is_undecided(&self) -> bool {
        self.undecided
    }

    /// Number of moves reported.
    pub fn moves(&self) -> u32 {
        self.motion.moves
    }

    /// Number of small excursions, which stayed within the window and are no moves.
    pub fn small(&self) -> u32 {
        self.motion.small()
    }

    /// Number of stops that could not be told from turning points of the command, or from dips of its speed, and are
    /// part of a longer move.
    pub fn turning_points(&self) -> u32 {
        self.motion.turning_points()
    }

    /// Number of events that were not read in time.
    pub fn lost(&self) -> u32 {
        self.lost
    }

    /// Adds the first reading: with none before it there is no change and no window transition.
    fn begin(&mut self, reading: Reading) -> Status {
        self.sampler.begin(&self.settings, reading);
        let error = self.error();
        self.settling.begin(&self.settings, error);
        let following_error = self.settling.following_error(&self.settings, error, 0);
        let event = self.update_following_error(following_error);
        Status { moving: false, event, position: self.settling.position(), following_error }
    }

    /// Adds an event if the following-error flag has changed; returns whether it did.
    fn update_following_error(&mut self, following_error: bool) -> bool {
        let changed = following_error != self.following_error;
        if changed {
            self.following_error = following_error;
            self.lost = self.lost.saturating_add(self.changed.replace(following_error).is_some().into());
        }
        changed
    }

    fn rest_is_long(&self, now: u64) -> bool {
        self.pending.is_some_and(|move_command| now - move_command.command_end > LONGEST_REST)
    }

    /// The rest that the next change of the command ends.
    fn rest(&self) -> Rest {
        match (&self.pending, self.settling.position()) {
            (None, _) => Rest::Over,
            (Some(_), Position::TargetReached) => Rest::Reached,
            (Some(_), Position::Inside | Position::Outside) => Rest::Watched,
        }
    }

    /// The last sample, as one that a rest may end with.
    fn last_sample(&self) -> RestEnd {
        RestEnd { now: self.now(), tick: self.sampler.tick(), error: self.error(), ended: false }
    }

    /// It is decided what becomes of the part set aside; returns whether its record is reported.
    fn resolve(&mut self, aside: Aside) -> bool {
        self.settling.resolve(aside);
        self.shape.resolve(aside);
        let record = self.finished.take_if(|_| self.undecided);
        self.undecided = false;
        aside == Aside::StandsAlone && self.report(record)
    }

    /// The stop whose rest ends with this sample.
    fn stop(&self, move_command: &MoveCommand, end: RestEnd, readout: &Readout) -> Stop {
        let stop = self.settling.stop(&self.settings, move_command, end, readout);
        let stands =
            stop.position == Position::Outside && self.shape.stands(&self.settings, end.error, readout.held);
        Stop { offset: stands.then_some(end.error), ..stop }
    }

    /// The record of the pending move, whose rest ends with this sample.
    fn close(&mut self, end: RestEnd) -> Option<Record> {
        let move_command = self.pending.take()?;
        // The curve's 32-bit time stamps are ambiguous over a longer move, and wrong if the clock had a fault.
        let has_curve =
            move_command.command_end - move_command.start <= LONGEST_MOVE && self.settling.clock_is_sound();
        let held = end.now.saturating_sub(move_command.command_end);
        let mut readout = Readout {
            tick: end.tick,
            error: end.error.unsigned_abs(),
            held: u32::try_from(held).unwrap_or(u32::MAX),
            window_time: if has_curve { self.settings.window_time } else { u32::MAX },
            late: move_command.ending.late,
            set: (self.settings.window, None),
        };
        let stop = self.stop(&move_command, end, &readout);
        let mut record =
            Record::new(&self.settings, self.motion.moves.saturating_add(1), &move_command, &stop);
        readout.set.1 = record.confirmation.map(|held| held.saturating_sub(self.settings.window_time));
        let measured = Measured {
            move_command: &move_command,
            settling: &self.settling,
            stop: &stop,
            end,
            readout: &readout,
        };
        if has_curve && record.outcome.is_whole() {
            let evidence = self.shape.evidence(&self.settings, measured);
            record.signature = Some(evidence.signature(&self.settings));
            record.turning_points = evidence.turning_points;
            record.turning_spacing = evidence.turning_spacing;
            record.cruise_lag = evidence.cruise_lag;
            record.standing = evidence.standing;
        }
        self.readout = has_curve.then_some(readout);
        self.curve.clone_from(&self.settling.curve);
        Some(record)
    }

    /// Adds the event of a record; returns whether there is one.
    fn report(&mut self, record: Option<Record>) -> bool {
        let Some(record) = record else { return false };
        self.motion.moves = record.number;
        self.put(record, false);
        true
    }

    /// Holds a record until it is known whether its move is over; there is no event.
    fn hold(&mut self, record: Option<Record>) -> bool {
        if let Some(record) = record {
            self.put(record, true);
        }
        false
    }

    fn put(&mut self, record: Record, undecided: bool) {
        let unread = self.finished.replace(record).is_some() && !self.undecided;
        self.lost = self.lost.saturating_add(unread.into());
        self.undecided = undecided;
    }
}
