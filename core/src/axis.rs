//! In: readings of one axis. Out: its status at every sample, and events: moves, following errors.
//!
//! The only file that knows all stages of a measurement, and the only way through them: [`Axis::step`].

use heapless::Deque;

use crate::motion::{Course, Motion, Phase};
use crate::record::{LONGEST_MOVE, Record};
use crate::sample::{Reading, Sampler};
use crate::settings::Settings;
use crate::settling::curve::{CurvePoint, Readout};
use crate::settling::{Settling, Status};

/// Events that wait for the caller; one step makes at most two.
const EVENTS: usize = 4;

/// A rest is followed for this long; then its move is reported without waiting for the next one. Unit: ticks
const LONGEST_REST: u64 = 1 << 30;

/// Something that happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// A move and its rest are over.
    Move(Record),
    /// The following error has lasted too long (`true`), or is inside its window again.
    FollowingError(bool),
}

/// One axis: its settings, and all that is remembered of its signals.
#[derive(Clone, Debug)]
pub struct Axis {
    settings: Settings,
    /// Whether any reading was added yet.
    started: bool,
    sampler: Sampler,
    motion: Motion,
    settling: Settling,
    /// The last move, whose rest is not over yet.
    pending: Option<Course>,
    following_error: bool,
    moves: u32,
    readout: Readout,
    events: Deque<Event, EVENTS>,
    lost: u32,
}

impl Axis {
    /// An axis measured by these settings, before its first reading.
    pub fn new(settings: Settings) -> Axis {
        Axis {
            settings,
            started: false,
            sampler: Sampler::default(),
            motion: Motion::default(),
            settling: Settling::default(),
            pending: None,
            following_error: false,
            moves: 0,
            readout: Readout::default(),
            events: Deque::new(),
            lost: 0,
        }
    }

    /// What it is measured by.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Measures by other settings from here on; returns whether it does.
    ///
    /// Settings change between moves only: while the command is under way nothing happens and the answer is `false`.
    /// In a rest, the rest ends here and its move is reported under the settings that it was measured by.
    /// Instants and the numbers of moves go on.
    pub fn set(&mut self, settings: Settings) -> bool {
        if self.is_under_way() {
            return false;
        }
        self.end_rest();
        if settings.command_scale != self.settings.command_scale {
            self.sampler.rescale(&settings);
        }
        self.settings = settings;
        self.settling.begin(&settings, self.error(), self.now());
        true
    }

    /// Readings are missing before the next one.
    pub fn gap(&mut self) {
        self.sampler.gap();
    }

    /// Adds one reading; the status holds for this instant.
    pub fn step(&mut self, reading: Reading) -> Status {
        if !self.started {
            return self.begin(reading);
        }
        let Axis { settings, sampler, motion, settling, .. } = self;
        let (last_tick, last_error) = (sampler.tick(), sampler.error());
        let sample = sampler.step(settings, reading);
        let now = sampler.now();
        let phase = motion.step(settings, sample, now);
        let mut event = false;
        match phase {
            // The rest ended with the sample before.
            Phase::Start => event = self.close(now - u64::from(sample.elapsed), last_tick, last_error),
            Phase::End => {
                let course = motion.course();
                settling.rested(settings, &course);
                self.pending = Some(course);
            }
            Phase::Resting if self.rest_is_long(now) => event = self.close(now, sample.tick, sample.error),
            Phase::Resting | Phase::Idle | Phase::Moving | Phase::Holding => (),
        }
        let status = self.settling.step(&self.settings, sample, phase, now);
        let event = self.watch(status.following_error) || event;
        Status { event, ..status }
    }

    /// Adds readings up to the first at which an event was queued; returns how many were added.
    pub fn run(&mut self, readings: &[Reading]) -> usize {
        let event = readings.iter().position(|&reading| self.step(reading).event);
        event.map_or(readings.len(), |place| place + 1)
    }

    /// No more readings come: the last rest ends here.
    ///
    /// Returns whether a move was still under way, and so is not reported.
    pub fn finish(&mut self) -> bool {
        self.end_rest();
        self.motion.under_way()
    }

    /// The next thing that happened.
    pub fn event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    /// Settling curve of the last move reported; valid until the next step.
    pub fn curve(&self) -> impl Iterator<Item = CurvePoint> + '_ {
        self.settling.curve(self.readout)
    }

    /// Time since the first reading. Unit: ticks
    pub fn now(&self) -> u64 {
        self.sampler.now()
    }

    /// command − feedback at the last reading. Unit: feedback counts
    pub fn error(&self) -> i32 {
        self.sampler.error()
    }

    /// Whether the command has left its last rest and not yet come to the next.
    pub fn is_under_way(&self) -> bool {
        self.motion.under_way()
    }

    /// Moves reported.
    pub fn moves(&self) -> u32 {
        self.moves
    }

    /// Command excursions that stayed within the window, and so are no moves.
    pub fn small(&self) -> u32 {
        self.motion.small()
    }

    /// Events that were dropped because nobody had read the ones before.
    pub fn lost(&self) -> u32 {
        self.lost
    }

    /// Adds the first reading: nothing was before it, so that nothing can have moved or passed an edge.
    fn begin(&mut self, reading: Reading) -> Status {
        self.started = true;
        self.sampler.begin(&self.settings, reading);
        let error = self.error();
        self.settling.begin(&self.settings, error, 0);
        let following_error = self.settling.following_error(&self.settings, error, 0);
        let event = self.watch(following_error);
        Status { moving: false, event, position: self.settling.position(), following_error }
    }

    /// Queues an event when the following error has come to last too long, or is inside again.
    fn watch(&mut self, following_error: bool) -> bool {
        let changed = following_error != self.following_error;
        if changed {
            self.following_error = following_error;
            self.push(Event::FollowingError(following_error));
        }
        changed
    }

    fn rest_is_long(&self, now: u64) -> bool {
        self.pending.is_some_and(|course| now - course.command_end > LONGEST_REST)
    }

    /// The rest ends with the last reading.
    fn end_rest(&mut self) {
        self.close(self.now(), self.sampler.tick(), self.error());
    }

    /// Reports the last move, whose rest ends with the sample at `now`, if it is not reported yet; whether it did.
    ///
    /// `tick` and `error` are those of that sample. Unit: ticks, feedback counts
    fn close(&mut self, now: u64, tick: u32, error: i32) -> bool {
        let Some(course) = self.pending.take() else { return false };
        let held = now.saturating_sub(course.command_end);
        let stop = self.settling.stop(&self.settings, &course, held);
        // The curve's 32-bit time stamps can't be told apart over a longer move, and mean nothing with a faulty clock.
        let known = course.command_end - course.start <= LONGEST_MOVE && self.settling.clock_is_sound();
        self.readout = Readout {
            tick,
            error: error.unsigned_abs(),
            held: u32::try_from(held).unwrap_or(u32::MAX),
            window_time: if known { self.settings.window_time } else { u32::MAX },
        };
        self.moves = self.moves.saturating_add(1);
        self.push(Event::Move(Record::new(&self.settings, self.moves, &course, &stop)));
        true
    }

    fn push(&mut self, event: Event) {
        if self.events.push_back(event).is_err() {
            self.lost = self.lost.saturating_add(1);
        }
    }
}
