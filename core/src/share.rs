//! In: for each move, whether it is late. Out: when the share of late moves is shown to be above a limit, and when it is
//! shown to be below that limit again.
//!
//! A share of a few moves shows nothing: three late moves of three may be chance. Evidence is therefore counted in bits.
//! It is the logarithm of how much more probable the moves are with twice the odds of a late move than with the limit
//! itself: each late move adds a bit, and each move costs the allowance log2(1 + limit). The start of a change is not
//! known, so the evidence begins anew whenever it falls to 0 (Page 1954). The way back is the same count with the sides
//! exchanged: each move that is not late adds a bit, at the allowance of the other share.
//!
//! Guarantee: while the chance of a late move is at most the limit, whatever came before, an alarm comes once in
//! 2^[`BITS`] moves on average or less often; and while it is at least the limit, an alarm ends no more often. So one
//! share, wherever it is, gives one alarm (Wald 1945 for a single test, Lorden 1971 for the mean of tests one
//! after another; both from memory). Limits: METHOD.md, "Limits that people give".

/// Evidence that is enough: eight million moves between two false alarms, more than a month at two moves a second.
/// Unit: bits
pub const BITS: u32 = 23;

/// Largest share. Unit: per mille
const WHOLE: u32 = 1000;
/// Binary places of the evidence. Unit: bits
const PLACES: u32 = 20;

/// Evidence about the share of late moves.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Share {
    /// Moves since the evidence was last 0, and the late ones among them.
    moves: u32,
    late: u32,
    /// The share was shown to be above the limit, and not to be below it since.
    above: bool,
}

/// What the moves have shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shown {
    /// Whether the share is above the limit; else it is below.
    pub above: bool,
    /// Moves that show it.
    pub moves: u32,
    /// Late moves among them.
    pub late: u32,
}

impl Shown {
    /// Share of the late moves, rounded away from the limit, which it never equals. Unit: per mille
    pub fn permille(&self) -> u32 {
        let (late, moves) = (u64::from(self.late) * u64::from(WHOLE), u64::from(self.moves.max(1)));
        let share = if self.above { late.div_ceil(moves) } else { late / moves };
        share as u32
    }
}

impl Share {
    /// Adds a move; returns what is shown when it changes. A limit outside 1 to 999 counts as the nearest of these.
    /// For another limit, begin with `Share::default()`. Unit of `limit`: per mille
    pub fn step(&mut self, limit: u32, late: bool) -> Option<Shown> {
        self.moves = self.moves.saturating_add(1);
        self.late = self.late.saturating_add(late.into());
        let Share { moves, late, above } = *self;
        let evidence = self.evidence(limit.clamp(1, WHOLE - 1));
        let enough = evidence >= i64::from(BITS) << PLACES;
        if evidence <= 0 || enough {
            *self = Share { above: above != enough, ..Share::default() };
        }
        enough.then_some(Shown { above: !above, moves, late })
    }

    /// Evidence against what was shown last. Unit: 2^-20 bits
    fn evidence(&self, limit: u32) -> i64 {
        let (counted, share) =
            if self.above { (self.moves - self.late, WHOLE - limit) } else { (self.late, limit) };
        (i64::from(counted) << PLACES) - i64::from(self.moves) * i64::from(allowance(share))
    }
}

/// Evidence that every move costs: log2(1 + share), rounded up. Unit of the share: per mille; of the evidence: 2^-20 bits
fn allowance(share: u32) -> u32 {
    /// Binary places of the number: its square fits into 64 bits, and its error stays far below the last bit of the result.
    const OF_NUMBER: u32 = 30;
    // A bit of the logarithm for every squaring: whether the square reaches 2.
    let mut number = (u64::from(WHOLE + share) << OF_NUMBER) / u64::from(WHOLE);
    let mut logarithm = 0;
    for _ in 0..PLACES {
        number = (number * number) >> OF_NUMBER;
        let reaches = number >> OF_NUMBER >= 2;
        number >>= u32::from(reaches);
        logarithm = 2 * logarithm + u32::from(reaches);
    }
    logarithm + 1
}

#[cfg(test)]
mod tests;
