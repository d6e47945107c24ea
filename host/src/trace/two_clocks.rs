//! In: rows with a time for the command and another one for the feedback. Out: the feedback at its own times, each with the
//! command at that time, interpolated.
//!
//! The command between two of its samples lies on the straight line between them; where it stands it is exact. Feedback
//! before the first or after the last command is left out. Neither series needs a number in every row.

use crate::trace::cell::Dialect;
use crate::trace::decimal::Decimal;
use crate::trace::{number, stamp};
use std::collections::VecDeque;

/// Most samples by which one series may be ahead of the other. Unit: samples
const AHEAD: usize = 1 << 20;

/// The cells of a row with two times: those of command and feedback, each its time and its value.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Cells {
    /// Indices of time and value of the command, and of the feedback.
    pub(crate) places: [(usize, usize); 2],
    /// Delimiter and decimal sign.
    pub(crate) dialect: Dialect,
}

/// Time and value of one signal, as written.
pub(crate) type Pair = (Decimal, Decimal);

impl Cells {
    /// Time and value of command and feedback; `None` where the cells hold no numbers.
    pub(crate) fn pairs(&self, line: &[u8]) -> [Option<Pair>; 2] {
        let cells: Vec<&[u8]> = self.dialect.cells(line).collect();
        let figure =
            |place: usize| cells.get(place).and_then(|cell| number::of_cell(cell, self.dialect.decimal));
        let time =
            |place: usize| figure(place).or_else(|| cells.get(place).and_then(|cell| stamp::parse(cell)));
        self.places.map(|(at, value)| time(at).zip(figure(value)))
    }
}

/// A sample of the feedback and the command at its time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Merged {
    /// Line, time, command, feedback. Unit: 1, ticks, counts, counts
    Sample(u64, i64, i32, i32),
    /// The command is missing around this line, for this time. Unit: 1, ticks
    Hole(u64, i64),
}

/// Puts the two series in order of time.
#[derive(Clone, Debug)]
pub(crate) struct Merge {
    /// Longest time between two commands that is no hole. Unit: ticks
    hole: i64,
    commands: VecDeque<(i64, i32)>,
    feedbacks: VecDeque<(u64, i64, i32)>,
    has_hole: bool,
}

impl Merge {
    /// Before the first row. Unit: ticks
    pub(crate) fn new(hole: i64) -> Merge {
        Merge { hole, commands: VecDeque::new(), feedbacks: VecDeque::new(), has_hole: false }
    }

    /// Adds a command; one that is not later than the last is dropped.
    pub(crate) fn command(&mut self, at: i64, command: i32) {
        if self.commands.back().is_none_or(|last| at > last.0) {
            self.commands.push_back((at, command));
        }
        if self.commands.len() > AHEAD {
            self.commands.pop_front();
        }
    }

    /// Adds a sample of the feedback.
    pub(crate) fn feedback(&mut self, line: u64, at: i64, feedback: i32) {
        self.feedbacks.push_back((line, at, feedback));
        if self.feedbacks.len() > AHEAD {
            self.feedbacks.pop_front();
        }
    }

    /// The next sample whose command is known.
    pub(crate) fn next(&mut self) -> Option<Merged> {
        loop {
            let &(line, at, feedback) = self.feedbacks.front()?;
            while self.commands.len() > 1 && self.commands[1].0 <= at {
                self.commands.pop_front();
                self.has_hole = false;
            }
            let &(before, from) = self.commands.front()?;
            if at < before {
                self.feedbacks.pop_front();
                continue;
            }
            let (after, to) = match self.commands.get(1) {
                Some(&next) => next,
                None if at == before => (before + 1, from),
                None => return None,
            };
            if after - before > self.hole && at > before && !std::mem::replace(&mut self.has_hole, true) {
                return Some(Merged::Hole(line, after - before));
            }
            self.feedbacks.pop_front();
            if after - before > self.hole && at > before {
                continue;
            }
            let share = i128::from(at - before) * (i128::from(to) - i128::from(from));
            let span = i128::from(after - before);
            let command = i128::from(from) + (2 * share + span).div_euclid(2 * span);
            // Rounding doesn't bring the command to its place before its time.
            let early = at > before && command == i128::from(to);
            let command = command - if early { i128::from((to - from).signum()) } else { 0 };
            return Some(Merged::Sample(line, at, command as i32, feedback));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_is_interpolated_at_the_times_of_the_feedback() {
        let mut merge = Merge::new(15);
        let mut found = vec![];
        for row in 0..6i64 {
            merge.command(10 * row, 100 * row.min(3) as i32);
            merge.feedback(row as u64, 10 * row + 4, row as i32);
            found.extend(std::iter::from_fn(|| merge.next()));
        }
        let expected = [40, 140, 240, 300, 300]
            .iter()
            .zip(0..)
            .map(|(&command, row)| Merged::Sample(row, 10 * row as i64 + 4, command, row as i32));
        assert_eq!(found, expected.collect::<Vec<_>>());
    }

    /// The slow way: for each sample of the feedback, search the commands around it.
    fn searched(commands: &[(i64, i32)], feedbacks: &[(u64, i64, i32)]) -> Vec<Merged> {
        let merged = feedbacks.iter().filter_map(|&(line, at, feedback)| {
            if let Some(&(_, command)) = commands.iter().find(|command| command.0 == at) {
                return Some(Merged::Sample(line, at, command, feedback));
            }
            let next = commands.iter().position(|command| command.0 > at).filter(|&next| next > 0)?;
            let ((before, from), (after, to)) = (commands[next - 1], commands[next]);
            let share = (at - before) as f64 / (after - before) as f64;
            let command = (f64::from(from) + share * f64::from(to - from) + 0.5).floor() as i32;
            let command = if command == to { to - (to - from).signum() } else { command };
            Some(Merged::Sample(line, at, command, feedback))
        });
        merged.collect()
    }

    #[test]
    fn it_is_the_same_as_a_search_however_the_rows_pair_them() {
        let mut state = 1u64;
        let mut below = |most: u64| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) % most
        };
        for _ in 0..200 {
            let (steps, rows) = ([1 + below(9), 1 + below(9)], 1 + below(60));
            let mut times = [below(20) as i64, below(20) as i64];
            let (mut commands, mut feedbacks, mut found) = (vec![], vec![], vec![]);
            let mut merge = Merge::new(i64::MAX);
            for line in 0..rows {
                times = [0, 1].map(|signal| times[signal] + 1 + below(steps[signal]) as i64);
                commands.push((times[0], below(100) as i32));
                feedbacks.push((line, times[1], below(100) as i32));
                merge.command(commands[line as usize].0, commands[line as usize].1);
                merge.feedback(line, times[1], feedbacks[line as usize].2);
                found.extend(std::iter::from_fn(|| merge.next()));
            }
            assert_eq!(found, searched(&commands, &feedbacks));
        }
    }

    #[test]
    fn feedback_without_a_command_is_left_out_and_a_hole_is_reported() {
        let mut merge = Merge::new(15);
        [10, 20, 60, 70].iter().for_each(|&at| merge.command(at, at as i32));
        (0..9).for_each(|row| merge.feedback(row, 10 * row as i64 - 1, 7));
        let found: Vec<Merged> = std::iter::from_fn(|| merge.next()).collect();
        let sample = |line, at| Merged::Sample(line, at, at as i32, 7);
        assert_eq!(found, [sample(2, 19), Merged::Hole(3, 40), sample(7, 69)]);
    }
}
