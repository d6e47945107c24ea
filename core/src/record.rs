//! In: the command data of a move and its stop. Out: the record: outcome, reasons and numbers of the move.

use core::fmt;

use crate::motion::MoveCommand;
use crate::motion::ending::Ending;
use crate::sample::Faults;
use crate::settings::{Definition, Settings};
use crate::settling::approach::FirstCrossing;
use crate::settling::crossings::{Crossings, Instant};
use crate::settling::peaks::Speed;
use crate::settling::stop::Stop;
use crate::settling::uncertainty::Uncertainty;
use crate::settling::window::Position;

/// Whether a stop settled, and why not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Inside for the window time, up to the end of the rest.
    Settled,
    /// Outside at the end of the rest.
    Unsettled,
    /// Inside at the end of the rest, but for less than the window time.
    Interrupted,
    /// Something was wrong with the samples in the move or before it settled.
    Untrusted,
}

impl Outcome {
    /// The outcome as a word, as in reports and files.
    pub const fn word(self) -> &'static str {
        match self {
            Outcome::Settled => "settled",
            Outcome::Unsettled => "unsettled",
            Outcome::Interrupted => "interrupted",
            Outcome::Untrusted => "untrusted",
        }
    }
}

/// Reasons for an outcome, and cautions that hold with any outcome; one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reasons(u64);

/// Bit and wording of each reason, in the order in which they are written.
const WORDING: [(Reasons, &str); 23] = [
    (Reasons::GAP, "samples are missing in the move or before it settled"),
    (Reasons::CLOCK, "the time stamps stand still or go back"),
    (Reasons::JUMP, "feedback jumps further in one sample than set as possible"),
    (Reasons::LONG, "the move lasts longer than its ticks can count"),
    (Reasons::UNSEEN, "the first crossing into the window lies too far back to be seen"),
    (Reasons::OUTSIDE, "outside the window at the end of the rest"),
    (Reasons::SHORT, "inside for less than the window time when the rest ended"),
    (Reasons::EXITED, "the window was left after the target had been reached"),
    (Reasons::JOINED, "the command was already changing when the samples began"),
    (Reasons::STEP, "the window is below two encoder steps"),
    (Reasons::NOISE, "the window is below three times the rest noise"),
    (Reasons::COARSE, "settling is below five sample periods"),
    (Reasons::INFERRED, "the command end is inferred from feedback"),
    (Reasons::HOLE, "samples are missing elsewhere than at command end, entry and window time"),
    (Reasons::STEPPED, "the command jumps to its target, so settling includes the travel"),
    (Reasons::SPIKE, "a spike of feedback, faster than the axis ever moves, decides"),
    (Reasons::ENDED, "the samples ended before the rest did"),
    (Reasons::OFFSET, "feedback stands at a constant offset larger than the window"),
    (Reasons::FRAGILE, "a slightly wider or narrower window changes the settling time by a swing"),
    (Reasons::TURN, "the position jumps by close to a whole turn"),
    (Reasons::DEAD_BAND, "the command is noisy, and its end is known to its dead band"),
    (Reasons::FEW, "the window is crossed within a sample or two"),
    (Reasons::PAUSED, "the command stood in between, too short to tell a stop from a turning point"),
];

