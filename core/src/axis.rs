//! In: readings of one axis. Out: its status at every sample, and events: moves, following errors.
//!
//! The only file that knows all stages. Events wait in a small queue; [`Status::event`] says when to take them.

use heapless::Deque;

use crate::motion::{Course, Motion, Phase, left};
use crate::record::{LONGEST_MOVE, Record};
use crate::sample::stretch::{Alike, Stretch};
use crate::sample::{Reading, Sample, Sampler};
use crate::settings::Settings;
use crate::settling::curve::{Point, Readout};
use crate::settling::{Settling, Status};

mod step;

/// Events that wait for the caller; one step makes at most two.
const EVENTS: usize = 4;

/// How long a rest is followed: then the move is closed without waiting for the next. Unit: ticks
const LONGEST_REST: u64 = 1 << 30;

/// Something that happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// A move and its rest are over.
    Move(Record),
    /// The following error has lasted too long (`true`), or is inside again.
    FollowingError(bool),
}

/// Everything that is remembered of one axis.
///
/// What every sample needs comes first: a Cortex-M loads in pairs only what lies within the first kibibyte.
#[derive(Clone, Debug, Default)]
#[repr(C)]
pub struct Axis {
    sampler: Sampler,
    motion: Motion,
    settling: Settling,
    pending: Option<Course>,
    following_error: bool,
    moves: u32,
    readout: Readout,
    events: Deque<Event, EVENTS>,
    lost: u32,
}

impl Axis {
    /// Readings are missing before the next one.
    pub fn gap(&mut self) {
        self.sampler.gap();
    }

    /// Adds one reading whatever it is, and expects nothing.
    #[inline]
    fn step_any(&mut self, settings: &Settings, reading: &Reading) -> Status {
        if self.sampler.is_new() {
            return self.begin(settings, *reading);
        }
        let (last_tick, last_error) = self.sampler.last();
        let sample = self.sampler.step(settings, *reading);
        let now = self.sampler.now();
        let phase = self.motion.step(settings, sample, now);
        let mut event = false;
        match phase {
            Phase::Start => {
                event = self.pending.is_some();
                if event {
                    let rest_end = now - u64::from(sample.elapsed);
                    self.close(settings, rest_end, last_tick, last_error);
                }
            }
            Phase::End => {
                let course = self.motion.course();
                self.settling.rested(settings, &course);
                self.pending = Some(course);
            }
            Phase::Resting => event = self.close_if_long(settings, sample, now),
            Phase::Idle | Phase::Moving | Phase::Holding => (),
        }
        let status = self.settling.step(settings, sample, phase, now);
        let event = self.watch(status.following_error) || event;
        Status { event, ..status }
    }

    /// Takes the first reading: nothing was before it, so that nothing can have moved or passed an edge.
    #[cold]
    #[inline(never)]
    fn begin(&mut self, settings: &Settings, reading: Reading) -> Status {
        let error = self.sampler.begin(settings, reading);
        let following_error = self.settling.begin(settings, error);
        let event = self.watch(following_error);
        Status { moving: false, event, position: self.settling.position(), following_error }
    }

    /// Tells a following error that has come to last too long, or is inside again; whether there is one to tell.
    #[inline]
    fn watch(&mut self, following_error: bool) -> bool {
        let changed = following_error != self.following_error;
        if changed {
            self.following_error = following_error;
            self.tell(Event::FollowingError(following_error));
        }
        changed
    }

    /// Adds readings up to the first at which something happened; returns how many were added.
    ///
    /// The same as that many steps, and faster where many readings are at hand.
    pub fn run(&mut self, settings: &Settings, readings: &[Reading]) -> usize {
        self.catch_up();
        let (mut left, mut stretch) = (readings, Stretch::default());
        loop {
            while let Some(alike) = self.alike(settings) {
                self.sampler.stretch(settings, alike, left, &mut stretch);
                if stretch.readings().is_empty() {
                    break;
                }
                self.take(settings, &stretch, alike);
                left = left.get(stretch.readings().len()..).unwrap_or_default();
            }
            let Some((reading, others)) = left.split_first() else { return readings.len() };
            left = others;
            if self.step_any(settings, reading).event {
                return readings.len() - left.len();
            }
        }
    }

