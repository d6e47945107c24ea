//! In: the captures of stops. Out: messages about their ringing, found in spare time, slice by slice.
//!
//! One workspace serves all axes. A stop waits in the capture of its axis until the workspace is free; if the next stop of
//! the axis begins before, it is not evaluated, and its message says so.

use stillpoint_core::ringing::{Capture, Fit};
use stillpoint_core::wire::ringing::Ringing;

/// The workspace, and the stop that it works on.
#[derive(Debug, Default)]
pub(super) struct RingingMonitor {
    fit: Fit,
    axis: u8,
    /// Of the move.
    number: u32,
}

impl RingingMonitor {
    /// Whether another stop can begin.
    pub(super) fn is_idle(&self) -> bool {
        self.fit.is_idle()
    }

    /// Begins with the stop of a move; the capture is free afterwards. Unit: ticks/s
    pub(super) fn start(&mut self, (axis, number): (u8, u32), capture: &Capture, ticks_per_second: u32) {
        (self.axis, self.number) = (axis, number);
        self.fit.start(capture, ticks_per_second);
    }

    /// Goes on by a slice.
    pub(super) fn step(&mut self) -> Option<Ringing> {
        let answer = self.fit.step()?;
        Some(Ringing::new(self.axis, self.number, Some(answer)))
    }
}
