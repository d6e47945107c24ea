//! In: feedback alone, where no command can be tapped. Out: the same, late, with an inferred command.
//!
//! The core wants a command at every sample, and where a move was to end is known only when it rests.
//! So feedback waits in a delay line of `SAMPLES`; what comes out has a command that was found out in
//! the meantime, and the core runs unchanged. At rest the command is the mean of the rest, from the
//! command end on that of the next rest, and between the two it is feedback itself.
//!
//! **Method.** A planned move stops as it starts, mirrored. How long feedback took from standstill to a
//! small part of its travel (1/128 to 1/64) is therefore the time from the same part before the
//! target to the command end. Where a stop is planned slower or quicker than the start, the time is
//! stretched as the last stretches of both differ. `shape` has the details.
//!
//! **Uncertainty.** Of the end: what the stretch adds, an eighth of the time added, a quarter of the time
//! that the start was extrapolated, and half a sample, as independent parts; `doubt` adds what a target
//! a little off would change. The divisors were found by simulation. On sound and half-worn axes of the
//! invented transplanter settling comes out 0.8 to 4.0 ms short on average, with a spread of 0.5 to 3 ms
//! (11 ms where a slack belt swings about the edge of the window, and half a swing more or less
//! counts), and the 95 % interval holds the true value in 97 of 100 moves or more.
//!
//! **Limits.** A drive that lags shows the end late by its lag, and settling that much too short: a
//! mechanism that creeps home under friction (14 ms there on average) can't be told from a command
//! that does. An axis that swings until the next move has no rests to infer from. A rest error can't
//! be seen, so none is reported; nor can the following error before the command end, which counts as
//! zero. A travel under sixteen bands counts as creep of the rest before. A travel under 2,048 counts
//! or some 3,000 times the spread of the rest noise, and a stop that took longer than the line, are not
//! inferred; their moves come out untrusted. When readings are missing, those in the line are lost too.
//! It costs four bytes per sample of delay and 500 more, and about two hundred short steps at most in a
//! sample.

use heapless::Deque;
use stillpoint_core::{CurvePoint, Reading, Reasons, Record};

use line::{Arrival, Line};
use shape::Departure;
use stand::Stand;

mod line;
mod stand;
mod shape;
mod doubt;

/// Starts and ends that wait in the delay line.
const MARKS: usize = 8;

/// A travel of fewer bands is no move: feedback creeps or was pushed.
const MOVE: u32 = 16;

/// A record's command was inferred from feedback: its times are less certain than measured ones.
pub const INFERRED: Reasons = Reasons::INFERRED;

/// What is right for an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Half-width of the band in which feedback stands still: above its noise, below the window. Unit: counts
    pub still: u32,
    /// How long it must stand to be at rest, at least 8. Unit: samples
    pub rest: u32,
    /// Between two samples. Unit: ticks
    pub period: u32,
}

/// One reading out of the delay line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Delayed {
    /// With the inferred command.
    pub reading: Reading,
    /// The core must be told of a gap first: readings are missing, or a command end was not found.
    pub gap: bool,
}

/// What the delay line will say from a sample on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Say {
    Start,
    /// At rest there; the end is known this well, or not at all. Unit: counts, ticks
    Rest(i32, Option<u32>),
}

/// What feedback does as it comes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// No rest has been seen yet.
    Unknown,
    Resting,
    /// Since the sample of this number.
    Moving(u32),
}

/// What is said of the samples that go out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Said {
    Nothing,
    Moving,
    Resting(i32),
}

/// Everything that is remembered of one axis.
///
/// `SAMPLES` must cover the last sixteenth of the way, settling and rest time; a slower sampling makes
/// a long stop fit.
#[derive(Clone, Debug)]
pub struct Infer<const SAMPLES: usize> {
    line: Line<SAMPLES>,
    stand: Stand,
    state: State,
    /// Where feedback rested last. Unit: counts
    target: i32,
    /// Number of the sample at which that was last found better, and what it was before.
    before: (u32, i32),
    departure: Departure,
    arrival: Option<Arrival>,
    marks: Deque<(u32, Say), MARKS>,
    said: Said,
    gap: bool,
    uncertainty: u32,
    unfound: u32,
}

impl<const SAMPLES: usize> Default for Infer<SAMPLES> {
    fn default() -> Infer<SAMPLES> {
        Infer {
            line: Line::new(),
            stand: Stand::default(),
            state: State::Unknown,
            target: 0,
            before: (0, 0),
            departure: Departure::default(),
            arrival: None,
            marks: Deque::new(),
            said: Said::Nothing,
            gap: false,
            uncertainty: 0,
            unfound: 0,
        }
    }
}

impl<const SAMPLES: usize> Infer<SAMPLES> {
    /// Readings are missing before the next one: what is in the delay line is lost.
    pub fn gap(&mut self) {
        self.line.clear();
        self.stand = Stand::default();
        self.state = State::Unknown;
        self.arrival = None;
        self.marks.clear();
        self.said = Said::Nothing;
        self.gap = true;
    }

