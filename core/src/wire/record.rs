//! In: the record of a move. Out: the payload that carries it; and the record decoded from it, bit for bit.
//!
//! A time that mostly follows from another is sent as the difference to the value that follows from it, which is
//! mostly 0 and needs one byte. Differences wrap, so that any record can be sent. A shift of moves then fits the
//! flash log.

use core::num::NonZeroU32;

use serde::{Deserialize, Serialize};

use super::appended;
use crate::reasons::Reasons;
use crate::record::{self, Record};
use crate::settling::peaks::Speed;
use crate::signature::Signature;

/// Whether a stop settled, and why not.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Outcome {
    /// Inside for the window time, up to the end of the rest.
    #[default]
    Settled,
    /// Outside at the end of the rest.
    Unsettled,
    /// Inside at the end of the rest, but for less than the window time.
    Interrupted,
    /// Something was wrong with the samples in the move or before it settled.
    Untrusted,
}

impl From<record::Outcome> for Outcome {
    fn from(outcome: record::Outcome) -> Outcome {
        match outcome {
            record::Outcome::Settled => Outcome::Settled,
            record::Outcome::Unsettled => Outcome::Unsettled,
            record::Outcome::Interrupted => Outcome::Interrupted,
            record::Outcome::Untrusted => Outcome::Untrusted,
        }
    }
}

impl From<Outcome> for record::Outcome {
    fn from(outcome: Outcome) -> record::Outcome {
        match outcome {
            Outcome::Settled => record::Outcome::Settled,
            Outcome::Unsettled => record::Outcome::Unsettled,
            Outcome::Interrupted => record::Outcome::Interrupted,
            Outcome::Untrusted => record::Outcome::Untrusted,
        }
    }
}

/// Bits of [`Move::flags`]: which optional values are present, and whether the command end is inferred.
pub mod flag {
    /// `settling` is present.
    pub const SETTLING: u8 = 1;
    /// `first_entry` is present.
    pub const FIRST_ENTRY: u8 = 1 << 1;
    /// `confirmation` is present.
    pub const CONFIRMATION: u8 = 1 << 2;
    /// `stabilization` is present.
    pub const STABILIZATION: u8 = 1 << 3;
    /// `rest_error` is present.
    pub const REST_ERROR: u8 = 1 << 4;
    /// `rest_noise_rms` is present.
    pub const REST_NOISE_RMS: u8 = 1 << 5;
    /// The command end is inferred from feedback, because no command could be tapped.
    pub const INFERRED: u8 = 1 << 6;
}

/// Bits of [`Move::flags2`]: which values appended since version 2 are present.
pub mod flag2 {
    /// `settling_wider` is present.
    pub const SETTLING_WIDER: u32 = 1;
    /// `settling_narrower` is present.
    pub const SETTLING_NARROWER: u32 = 1 << 1;
    /// `cruise_lag` is present.
    pub const CRUISE_LAG: u32 = 1 << 2;
    /// The share of standing in `shape` is present.
    pub const STANDING: u32 = 1 << 3;
    /// A message about the ringing of this move follows.
    pub const RINGING: u32 = 1 << 4;
}

