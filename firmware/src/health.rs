//! In: readings, and counts of illegal transitions. Out: findings: what is wrong with the signals.
//!
//! Signals are checked before any number is believed: a settling time from swapped taps or a wrong command scale is
//! worse than none. The move between two rests of both signals is judged at the second rest. All of it is integer
//! arithmetic, a few additions per sample.
//!
//! A signal is still while it stays within a band around one of its positions. An axis that never comes to rest, or
//! moves less than sixteen bands, gives no finding about its moves.

use stillpoint_core::{Reading, Settings};

pub use finding::{Finding, Severity, Signal};
use ratio::Ratio;

mod finding;
mod wire;
mod ratio;

/// Least travel of a move. Unit: bands
const MOVE: u32 = 16;

/// Moves in a row that must show the same fault.
const IN_A_ROW: u8 = 3;

/// Least deviation of the ratio from its setting is one part in this many, see [`Finding::WrongRatio`].
const RATIO_PART: u32 = 64;

/// Illegal transitions that are a finding, see [`Finding::IllegalTransitions`].
const ILLEGAL: u32 = 4;

/// Least lead of feedback, see [`Finding::Swapped`]. Unit: 1/16 samples
const LEAD: i64 = 4;

/// Limits of the checks of one axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Command scale: feedback counts per command count, numerator and denominator.
    pub scale: (i32, i32),
    /// Half-width of the band in which a signal is still. Unit: command counts, feedback counts
    pub still: (u32, u32),
    /// How long both must be still. Unit: samples
    pub rest: u16,
    /// The largest valid change in one sample, of command and feedback. Unit: counts
    pub most_change: (u32, u32),
}

impl Limits {
    /// The band is the position window, at least four encoder steps; the rest is the rest time.
    /// Unit of `period`: ticks
    pub fn new(settings: &Settings, period: u32, most_change: (u32, u32)) -> Limits {
        let feedback = settings.window.max(settings.encoder_step.saturating_mul(4));
        let (upper, lower) =
            (settings.command_scale.0.unsigned_abs(), settings.command_scale.1.unsigned_abs());
        let command = (u64::from(feedback) * u64::from(lower)).checked_div(u64::from(upper)).unwrap_or(1);
        let rest = settings.rest_time.checked_div(period).unwrap_or(0).clamp(3, u32::from(u16::MAX));
        Limits {
            scale: settings.command_scale,
            still: (u32::try_from(command).unwrap_or(u32::MAX).max(1), feedback),
            rest: u16::try_from(rest).unwrap_or(u16::MAX),
            most_change,
        }
    }
}

/// Largest valid change in one sample: half the range that the register can distinguish from the opposite direction,
/// and no more than the input can count. Unit: counts, from bits, counts/s (four times the frequency of a quadrature
/// line), samples/s
pub fn most_change(register_bits: u32, counts_per_second: u32, samples_per_second: u32) -> u32 {
    let unambiguous = 1_u32.checked_shl(register_bits.saturating_sub(2)).unwrap_or(1 << 30);
    counts_per_second.checked_div(samples_per_second).unwrap_or(u32::MAX).min(unambiguous)
}

/// One signal, still or moving.
#[derive(Clone, Copy, Debug, Default)]
struct Still {
    anchor: i32,
    /// Samples since the signal last left the band.
    held: u16,
    /// Moves in a row that only the other signal made.
    absent: u8,
    /// The signal left its rest in this move.
    departed: bool,
    /// The signal changed while both came to rest.
    restless: bool,
}

