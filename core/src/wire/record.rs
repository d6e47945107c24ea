//! In: the record of a move. Out: the payload that carries it, and the record again, bit for bit.
//!
//! Times that mostly follow from others are sent as the difference to what they follow from, so
//! that they take one byte; differences wrap, so that any record survives. A shift of moves then
//! fits the flash log.

use serde::{Deserialize, Serialize};

use super::appended;
use crate::record::{self, Reasons, Record};
use crate::settling::peaks::Speed;

/// What became of a move.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Outcome {
    /// Inside for the window time, up to the end of the rest.
    #[default]
    Settled,
    /// Outside at the end of the rest.
    Unsettled,
    /// Inside at the end of the rest, but for less than the window time.
    Interrupted,
    /// Something was wrong with the samples.
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

/// One bit per value that may be missing, and the mark of an inferred command end.
pub mod flag {
    /// `settling` is told.
    pub const SETTLING: u8 = 1;
    /// `first_entry` is told.
    pub const FIRST_ENTRY: u8 = 1 << 1;
    /// `confirmation` is told.
    pub const CONFIRMATION: u8 = 1 << 2;
    /// `stabilization` is told.
    pub const STABILIZATION: u8 = 1 << 3;
    /// `rest_error` is told.
    pub const REST_ERROR: u8 = 1 << 4;
    /// `rest_noise_rms` is told.
    pub const REST_NOISE_RMS: u8 = 1 << 5;
    /// No command could be tapped: the end of the commanded motion is inferred from feedback.
    pub const INFERRED: u8 = 1 << 6;
}

/// One move as it is sent. A value whose [`flag`] is not set is 0 and means "none".
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Move {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the move on its axis, from 1.
    pub number: u32,
    /// See [`flag`].
    pub flags: u8,
    /// What became of it.
    pub outcome: Outcome,
    /// Why: bits 0 to 15 of [`Reasons`].
    pub reasons: u16,
    /// Last instant at the old command, since the first reading. Unit: ticks
    pub start: u64,
    /// Start to command end, wrapping. Unit: ticks
    pub duration: u64,
    /// Command end to the last sample of the rest. Unit: ticks
    pub held: u64,
    /// Commanded distance, wrapping. Unit: counts
    pub travel: i32,
    /// Settling time by the definition in the settings. Unit: ticks
    pub settling: u32,
    /// Its standard uncertainty. Unit: ticks
    pub settling_u: u32,
    /// Half-width of its 95 % interval, less twice `settling_u`, wrapping. Unit: ticks
    pub settling_95: i32,
    /// First entry less `settling`, wrapping. Unit: ticks
    pub first_entry: i32,
    /// Confirmation less `settling`, wrapping. Unit: ticks
    pub confirmation: i32,
    /// Stabilization time, plus the first entry, less `settling`, wrapping. Unit: ticks
    pub stabilization: i32,
    /// Times feedback came to be inside.
    pub window_entries: u32,
    /// Largest excursion beyond the target. Unit: counts
    pub overshoot: u32,
    /// Largest |command − feedback|. Unit: counts
    pub peak_following_error: u32,
    /// command − feedback at the command end. Unit: counts
    pub error_at_command_end: i32,
    /// Mean error over the rest. Unit: 1/256 counts
    pub rest_error: i64,
    /// Rms of the error about it. Unit: 1/256 counts
    pub rest_noise_rms: u32,
    /// Distance of the fastest eight samples. Unit: counts
    pub peak_speed_distance: u32,
    /// Their time. Unit: ticks
    pub peak_speed_time: u32,
    /// Number of its kind on its axis, 0: none.
    #[serde(deserialize_with = "appended")]
    pub kind: u32,
    /// Further flags; no bit has a meaning yet. Since version 2.
    #[serde(deserialize_with = "appended")]
    pub flags2: u32,
    /// Why, continued: bits 16 to 31 of [`Reasons`] as bits 0 to 15. Since version 2.
    #[serde(deserialize_with = "appended")]
    pub reasons2: u32,
}