/// The record of a move as it is sent. An optional value is 0 if its [`flag`] is not set.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Move {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the move on its axis, from 1.
    pub number: u32,
    /// See [`flag`].
    pub flags: u8,
    /// Outcome of its stop.
    pub outcome: Outcome,
    /// Reasons for the outcome, and cautions: bits 0 to 15 of [`Reasons`].
    pub reasons: u16,
    /// Last instant at the old command, since the first reading. Unit: ticks
    pub start: u64,
    /// Start to command end, wrapping. Unit: ticks
    pub duration: u64,
    /// Rest end minus command end. Unit: ticks
    pub held: u64,
    /// Commanded distance, wrapping. Unit: counts
    pub travel: i32,
    /// Settling time by the definition in the settings. Unit: ticks
    pub settling: u32,
    /// Standard uncertainty of the settling time. Unit: ticks
    pub settling_u: u32,
    /// Half-width of the 95 % interval, less twice `settling_u`, wrapping. Unit: ticks
    pub settling_95: i32,
    /// First entry less `settling`, wrapping. Unit: ticks
    pub first_entry: i32,
    /// Confirmation less `settling`, wrapping. Unit: ticks
    pub confirmation: i32,
    /// Stabilization time, plus the first entry, less `settling`, wrapping. Unit: ticks
    pub stabilization: i32,
    /// Number of times that feedback came inside.
    pub window_entries: u32,
    /// Largest excursion beyond the target. Unit: counts
    pub overshoot: u32,
    /// Largest |command − feedback|. Unit: counts
    pub peak_following_error: u32,
    /// command − feedback at the command end. Unit: counts
    pub error_at_command_end: i32,
    /// Mean error over the rest; the last error, if feedback stands outside. Unit: 1/256 counts
    pub rest_error: i64,
    /// Rest noise: rms of the error about the rest error. Unit: 1/256 counts
    pub rest_noise_rms: u32,
    /// Distance of the fastest speed block of eight samples. Unit: counts
    pub peak_speed_distance: u32,
    /// Time of that speed block. Unit: ticks
    pub peak_speed_time: u32,
    /// Number of its kind on its axis; 0 means none.
    #[serde(deserialize_with = "appended")]
    pub kind: u32,
    /// Presence of fields appended since version 2: see [`flag2`].
    #[serde(deserialize_with = "appended")]
    pub flags2: u32,
    /// Further reasons: bits 16 to 47 of [`Reasons`]. Since version 2.
    #[serde(deserialize_with = "appended")]
    pub reasons2: u32,
    /// Standard uncertainty of the command end. Since version 2, as the fields below. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub command_end_u: u32,
    /// Settling time of a window 5 % wider, less `settling`, wrapping. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub settling_wider: i32,
    /// Settling time of a window 5 % narrower, less `settling`, wrapping. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub settling_narrower: i32,
    /// Number of gaps from the start to the end of the rest.
    #[serde(deserialize_with = "appended")]
    pub gaps: u32,
    /// Longest sample period with a gap in it. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub longest_gap: u32,
    /// Number of the product that the axis worked on; 0 means none.
    #[serde(deserialize_with = "appended")]
    pub job: u32,
    /// Number of the signature from 1, 0 for none, in bits 0 to 3; share of standing in bits 4 to 7. Unit: 1/16
    #[serde(deserialize_with = "appended")]
    pub shape: u8,
    /// Number of turning points.
    #[serde(deserialize_with = "appended")]
    pub turning_points: u32,
    /// Mean time from one turning point to the next; 0: none. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub turning_spacing: u32,
    /// Time by which feedback follows the command at speed. Unit: ticks
    #[serde(deserialize_with = "appended")]
    pub cruise_lag: i32,
}

const fn bit(present: bool, flag: u8) -> u8 {
    if present { flag } else { 0 }
}

/// Which optional values of a record are present; see [`flag`].
fn flags(record: &Record) -> u8 {
    bit(record.settling.is_some(), flag::SETTLING)
        | bit(record.first_entry.is_some(), flag::FIRST_ENTRY)
        | bit(record.confirmation.is_some(), flag::CONFIRMATION)
        | bit(record.stabilization.is_some(), flag::STABILIZATION)
        | bit(record.rest_error.is_some(), flag::REST_ERROR)
        | bit(record.rest_noise_rms.is_some(), flag::REST_NOISE_RMS)
}

/// Which optional values that were appended since version 2 are present; see [`flag2`].
fn flags2(record: &Record) -> u32 {
    let bit = |present: bool, flag: u32| if present { flag } else { 0 };
    bit(record.settling_wider.is_some(), flag2::SETTLING_WIDER)
        | bit(record.settling_narrower.is_some(), flag2::SETTLING_NARROWER)
        | bit(record.cruise_lag.is_some(), flag2::CRUISE_LAG)
        | bit(record.standing.is_some(), flag2::STANDING)
}

/// Signature and share of standing; see [`Move::shape`].
fn shape(record: &Record) -> u8 {
    let signature = record.signature.map_or(0, |signature| signature as u8 + 1);
    signature | record.standing.unwrap_or(0) << 4
}

/// The signature of a [`Move::shape`]; none if its number is unknown.
fn signature(shape: u8) -> Option<Signature> {
    Signature::ALL.get(usize::from(shape & 15).checked_sub(1)?).copied()
}

/// A time less the value that is expected of it, wrapping; 0 if there is no time. Unit: ticks
fn difference(time: Option<u32>, expected: u32) -> i32 {
    time.map_or(0, |time| time.wrapping_sub(expected) as i32)
}

/// What was sent as a difference to a base, wrapping. Unit: ticks
fn sum(base: u32, difference: i32) -> u32 {
    base.wrapping_add(difference as u32)
}

