//! In: live frames of a monitor. Out: its state as far as it has reported it, in bounded memory.

use std::collections::BTreeMap;

use stillpoint_core::wire::alarm::{Alarm, AlarmState, Subject};
use stillpoint_core::wire::header::Header;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings::Parameters;

use crate::report::printable::printable;

/// Most alarms of a monitor: one of each subject on each of 255 axes.
const MOST_ALARMS: usize = 255 * (Subject::UnsettledLimit as usize + 1);

/// State that a monitor has reported since its last start.
#[derive(Debug, Default)]
pub(super) struct MonitorState {
    /// Number of its start; none before its first frame.
    boot: Option<u32>,
    pub(super) number: [u8; 12],
    pub(super) board: String,
    pub(super) firmware: String,
    pub(super) axes: u8,
    pub(super) ticks_per_second: u32,
    /// Accepted settings of each axis.
    pub(super) settings: BTreeMap<u8, Parameters>,
    /// Alarms that are not normal, by number.
    pub(super) alarms: BTreeMap<u32, Alarm>,
}

impl MonitorState {
    /// Notes a live frame. A frame of another start begins the state anew.
    pub(super) fn update(&mut self, header: &Header, message: &Message) {
        if self.boot != Some(header.boot) {
            *self = MonitorState { boot: Some(header.boot), ..MonitorState::default() };
        }
        match message {
            Message::Hello(hello) => {
                (self.number, self.axes) = (hello.device, hello.axes);
                self.ticks_per_second = hello.ticks_per_second;
                (self.board, self.firmware) = (printable(hello.board), printable(hello.firmware));
            }
            Message::Settings(settings) => {
                self.settings.insert(settings.axis, settings.parameters);
            }
            Message::Alarm(alarm) if alarm.state == AlarmState::Normal => {
                self.alarms.remove(&alarm.alarm);
            }
            Message::Alarm(alarm)
                if self.alarms.len() < MOST_ALARMS || self.alarms.contains_key(&alarm.alarm) =>
            {
                self.alarms.insert(alarm.alarm, *alarm);
            }
            _ => (),
        }
    }

    /// Whether the monitor has named itself, and the settings of each of its axes.
    pub(super) fn is_complete(&self) -> bool {
        let knows_settings = (0..self.axes).all(|axis| self.settings.contains_key(&axis));
        self.axes > 0 && self.ticks_per_second > 0 && knows_settings
    }

    /// Number of the start that the state is of.
    pub(super) fn boot(&self) -> Option<u32> {
        self.boot
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::settings::Settings;
    use stillpoint_core::wire::status::Hello;

    #[test]
    fn a_state_is_complete_with_the_settings_of_each_axis_and_bounded() {
        let (mut state, header) = (MonitorState::default(), Header::default());
        let of = |axis| Message::Settings(Settings { axis, ..Settings::default() });
        let hello = Hello { axes: 2, ticks_per_second: 1000, ..Hello::default() };
        for (message, complete) in
            [(of(0), false), (Message::Hello(hello), false), (of(7), false), (of(1), true)]
        {
            state.update(&header, &message);
            assert_eq!(state.is_complete(), complete, "{message:?}");
        }
        for alarm in 0..3000 {
            let raised = Alarm { alarm, state: AlarmState::Unacknowledged, ..Alarm::default() };
            state.update(&header, &Message::Alarm(raised));
        }
        assert_eq!(state.alarms.len(), MOST_ALARMS);
        // After a restart nothing of it holds.
        state.update(&Header { boot: 1, ..header }, &of(1));
        assert!(!state.is_complete() && state.alarms.is_empty() && state.boot() == Some(1));
    }
}
