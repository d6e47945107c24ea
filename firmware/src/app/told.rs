//! In: the monitor's counters. Out: the status message of an axis.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::status::Status;

use super::App;

impl<const AXES: usize, F: NorFlash> App<AXES, F> {
    /// Says how an axis and the device fare.
    pub fn tell_status(&mut self, number: usize) {
        let Some(watched) = self.watched.get(number) else { return };
        let status = Status {
            axis: number as u8,
            now: watched.axis.now(),
            moving: watched.status.moving,
            position: watched.status.position.into(),
            following_error: watched.status.following_error,
            error: watched.axis.error(),
            moves: watched.axis.moves(),
            small: watched.axis.small(),
            samples: watched.samples,
            gaps: watched.gaps,
            lost_events: watched.axis.lost(),
            overruns: self.sampler.missed(),
            lost_frames: self.link.lost(),
            queue_depth: self.link.waiting(),
            queue_most: self.link.most(),
            replay_left: u32::from(self.replay.is_some()),
            last_command: self.last_command,
            refused_commands: self.refused,
        };
        self.link.put(&Message::Status(status));
    }
}