impl Move {
    /// The payload of a record, with kind and job 0; `inferred` if the command end was inferred from feedback.
    pub fn new(axis: u8, inferred: bool, record: &Record) -> Move {
        let (settling, first_entry) = (record.settling.unwrap_or(0), record.first_entry.unwrap_or(0));
        Move {
            axis,
            number: record.number,
            flags: flags(record) | bit(inferred, flag::INFERRED),
            outcome: record.outcome.into(),
            reasons: record.reasons.bits() as u16,
            start: record.start,
            duration: record.command_end.wrapping_sub(record.start),
            held: record.held,
            travel: record.travel,
            settling,
            settling_u: record.settling_u,
            settling_95: difference(Some(record.settling_95), record.settling_u.wrapping_mul(2)),
            first_entry: difference(record.first_entry, settling),
            confirmation: difference(record.confirmation, settling),
            stabilization: difference(record.stabilization, settling.wrapping_sub(first_entry)),
            window_entries: record.window_entries,
            overshoot: record.overshoot,
            peak_following_error: record.peak_following_error,
            error_at_command_end: record.error_at_command_end,
            rest_error: record.rest_error.unwrap_or(0),
            rest_noise_rms: record.rest_noise_rms.unwrap_or(0),
            peak_speed_distance: record.peak_speed.distance,
            peak_speed_time: record.peak_speed.time,
            flags2: flags2(record),
            reasons2: (record.reasons.bits() >> 16) as u32,
            command_end_u: record.command_end_u,
            settling_wider: difference(record.settling_wider, settling),
            settling_narrower: difference(record.settling_narrower, settling),
            gaps: record.gaps,
            longest_gap: record.longest_gap,
            shape: shape(record),
            turning_points: record.turning_points,
            turning_spacing: record.turning_spacing.map_or(0, NonZeroU32::get),
            cruise_lag: record.cruise_lag.unwrap_or(0),
            ..Move::default()
        }
    }

    /// Whether the command end was inferred from feedback.
    pub fn is_inferred(&self) -> bool {
        self.flags & flag::INFERRED != 0
    }
}

impl From<&Move> for Record {
    // Every field is named, so that a new field of the record does not compile until it is decoded here.
    fn from(sent: &Move) -> Record {
        let present = |flag: u8| sent.flags & flag != 0;
        let time = |flag: u8, difference: i32, base: u32| present(flag).then_some(sum(base, difference));
        let appended = |flag: u32| sent.flags2 & flag != 0;
        let other_window = |flag, difference| appended(flag).then_some(sum(sent.settling, difference));
        let first_entry = time(flag::FIRST_ENTRY, sent.first_entry, sent.settling);
        let expected_stabilization = sent.settling.wrapping_sub(first_entry.unwrap_or(0));
        Record {
            number: sent.number,
            start: sent.start,
            command_end: sent.start.wrapping_add(sent.duration),
            travel: sent.travel,
            outcome: sent.outcome.into(),
            reasons: Reasons::from_bits(u64::from(sent.reasons) | u64::from(sent.reasons2) << 16),
            settling: present(flag::SETTLING).then_some(sent.settling),
            settling_u: sent.settling_u,
            settling_95: sum(sent.settling_u.wrapping_mul(2), sent.settling_95),
            first_entry,
            confirmation: time(flag::CONFIRMATION, sent.confirmation, sent.settling),
            stabilization: time(flag::STABILIZATION, sent.stabilization, expected_stabilization),
            window_entries: sent.window_entries,
            overshoot: sent.overshoot,
            peak_following_error: sent.peak_following_error,
            error_at_command_end: sent.error_at_command_end,
            rest_error: present(flag::REST_ERROR).then_some(sent.rest_error),
            rest_noise_rms: present(flag::REST_NOISE_RMS).then_some(sent.rest_noise_rms),
            peak_speed: Speed { distance: sent.peak_speed_distance, time: sent.peak_speed_time },
            held: sent.held,
            command_end_u: sent.command_end_u,
            settling_wider: other_window(flag2::SETTLING_WIDER, sent.settling_wider),
            settling_narrower: other_window(flag2::SETTLING_NARROWER, sent.settling_narrower),
            gaps: sent.gaps,
            longest_gap: sent.longest_gap,
            signature: signature(sent.shape),
            turning_points: sent.turning_points,
            turning_spacing: NonZeroU32::new(sent.turning_spacing),
            cruise_lag: appended(flag2::CRUISE_LAG).then_some(sent.cruise_lag),
            standing: appended(flag2::STANDING).then_some(sent.shape >> 4),
        }
    }
}
