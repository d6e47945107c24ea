//! In: feedback alone, where no command can be tapped. Out: the same readings, later, with an inferred command.
//!
//! The core needs a command at every sample, but the target of a move is known only when feedback rests. So feedback
//! waits in a delay line of `SAMPLES`; each sample leaves it with the command found meanwhile, and the core runs
//! unchanged. During a rest the command is the mean of that rest; from the command end on it is the mean of the rest
//! to come; between the two it is feedback itself.
//!
//! **Method.** A planned move stops as it starts, mirrored. So the time that feedback takes from standstill to a small
//! part of its travel (1/128 to 1/64) is also the time from the same distance before the target to the command end.
//! Where a stop is planned slower or quicker than the start, this time is stretched by the ratio of the speeds near
//! both ends; `infer/command_end.rs` has the details.
//!
//! **Uncertainty.** The command end has four independent parts: what the stretch adds, an eighth of the time added, a
//! quarter of the time that the start was extrapolated, and half a sample; `infer/uncertainty.rs` adds the effect of an
//! error of the inferred target. The divisors were found by simulation. On axes of the invented transplanter, healthy
//! and half worn, settling comes out 0.8 to 4.0 ms short on average, with a spread of 0.5 to 3 ms (11 ms where a slack
//! belt swings about the edge of the window, so that half a swing more or less counts). The 95 % interval holds the
//! true value in 97 of 100 moves or more.
//!
//! **Limits.** A drive that lags shows the command end late by its lag, and settling too short by the same time: a
//! mechanism that creeps to its target under friction (14 ms there on average) can't be distinguished from a command
//! that does. An axis that swings until the next move has no rest to infer from. A rest error can't be seen and is not
//! reported; the following error before the command end counts as zero. A travel under sixteen bands counts as creep
//! of the rest before. Not inferred are travels under 2,048 counts or some 3,000 times the spread of the rest noise,
//! and stops longer than the delay line; their moves are untrusted. When readings are missing, those in the delay line
//! are lost too. Cost: four bytes per sample of delay and 424 more; about two hundred short steps in a sample at most.

use heapless::Deque;
use stillpoint_core::{CurvePoint, Reading, Reasons, Record};

use command_end::Departure;
use delay_line::{Arrival, DelayLine};
use standstill::Standstill;

mod delay_line;
mod standstill;
mod command_end;
mod uncertainty;

/// Starts and ends of moves in the delay line.
const MARKS: usize = 8;

/// A travel of fewer bands is no move: feedback creeps or was pushed. Unit: bands
const MOVE: u32 = 16;

/// Marks a record whose command was inferred: its times are less certain than measured ones.
pub const INFERRED: Reasons = Reasons::INFERRED;

/// Limits of the inference on one axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Half-width of the band in which feedback stands still: above its noise, below the window. Unit: counts
    pub still: u32,
    /// How long feedback must stand still to be at rest, at least 8. Unit: samples
    pub rest: u32,
    /// Time between two samples. Unit: ticks
    pub period: u32,
}

/// One reading out of the delay line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Delayed {
    /// With the inferred command.
    pub reading: Reading,
    /// The core must get a gap first: readings are missing, or a command end was not found.
    pub gap: bool,
}

/// What begins at a sample in the delay line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mark {
    /// A move.
    Start,
    /// A rest at this target; uncertainty of the command end, `None` if it was not found. Unit: counts, ticks
    Rest(i32, Option<u32>),
}

/// State of feedback as it enters the delay line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// No rest has been seen yet.
    Unknown,
    Resting,
    /// Since the sample of this number.
    Moving(u32),
}

/// Inferred command of the samples that leave the delay line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Command {
    /// Not known before the first rest.
    Unknown,
    /// Equal to feedback.
    Moving,
    /// At this target. Unit: counts
    Resting(i32),
}

/// Inference of one axis. A delay line of 0 samples infers nothing.
///
/// `SAMPLES` must cover the last sixteenth of the travel, settling and rest time; a slower sampling covers a longer
/// stop.
#[derive(Clone, Debug)]
pub struct Inference<const SAMPLES: usize> {
    line: DelayLine<SAMPLES>,
    standstill: Standstill,
    state: State,
    /// Mean of the last rest. Unit: counts
    target: i32,
    /// Sample at which `target` was last refined, and its value before. Unit: counts
    refined: (u32, i32),
    departure: Departure,
    arrival: Option<Arrival>,
    /// By the number of the sample.
    marks: Deque<(u32, Mark), MARKS>,
    command: Command,
    gap: bool,
    /// Standard uncertainty of the last command end that left the delay line. Unit: ticks
    uncertainty: u32,
    not_found: u32,
}

impl<const SAMPLES: usize> Default for Inference<SAMPLES> {
    fn default() -> Inference<SAMPLES> {
        Inference {
            line: DelayLine::new(),
            standstill: Standstill::default(),
            state: State::Unknown,
            target: 0,
            refined: (0, 0),
            departure: Departure::default(),
            arrival: None,
            marks: Deque::new(),
            command: Command::Unknown,
            gap: false,
            uncertainty: 0,
            not_found: 0,
        }
    }
}

impl<const SAMPLES: usize> Inference<SAMPLES> {
    /// Readings are missing before the next one: those in the delay line are lost.
    pub fn gap(&mut self) {
        self.line.clear();
        self.standstill = Standstill::default();
        self.state = State::Unknown;
        self.arrival = None;
        self.marks.clear();
        self.command = Command::Unknown;
        self.gap = true;
    }

