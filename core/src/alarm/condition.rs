//! In: values, one after another. Out: an event when the condition becomes abnormal, and when it becomes normal again.
//!
//! The fields lie in [`AlarmInstance`] itself: a structure of their own would pad it by half.

use super::life::Event;
use super::settings::Settings;
use super::{AlarmInstance, NEVER};

/// Whether the value is beyond its limit, with delays and deadband applied.
///
/// A delay runs from the first value on the other side of the limit, and restarts when a value is back on the old
/// side. Source: OPC 10000-9, B.1.5. A value equal to the limit is not beyond it, and a delay is over at the instant
/// at which it is reached: common practice, no source.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Condition {
    /// There is no value yet; counts as normal.
    #[default]
    Unknown,
    Normal,
    Abnormal,
}

impl AlarmInstance {
    /// Instant at which the running delay is over if the value stays as it is, [`NEVER`] if none runs. Unit: ticks
    pub(super) fn delay_due(&self, settings: &Settings) -> u64 {
        let delay = if self.is_abnormal() { settings.off_delay } else { settings.on_delay };
        self.other_side_since.saturating_add(delay)
    }

    /// Compares one value with the limit.
    pub(super) fn compare(&mut self, settings: &Settings, value: i64, now: u64) -> Option<Event> {
        self.value = value;
        let (other_side, other, event) = if self.is_abnormal() {
            (settings.clear(value), Condition::Normal, Event::ReturnToNormal)
        } else {
            self.condition = Condition::Normal;
            (settings.beyond(value), Condition::Abnormal, Event::AlarmOccurs)
        };
        self.other_side_since = if other_side { self.other_side_since.min(now) } else { NEVER };
        if !other_side || now < self.delay_due(settings) {
            return None;
        }
        (self.condition, self.other_side_since) = (other, NEVER);
        Some(event)
    }
}
