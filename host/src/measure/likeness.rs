//! In: finished moves, and where feedback stood at the end of each rest. Out: whether feedback follows the command at all.
//!
//! A following error, a speed, a constant or another axis in the place of feedback would give numbers that mean nothing:
//! such a signal happens to be inside the window of a target near zero. So the first moves are withheld until in one of
//! them feedback has travelled like the command; if it does in none of them, the recording is refused.

use stillpoint_core::{Outcome, Reasons, Record};

/// Least and largest travel of feedback that is like that of the command, as shares of it. No source
const LIKE: (f64, f64) = (2.0 / 3.0, 1.5);

/// A signal that travels less than this share of every command stands still, or comes back. No source
const NONE: f64 = 0.05;

/// Moves withheld at most.
const MOVES: usize = 8;

/// What is known so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Verdict {
    /// Feedback follows the command.
    Alike,
    /// It has not yet.
    Open,
}

/// Compares travels until feedback has followed the command once.
#[derive(Clone, Debug, Default)]
pub(super) struct Likeness {
    is_alike: bool,
    /// Travel of command and feedback of each move. Unit: feedback counts
    travels: Vec<(f64, f64)>,
    /// Whether a move would be reported as settled.
    has_settled: bool,
}

impl Likeness {
    /// Adds a move, in which feedback travelled by `feedback` from rest to rest. Unit: feedback counts
    pub(super) fn push(&mut self, record: &Record, feedback: i32, window: u32) -> Verdict {
        self.has_settled |= record.outcome == Outcome::Settled;
        // Neither an untrusted travel nor one that is not whole says anything, nor a move back to its start.
        let is_whole = record.outcome != Outcome::Untrusted && !record.reasons.has(Reasons::JOINED);
        if !self.is_alike && !self.is_full() && is_whole && record.travel.unsigned_abs() > window {
            let (command, feedback) = (f64::from(record.travel), f64::from(feedback));
            self.is_alike = (LIKE.0..=LIKE.1).contains(&(feedback / command));
            self.travels.push((command, feedback));
        }
        if self.is_alike { Verdict::Alike } else { Verdict::Open }
    }

    /// Whether enough moves have been compared.
    pub(super) fn is_full(&self) -> bool {
        self.travels.len() >= MOVES
    }

    /// What a person should know of feedback that has travelled unlike the command in every move.
    pub(super) fn note(&self) -> Option<String> {
        let is_unlike = !self.is_alike && !self.travels.is_empty();
        let note = "in no move does feedback travel as far as the command: are column and unit right?";
        is_unlike.then(|| note.to_owned())
    }

    /// What feedback looks like, if it can't be feedback: it travels with no move, or a move would be settled by chance.
    ///
    /// `length` makes counts a length with its unit.
    pub(super) fn objection(&self, length: impl Fn(f64) -> String) -> Option<String> {
        let ratios: Vec<f64> = self.travels.iter().map(|(command, feedback)| feedback / command).collect();
        let still = ratios.iter().all(|ratio| ratio.abs() < NONE);
        if self.is_alike || ratios.is_empty() || !(still || self.has_settled) {
            return None;
        }
        let far = |one: &f64, other: &f64| one.abs().total_cmp(&other.abs());
        let command = length(self.travels.iter().map(|travel| travel.0).max_by(far)?.abs());
        let feedback = length(self.travels.iter().map(|travel| travel.1).max_by(far)?.abs());
        let moves = match ratios.len() {
            1 => "a move".to_owned(),
            count => format!("{count} moves"),
        };
        let looks = if still {
            "it stands or comes back after every move, like a constant, a following error or a speed"
        } else {
            "it looks like another axis, or is counted in another unit"
        };
        Some(format!(
            "feedback never follows the command: in {moves} of up to {command} it travels {feedback} at most; {looks}"
        ))
    }
}