impl Reasons {
    /// No reason.
    pub const NONE: Reasons = Reasons(0);
    /// Samples are missing where they matter, in the move or before it settled.
    pub const GAP: Reasons = Reasons(1);
    /// The time stamps stand still or go back.
    pub const CLOCK: Reasons = Reasons(1 << 1);
    /// Feedback jumps further in one sample than the setting `jump`.
    pub const JUMP: Reasons = Reasons(1 << 2);
    /// The command moves for longer than 2^31 ticks.
    pub const LONG: Reasons = Reasons(1 << 3);
    /// Under [`Definition::Iso9283`]: the first crossing lies further back than the approach points.
    pub const UNSEEN: Reasons = Reasons(1 << 4);
    /// Outside the window at the end of the rest.
    pub const OUTSIDE: Reasons = Reasons(1 << 5);
    /// Inside for less than the window time at the end of the rest.
    pub const SHORT: Reasons = Reasons(1 << 6);
    /// Under [`Definition::TargetReached`]: target reached, then the window was left.
    pub const EXITED: Reasons = Reasons(1 << 7);
    /// The command was already changing when the samples began.
    pub const JOINED: Reasons = Reasons(1 << 8);
    /// The window is below two encoder steps.
    pub const STEP: Reasons = Reasons(1 << 9);
    /// The window is below three times the rest noise.
    pub const NOISE: Reasons = Reasons(1 << 10);
    /// The settling time is below five sample periods.
    pub const COARSE: Reasons = Reasons(1 << 11);
    /// The command end is inferred from feedback, because no command could be tapped.
    pub const INFERRED: Reasons = Reasons(1 << 12);
    /// Samples are missing in the move or its rest, but not where they matter.
    pub const HOLE: Reasons = Reasons(1 << 13);
    /// The command gets from its start to its end within two samples.
    pub const STEPPED: Reasons = Reasons(1 << 14);
    /// An excursion of up to three samples, faster than the axis moves, decides about a window transition.
    pub const SPIKE: Reasons = Reasons(1 << 15);
    /// The rest was closed by [`crate::Axis::finish`], not by the next move.
    pub const ENDED: Reasons = Reasons(1 << 16);
    /// Unsettled, and feedback stands: the rest error is that constant offset.
    pub const OFFSET: Reasons = Reasons(1 << 17);
    /// A window 1 % wider or narrower settles earlier or later by more than uncertainty and steepness explain.
    pub const FRAGILE: Reasons = Reasons(1 << 18);
    /// An untold jump close to a whole turn: the position probably wraps. See [`crate::Parameters::turn`].
    pub const TURN: Reasons = Reasons(1 << 19);
    /// The command is noisy: its end is known to the dead band that was used.
    pub const DEAD_BAND: Reasons = Reasons(1 << 20);
    /// Under [`Definition::Iso9283`]: feedback crosses the window within a sample or two.
    pub const FEW: Reasons = Reasons(1 << 21);
    /// The command stood within the move: what counts as one move may be two with a short stop between.
    pub const PAUSED: Reasons = Reasons(1 << 22);

    /// Reasons of both.
    pub const fn with(self, other: Reasons) -> Reasons {
        Reasons(self.0 | other.0)
    }

    /// `other` too, if `condition`.
    pub const fn with_if(self, condition: bool, other: Reasons) -> Reasons {
        if condition { self.with(other) } else { self }
    }

    /// Whether all bits of `other` are set.
    pub const fn has(self, other: Reasons) -> bool {
        self.0 & other.0 == other.0
    }

    /// One bit per reason.
    pub const fn bits(self) -> u64 {
        self.0
    }

    /// Reasons from their bits; unknown bits stay set.
    pub const fn from_bits(bits: u64) -> Reasons {
        Reasons(bits)
    }
}

impl Reasons {
    /// Each reason that is set, with its wording.
    ///
    /// Where the samples ended before the rest did, the reasons that speak of the rest's end say so instead.
    pub fn worded(self) -> impl Iterator<Item = (Reasons, &'static str)> {
        let cut_off = self.has(Reasons::ENDED) && (self.has(Reasons::OUTSIDE) || self.has(Reasons::SHORT));
        let set = WORDING.into_iter().filter(move |(reason, _)| self.has(*reason));
        set.filter_map(move |(reason, wording)| match reason {
            Reasons::ENDED if cut_off => None,
            Reasons::OUTSIDE if cut_off => Some((reason, "outside the window when the samples ended")),
            Reasons::SHORT if cut_off => {
                Some((reason, "inside for less than the window time when the samples ended"))
            }
            _ => Some((reason, wording)),
        })
    }
}

impl fmt::Display for Reasons {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (count, (_, wording)) in self.worded().enumerate() {
            out.write_str(if count == 0 { "" } else { "; " })?;
            out.write_str(wording)?;
        }
        Ok(())
    }
}

