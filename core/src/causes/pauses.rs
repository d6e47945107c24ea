//! In: when moves were made. Out: pauses of the machine, and the minutes since the last.

/// Shortest pause, and shortest long pause, in which a machine cools down. Unit: s
const SHORT: u32 = 300;
const LONG: u32 = 3600;
/// A pause is so many times longer than what usually lies between two moves.
const LONGER: u32 = 8;

/// How long the machine paused before the present run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Pause {
    /// Not known: the run began before the first reading.
    #[default]
    Unknown,
    /// Five minutes to an hour.
    Short,
    /// An hour or more.
    Long,
}

/// Runs and pauses of the machine.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Pauses {
    /// The last move, and the first of the run. Unit: s
    last: u32,
    resumed: u32,
    /// What usually lies between two moves. Unit: s
    usual: u32,
    before: Pause,
}

impl Pauses {
    /// Before the first move.
    pub(super) const fn new() -> Pauses {
        Pauses { last: 0, resumed: 0, usual: 0, before: Pause::Unknown }
    }

    /// Adds a move; whether a run begins with it. Unit: s
    pub(super) fn step(&mut self, second: u32) -> bool {
        if self.last == 0 {
            (self.last, self.resumed) = (second, second);
            return false;
        }
        let between = second.saturating_sub(self.last);
        let pause = between >= SHORT.max(self.usual.saturating_mul(LONGER));
        self.last = second;
        // A sixteenth of the way, rounded so that it arrives. Pauses count, too: some axes move seldom.
        self.usual = (15 * self.usual + between.min(LONG) + 8) / 16;
        if pause {
            self.before = if between < LONG { Pause::Short } else { Pause::Long };
            self.resumed = second;
        }
        pause
    }

    /// The pause before this run.
    pub(super) fn before(&self) -> Pause {
        self.before
    }

    /// Since the run began. Unit: s
    pub(super) fn running(&self) -> u32 {
        self.last.saturating_sub(self.resumed)
    }
}
