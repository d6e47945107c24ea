//! In: measurements up to a small change of the command. Out: the same, joined to what is measured after it.
//!
//! Such a change may be a late pulse of the move before, so the measurements of that move are kept until it is decided.

use crate::settling::approach::{ApproachPoint, FirstCrossing};
use crate::settling::holes::Holes;
use crate::settling::peaks::Peaks;

/// What a move has measured up to a small change of its command.
#[derive(Clone, Debug, Default)]
pub(crate) struct Earlier {
    pub peaks: Peaks,
    pub holes: Holes,
    pub crossed: Crossed,
}

/// The first crossing of a move before its last pulses.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) enum Crossed {
    /// None yet.
    #[default]
    NotYet,
    /// Into the window about this target.
    At {
        /// Unit: counts, wrapping
        target: i32,
        /// First and last crossing. Unit: ticks, wrapping
        first: u32,
        last: u32,
    },
    /// The command has moved too far since to know.
    Unseen,
}

impl Crossed {
    /// The first crossing of a move that ends at `end` with this target; `None` if it is after the late pulses.
    ///
    /// The target of late pulses is so near that the crossing into the window before it counts. Unit: counts
    pub(crate) fn crossing(self, window: u32, target: i32, end: ApproachPoint) -> Option<FirstCrossing> {
        match self {
            Crossed::NotYet => None,
            Crossed::At { target: before, first, last }
                if target.wrapping_sub(before).unsigned_abs() <= window.max(1) =>
            {
                let since = |tick: u32| end.tick.wrapping_sub(tick);
                Some(FirstCrossing::Before { first: since(first), last: since(last) })
            }
            Crossed::At { .. } | Crossed::Unseen => Some(FirstCrossing::Unseen),
        }
    }
}