/// One move, measured. Instants count ticks since the first reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Record {
    /// Number of the move on its axis, from 1.
    pub number: u32,
    /// Last instant at the old command. Unit: ticks
    pub start: u64,
    /// First instant at the final command. Unit: ticks
    pub command_end: u64,
    /// Commanded distance. Unit: counts, wrapping
    pub travel: i32,
    /// Outcome of its stop.
    pub outcome: Outcome,
    /// Reasons for the outcome, and cautions.
    pub reasons: Reasons,
    /// Settling time by the definition in the settings; only when settled. Unit: ticks
    pub settling: Option<u32>,
    /// Standard uncertainty of the settling time. Unit: ticks
    pub settling_u: u32,
    /// Half-width of the 95 % interval of the settling time. Unit: ticks
    pub settling_95: u32,
    /// Command end to first time inside. Unit: ticks
    pub first_entry: Option<u32>,
    /// Command end to the last entry plus the window time, if the window was held for that time. Unit: ticks
    pub confirmation: Option<u32>,
    /// First crossing into the window to staying inside (ISO 9283 7.4). Unit: ticks
    pub stabilization: Option<u32>,
    /// Number of times that feedback came inside; being inside at the command end counts as one.
    pub window_entries: u32,
    /// Largest excursion beyond the target in the direction of travel. Unit: counts
    pub overshoot: u32,
    /// Largest |command − feedback|. Unit: counts
    pub peak_following_error: u32,
    /// command − feedback at the command end. Unit: counts
    pub error_at_command_end: i32,
    /// Mean error over the rest, if inside at its end; the last error, if feedback stands outside. Unit: 1/256 counts
    pub rest_error: Option<i64>,
    /// Rest noise: rms of the error about the rest error. Unit: 1/256 counts
    pub rest_noise_rms: Option<u32>,
    /// Fastest feedback over 2 ms, but one sample at least and eight at most; none, with a time of 0, where the samples are
    /// too few.
    pub peak_speed: Speed,
    /// Rest end minus command end. Unit: ticks
    pub held: u64,
    /// Standard uncertainty of the command end, part of `settling_u`. Unit: ticks
    pub command_end_u: u32,
    /// Settling time of a window 5 % wider, if settled there. Unit: ticks
    pub settling_wider: Option<u32>,
    /// Settling time of a window 5 % narrower, if settled there. Unit: ticks
    pub settling_narrower: Option<u32>,
    /// Number of gaps from the start to the end of the rest.
    pub gaps: u32,
    /// Longest sample period with a gap in it. Unit: ticks
    pub longest_gap: u32,
}

impl Record {
    /// The record of the move with this number.
    pub fn new(settings: &Settings, number: u32, move_command: &MoveCommand, stop: &Stop) -> Record {
        let times = Times::new(settings, move_command, stop);
        let (outcome, reasons) = judge(settings, move_command, stop, &times);
        let times = if outcome == Outcome::Untrusted { Times::default() } else { times };
        let settled = outcome == Outcome::Settled;
        let uncertainty = times.uncertainty;
        let at_rest = stop.position != Position::Outside;
        let rest_error =
            if at_rest { Some(stop.rest_error) } else { stop.offset.map(|offset| 256 * i64::from(offset)) };
        Record {
            number,
            start: move_command.start,
            command_end: move_command.command_end,
            travel: move_command.travel,
            outcome,
            reasons,
            settling: times.reported.filter(|_| settled),
            settling_u: if settled { uncertainty.standard } else { 0 },
            settling_95: if settled { uncertainty.expanded } else { 0 },
            first_entry: times.first_entry,
            confirmation: times.confirmation,
            stabilization: times.stabilization,
            window_entries: stop.entries,
            overshoot: stop.overshoot,
            peak_following_error: stop.peak_following_error,
            error_at_command_end: stop.error_at_command_end,
            rest_error,
            rest_noise_rms: at_rest.then_some(stop.rest_noise),
            peak_speed: stop.peak_speed,
            held: stop.held,
            command_end_u: Uncertainty::uniform(move_command.ending.half_width.saturating_mul(2)).standard,
            settling_wider: times.wider,
            settling_narrower: times.narrower,
            gaps: stop.gaps,
            longest_gap: stop.longest_gap,
        }
    }
}

