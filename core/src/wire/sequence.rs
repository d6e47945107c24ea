//! In: headers in the order they came. Out: for each, whether frames were lost, overtaken or doubled, or the sender restarted.

use super::header::Header;

/// What a header's number says beside those before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Continuity {
    /// The first of its priority that was ever heard; earlier ones were never waited for.
    First,
    /// The one that was due.
    Next,
    /// So many before this one are missing.
    Lost(u32),
    /// The sender has started anew, and so many since its start are missing before this one.
    /// What it had not sent before, only its log can tell.
    Restart {
        /// Frames of this priority.
        missing: u32,
    },
    /// It had been counted as lost, and came late.
    Reordered,
    /// It has come before, or is too old to tell: take it as known.
    Duplicate,
    /// Sent again out of the log on demand; says nothing about the live ones.
    Replayed,
}

/// Frames further back than this can't be placed. Unit: frames
const REMEMBERED: u32 = u64::BITS;

/// One series of numbers.
#[derive(Clone, Copy, Debug, Default)]
struct Series {
    /// The number that is due, once one has come.
    next: Option<u32>,
    /// Bit n: the number n below the last one is known.
    known: u64,
}

/// Of a start of which nothing has come yet.
const UNHEARD: Series = Series { next: Some(0), known: u64::MAX };

impl Series {
    fn step(&mut self, sequence: u32) -> Continuity {
        let Some(next) = self.next else {
            *self = Series { next: Some(sequence.wrapping_add(1)), known: u64::MAX };
            return Continuity::First;
        };
        // Half of all numbers lie ahead of the one that is due, half behind.
        let ahead = sequence.wrapping_sub(next);
        if ahead <= u32::MAX / 2 {
            self.next = Some(sequence.wrapping_add(1));
            self.known = ahead.checked_add(1).and_then(|by| self.known.checked_shl(by)).unwrap_or(0) | 1;
            return if ahead == 0 { Continuity::Next } else { Continuity::Lost(ahead) };
        }
        let behind = next.wrapping_sub(sequence) - 1;
        if behind >= REMEMBERED || self.known >> behind & 1 != 0 {
            return Continuity::Duplicate;
        }
        self.known |= 1 << behind;
        Continuity::Reordered
    }
}

/// Follows one sender.
#[derive(Clone, Debug, Default)]
pub struct Sequence {
    boot: Option<u32>,
    /// The start before this one; its stragglers are no restart.
    boot_before: Option<u32>,
    series: [Series; 4],
}

impl Sequence {
    /// Places one frame.
    pub fn step(&mut self, header: &Header) -> Continuity {
        if header.replay {
            return Continuity::Replayed;
        }
        let mut restart = false;
        if self.boot != Some(header.boot) {
            if self.boot_before == Some(header.boot) {
                return Continuity::Duplicate;
            }
            restart = self.boot.is_some();
            self.boot_before = self.boot.replace(header.boot);
            self.series = if restart { [UNHEARD; 4] } else { [Series::default(); 4] };
        }
        let Some(series) = self.series.get_mut(header.priority as usize) else { return Continuity::First };
        match series.step(header.sequence) {
            Continuity::Lost(missing) if restart => Continuity::Restart { missing },
            _ if restart => Continuity::Restart { missing: 0 },
            continuity => continuity,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Continuity::{Duplicate, First, Lost, Next, Reordered, Replayed, Restart};
    use super::*;
    use crate::wire::header::Priority;

    #[track_caller]
    fn check(frames: &[(u32, u8, u32)], expected: &[Continuity]) {
        let mut sequence = Sequence::default();
        let found: std::vec::Vec<Continuity> = frames
            .iter()
            .map(|(boot, priority, number)| {
                let priority = Priority::ALL[usize::from(*priority)];
                sequence.step(&Header { boot: *boot, priority, sequence: *number, ..Header::default() })
            })
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn loss_restart_reorder_and_doubling_are_told_apart() {
        check(&[(9, 1, 5), (9, 1, 6), (9, 1, 9)], &[First, Next, Lost(2)]);
        check(
            &[(9, 1, 5), (9, 1, 8), (9, 1, 6), (9, 1, 7), (9, 1, 9)],
            &[First, Lost(2), Reordered, Reordered, Next],
        );
        check(
            &[(9, 1, 5), (9, 1, 8), (9, 1, 6), (9, 1, 6), (9, 1, 8)],
            &[First, Lost(2), Reordered, Duplicate, Duplicate],
        );
        check(&[(9, 1, 5), (9, 1, 5), (9, 1, 4)], &[First, Duplicate, Duplicate]);
        // Each priority has its own numbers, and nothing of a new start was waited for before it.
        check(&[(9, 1, 5), (9, 3, 70), (9, 1, 6), (9, 3, 71)], &[First, First, Next, Next]);
        check(&[(9, 1, 5), (4, 1, 0), (4, 3, 2), (4, 1, 1)], &[First, Restart { missing: 0 }, Lost(2), Next]);
        check(
            &[(9, 1, 5), (4, 1, 3), (4, 1, 1), (9, 1, 6)],
            &[First, Restart { missing: 3 }, Reordered, Duplicate],
        );
        // Numbers wrap; far behind can't be placed and stays lost.
        check(&[(9, 0, u32::MAX), (9, 0, 0), (9, 0, 2), (9, 0, 1)], &[First, Next, Lost(1), Reordered]);
        check(&[(9, 0, 0), (9, 0, 64), (9, 0, 1), (9, 0, 2)], &[First, Lost(63), Reordered, Reordered]);
        check(&[(9, 0, 0), (9, 0, 65), (9, 0, 1), (9, 0, 2)], &[First, Lost(64), Duplicate, Reordered]);
    }

    #[test]
    fn what_is_sent_again_disturbs_nothing() {
        let mut sequence = Sequence::default();
        let live = |number| Header { boot: 9, sequence: number, ..Header::default() };
        assert_eq!(sequence.step(&live(7)), First);
        assert_eq!(sequence.step(&Header { replay: true, boot: 3, ..live(2) }), Replayed);
        assert_eq!(sequence.step(&live(8)), Next);
    }
}
