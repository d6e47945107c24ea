//! In: job commands and when they come. Out: the job of each move.

/// The product that an axis works on. A job holds for the moves that begin after its command: the stop before may still
/// rest, and is reported later.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Job {
    /// 0 means none.
    number: u32,
    /// When it was set. Unit: ticks since the first reading
    since: u64,
    /// Of the moves that began earlier.
    before: u32,
}

impl Job {
    /// Sets the job of the moves to come. `begun` is when the last move began, which may not be reported yet.
    /// Unit of both instants: ticks since the first reading
    pub(super) fn set(&mut self, number: u32, now: u64, begun: u64) {
        *self = Job { number, since: now, before: self.of(begun) };
    }

    /// The job of a move that began at `start`. Unit: ticks since the first reading
    pub(super) fn of(&self, start: u64) -> u32 {
        if start >= self.since { self.number } else { self.before }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_job_holds_from_the_next_move_on() {
        let mut job = Job::default();
        assert_eq!(job.of(0), 0);
        job.set(7, 100, 90);
        assert_eq!((job.of(90), job.of(100)), (0, 7));
        // Two commands within one rest, or during one move: no move began with the first of them.
        job.set(8, 200, 150);
        job.set(9, 210, 150);
        assert_eq!((job.of(150), job.of(205), job.of(210)), (7, 7, 9));
    }
}