    /// Adds one sample taken at `tick`; one sample comes out, once the line is full and a rest was seen.
    pub fn step(&mut self, limits: &Limits, tick: u32, feedback: i32) -> Option<Delayed> {
        let number = self.line.push(feedback);
        let held = self.stand.step(limits.still, limits.rest, feedback);
        let distance = feedback.wrapping_sub(self.target).unsigned_abs();
        match self.state {
            State::Unknown if held >= limits.rest => {
                self.rest(number.wrapping_sub(held).wrapping_add(1), Some(0));
            }
            State::Resting if distance > limits.still.saturating_mul(2) => {
                let first = self.departure.begin(&self.line, number, self.target);
                // A mean that a slow start is part of is no target.
                if self.before.0.wrapping_sub(first) as i32 >= 0 {
                    self.retarget(self.before.1);
                }
                self.state = State::Moving(first);
                self.mark(first, Say::Start);
            }
            State::Moving(first) => {
                self.departure.step(feedback);
                self.arrive(limits, first, held);
                if held >= limits.rest {
                    self.rested(limits, first, number.wrapping_sub(held).wrapping_add(1));
                }
            }
            State::Resting if self.stand.is_half(limits.rest) => {
                self.before = (number, self.target);
                self.retarget(self.stand.mean());
            }
            State::Unknown | State::Resting => (),
        }
        self.say(limits, tick)
    }

    /// Halfway through a rest its mean is known well enough to look for the arrival.
    fn arrive(&mut self, limits: &Limits, first: u32, held: u32) {
        let half = limits.rest / 2;
        if held < half {
            self.arrival = None;
        } else if held == half {
            let target = self.stand.mean();
            let travel = target.wrapping_sub(self.target);
            self.arrival = shape::octave(travel.unsigned_abs())
                .map(|octave| Arrival::new(target, travel < 0, octave, first));
        } else if let Some(arrival) = &mut self.arrival {
            arrival.step(&self.line, SAMPLES as u32 / half.max(1) + 1);
        }
    }

    /// The rest is long enough: says where and when the command ended.
    fn rested(&mut self, limits: &Limits, first: u32, stood: u32) {
        let small = self.departure.farthest() <= limits.still.saturating_mul(MOVE);
        if small && self.marks.back() == Some(&(first, Say::Start)) {
            return self.creep();
        }
        let arrival = self.arrival.take();
        match arrival.and_then(|arrival| shape::end(&self.departure, arrival.octave(), arrival.times()?)) {
            Some(end) => {
                let at = first.wrapping_add((end.time.saturating_add(8) >> 4).max(0) as u32);
                let ticks = u64::from(end.uncertainty) * u64::from(limits.period) / 16;
                self.rest(at, Some(u32::try_from(ticks).unwrap_or(u32::MAX)));
            }
            None => self.rest(stood, None),
        }
    }

    /// No move: a push, or the rest that was found before was not yet the last one.
    fn creep(&mut self) {
        self.marks.pop_back();
        self.state = State::Resting;
        self.retarget(self.stand.mean());
    }

    /// The later in a rest, the better its mean is the target.
    fn retarget(&mut self, mean: i32) {
        self.target = mean;
        if let Some((_, Say::Rest(target, _))) = self.marks.back_mut() {
            *target = mean;
        }
    }

    fn rest(&mut self, at: u32, uncertainty: Option<u32>) {
        self.target = self.stand.mean();
        self.before = (at, self.target);
        self.state = State::Resting;
        self.mark(at, Say::Rest(self.target, uncertainty));
    }

    fn mark(&mut self, at: u32, say: Say) {
        if self.marks.push_back((at, say)).is_err() {
            self.gap();
        }
    }

    /// The oldest sample goes out, with what is now known of it.
    fn say(&mut self, limits: &Limits, tick: u32) -> Option<Delayed> {
        let (number, feedback) = self.line.last()?;
        while let Some((at, say)) = self.marks.front().copied()
            && number.wrapping_sub(at) as i32 >= 0
        {
            self.marks.pop_front();
            self.said = match say {
                Say::Start => Said::Moving,
                Say::Rest(target, uncertainty) => {
                    let found = uncertainty.filter(|_| number == at || self.said == Said::Nothing);
                    self.gap |= found.is_none();
                    self.unfound = self.unfound.saturating_add(u32::from(found.is_none()));
                    self.uncertainty = found.unwrap_or(0);
                    Said::Resting(target)
                }
            };
        }
        let command = match self.said {
            Said::Nothing => return None,
            Said::Moving => feedback,
            Said::Resting(target) => target,
        };
        let age = (SAMPLES as u32).saturating_sub(1).wrapping_mul(limits.period);
        let reading = Reading { tick: tick.wrapping_sub(age), command, feedback };
        Some(Delayed { reading, gap: core::mem::take(&mut self.gap) })
    }

    /// Says of a record that its command was inferred, widens its uncertainty and takes away what
    /// can't be known; for each record as soon as the core tells it, with its window and its curve.
    ///
    /// The target is inferred too: as much as settling differs between the next narrower and the next
    /// wider window of the curve, a target that is a little off may change it.
    pub fn mark_record(&self, record: &mut Record, window: u32, curve: impl Iterator<Item = CurvePoint>) {
        record.reasons = record.reasons.with(INFERRED);
        record.rest_error = None;
        doubt::widen(record, self.uncertainty, window, curve);
    }

    /// Standard uncertainty of the last command end that came out. Unit: ticks
    pub fn uncertainty(&self) -> u32 {
        self.uncertainty
    }

    /// Moves whose command end was not found in time, or could not be told.
    pub fn unfound(&self) -> u32 {
        self.unfound
    }
}