/// The times of all definitions; those of an untrusted move are none. Unit: ticks
#[derive(Default)]
struct Times {
    reported: Option<u32>,
    /// Of the reported time.
    uncertainty: Uncertainty,
    first_entry: Option<u32>,
    confirmation: Option<u32>,
    stabilization: Option<u32>,
    /// Settling times of a window 5 % wider and narrower.
    wider: Option<u32>,
    narrower: Option<u32>,
    /// A window 1 % wider or narrower changes the time by a swing.
    fragile: bool,
}

impl Times {
    fn new(settings: &Settings, move_command: &MoveCommand, stop: &Stop) -> Times {
        let end = CommandEnd::new(move_command);
        let inside = stop.position != Position::Outside;
        let last = inside
            .then(|| stop.crossings.last.map_or_else(|| (0, end.at_once(stop)), |entry| end.until(entry)));
        let held = last.filter(|_| stop.position == Position::TargetReached);
        let first_entry = stop.crossings.first_entry.map(|instant| end.to(instant));
        let stabilization = held.and_then(|_| stabilization(move_command, stop));
        let (sooner, later) = if held.is_some() { swings(settings, move_command, stop) } else { (0, 0) };
        let Crossings { grazed, slope, .. } = stop.crossings;
        let swing = grazed.max(later).max(if slope.hidden { sooner } else { 0 });
        let (reported, swing) = match settings.definition {
            Definition::LastEntry => (held, swing),
            Definition::Iso9283 => (stabilization, swing),
            Definition::TargetReached => reached(settings, stop, &end, swing),
        };
        let uncertainty =
            reported.map_or_else(Default::default, |(_, uncertainty)| uncertainty.widened(swing));
        let held = held.map(|(time, _)| time);
        // They count whole samples; the settling time lies within one.
        let of_other_window = |time: u32| if time == 0 { 0 } else { end.shifted(time) };
        Times {
            reported: reported.map(|(time, _)| time),
            uncertainty,
            first_entry: if stop.began_inside { Some(0) } else { first_entry },
            confirmation: held.map(|settling| settling.saturating_add(settings.window_time)),
            stabilization: stabilization.map(|(time, _)| time),
            wider: stop.nearby.wider.map(|time| of_other_window(time).min(held.unwrap_or(u32::MAX))),
            narrower: stop.nearby.narrower.map(|time| of_other_window(time).max(held.unwrap_or(0))),
            fragile: sooner.max(later) > 0,
        }
    }
}

/// The command end from which times count: the expected one.
struct CommandEnd {
    /// The first sample at the final command. Unit: ticks since the first reading
    sample: u64,
    ending: Ending,
}

impl CommandEnd {
    fn new(move_command: &MoveCommand) -> CommandEnd {
        CommandEnd { sample: move_command.command_end, ending: move_command.ending }
    }

    /// Time from the command end to an instant. Unit: ticks
    fn to(&self, instant: u64) -> u32 {
        self.shifted(instant.saturating_sub(self.sample).min(u64::from(u32::MAX)) as u32)
    }

    /// Time from the command end to an instant this long after the sample. Unit: ticks
    fn shifted(&self, time: u32) -> u32 {
        (i64::from(time) - i64::from(self.ending.late)).clamp(0, i64::from(u32::MAX)) as u32
    }

    /// Uncertainty of a settling time of 0: the true command end may be older than the last crossing.
    fn at_once(&self, stop: &Stop) -> Uncertainty {
        let earliest = (i64::from(self.ending.half_width) - i64::from(self.ending.late)).max(0) as u32;
        match stop.first_crossing {
            FirstCrossing::Before { last, .. } if last < earliest => {
                Uncertainty::uniform(earliest.saturating_mul(2))
            }
            _ => Uncertainty::default(),
        }
    }

