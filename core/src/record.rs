//! In: the command data of a move and its stop. Out: the record: outcome, reasons and numbers of the move.

use core::num::NonZeroU32;

use crate::motion::MoveCommand;
use crate::reasons::Reasons;
use crate::sample::Faults;
use crate::settings::{Definition, Settings};
use crate::settling::approach::FirstCrossing;
use crate::settling::peaks::Speed;
use crate::settling::stop::Stop;
use crate::settling::uncertainty::Uncertainty;
use crate::settling::window::Position;
use crate::signature::Signature;

mod times;

use times::Times;

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

    /// Whether the stop was seen as a whole: only then have its errors a shape, and may it ring.
    pub const fn is_whole(self) -> bool {
        matches!(self, Outcome::Settled | Outcome::Unsettled)
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
    /// Mean error over the rest, if inside at its end; the last error, if feedback stands outside
    /// ([`Reasons::OFFSET`]); else none. Unit: 1/256 counts
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
    /// Which shape the stop has; none if it is untrusted or interrupted.
    pub signature: Option<Signature>,
    /// Turning points of the error before the last entry, or of all if it ends outside; 0 without a signature.
    pub turning_points: u32,
    /// Mean time from one turning point to the next, all that followed the command end counted. Unit: ticks
    pub turning_spacing: Option<NonZeroU32>,
    /// Time by which feedback follows the command at speed; negative if it leads. Unit: ticks
    pub cruise_lag: Option<i32>,
    /// Share of the time for which feedback stands between turning points. Unit: 1/16
    pub standing: Option<u8>,
}

impl Record {
    /// The record of the move with this number.
    pub fn new(settings: &Settings, number: u32, move_command: &MoveCommand, stop: &Stop) -> Record {
        let times = Times::new(settings, move_command, stop);
        let (outcome, reasons) = judge(settings, move_command, stop, &times);
        let times = if outcome == Outcome::Untrusted { Times::default() } else { times };
        let (settled, at_rest) = (outcome == Outcome::Settled, stop.position != Position::Outside);
        let uncertainty = if settled { times.uncertainty } else { Uncertainty::default() };
        Record {
            number,
            start: move_command.start,
            command_end: move_command.command_end,
            travel: move_command.travel,
            outcome,
            reasons,
            settling: times.reported.filter(|_| settled),
            settling_u: uncertainty.standard,
            settling_95: uncertainty.expanded,
            first_entry: times.first_entry,
            confirmation: times.confirmation,
            stabilization: times.stabilization,
            window_entries: stop.entries,
            overshoot: stop.overshoot,
            peak_following_error: stop.peak_following_error,
            error_at_command_end: stop.error_at_command_end,
            rest_error: if at_rest { Some(stop.rest_error) } else { offset(stop, reasons) },
            rest_noise_rms: at_rest.then_some(stop.rest_noise),
            peak_speed: stop.peak_speed,
            held: stop.held,
            command_end_u: Uncertainty::uniform(move_command.ending.half_width.saturating_mul(2)).standard,
            settling_wider: times.wider,
            settling_narrower: times.narrower,
            gaps: stop.gaps,
            longest_gap: stop.longest_gap,
            signature: None,
            turning_points: 0,
            turning_spacing: None,
            cruise_lag: None,
            standing: None,
        }
    }
}

/// The constant offset beside the window, if it is named. Unit: 1/256 counts
fn offset(stop: &Stop, reasons: Reasons) -> Option<i64> {
    stop.offset.filter(|_| reasons.has(Reasons::OFFSET)).map(|offset| 256 * i64::from(offset))
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
            signature: None,
            turning_points: 0,
            turning_spacing: None,
            cruise_lag: None,
            standing: None,
        }
    }
}
