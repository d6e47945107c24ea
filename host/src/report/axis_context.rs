//! In: counts and ticks of an axis. Out: lengths and seconds, with the names that people gave.

use stillpoint_core::{CurvePoint, Settings, Speed};

use super::clock::Clock;
use super::field::WindowSettling;

/// What a report of a move needs beside its record: names, unit, settings and clock of the axis.
#[derive(Clone, Debug)]
pub struct AxisContext {
    /// Where the samples came from.
    pub file: String,
    /// Name of the axis.
    pub name: String,
    /// Name of the unit of length or angle.
    pub unit: String,
    /// Half-width of the window as it was given. Unit: `unit`
    pub window: f64,
    /// Unit: counts/`unit`
    pub counts_per_unit: f64,
    /// The settings by which moves are measured.
    pub settings: Settings,
    /// The clock of the recording.
    pub clock: Clock,
}

impl AxisContext {
    /// Counts as length. Unit: `unit`
    pub fn length(&self, counts: impl Into<f64>) -> f64 {
        counts.into() / self.counts_per_unit
    }

    /// 256ths of a count as length. Unit: `unit`
    pub fn fine_length(&self, parts: f64) -> f64 {
        self.length(parts / 256.0)
    }

    /// Ticks as time. Unit: s
    pub fn seconds(&self, ticks: impl Into<f64>) -> f64 {
        ticks.into() / f64::from(self.settings.ticks_per_second)
    }

    /// The same where there is one. Unit: s
    pub fn optional_seconds(&self, ticks: Option<u32>) -> Option<f64> {
        ticks.map(|ticks| self.seconds(ticks))
    }

    /// A point of the settling curve. Unit: `unit`, s
    pub fn window_settling(&self, point: CurvePoint) -> WindowSettling {
        (self.length(point.window), self.optional_seconds(point.settling))
    }

    /// Counts in ticks as speed. Unit: `unit`/s
    pub fn speed(&self, speed: Speed) -> f64 {
        self.length(speed.distance) / self.seconds(speed.time.max(1))
    }
}
