//! In: errors after the command end. Out: when windows a little wider and narrower than the set one were entered last.
//!
//! A swing that only grazes the window decides the settling time by itself: a window a little wider settles a swing
//! sooner. Whole samples, as in the settling curve.

use crate::settings::Settings;
use crate::settling::curve::Readout;

/// Settling times of windows near the set one, in whole samples, where settled. Unit: ticks
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct NearbyTimes {
    /// Of a window 5 % narrower.
    pub narrower: Option<u32>,
    /// Of a window 1 % narrower.
    pub barely_narrower: Option<u32>,
    /// Of a window 1 % wider.
    pub barely_wider: Option<u32>,
    /// Of a window 5 % wider.
    pub wider: Option<u32>,
}

/// The sample after the last error outside each of the windows.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Nearby {
    /// Unit: ticks, wrapping
    pub after: [u32; 4],
}

impl Nearby {
    /// Starts at a command end.
    pub(crate) fn restart(&mut self, tick: u32) {
        self.after = [tick; 4];
    }

    /// Stores `tick`, the time stamp of the sample after an error of this size.
    pub(crate) fn stamp(&mut self, settings: &Settings, size: u32, tick: u32) {
        for (window, after) in settings.nearby().iter().zip(&mut self.after) {
            if size <= *window {
                break;
            }
            *after = tick;
        }
    }

    /// The settling times at the end of the rest.
    pub(crate) fn times(&self, settings: &Settings, readout: &Readout) -> NearbyTimes {
        let time = |number: usize| {
            let (window, after) = (settings.nearby().get(number)?, self.after.get(number)?);
            let age = readout.tick.wrapping_sub(*after);
            let settled = readout.error <= *window && age >= readout.window_time;
            settled.then(|| readout.held.saturating_sub(age))
        };
        NearbyTimes { narrower: time(0), barely_narrower: time(1), barely_wider: time(2), wider: time(3) }
    }
}
