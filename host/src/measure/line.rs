//! In: a record in counts and ticks. Out: its line in units and seconds.

use stillpoint_core::{CurvePoint, Outcome, Record, Settings, Speed};

use super::ask::word;
use super::clock::Clock;
use crate::report::line::MoveLine;

/// What turns counts and ticks of one recording into units and seconds.
#[derive(Clone, Debug)]
pub struct Scale {
    /// Name of the recording.
    pub file: String,
    /// Name of the axis.
    pub axis: String,
    /// Name of the unit.
    pub unit: String,
    /// Half-width of the window as it was asked for. Unit: `unit`
    pub window: f64,
    /// Unit: counts/`unit`
    pub counts_per_unit: f64,
    /// Unit: ticks/s
    pub ticks_per_second: f64,
}

impl Scale {
    /// Counts as length. Unit: `unit`
    pub fn length(&self, counts: impl Into<f64>) -> f64 {
        counts.into() / self.counts_per_unit
    }

    /// Ticks as time. Unit: s
    pub fn seconds(&self, ticks: impl Into<f64>) -> f64 {
        ticks.into() / self.ticks_per_second
    }

    fn speed(&self, speed: Speed) -> f64 {
        self.length(speed.distance) / self.seconds(speed.time.max(1))
    }

    /// The line of a record.
    pub fn line(
        &self,
        settings: &Settings,
        clock: &Clock,
        record: &Record,
        curve: impl Iterator<Item = CurvePoint>,
    ) -> MoveLine {
        let seconds = |ticks: Option<u32>| ticks.map(|ticks| self.seconds(ticks));
        let settled = record.outcome == Outcome::Settled;
        MoveLine {
            file: self.file.clone(),
            axis: self.axis.clone(),
            number: record.number,
            start_s: clock.second(record.start),
            command_end_s: clock.second(record.command_end),
            travel: self.length(record.travel),
            peak_speed: self.speed(record.peak_speed),
            unit: self.unit.clone(),
            window: self.window,
            window_time_s: self.seconds(settings.window_time),
            definition: word(settings.definition).to_owned(),
            outcome: record.outcome.word().to_owned(),
            reason: record.reasons.to_string(),
            settling_s: seconds(record.settling),
            settling_u_s: settled.then(|| self.seconds(record.settling_u)),
            first_entry_s: seconds(record.first_entry),
            confirmation_s: seconds(record.confirmation),
            stabilization_s: seconds(record.stabilization),
            window_entries: record.window_entries,
            overshoot: self.length(record.overshoot),
            peak_following_error: self.length(record.peak_following_error),
            error_at_command_end: self.length(record.error_at_command_end),
            rest_error: record.rest_error.map(|parts| self.length(parts as f64 / 256.0)),
            rest_noise_rms: record.rest_noise_rms.map(|parts| self.length(f64::from(parts) / 256.0)),
            counts_per_unit: self.counts_per_unit,
            settling_curve: curve.map(|point| (self.length(point.window), seconds(point.settling))).collect(),
            settling_95_s: settled.then(|| self.seconds(record.settling_95)),
            ..MoveLine::default()
        }
    }
}
