//! In: readings of one axis. Out: its status at every sample, and events: move records, following-error changes.
//!
//! The only place that knows all stages of a measurement. [`Axis::step`] runs through all of them; [`batch`] adds
//! many readings at once where nothing but sums and extremes would change.

use heapless::Deque;

use crate::motion::{Motion, MoveCommand, Phase};
use crate::record::{LONGEST_MOVE, Record};
use crate::sample::{Reading, Sampler};
use crate::settings::Settings;
use crate::settling::curve::{CurvePoint, Readout};
use crate::settling::{Settling, Status};

mod batch;

use batch::Batch;

/// Length of the event queue; one step adds at most two.
const EVENTS: usize = 4;

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
    /// Whether a reading was added.
    started: bool,
    sampler: Sampler,
    motion: Motion,
    settling: Settling,
    /// The last move, whose rest is not over yet.
    pending: Option<MoveCommand>,
    following_error: bool,
    moves: u32,
    readout: Option<Readout>,
    events: Deque<Event, EVENTS>,
    lost: u32,
}

impl Axis {
    /// An axis with these settings, before its first reading.
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
            readout: None,
            events: Deque::new(),
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
        self.end_rest();
        if settings.command_scale != self.settings.command_scale {
            self.sampler.rescale(&settings);
        }
        self.settings = settings;
        self.settling.begin(&settings, self.error());
        true
    }

    /// Readings are missing before the next one, or a counter was set anew.
    ///
    /// Call it whenever a sample was lost: any sample rate is valid, so an axis can't notice by itself.
    pub fn gap(&mut self) {
        self.sampler.gap();
    }

    /// Adds one reading; returns the status at its instant.
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
                let move_command = motion.move_command();
                settling.command_at_rest(settings, &move_command);
                self.pending = Some(move_command);
            }
            Phase::Resting if self.rest_is_long(now) => event = self.close(now, sample.tick, sample.error),
            Phase::Resting | Phase::Idle | Phase::Moving | Phase::Holding => (),
        }
        let status = self.settling.step(&self.settings, sample, phase, now);
        let event = self.update_following_error(status.following_error) || event;
        Status { event, ..status }
    }

    /// Adds readings up to the first at which an event was queued; returns the number of readings added.
    ///
    /// The same as that many steps, and faster where many readings are at hand.
    pub fn run(&mut self, readings: &[Reading]) -> usize {
        let (mut remaining, mut batch) = (readings, Batch::empty());
        loop {
            let added = self.add_batch(&mut batch, remaining);
            remaining = remaining.get(added..).unwrap_or_default();
            let Some((reading, others)) = remaining.split_first() else { return readings.len() };
            if added == 0 {
                remaining = others;
                if self.step(*reading).event {
                    return readings.len() - remaining.len();
                }
            }
        }
    }

    /// No more readings follow: the last rest ends here and its move is reported.
    ///
    /// Returns whether a move was still under way; that move is not reported.
    pub fn finish(&mut self) -> bool {
        self.end_rest();
        self.motion.under_way()
    }

    /// The oldest event in the queue, removed from it. The queue holds four; with no room a new event is lost.
    pub fn event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    /// Settling curve of the last move reported, empty before the first; valid until the next step.
    pub fn curve(&self) -> impl Iterator<Item = CurvePoint> + '_ {
        self.readout.into_iter().flat_map(|readout| self.settling.curve(readout))
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

    /// Number of moves reported.
    pub fn moves(&self) -> u32 {
        self.moves
    }

    /// Number of small excursions, which stayed within the window and are no moves.
    pub fn small(&self) -> u32 {
        self.motion.small()
    }

    /// Number of events dropped because the queue was full.
    pub fn lost(&self) -> u32 {
        self.lost
    }

    /// Adds the first reading: with none before it there is no change and no window transition.
    fn begin(&mut self, reading: Reading) -> Status {
        self.started = true;
        self.sampler.begin(&self.settings, reading);
        let error = self.error();
        self.settling.begin(&self.settings, error);
        let following_error = self.settling.following_error(&self.settings, error, 0);
        let event = self.update_following_error(following_error);
        Status { moving: false, event, position: self.settling.position(), following_error }
    }

    /// Queues an event if the following-error flag has changed; returns whether it did.
    fn update_following_error(&mut self, following_error: bool) -> bool {
        let changed = following_error != self.following_error;
        if changed {
            self.following_error = following_error;
            self.push(Event::FollowingError(following_error));
        }
        changed
    }

    fn rest_is_long(&self, now: u64) -> bool {
        self.pending.is_some_and(|move_command| now - move_command.command_end > LONGEST_REST)
    }

    /// The rest ends with the last reading.
    fn end_rest(&mut self) {
        self.close(self.now(), self.sampler.tick(), self.error());
    }

    /// Reports the pending move, whose rest ends with the sample at `now`; returns whether there was one.
    ///
    /// `tick` and `error` are those of that sample. Unit: ticks, feedback counts
    fn close(&mut self, now: u64, tick: u32, error: i32) -> bool {
        let Some(move_command) = self.pending.take() else { return false };
        let held = now.saturating_sub(move_command.command_end);
        // The curve's 32-bit time stamps are ambiguous over a longer move, and wrong if the clock had a fault.
        let has_curve =
            move_command.command_end - move_command.start <= LONGEST_MOVE && self.settling.clock_is_sound();
        let mut readout = Readout {
            tick,
            error: error.unsigned_abs(),
            held: u32::try_from(held).unwrap_or(u32::MAX),
            window_time: if has_curve { self.settings.window_time } else { u32::MAX },
            late: move_command.ending.late,
            set: (self.settings.window, None),
        };
        let stop = self.settling.stop(&self.settings, &move_command, held, &readout);
        self.moves = self.moves.saturating_add(1);
        let record = Record::new(&self.settings, self.moves, &move_command, &stop);
        readout.set.1 = record.confirmation.map(|held| held.saturating_sub(self.settings.window_time));
        self.readout = Some(readout);
        self.push(Event::Move(record));
        true
    }

    fn push(&mut self, event: Event) {
        if self.events.push_back(event).is_err() {
            self.lost = self.lost.saturating_add(1);
        }
    }
}