const fn bit(present: bool, flag: u8) -> u8 {
    if present { flag } else { 0 }
}

/// A time as the difference to what it mostly follows from; none is 0.
fn beyond(time: Option<u32>, from: u32) -> i32 {
    time.map_or(0, |time| time.wrapping_sub(from) as i32)
}

impl Move {
    /// The record of an axis, its kind yet to be told; `inferred` if its command end was inferred from feedback.
    pub fn new(axis: u8, inferred: bool, record: &Record) -> Move {
        let settling = record.settling.unwrap_or(0);
        let first_entry = record.first_entry.unwrap_or(0);
        Move {
            axis,
            number: record.number,
            flags: bit(record.settling.is_some(), flag::SETTLING)
                | bit(record.first_entry.is_some(), flag::FIRST_ENTRY)
                | bit(record.confirmation.is_some(), flag::CONFIRMATION)
                | bit(record.stabilization.is_some(), flag::STABILIZATION)
                | bit(record.rest_error.is_some(), flag::REST_ERROR)
                | bit(record.rest_noise_rms.is_some(), flag::REST_NOISE_RMS)
                | bit(inferred, flag::INFERRED),
            outcome: record.outcome.into(),
            reasons: record.reasons.bits() as u16,
            start: record.start,
            duration: record.command_end.wrapping_sub(record.start),
            held: record.held,
            travel: record.travel,
            settling,
            settling_u: record.settling_u,
            settling_95: beyond(Some(record.settling_95), record.settling_u.wrapping_mul(2)),
            first_entry: beyond(record.first_entry, settling),
            confirmation: beyond(record.confirmation, settling),
            stabilization: beyond(record.stabilization, settling.wrapping_sub(first_entry)),
            window_entries: record.window_entries,
            overshoot: record.overshoot,
            peak_following_error: record.peak_following_error,
            error_at_command_end: record.error_at_command_end,
            rest_error: record.rest_error.unwrap_or(0),
            rest_noise_rms: record.rest_noise_rms.unwrap_or(0),
            peak_speed_distance: record.peak_speed.distance,
            peak_speed_time: record.peak_speed.time,
            kind: 0,
            flags2: 0,
            reasons2: record.reasons.bits() >> 16,
        }
    }

    /// Whether the command end was inferred from feedback.
    pub fn is_inferred(&self) -> bool {
        self.flags & flag::INFERRED != 0
    }
}

impl From<&Move> for Record {
    // Written out field by field: a new field of the record does not compile until it has a place here.
    fn from(sent: &Move) -> Record {
        let told = |flag: u8| sent.flags & flag != 0;
        let since =
            |flag: u8, difference: i32, from: u32| told(flag).then_some(from.wrapping_add(difference as u32));
        let first_entry = since(flag::FIRST_ENTRY, sent.first_entry, sent.settling);
        let between = sent.settling.wrapping_sub(first_entry.unwrap_or(0));
        Record {
            number: sent.number,
            start: sent.start,
            command_end: sent.start.wrapping_add(sent.duration),
            travel: sent.travel,
            outcome: sent.outcome.into(),
            reasons: Reasons::from_bits(u32::from(sent.reasons) | sent.reasons2 << 16),
            settling: told(flag::SETTLING).then_some(sent.settling),
            settling_u: sent.settling_u,
            settling_95: sent.settling_u.wrapping_mul(2).wrapping_add(sent.settling_95 as u32),
            first_entry,
            confirmation: since(flag::CONFIRMATION, sent.confirmation, sent.settling),
            stabilization: since(flag::STABILIZATION, sent.stabilization, between),
            window_entries: sent.window_entries,
            overshoot: sent.overshoot,
            peak_following_error: sent.peak_following_error,
            error_at_command_end: sent.error_at_command_end,
            rest_error: told(flag::REST_ERROR).then_some(sent.rest_error),
            rest_noise_rms: told(flag::REST_NOISE_RMS).then_some(sent.rest_noise_rms),
            peak_speed: Speed { distance: sent.peak_speed_distance, time: sent.peak_speed_time },
            held: sent.held,
        }
    }
}
