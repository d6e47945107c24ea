//! In: neighbouring changes of the command, and the pauses between them. Out: whether they may be of one pulse train.
//!
//! A slow command is a train of small pulses whose pauses may be longer than a rest. The limits follow from constant
//! acceleration, where the command is at a count at the square roots of whole numbers: see METHOD.md.

use crate::settings::Settings;

/// Longest pause before a late pulse, in pauses before: 2.42 under constant deceleration, 3.85 under constant jerk.
const LATE: u64 = 8;
/// Longest pause of a train whose next pulse has the same direction, in pauses before; at most 2.73.
const ONWARD: u64 = 3;
/// The same, if the next pulse comes back: a count stands up to 4.83 times longer at the crest of a sine.
const BACK: u64 = 5;
/// Two neighbouring pauses of a train differ by less than this factor, apart from its crest; at most 2.42.
const ALIKE: u64 = 4;
/// Two neighbouring pulses of a train differ in size by at most this factor: a few quanta, sampled slowly.
const SIZES: u32 = 5;
/// Largest pulse next to a crest of a few samples. Unit: small changes
const FEW: u32 = 3;
/// Longest pause before the first pulses of a move: a longer one was a rest. Unit: rest times
const LONGEST: u64 = 8;

/// The last change of the command.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Pulse {
    /// Size, signed. Unit: feedback counts
    pub change: i32,
    /// Time since the change before; at a turn, the longer of this and the pause before. Unit: ticks
    pub pause: u64,
    /// Time since the change before. Unit: ticks
    pub since: u64,
    /// The command stood in that pause for a sample or more, and the change before was of the same direction.
    pub stood: bool,
    /// The same, and the change before was of the same size: quantised more coarsely than the window.
    pub coarse: bool,
    /// The change before belongs to the same move, so the pause is one of the move.
    pub follows: bool,
}

impl Pulse {
    /// A change of this size, `since` the change before, which belongs to the same move. Unit: counts, ticks
    pub(super) fn following(change: i32, since: u64) -> Pulse {
        Pulse { change, pause: since, since, follows: true, ..Pulse::default() }
    }

    /// Whether the next pulse, `next`, may be of the same train. Unit of `pace`: ticks
    ///
    /// The pace is the shortest time between two changes: a sample period, or how long the command is sampled and held.
    pub(super) fn may_precede(&self, settings: &Settings, next: Pulse, pace: u64) -> bool {
        let back = self.reverses(next);
        let factor = if back { BACK } else { ONWARD };
        let coarse = back && self.coarse && self.equals(next);
        let slow = coarse || self.size().min(next.size()) <= small(settings) && self.alike(next);
        // A command that is sampled and held may skip one change: where it turns, or by its rounding.
        let skips = self.stood && next.pause <= self.two_pauses(pace) && self.mirrors(settings, next);
        let in_time = next.pause <= self.pauses(factor, pace);
        let brief =
            self.is_brief(settings, next.pause, pace) && next.is_small(settings, FEW) && self.alike(next);
        self.follows && (in_time && slow || skips || brief)
    }

    /// Whether both are small, and `next` is soon enough to be the late pulse of a train.
    pub(super) fn may_precede_late(&self, settings: &Settings, next: Pulse, pace: u64) -> bool {
        let are_small = self.is_small(settings, 1) && next.is_small(settings, 1);
        self.follows && are_small && next.pause <= self.pauses(LATE, pace)
    }

    /// Whether a few quanta at once, as at the crest of a sine that is sampled slowly, may have gone before `pause`.
    fn is_brief(&self, settings: &Settings, pause: u64, pace: u64) -> bool {
        self.is_small(settings, FEW) && pause <= self.two_pauses(pace) + 2 * pace
    }

    /// So many pauses, each up to a pace longer than seen; half of a pace more, because time stamps are not quite even.
    fn pauses(&self, factor: u64, pace: u64) -> u64 {
        factor.saturating_mul(self.pause + pace).saturating_add(pace / 2)
    }

    /// Two pauses as seen, and one of the shortest. Unit: ticks
    fn two_pauses(&self, pace: u64) -> u64 {
        2 * self.pause + pace + pace / 2
    }

    /// Whether the sizes are the same but for a few quanta, each no larger than a small change.
    fn mirrors(&self, settings: &Settings, next: Pulse) -> bool {
        self.size().abs_diff(next.size()) <= small(settings).saturating_mul(SIZES)
    }

    /// Whether the next pulse of a train may still come when the command has stood for `held`. Unit: ticks
    pub(super) fn may_go_on(&self, settings: &Settings, held: u64, pace: u64) -> bool {
        let slow = self.coarse || self.is_small(settings, 1);
        let in_time = held <= self.pauses(BACK, pace);
        let skips = self.stood && held <= self.two_pauses(pace);
        self.follows && (slow && in_time || skips || self.is_brief(settings, held, pace))
    }

    /// Whether the next pulse goes on at much the pace of this one and of the pause `before` it. Unit: ticks
    pub(super) fn continues(&self, next: Pulse, before: u64, pace: u64) -> bool {
        let (least, most) = (self.pause.min(before), self.pause.max(before));
        let longer = next.pause <= ALIKE.saturating_mul(most + pace);
        let shorter = least <= ALIKE.saturating_mul(next.pause + pace);
        longer && shorter && self.is_like(next)
    }

    /// Whether a pulse by itself may be one of a slow start, with `next` after it.
    pub(super) fn may_begin(&self, settings: &Settings, next: Pulse, pace: u64) -> bool {
        let longest = u64::from(settings.rest_time) * LONGEST + pace;
        next.pause <= longest && next.is_small(settings, 1) && self.is_like(next)
    }

    /// Whether the command may turn between this pulse and the next, within one train.
    pub(super) fn turns(&self, settings: &Settings, next: Pulse, pace: u64) -> bool {
        self.reverses(next) && self.may_precede(settings, next, pace)
    }

    /// Whether the next pulse has the same direction and much the same size.
    pub(super) fn is_like(&self, next: Pulse) -> bool {
        !self.reverses(next) && self.alike(next)
    }

    /// The next pulse, as one after this.
    pub(super) fn then(&self, next: Pulse) -> Pulse {
        let turns = self.follows && self.reverses(next);
        Pulse { pause: if turns { next.since.max(self.since) } else { next.since }, ..next }
    }

    /// Whether the next pulse goes the other way.
    pub(super) fn reverses(&self, next: Pulse) -> bool {
        (self.change < 0) != (next.change < 0)
    }

    /// Whether both have the same size, but for a scaled command's rounding.
    pub(super) fn equals(&self, next: Pulse) -> bool {
        self.size().abs_diff(next.size()) <= 1
    }

    /// Whether both are of much the same size.
    fn alike(&self, next: Pulse) -> bool {
        let (least, most) = (self.size().min(next.size()), self.size().max(next.size()));
        most <= least.saturating_mul(SIZES)
    }

    /// Whether the size is at most this many small changes.
    pub(super) fn is_small(&self, settings: &Settings, count: u32) -> bool {
        self.size() <= small(settings).saturating_mul(count)
    }

    /// Unit: feedback counts
    fn size(&self) -> u32 {
        self.change.unsigned_abs()
    }
}

/// Largest small change: the window, but at least one count. Unit: feedback counts
pub(super) fn small(settings: &Settings) -> u32 {
    settings.window.max(1)
}