    /// Adds one sample taken at `tick`; returns the oldest once the delay line is full and a rest was seen.
    pub fn step(&mut self, limits: &Limits, tick: u32, feedback: i32) -> Option<Delayed> {
        let number = self.line.push(feedback);
        let held = self.standstill.step(limits.still, limits.rest, feedback);
        let distance = feedback.wrapping_sub(self.target).unsigned_abs();
        match self.state {
            State::Unknown if held >= limits.rest => {
                self.rest(number.wrapping_sub(held).wrapping_add(1), Some(0));
            }
            State::Resting if distance > limits.still.saturating_mul(2) => {
                let first = self.departure.begin(&self.line, number, self.target);
                // A mean that includes a slow start is no target.
                if self.refined.0.wrapping_sub(first) as i32 >= 0 {
                    self.refine_target(self.refined.1);
                }
                self.state = State::Moving(first);
                self.mark(first, Mark::Start);
            }
            State::Moving(first) => {
                self.departure.step(feedback);
                self.follow_arrival(limits, first, held);
                if held >= limits.rest {
                    self.end_move(limits, first, number.wrapping_sub(held).wrapping_add(1));
                }
            }
            State::Resting if self.standstill.is_half(limits.rest) => {
                self.refined = (number, self.target);
                self.refine_target(self.standstill.mean());
            }
            State::Unknown | State::Resting => (),
        }
        self.leave(limits, tick)
    }

    /// Looks for the arrival from the middle of a rest on, when its mean is known well enough.
    fn follow_arrival(&mut self, limits: &Limits, first: u32, held: u32) {
        let half = limits.rest / 2;
        if held < half {
            self.arrival = None;
        } else if held == half {
            let target = self.standstill.mean();
            let travel = target.wrapping_sub(self.target);
            self.arrival = command_end::octave(travel.unsigned_abs())
                .map(|octave| Arrival::new(target, travel < 0, octave, first));
        } else if let Some(arrival) = &mut self.arrival {
            arrival.step(&self.line, SAMPLES as u32 / half.max(1) + 1);
        }
    }

    /// The rest is long enough: marks where and when the command ended.
    fn end_move(&mut self, limits: &Limits, first: u32, stood: u32) {
        let small = self.departure.farthest() <= limits.still.saturating_mul(MOVE);
        if small && self.marks.back() == Some(&(first, Mark::Start)) {
            return self.cancel_move();
        }
        let arrival = self.arrival.take();
        match arrival
            .and_then(|arrival| command_end::end(&self.departure, arrival.octave(), arrival.times()?))
        {
            Some(end) => {
                let at = first.wrapping_add((end.time.saturating_add(8) >> 4).max(0) as u32);
                let ticks = u64::from(end.uncertainty) * u64::from(limits.period) / 16;
                self.rest(at, Some(u32::try_from(ticks).unwrap_or(u32::MAX)));
            }
            None => self.rest(stood, None),
        }
    }

    /// No move after all: feedback was pushed, or still crept after the rest before was found.
    fn cancel_move(&mut self) {
        self.marks.pop_back();
        self.state = State::Resting;
        self.refine_target(self.standstill.mean());
    }

    /// Replaces the target of the present rest by a mean over more of it.
    fn refine_target(&mut self, mean: i32) {
        self.target = mean;
        if let Some((_, Mark::Rest(target, _))) = self.marks.back_mut() {
            *target = mean;
        }
    }

    fn rest(&mut self, at: u32, uncertainty: Option<u32>) {
        self.target = self.standstill.mean();
        self.refined = (at, self.target);
        self.state = State::Resting;
        self.mark(at, Mark::Rest(self.target, uncertainty));
    }

    fn mark(&mut self, at: u32, mark: Mark) {
        if self.marks.push_back((at, mark)).is_err() {
            self.gap();
        }
    }

    /// The oldest sample leaves the delay line with its command.
    fn leave(&mut self, limits: &Limits, tick: u32) -> Option<Delayed> {
        let (number, feedback) = self.line.oldest()?;
        while let Some((at, mark)) = self.marks.front().copied()
            && number.wrapping_sub(at) as i32 >= 0
        {
            self.marks.pop_front();
            self.command = match mark {
                Mark::Start => Command::Moving,
                Mark::Rest(target, uncertainty) => {
                    let found = uncertainty.filter(|_| number == at || self.command == Command::Unknown);
                    self.gap |= found.is_none();
                    self.not_found = self.not_found.saturating_add(u32::from(found.is_none()));
                    self.uncertainty = found.unwrap_or(0);
                    Command::Resting(target)
                }
            };
        }
        let command = match self.command {
            Command::Unknown => return None,
            Command::Moving => feedback,
            Command::Resting(target) => target,
        };
        let age = (SAMPLES as u32).saturating_sub(1).wrapping_mul(limits.period);
        let reading = Reading { tick: tick.wrapping_sub(age), command, feedback };
        Some(Delayed { reading, gap: core::mem::take(&mut self.gap) })
    }

    /// Marks a record as inferred, widens its uncertainty and removes what can't be known. To be called for each record
    /// when the core returns it, with its window and its curve.
    pub fn mark_record(&self, record: &mut Record, window: u32, curve: impl Iterator<Item = CurvePoint>) {
        record.reasons = record.reasons.with(INFERRED);
        record.rest_error = None;
        uncertainty::widen(record, self.uncertainty, window, curve);
    }

    /// Moves whose command end was not found, or not in time.
    pub fn not_found(&self) -> u32 {
        self.not_found
    }
}
