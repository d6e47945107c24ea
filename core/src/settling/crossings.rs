//! In: the entries that the window has stored, noise and settling curve. Out: their instants, with uncertainties.

use super::Settling;
use crate::settings::Settings;
use crate::settling::crossing::Crossing;
use crate::settling::curve::Readout;
use crate::settling::slope::{Fall, Slope};
use crate::settling::uncertainty::Uncertainty;
use crate::settling::window::Window;

/// An interpolated instant.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Instant {
    /// Unit: ticks since the first reading
    pub at: u64,
    /// Unit: ticks
    pub uncertainty: Uncertainty,
}

/// Crossings of the window's edge after a command end.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Crossings {
    /// First entry, if feedback was outside at the command end. Unit: ticks since the first reading
    pub first_entry: Option<u64>,
    /// First crossing, through the whole window included.
    pub first: Option<Instant>,
    /// The first crossing is faster than a window per sample.
    pub first_is_fast: bool,
    /// Last entry, if feedback was ever outside.
    pub last: Option<Instant>,
    /// Steepness of the error at the last entry.
    pub slope: Slope,
    /// Time from the entry before to the last one, if the swing between only grazed the window. Unit: ticks
    pub grazed: u32,
    /// Whether a dwell lasted the window time, and the entry that the first of them began with, if any.
    pub reached: Option<Option<Instant>>,
}

impl Settling {
    /// The crossings at the end of a rest, where the curve is evaluated.
    pub(crate) fn crossings(&self, settings: &Settings, readout: &Readout, now: u64) -> Crossings {
        let noise = self.rest.noise();
        let slope = |crossing: &Crossing| {
            crossing.slope(settings, noise, |window| {
                let (counts, age) = self.curve.last_beyond(window, readout)?;
                let since_entry = now.saturating_sub(crossing.entry.instant);
                Some(Fall { counts, time: age.saturating_sub(since_entry as u32) })
            })
        };
        let instant = |crossing: &Crossing, slope: &Slope| {
            let delay = crossing.entry.delay(settings);
            let uncertainty = crossing.uncertainty(settings, delay, slope);
            Instant { at: crossing.entry.edge(delay), uncertainty }
        };
        let Window { first_crossing, reached, .. } = &self.window;
        let entries = self.window.crossings();
        let last = entries.map(|(_, last)| (last, slope(last)));
        let last_entry = last.map(|(crossing, slope)| instant(crossing, &slope));
        // Most moves have one crossing, which is the first, the last and that of the first long dwell.
        let other = |crossing: &Crossing| match last {
            Some((last, _)) if last.entry == crossing.entry => last_entry.unwrap_or_default(),
            _ => instant(crossing, &slope(crossing)),
        };
        Crossings {
            first_entry: entries.map(|(first, _)| first.edge(first.delay(settings))),
            first: first_crossing.as_ref().map(other),
            first_is_fast: first_crossing.is_some_and(|crossing| crossing.entry.change() > settings.window),
            last: last_entry,
            slope: last.map(|(_, slope)| slope).unwrap_or_default(),
            grazed: last.map_or(0, |(crossing, slope)| crossing.grazed(settings, &slope)),
            reached: reached.map(|crossing| crossing.as_ref().map(other)),
        }
    }
}
