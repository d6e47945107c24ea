//! In: values, one after another. Out: an event when the condition becomes abnormal, and when it becomes normal again.

use super::NEVER;
use super::life::Event;
use super::settings::Settings;

/// Whether the condition is abnormal, with delays and deadband applied.
///
/// A delay runs from the first value on the other side of the limit, and restarts when a value is back on the old
/// side. Source: OPC 10000-9, B.1.5. A value equal to the limit is not beyond it, and a delay is over at the instant
/// at which it is reached: common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Condition {
    abnormal: bool,
    /// Instant since which the values have been on the other side, [`NEVER`] if they are not. Unit: ticks
    other_side_since: u64,
}

impl Default for Condition {
    fn default() -> Condition {
        Condition { abnormal: false, other_side_since: NEVER }
    }
}

impl Condition {
    /// Whether the condition is abnormal.
    pub(super) fn is_abnormal(&self) -> bool {
        self.abnormal
    }

    /// Instant at which the running delay is over if the value stays as it is, [`NEVER`] if none runs. Unit: ticks
    pub(super) fn due(&self, settings: &Settings) -> u64 {
        let delay = if self.abnormal { settings.off_delay } else { settings.on_delay };
        self.other_side_since.saturating_add(delay)
    }

    /// Adds one value.
    pub(super) fn step(&mut self, settings: &Settings, value: i64, now: u64) -> Option<Event> {
        let (other_side, event) = if self.abnormal {
            (settings.clear(value), Event::ReturnToNormal)
        } else {
            (settings.beyond(value), Event::AlarmOccurs)
        };
        self.other_side_since = if other_side { self.other_side_since.min(now) } else { NEVER };
        if !other_side || now < self.due(settings) {
            return None;
        }
        *self = Condition { abnormal: !self.abnormal, other_side_since: NEVER };
        Some(event)
    }
}