    /// The same with its uncertainty.
    fn until(&self, instant: Instant) -> (u32, Uncertainty) {
        (self.to(instant.at), instant.uncertainty.and_uniform(self.ending.half_width))
    }
}

/// Command end to the window time after the entry of the first dwell that lasted it, and what of `swing` applies to that.
/// Unit: ticks
fn reached(
    settings: &Settings,
    stop: &Stop,
    end: &CommandEnd,
    swing: u32,
) -> (Option<(u32, Uncertainty)>, u32) {
    let Some(entry) = stop.crossings.reached else { return (None, 0) };
    let (time, uncertainty) = entry.map_or_else(Default::default, |entry| end.until(entry));
    let swing = if entry == stop.crossings.last { swing } else { 0 };
    (Some((time.saturating_add(settings.window_time), uncertainty)), swing)
}

/// First crossing to last entry, both on the clock of the samples: the command end does not count. Unit: ticks
fn stabilization(move_command: &MoveCommand, stop: &Stop) -> Option<(u32, Uncertainty)> {
    let since = |instant: Instant| {
        instant.at.saturating_sub(move_command.command_end).min(u64::from(u32::MAX)) as u32
    };
    let period = Uncertainty::uniform(move_command.period);
    let last =
        stop.crossings.last.map_or((0, Uncertainty::default()), |entry| (since(entry), entry.uncertainty));
    // The clock starts before the command end if the window was crossed by then.
    match stop.first_crossing {
        FirstCrossing::Before { first, last: crossed } if stop.crossings.last.is_none() => {
            Some((first.saturating_sub(crossed), last.1.and(period)))
        }
        FirstCrossing::Before { first, .. } => Some((last.0.saturating_add(first), last.1.and(period))),
        FirstCrossing::NotYet => match stop.crossings.first {
            None => Some(last),
            Some(crossed) if Some(crossed) == stop.crossings.last => Some((0, Uncertainty::default())),
            Some(crossed) => Some((last.0.saturating_sub(since(crossed)), last.1.and(crossed.uncertainty))),
        },
        FirstCrossing::Unseen => None,
    }
}

/// By how much a window 1 % wider settles sooner and one 1 % narrower later, where that is more than the uncertainty and
/// three times the steepness at the last entry explain; else 0. Unit: ticks
fn swings(settings: &Settings, move_command: &MoveCommand, stop: &Stop) -> (u32, u32) {
    let Some(entry) = stop.crossings.last else { return (0, 0) };
    let settling = entry.at.saturating_sub(move_command.command_end).min(u64::from(u32::MAX)) as u32;
    let barely = (settings.window / 100).max(1);
    let smooth = (3.0 * barely as f32 * stop.crossings.slope.ticks_per_count) as u32;
    let explained = entry.uncertainty.expanded.saturating_add(smooth).saturating_add(move_command.period);
    let more = |time: u32| if time > explained { time } else { 0 };
    let sooner = stop.nearby.barely_wider.map_or(0, |wider| settling.saturating_sub(wider));
    let later = stop.nearby.barely_narrower.map_or(0, |narrower| narrower.saturating_sub(settling));
    (more(sooner), more(later))
}

/// Longest move that 32-bit ticks can measure; a longer one is untrusted and has no curve. Unit: ticks
pub(crate) const LONGEST_MOVE: u64 = 1 << 31;

