//! In: nothing. Out: the reasons for an outcome and the cautions of a move, one bit each, with their wording.

use core::fmt;

/// Reasons for an outcome, and cautions that hold with any outcome; one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reasons(u64);

/// Bit and wording of each reason, in the order in which they are written.
const WORDING: [(Reasons, &str); 23] = [
    (Reasons::GAP, "samples are missing in the move or before it settled"),
    (Reasons::CLOCK, "the time stamps stand still or go back"),
    (Reasons::JUMP, "feedback jumps further in one sample than set as possible"),
    (Reasons::LONG, "the move lasts longer than its ticks can count"),
    (Reasons::UNSEEN, "the first crossing into the window lies too far back to be seen"),
    (Reasons::OUTSIDE, "outside the window at the end of the rest"),
    (Reasons::SHORT, "inside for less than the window time when the rest ended"),
    (Reasons::EXITED, "the window was left after the target had been reached"),
    (Reasons::JOINED, "the command was already changing when the samples began"),
    (Reasons::STEP, "the window is below two encoder steps"),
    (Reasons::NOISE, "the window is below three times the rest noise"),
    (Reasons::COARSE, "settling is below five sample periods"),
    (Reasons::INFERRED, "the command end is inferred from feedback"),
    (Reasons::HOLE, "samples are missing elsewhere than at command end, entry and window time"),
    (Reasons::STEPPED, "the command jumps to its target, so settling includes the travel"),
    (Reasons::SPIKE, "a spike of feedback, faster than the axis ever moves, decides"),
    (Reasons::ENDED, "the samples ended before the rest did"),
    (Reasons::OFFSET, "feedback stands at a constant offset larger than the window"),
    (Reasons::FRAGILE, "a slightly wider or narrower window changes the settling time by a swing"),
    (Reasons::TURN, "the position jumps by close to a whole turn"),
    (Reasons::DEAD_BAND, "the command is noisy, and its end is known to its dead band"),
    (Reasons::FEW, "the window is crossed within a sample or two"),
    (Reasons::PAUSED, "the command stood in between, too short to tell a stop from a turning point"),
];

impl Reasons {
    /// No reason.
    pub const NONE: Reasons = Reasons(0);
    /// Samples are missing where they matter, in the move or before it settled.
    pub const GAP: Reasons = Reasons(1);
    /// The time stamps stand still or go back.
    pub const CLOCK: Reasons = Reasons(1 << 1);
    /// Feedback jumps further in one sample than the setting `jump`.
    pub const JUMP: Reasons = Reasons(1 << 2);
    /// The command moves for longer than 2^31 ticks.
    pub const LONG: Reasons = Reasons(1 << 3);
    /// Under [`crate::Definition::Iso9283`]: the first crossing lies further back than the approach points.
    pub const UNSEEN: Reasons = Reasons(1 << 4);
    /// Outside the window at the end of the rest.
    pub const OUTSIDE: Reasons = Reasons(1 << 5);
    /// Inside for less than the window time at the end of the rest.
    pub const SHORT: Reasons = Reasons(1 << 6);
    /// Under [`crate::Definition::TargetReached`]: target reached, then the window was left.
    pub const EXITED: Reasons = Reasons(1 << 7);
    /// The command was already changing when the samples began.
    pub const JOINED: Reasons = Reasons(1 << 8);
    /// The window is below two encoder steps.
    pub const STEP: Reasons = Reasons(1 << 9);
    /// The window is below three times the rest noise.
    pub const NOISE: Reasons = Reasons(1 << 10);
    /// The settling time is below five sample periods.
    pub const COARSE: Reasons = Reasons(1 << 11);
    /// The command end is inferred from feedback, because no command could be tapped.
    pub const INFERRED: Reasons = Reasons(1 << 12);
    /// Samples are missing in the move or its rest, but not where they matter.
    pub const HOLE: Reasons = Reasons(1 << 13);
    /// The command gets from its start to its end within two samples.
    pub const STEPPED: Reasons = Reasons(1 << 14);
    /// An excursion of up to three samples, faster than the axis moves, decides about a window transition.
    pub const SPIKE: Reasons = Reasons(1 << 15);
    /// The rest was closed by [`crate::Axis::finish`], not by the next move.
    pub const ENDED: Reasons = Reasons(1 << 16);
    /// Unsettled, and feedback stands: over the last quarter of the rest or longer the error neither swings, by what a
    /// swing of 1 Hz to the target would show, nor creeps. The rest error is that constant offset.
    pub const OFFSET: Reasons = Reasons(1 << 17);
    /// A window 1 % wider or narrower settles earlier or later by more than uncertainty and steepness explain.
    pub const FRAGILE: Reasons = Reasons(1 << 18);
    /// An untold jump close to a whole turn: the position probably wraps. See [`crate::Parameters::turn`].
    pub const TURN: Reasons = Reasons(1 << 19);
    /// The command is noisy: its end is known to the dead band that was used.
    pub const DEAD_BAND: Reasons = Reasons(1 << 20);
    /// Under [`crate::Definition::Iso9283`]: feedback crosses the window within a sample or two.
    pub const FEW: Reasons = Reasons(1 << 21);
    /// The command stood within the move: what counts as one move may be two with a short stop between.
    pub const PAUSED: Reasons = Reasons(1 << 22);

    /// Reasons of both.
    pub const fn with(self, other: Reasons) -> Reasons {
        Reasons(self.0 | other.0)
    }

    /// `other` too, if `condition`.
    pub const fn with_if(self, condition: bool, other: Reasons) -> Reasons {
        if condition { self.with(other) } else { self }
    }

    /// Whether all bits of `other` are set.
    pub const fn has(self, other: Reasons) -> bool {
        self.0 & other.0 == other.0
    }

    /// One bit per reason.
    pub const fn bits(self) -> u64 {
        self.0
    }

    /// Reasons from their bits; unknown bits stay set.
    pub const fn from_bits(bits: u64) -> Reasons {
        Reasons(bits)
    }
}

impl Reasons {
    /// Each reason that is set, with its wording.
    ///
    /// Where the samples ended before the rest did, the reasons that speak of the rest's end say so instead.
    pub fn worded(self) -> impl Iterator<Item = (Reasons, &'static str)> {
        let cut_off = self.has(Reasons::ENDED) && (self.has(Reasons::OUTSIDE) || self.has(Reasons::SHORT));
        let set = WORDING.into_iter().filter(move |(reason, _)| self.has(*reason));
        set.filter_map(move |(reason, wording)| match reason {
            Reasons::ENDED if cut_off => None,
            Reasons::OUTSIDE if cut_off => Some((reason, "outside the window when the samples ended")),
            Reasons::SHORT if cut_off => {
                Some((reason, "inside for less than the window time when the samples ended"))
            }
            _ => Some((reason, wording)),
        })
    }
}

impl fmt::Display for Reasons {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (count, (_, wording)) in self.worded().enumerate() {
            out.write_str(if count == 0 { "" } else { "; " })?;
            out.write_str(wording)?;
        }
        Ok(())
    }
}
