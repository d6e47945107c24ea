//! In: settings of the axes of a monitor, with the places of their frames. Out: the settings by which a move was measured,
//! or none where that is not known.
//!
//! Settings hold from the frame on that says they are in force. For a move before the first such frame of its start they
//! hold too, if every frame in between was heard and the frame does not report a change: it then answers a question.

use std::collections::BTreeMap;

use stillpoint_core::wire::settings::Settings as Reported;
use stillpoint_core::{Parameters, Settings};

use crate::decode::FramePlace;

/// Reports that are remembered; then those of the oldest start go. An axis has a few in a shift.
const MOST: usize = 4096;

/// A report of settings in force.
#[derive(Clone, Copy, Debug)]
struct Report {
    settings: Settings,
    /// Others were in force before.
    is_change: bool,
}

/// What a monitor has reported of its settings.
#[derive(Debug, Default)]
pub(super) struct KnownSettings {
    /// By start, axis and number of the frame.
    reports: BTreeMap<(u32, u8, u32), Report>,
    /// Axes whose next settings in force are a change, by start.
    pending: BTreeMap<(u32, u8), ()>,
}

impl KnownSettings {
    /// Notes a report.
    pub(super) fn add(&mut self, FramePlace { boot, sequence }: FramePlace, reported: &Reported) {
        let axis = reported.axis;
        if reported.pending {
            self.pending.insert((boot, axis), ());
        } else if let Ok(settings) = Settings::new(Parameters::from(&reported.parameters)) {
            let is_change = self.pending.remove(&(boot, axis)).is_some();
            self.reports.insert((boot, axis, sequence), Report { settings, is_change });
        }
        while self.reports.len() > MOST {
            self.reports.pop_first();
        }
        while self.pending.len() > MOST {
            self.pending.pop_first();
        }
    }

    /// Whether any settings in force were reported of an axis since a start.
    pub(super) fn knows(&self, axis: u8, boot: u32) -> bool {
        self.reports.range((boot, axis, 0)..=(boot, axis, u32::MAX)).next().is_some()
    }

    /// The settings at the place of a move of an axis. `has_all` knows whether all frames of this start between two numbers
    /// were heard.
    pub(super) fn at(
        &self,
        axis: u8,
        FramePlace { boot, sequence }: FramePlace,
        has_all: impl Fn(u32, u32) -> bool,
    ) -> Option<Settings> {
        let before = self.reports.range((boot, axis, 0)..=(boot, axis, sequence)).next_back();
        if let Some((_, report)) = before {
            return Some(report.settings);
        }
        let after = self.reports.range((boot, axis, sequence)..=(boot, axis, u32::MAX)).next();
        let ((_, _, number), report) = after?;
        (!report.is_change && has_all(sequence, *number)).then_some(report.settings)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::Cell;

    fn reported(window: u32, pending: bool) -> Reported {
        let parameters = (&Parameters { window, ..Parameters::at(1_000_000) }).into();
        Reported { axis: 1, pending, parameters, ..Reported::default() }
    }

    fn place(boot: u32, sequence: u32) -> FramePlace {
        FramePlace { boot, sequence }
    }

    #[test]
    fn settings_hold_from_their_frame_on_in_their_start_only() {
        let mut known = KnownSettings::default();
        known.add(place(4, 10), &reported(50, false));
        known.add(place(4, 20), &reported(60, true));
        known.add(place(4, 30), &reported(60, false));
        let window = |axis, place| known.at(axis, place, |_, _| true).map(|settings| settings.window);
        for (at, expected) in [(9, Some(50)), (10, Some(50)), (25, Some(50)), (30, Some(60)), (99, Some(60))]
        {
            assert_eq!(window(1, place(4, at)), expected, "{at}");
        }
        assert_eq!(
            (window(1, place(3, 99)), window(1, place(5, 0)), window(0, place(4, 10))),
            (None, None, None)
        );
    }

    #[test]
    fn before_the_first_report_settings_are_known_if_nothing_was_missed() {
        let mut known = KnownSettings::default();
        known.add(place(4, 30), &reported(60, false));
        let range = Cell::new((0, 0));
        let at = |has_all| {
            known.at(1, place(4, 12), |from, to| {
                range.set((from, to));
                has_all
            })
        };
        assert!(at(true).is_some() && at(false).is_none());
        assert_eq!(range.get(), (12, 30));
        // A change says nothing of before.
        let mut known = KnownSettings::default();
        known.add(place(4, 20), &reported(60, true));
        known.add(place(4, 30), &reported(60, false));
        assert!(known.at(1, place(4, 12), |_, _| true).is_none());
        (0..2 * MOST as u32).for_each(|number| known.add(place(5, number), &reported(60, false)));
        assert_eq!(known.reports.len(), MOST);
    }
}