impl Still {
    fn step(&mut self, position: i32, band: u32) {
        if position.wrapping_sub(self.anchor).unsigned_abs() > band {
            (self.anchor, self.held, self.departed) = (position, 0, true);
        } else {
            self.held = self.held.saturating_add(1);
        }
    }
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum State {
    /// No rest has been seen yet.
    #[default]
    Unknown,
    Resting,
    Moving {
        /// Feedback left its rest before the command.
        feedback_first: bool,
    },
}

/// State of the signal checks of one axis.
#[derive(Clone, Debug, Default)]
pub struct Health {
    command: Still,
    feedback: Still,
    /// Positions at the last reading; `None` after a gap.
    last: Option<(i32, i32)>,
    /// Positions at the last rest.
    start: (i32, i32),
    /// Distances from `start`, summed over the samples of the move. Unit: counts × samples
    sums: (i64, i64),
    ratio: Ratio,
    state: State,
    opposite: u8,
    swapped: u8,
    /// Moves without signs of swapped taps.
    not_swapped: u8,
    /// A bit for each kind of finding returned so far.
    reported: u8,
}

impl Health {
    /// Readings are missing before the next one: the move under way can't be judged.
    pub fn gap(&mut self) {
        self.last = None;
        self.state = State::Unknown;
        (self.command.held, self.feedback.held) = (0, 0);
    }

    /// Adds one reading and the illegal transitions counted since the start; returns at most one finding, and each
    /// kind of finding once.
    pub fn step(&mut self, limits: &Limits, reading: Reading, illegal: u32) -> Option<Finding> {
        let now = (reading.command, reading.feedback);
        let last = self.last.replace(now).unwrap_or(now);
        let change = (now.0.wrapping_sub(last.0), now.1.wrapping_sub(last.1));
        let of_counters =
            counter_finding(limits, change, illegal).filter(|finding| !self.is_reported(finding));
        self.command.step(now.0, limits.still.0);
        self.feedback.step(now.1, limits.still.1);
        // At the start and at the end of a rest a slow command creeps within its band: only the time between counts.
        if self.command.held.min(self.feedback.held) > limits.rest / 2 && self.state != State::Resting {
            self.command.restless |= change.0 != 0;
            self.feedback.restless |= change.1 != 0;
        }
        let of_move = if self.follow(limits, now) { self.judge(limits, now) } else { None };
        let finding = of_counters.or(of_move)?;
        self.reported |= finding.bit();
        Some(finding)
    }

    fn is_reported(&self, finding: &Finding) -> bool {
        self.reported & finding.bit() != 0
    }

    /// Follows rest and move; `true` when a move is finished.
    fn follow(&mut self, limits: &Limits, now: (i32, i32)) -> bool {
        let both_held = self.command.held.min(self.feedback.held);
        if let State::Resting = self.state
            && both_held == 0
        {
            self.state = State::Moving { feedback_first: self.command.held > 0 };
        }
        if let State::Moving { .. } = self.state {
            let distance = |now: i32, start: i32| i64::from(now.wrapping_sub(start));
            self.sums.0 = self.sums.0.saturating_add(distance(now.0, self.start.0));
            self.sums.1 = self.sums.1.saturating_add(distance(now.1, self.start.1));
        }
        if self.state == State::Resting || both_held < limits.rest {
            return false;
        }
        let finished = self.state != State::Unknown;
        if !finished {
            self.rest_at(now);
        }
        finished
    }

    fn rest_at(&mut self, now: (i32, i32)) {
        self.start = now;
        self.sums = (0, 0);
        self.state = State::Resting;
        for signal in [&mut self.command, &mut self.feedback] {
            (signal.departed, signal.restless) = (false, false);
        }
    }

    /// The gravest finding about the finished move.
    fn judge(&mut self, limits: &Limits, now: (i32, i32)) -> Option<Finding> {
        let travels = (now.0.wrapping_sub(self.start.0), now.1.wrapping_sub(self.start.1));
        let moved = |travel: i32, band: u32| travel.unsigned_abs() >= band.saturating_mul(MOVE);
        let moved = (moved(travels.0, limits.still.0), moved(travels.1, limits.still.1));
        count(&mut self.feedback.absent, moved.0 && !self.feedback.departed, moved.1);
        count(&mut self.command.absent, moved.1 && !self.command.departed, moved.0);
        if moved == (true, true) {
            self.compare(limits, travels);
        }
        self.rest_at(now);
        self.findings(limits).into_iter().flatten().find(|finding| !self.is_reported(finding))
    }

