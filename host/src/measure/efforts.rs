//! In: efforts by line, and which reading each line has. Out: the effort of a reading when it is measured.

use std::collections::{HashMap, VecDeque};

use stillpoint_core::Reading;

/// Efforts whose reading is not measured yet.
#[derive(Clone, Debug, Default)]
pub(super) struct Efforts {
    /// By line, of lines whose reading has not come.
    coming: HashMap<u64, f64>,
    /// By the tick of the reading, in their order.
    due: VecDeque<(u32, f64)>,
}

impl Efforts {
    /// This line has this effort.
    pub(super) fn add(&mut self, line: u64, effort: f64) {
        self.coming.insert(line, effort);
    }

    /// This line has this reading.
    pub(super) fn reading(&mut self, line: u64, reading: Reading) {
        let effort = self.coming.remove(&line);
        self.due.extend(effort.map(|effort| (reading.tick, effort)));
    }

    /// The effort of a reading that is measured; readings come in their order.
    pub(super) fn of(&mut self, tick: u32) -> Option<f64> {
        let is_past = |due: &(u32, f64)| tick.wrapping_sub(due.0).wrapping_sub(1) < 1 << 31;
        while self.due.front().is_some_and(is_past) {
            self.due.pop_front();
        }
        let is_due = self.due.front().is_some_and(|due| due.0 == tick);
        if is_due { self.due.pop_front().map(|due| due.1) } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_effort_belongs_to_the_reading_of_its_line() {
        let mut efforts = Efforts::default();
        (0..6).for_each(|line| efforts.add(line, 10.0 * line as f64));
        for (line, tick) in [(0, u32::MAX - 5), (1, 4), (3, 14), (7, 24)] {
            efforts.reading(line, Reading { tick, command: 0, feedback: 0 });
        }
        assert_eq!(efforts.of(u32::MAX - 5), Some(0.0));
        assert_eq!(efforts.of(14), Some(30.0), "that of tick 4 is passed by");
        assert_eq!(efforts.of(24), None);
    }
}
