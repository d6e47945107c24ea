//! In: the outcome of a move. Out: its number in the column `moves.outcome`, and its place in a summary.
//!
//! The numbers are part of the file format (host/STORE.md lists them): a new outcome gets the next number, and no
//! number is changed or used again.

use stillpoint_core::Outcome;

/// The number of an outcome.
pub const fn number(outcome: Outcome) -> u8 {
    match outcome {
        Outcome::Settled => 0,
        Outcome::Unsettled => 1,
        Outcome::Interrupted => 2,
        Outcome::Untrusted => 3,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_outcome_has_its_number_and_its_word() {
        for (outcome, listed, word) in [
            (Outcome::Settled, 0, "settled"),
            (Outcome::Unsettled, 1, "unsettled"),
            (Outcome::Interrupted, 2, "interrupted"),
            (Outcome::Untrusted, 3, "untrusted"),
        ] {
            assert_eq!((number(outcome), outcome.word()), (listed, word));
        }
    }
}