fn judge(settings: &Settings, move_command: &MoveCommand, stop: &Stop, times: &Times) -> (Outcome, Reasons) {
    let unseen = settings.definition == Definition::Iso9283
        && stop.position == Position::TargetReached
        && times.stabilization.is_none();
    let untrusted = Reasons::NONE
        .with_if(stop.faults.has(Faults::GAP), Reasons::GAP)
        .with_if(stop.faults.has(Faults::CLOCK), Reasons::CLOCK)
        .with_if(stop.faults.has(Faults::JUMP), Reasons::JUMP)
        .with_if(move_command.command_end.saturating_sub(move_command.start) > LONGEST_MOVE, Reasons::LONG)
        .with_if(unseen, Reasons::UNSEEN);
    let by_status = settings.definition == Definition::TargetReached && stop.crossings.reached.is_some();
    let (outcome, why) = match stop.position {
        _ if untrusted != Reasons::NONE => (Outcome::Untrusted, untrusted),
        Position::TargetReached => (Outcome::Settled, Reasons::NONE),
        _ if by_status => (Outcome::Settled, Reasons::EXITED),
        Position::Outside => (Outcome::Unsettled, Reasons::OUTSIDE),
        Position::Inside => (Outcome::Interrupted, Reasons::SHORT),
    };
    let cut_off = stop.ended && matches!(outcome, Outcome::Unsettled | Outcome::Interrupted);
    let why = why
        .with_if(cut_off, Reasons::ENDED)
        .with_if(outcome == Outcome::Unsettled && stop.offset.is_some(), Reasons::OFFSET);
    // Cautions about a time only where there is one.
    let (untimed, trusted) = (Times::default(), outcome != Outcome::Untrusted);
    let times = if trusted { times } else { &untimed };
    (outcome, why.with(cautions(settings, move_command, stop, times)))
}

/// Cautions, which hold with any outcome.
fn cautions(settings: &Settings, move_command: &MoveCommand, stop: &Stop, times: &Times) -> Reasons {
    let window = u64::from(settings.window);
    let noisy = window * 256 < 3 * u64::from(stop.rest_noise);
    let coarse = times.reported.is_some_and(|settling| {
        (settling > 0 || times.uncertainty.expanded > 0)
            && u64::from(settling) < 5 * u64::from(move_command.period)
    });
    Reasons::NONE
        .with_if(move_command.joined_late, Reasons::JOINED)
        .with_if(move_command.paused, Reasons::PAUSED)
        .with_if(window < 2 * u64::from(settings.encoder_step), Reasons::STEP)
        .with_if(noisy && stop.rest_samples > 1, Reasons::NOISE)
        .with_if(coarse, Reasons::COARSE)
        .with_if(times.fragile, Reasons::FRAGILE)
        .with_if(few(settings, stop), Reasons::FEW)
        .with_if(stepped(settings, move_command), Reasons::STEPPED)
        .with_if(stop.spike, Reasons::SPIKE)
        .with_if(stop.gaps > 0 && !stop.faults.has(Faults::GAP), Reasons::HOLE)
}

/// Whether the first crossing, at which the time of ISO 9283 begins, is known to few samples.
fn few(settings: &Settings, stop: &Stop) -> bool {
    settings.definition == Definition::Iso9283
        && stop.first_crossing == FirstCrossing::NotYet
        && stop.crossings.first_is_fast
}

/// Whether the command gets further than the window within two samples.
fn stepped(settings: &Settings, move_command: &MoveCommand) -> bool {
    let time = move_command.command_end.saturating_sub(move_command.start);
    // Half a sample more, because time stamps are not quite even.
    2 * time <= 5 * u64::from(move_command.period) && move_command.travel.unsigned_abs() > settings.window
}

#[cfg(test)]
pub(crate) mod fixture {
    use super::*;

    /// A settled move with plain numbers, for the tests of later stages.
    pub(crate) fn settled() -> Record {
        Record {
            number: 1,
            start: 0,
            command_end: 0,
            travel: 1000,
            outcome: Outcome::Settled,
            reasons: Reasons::NONE,
            settling: Some(1),
            settling_u: 0,
            settling_95: 0,
            first_entry: None,
            confirmation: None,
            stabilization: None,
            window_entries: 1,
            overshoot: 0,
            peak_following_error: 0,
            error_at_command_end: 0,
            rest_error: None,
            rest_noise_rms: None,
            peak_speed: Speed { distance: 80, time: 8 },
            held: 0,
            command_end_u: 0,
            settling_wider: None,
            settling_narrower: None,
            gaps: 0,
            longest_gap: 0,
        }
    }
}