    /// Adds a stretch at which nothing new happens.
    #[inline]
    fn take(&mut self, settings: &Settings, stretch: &Stretch, alike: Alike) {
        self.sampler.take(stretch);
        self.motion.take(stretch, alike.moving, self.sampler.now());
        self.settling.take(settings, stretch);
    }

    /// What the next samples are if nothing happens.
    #[inline]
    fn alike(&self, settings: &Settings) -> Option<Alike> {
        let alike = self
            .settling
            .alike(settings, self.error())
            .filter(|alike| self.sampler.is_even(settings, alike.moving))?;
        if alike.moving {
            return Some(alike);
        }
        // While a move is told of only after its rest, the next is not yet under way.
        Some(Alike { ticks: alike.ticks.min(self.phase_left(settings)), ..alike })
    }

    /// How long a standing command changes no phase. Unit: ticks
    #[inline]
    fn phase_left(&self, settings: &Settings) -> u32 {
        let now = self.sampler.now();
        match &self.pending {
            Some(course) => left(LONGEST_REST, now - course.command_end),
            None => self.motion.left(settings, now),
        }
    }

    /// No more readings come: the last rest ends here.
    ///
    /// Returns whether a move was still under way, and so is not told.
    pub fn finish(&mut self, settings: &Settings) -> bool {
        self.catch_up();
        let (tick, error) = self.sampler.last();
        self.close(settings, self.sampler.now(), tick, error);
        self.motion.under_way()
    }

    /// The next thing that happened.
    pub fn event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    /// Settling curve of the last move told; valid until the next step.
    pub fn curve(&self) -> impl Iterator<Item = Point> + '_ {
        self.settling.curve(self.readout)
    }

    /// Time since the first reading. Unit: ticks
    pub fn now(&self) -> u64 {
        self.sampler.now()
    }

    /// command − feedback at the last reading. Unit: feedback counts
    pub fn error(&self) -> i32 {
        self.sampler.last().1
    }

    /// Whether the command has left its last rest and not yet come to the next.
    pub fn is_under_way(&self) -> bool {
        self.motion.under_way()
    }

    /// Moves told.
    pub fn moves(&self) -> u32 {
        self.moves
    }

    /// Command excursions that stayed within the window, and so are no moves.
    pub fn small(&self) -> u32 {
        self.motion.small()
    }

    /// Events that nobody took in time.
    pub fn lost(&self) -> u32 {
        self.lost
    }

    #[inline]
    fn close_if_long(&mut self, settings: &Settings, sample: Sample, now: u64) -> bool {
        let long = self.pending.is_some_and(|course| now - course.command_end > LONGEST_REST);
        if long {
            self.close(settings, now, sample.tick, sample.error);
        }
        long
    }

    /// The rest ends with the sample at `now`, that read `tick` and `error`.
    #[cold]
    #[inline(never)]
    fn close(&mut self, settings: &Settings, now: u64, tick: u32, error: i32) {
        let Some(course) = self.pending.take() else { return };
        let held = now.saturating_sub(course.command_end);
        let stop = self.settling.stop(settings, &course, held);
        // Over a longer move the curve's 32-bit time stamps would come round again: better none.
        let known = course.command_end - course.start <= LONGEST_MOVE && self.settling.clock_is_sound();
        self.readout = Readout {
            tick,
            error: error.unsigned_abs(),
            held: u32::try_from(held).unwrap_or(u32::MAX),
            window_time: if known { settings.window_time } else { u32::MAX },
        };
        self.moves = self.moves.saturating_add(1);
        self.tell(Event::Move(Record::new(settings, self.moves, &course, &stop)));
    }

    fn tell(&mut self, event: Event) {
        if self.events.is_full() {
            self.lost = self.lost.saturating_add(1);
        } else {
            // There is room; asking first keeps the event from being handed to and fro.
            let _ = self.events.push_back(event);
        }
    }
}
