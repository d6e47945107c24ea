//! In: one number after another. Out: when the condition becomes abnormal, and when normal again.

use super::life::Event;
use super::settings::Settings;

/// Whether the process is abnormal, with the delays and the deadband taken into account.
///
/// A delay runs from the first number on the other side to the present one and starts anew whenever a
/// number falls back. Meaning by OPC 10000-9, B.1.5; that a number on the edge does not count and that
/// a delay just reached does is common practice, without a source.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Condition {
    abnormal: bool,
    /// Since when the numbers have stood on the other side. Unit: ticks
    turning: Option<u64>,
}

impl Condition {
    /// Whether it is abnormal now.
    pub fn is_abnormal(&self) -> bool {
        self.abnormal
    }

    /// Adds one number.
    pub fn step(&mut self, settings: &Settings, value: i64, now: u64) -> Option<Event> {
        let (turns, delay, event) = if self.abnormal {
            (settings.clear(value), settings.off_delay, Event::ReturnToNormal)
        } else {
            (settings.beyond(value), settings.on_delay, Event::AlarmOccurs)
        };
        if !turns {
            self.turning = None;
            return None;
        }
        let since = *self.turning.get_or_insert(now);
        if now.saturating_sub(since) < delay {
            return None;
        }
        *self = Condition { abnormal: !self.abnormal, turning: None };
        Some(event)
    }
}
