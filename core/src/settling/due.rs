//! In: samples with time to spare. Out: what the curve still needed from those that had none.
//!
//! Clearing the curve is the longest work of a move but its end, so that it is done by halves while the command
//! moves, and what is left of it at the second sample standing.

use super::Settling;
use crate::sample::Sample;

/// What is left to do for the curve, the samples before having had no time for it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd)]
pub(super) enum Due {
    #[default]
    Nothing,
    /// The error at the command end has to be stamped.
    Stamp,
    /// The same, and half of the curve still belongs to the move before.
    Half,
    /// The whole of it does.
    All,
}

impl Settling {
    /// Half of the curve at a time, as soon as there is time: nothing older than the command end matters to it.
    #[inline]
    pub(super) fn clear_curve(&mut self, tick: u32) {
        let all = self.curve_due == Due::All;
        self.curve.clear(all, tick);
        self.curve_due = if all { Due::Half } else { Due::Nothing };
    }

    /// What is due at the second sample standing; `tick` is the first one's.
    #[inline]
    pub(super) fn begin_curve(&mut self, tick: u32) {
        while self.curve_due > Due::Stamp {
            self.clear_curve(self.command_end.tick);
        }
        self.curve.stamp(self.error_at_command_end.unsigned_abs(), tick);
        self.curve_due = Due::Nothing;
    }

    /// Stamps the error before a sample standing after another; whether no more than that was due.
    #[inline]
    pub(super) fn stamp(&mut self, sample: Sample) -> bool {
        let in_time = self.curve_due == Due::Nothing;
        if !in_time {
            self.begin_curve(sample.tick.wrapping_sub(sample.elapsed));
        }
        self.curve.stamp(sample.error_before().unsigned_abs(), sample.tick);
        in_time
    }
}
