//! In: headers in the order of their arrival. Out: the continuity of each: loss, restart, reorder, duplicate or replay.

use super::header::Header;

/// Continuity of a frame: its sequence number compared with those before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Continuity {
    /// The first frame of its priority; earlier ones do not count as lost.
    First,
    /// The number that was expected.
    Next,
    /// This number of frames of the priority is missing before this one.
    Lost(u32),
    /// The sender has restarted. Frames that it had not sent before the restart are only in its log.
    Restart {
        /// Number of frames of this priority that are missing since the restart.
        missing: u32,
    },
    /// The frame was counted as lost, and is late.
    Reordered,
    /// The frame was received before, or is so old that this is assumed.
    Duplicate,
    /// A replay from the log; it does not affect the continuity of live frames.
    Replayed,
}

/// Number of frames back that are remembered as received or missing. Unit: frames
const REMEMBERED: u32 = u64::BITS;

/// The sequence numbers of one priority.
#[derive(Clone, Copy, Debug, Default)]
struct Series {
    /// The number that is expected; `None` before the first frame.
    next: Option<u32>,
    /// Bit n: the number n below the last one was received, or came before the first frame.
    received: u64,
}

/// The series after a restart of the sender, from number 0.
const RESTARTED: Series = Series { next: Some(0), received: u64::MAX };

impl Series {
    fn step(&mut self, sequence: u32) -> Continuity {
        let Some(next) = self.next else {
            *self = Series { next: Some(sequence.wrapping_add(1)), received: u64::MAX };
            return Continuity::First;
        };
        // Half of all numbers are ahead of the expected one, half behind.
        let ahead = sequence.wrapping_sub(next);
        if ahead <= u32::MAX / 2 {
            self.next = Some(sequence.wrapping_add(1));
            self.received =
                ahead.checked_add(1).and_then(|by| self.received.checked_shl(by)).unwrap_or(0) | 1;
            return if ahead == 0 { Continuity::Next } else { Continuity::Lost(ahead) };
        }
        let behind = next.wrapping_sub(sequence) - 1;
        if behind >= REMEMBERED || self.received >> behind & 1 != 0 {
            return Continuity::Duplicate;
        }
        self.received |= 1 << behind;
        Continuity::Reordered
    }
}

/// Continuity of the frames of one sender.
#[derive(Clone, Debug, Default)]
pub struct Sequence {
    boot: Option<u32>,
    /// Boot number before this one; late frames of that boot are no restart.
    boot_before: Option<u32>,
    series: [Series; 4],
}

impl Sequence {
    /// Continuity of the next frame.
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
            self.series = if restart { [RESTARTED; 4] } else { [Series::default(); 4] };
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
    fn loss_restart_reorder_and_duplicates_are_distinguished() {
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
        // Each priority has its own numbers; after a restart they are expected from 0.
        check(&[(9, 1, 5), (9, 3, 70), (9, 1, 6), (9, 3, 71)], &[First, First, Next, Next]);
        check(&[(9, 1, 5), (4, 1, 0), (4, 3, 2), (4, 1, 1)], &[First, Restart { missing: 0 }, Lost(2), Next]);
        check(
            &[(9, 1, 5), (4, 1, 3), (4, 1, 1), (9, 1, 6)],
            &[First, Restart { missing: 3 }, Reordered, Duplicate],
        );
        // Numbers wrap; a frame more than 64 behind stays lost.
        check(&[(9, 0, u32::MAX), (9, 0, 0), (9, 0, 2), (9, 0, 1)], &[First, Next, Lost(1), Reordered]);
        check(&[(9, 0, 0), (9, 0, 64), (9, 0, 1), (9, 0, 2)], &[First, Lost(63), Reordered, Reordered]);
        check(&[(9, 0, 0), (9, 0, 65), (9, 0, 1), (9, 0, 2)], &[First, Lost(64), Duplicate, Reordered]);
    }

    #[test]
    fn a_replay_does_not_affect_live_frames() {
        let mut sequence = Sequence::default();
        let live = |number| Header { boot: 9, sequence: number, ..Header::default() };
        assert_eq!(sequence.step(&live(7)), First);
        assert_eq!(sequence.step(&Header { replay: true, boot: 3, ..live(2) }), Replayed);
        assert_eq!(sequence.step(&live(8)), Next);
    }
}