    /// Both signals moved: compares their order, direction and ratio.
    fn compare(&mut self, limits: &Limits, travels: (i32, i32)) {
        // A command in whole counts needs no tolerance; one that flickers stays within its band.
        let tolerance = if self.command.restless { limits.still.0.saturating_mul(2) } else { 0 };
        let tolerance = (tolerance, limits.still.1.saturating_mul(2));
        self.ratio.step((travels.0.unsigned_abs(), travels.1.unsigned_abs()), tolerance);
        let opposite = ((travels.0 < 0) != (travels.1 < 0)) != (limits.scale.0 < 0);
        count(&mut self.opposite, opposite, true);
        // Sum / travel is the mean time since the signal covered its distance.
        let ago = |sum: i64, travel: i32| sum.saturating_mul(16).checked_div(i64::from(travel)).unwrap_or(0);
        let behind = ago(self.sums.0, travels.0).saturating_sub(ago(self.sums.1, travels.1));
        let restless = self.command.restless && !self.feedback.restless;
        let feedback_first = self.state == State::Moving { feedback_first: true };
        let signs = [behind <= -LEAD, restless, feedback_first || self.is_inverse(limits)];
        let swapped = signs.into_iter().filter(|&sign| sign).count() > 1;
        count(&mut self.swapped, swapped, true);
        self.not_swapped = self.not_swapped.saturating_add(u8::from(!swapped));
    }

    /// The moves so far fit the inverse of the command scale, and not the scale itself.
    fn is_inverse(&self, limits: &Limits) -> bool {
        let set = (limits.scale.0.unsigned_abs(), limits.scale.1.unsigned_abs());
        self.ratio.differs(set, RATIO_PART) && !self.ratio.differs((set.1, set.0), RATIO_PART)
    }

    fn findings(&self, limits: &Limits) -> [Option<Finding>; 5] {
        let set = (limits.scale.0.unsigned_abs(), limits.scale.1.unsigned_abs());
        let proposed = self.ratio.simplest().and_then(|(upper, lower)| {
            let sign = if (self.opposite > 0) != (limits.scale.0 < 0) { -1 } else { 1 };
            Some((sign * i32::try_from(upper).ok()?, i32::try_from(lower).ok()?))
        });
        // Taps are swapped from the start or never. A slack belt that still rings when the next move begins shows the
        // same signs in some moves in a row, but not from the start.
        let swapped = self.swapped >= IN_A_ROW && self.swapped > self.not_swapped;
        // Swapped taps show the inverse ratio, too: no finding about the ratio until the order of the signals is clear.
        let unclear = self.swapped > 0 && self.is_inverse(limits);
        let differs = !unclear && self.ratio.is_known() && self.ratio.differs(set, RATIO_PART);
        let opposite = self.opposite >= IN_A_ROW;
        [
            (self.feedback.absent >= IN_A_ROW).then_some(Finding::FeedbackMissing),
            (self.command.absent >= IN_A_ROW).then_some(Finding::CommandDead),
            swapped.then_some(Finding::Swapped),
            opposite.then_some(Finding::WrongSign { proposed }),
            proposed
                .filter(|_| differs && !opposite && !swapped)
                .map(|proposed| Finding::WrongRatio { proposed }),
        ]
    }
}

/// Counts moves in a row: one more if the move shows the fault, 0 if it could have shown it and did not.
fn count(moves: &mut u8, shows: bool, could_show: bool) {
    if shows {
        *moves = moves.saturating_add(1);
    } else if could_show {
        *moves = 0;
    }
}

/// A finding about counters and lines alone.
fn counter_finding(limits: &Limits, change: (i32, i32), illegal: u32) -> Option<Finding> {
    let fast = |signal, change: i32, most: u32| {
        let change = change.unsigned_abs();
        (change > most).then_some(Finding::RateNearLimit { signal, change })
    };
    fast(Signal::Command, change.0, limits.most_change.0)
        .or_else(|| fast(Signal::Feedback, change.1, limits.most_change.1))
        .or_else(|| (illegal >= ILLEGAL).then_some(Finding::IllegalTransitions { count: illegal }))
}
