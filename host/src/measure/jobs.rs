//! In: where the job changes, by line, and when these lines are measured. Out: the job of each move.

use std::collections::VecDeque;

use stillpoint_core::Reading;

/// The jobs of a recording; a job holds for the moves that begin at its reading or later.
#[derive(Debug, Default)]
pub(super) struct Jobs {
    /// Line of the change and the job, of lines whose reading has not come.
    coming: VecDeque<(u64, u32)>,
    /// Tick of the reading and the job, of readings that are not measured.
    due: VecDeque<(u32, u32)>,
    /// Instant on the clock of the axis and the job, the oldest first. Unit: ticks
    measured: VecDeque<(u64, u32)>,
}

impl Jobs {
    /// The job changes with this line.
    pub(super) fn change(&mut self, line: u64, job: u32) {
        self.coming.push_back((line, job));
    }

    /// A reading has come; `first` if it is that of the recording, whose job holds for what may be put before it.
    pub(super) fn reading(&mut self, line: u64, reading: Reading, first: bool) {
        while let Some((_, job)) = next_if(&mut self.coming, |from| from <= line) {
            if first {
                self.measured.push_back((0, job));
            } else {
                self.due.push_back((reading.tick, job));
            }
        }
    }

    /// How many of these readings may be measured before the time must be noted: up to the next change, or one if they
    /// begin with it.
    pub(super) fn until_change(&self, readings: &[Reading]) -> usize {
        let Some((tick, _)) = self.due.front() else { return readings.len() };
        readings
            .iter()
            .position(|reading| is_from(reading.tick, *tick))
            .map_or(readings.len(), |at| at.max(1))
    }

    /// The axis has measured this reading, at this instant on its clock. Unit: ticks
    pub(super) fn measured(&mut self, reading: Reading, now: u64) {
        while let Some((_, job)) = next_if(&mut self.due, |tick| is_from(reading.tick, tick)) {
            self.measured.push_back((now, job));
        }
    }

    /// The job of a move that began at this instant; none if it is not known. Moves come in order. Unit: ticks
    pub(super) fn of(&mut self, start: u64) -> Option<u32> {
        while self.measured.get(1).is_some_and(|(from, _)| *from <= start) {
            self.measured.pop_front();
        }
        let (from, job) = self.measured.front()?;
        (*from <= start && *job > 0).then_some(*job)
    }
}

/// Whether a tick is that of the change, or later.
fn is_from(tick: u32, change: u32) -> bool {
    tick.wrapping_sub(change) < 1 << 31
}

/// Removes the first change, if it has come.
fn next_if<P: Copy>(changes: &mut VecDeque<(P, u32)>, has_come: impl Fn(P) -> bool) -> Option<(P, u32)> {
    let first = changes.front().copied().filter(|(place, _)| has_come(*place))?;
    changes.pop_front();
    Some(first)
}
