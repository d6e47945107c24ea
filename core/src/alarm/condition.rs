//! In: one number after another. Out: when the condition becomes abnormal, and when normal again.

use super::NEVER;
use super::life::Event;
use super::settings::Settings;

/// Whether the process is abnormal, with the delays and the deadband taken into account.
///
/// A delay runs from the first number on the other side to the present one and starts anew whenever a
/// number falls back. Meaning by OPC 10000-9, B.1.5; that a number on the edge does not count and that
/// a delay just reached does is common practice, without a source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Condition {
    abnormal: bool,
    /// Since when the numbers have stood on the other side, [`NEVER`] if they don't. Unit: ticks
    turning: u64,
}

impl Default for Condition {
    fn default() -> Condition {
        Condition { abnormal: false, turning: NEVER }
    }
}

impl Condition {
    /// Whether it is abnormal now.
    pub(super) fn is_abnormal(&self) -> bool {
        self.abnormal
    }

    /// When the delay is over that runs now, if the numbers stay where they are; else [`NEVER`]. Unit: ticks
    pub(super) fn due(&self, settings: &Settings) -> u64 {
        let delay = if self.abnormal { settings.off_delay } else { settings.on_delay };
        self.turning.saturating_add(delay)
    }

    /// Adds one number.
    pub(super) fn step(&mut self, settings: &Settings, value: i64, now: u64) -> Option<Event> {
        let (turns, event) = if self.abnormal {
            (settings.clear(value), Event::ReturnToNormal)
        } else {
            (settings.beyond(value), Event::AlarmOccurs)
        };
        self.turning = if turns { self.turning.min(now) } else { NEVER };
        if !turns || now < self.due(settings) {
            return None;
        }
        *self = Condition { abnormal: !self.abnormal, turning: NEVER };
        Some(event)
    }
}
