//! In: one line. Out: its three numbers, or its fault.

use crate::trace::cell::Dialect;
use crate::trace::columns::Columns;
use crate::trace::decimal::Decimal;
use crate::trace::encoding::text;
use crate::trace::layout::Signal;
use crate::trace::rows::Fault;
use crate::trace::survey::Figures;
use crate::trace::{number, stamp};

/// Length of a bad cell in a message. Unit: characters
const SHOWN: usize = 40;

/// Parses the chosen cells of a line.
#[derive(Clone, Debug)]
pub(crate) struct RowParser {
    dialect: Dialect,
    /// Indices of the cells and their signals, from left to right.
    cells: Vec<(usize, Signal)>,
    /// Whether there is no command, so that it is the feedback.
    is_feedback_only: bool,
}

impl RowParser {
    /// A parser for these columns.
    pub(crate) fn new(dialect: Dialect, columns: &Columns) -> RowParser {
        let time = columns.time.as_ref().map(|column| (column.index, Signal::Time));
        let positions =
            [(columns.command.index, Signal::Command), (columns.feedback.index, Signal::Feedback)];
        let is_feedback_only = columns.command.index == columns.feedback.index;
        let positions = positions.into_iter().skip(usize::from(is_feedback_only));
        let mut cells: Vec<(usize, Signal)> = time.into_iter().chain(positions).collect();
        cells.sort_unstable();
        RowParser { dialect, cells, is_feedback_only }
    }

    /// Parses a plain row into `figures`; for `false` call [`slow`](Self::slow). Without a time column the time is not
    /// changed.
    #[inline]
    pub(crate) fn fast(&self, line: &[u8], figures: &mut Figures) -> bool {
        let Dialect { delimiter, decimal } = self.dialect;
        let (mut at, mut cell) = (0, 0);
        // Then only quotes show which comma is which.
        if delimiter == decimal {
            return false;
        }
        for &(index, signal) in &self.cells {
            while cell < index {
                let Some(next) = skip(line, at, delimiter) else { return false };
                (at, cell) = (next, cell + 1);
            }
            let read = number::fast(line, at, delimiter, decimal);
            let Some((figure, end)) = read.or_else(|| number::quick(line, at, delimiter, decimal)) else {
                return false;
            };
            figures[signal as usize] = figure;
            (at, cell) = (end + 1, cell + 1);
        }
        if self.is_feedback_only {
            figures[Signal::Command as usize] = figures[Signal::Feedback as usize];
        }
        true
    }

    /// The numbers of any row, or its fault.
    #[cold]
    pub(crate) fn slow(&self, line: &[u8]) -> Result<Figures, Fault> {
        let cells = self.with_blanks(line)?;
        let mut figures = Figures::default();
        for signal in Signal::ALL {
            let at = signal as usize;
            figures[at] = cells[at].ok_or_else(|| Fault::Figure { signal, text: "".into() })?;
        }
        Ok(figures)
    }

    /// The numbers of any row, `None` where a cell is blank, or its fault.
    pub(crate) fn with_blanks(&self, line: &[u8]) -> Result<[Option<Decimal>; 3], Fault> {
        let mut figures = [None; 3];
        if !self.cells.iter().any(|&(_, signal)| signal == Signal::Time) {
            figures[Signal::Time as usize] = Some(Decimal::default());
        }
        let mut cells = self.dialect.cells(line).enumerate();
        for &(wanted, signal) in &self.cells {
            let cell = cells.find(|(index, _)| *index == wanted).map(|(_, cell)| cell);
            let cell = cell.ok_or(Fault::Missing { signal })?;
            if cell.is_empty() {
                continue;
            }
            let figure = number::of_cell(cell, self.dialect.decimal);
            let figure = figure.or_else(|| stamp::parse(cell).filter(|_| signal == Signal::Time));
            let figure = figure.ok_or_else(|| {
                let text: String = text(cell).chars().take(SHOWN).collect();
                Fault::Figure { signal, text: text.into() }
            })?;
            figures[signal as usize] = Some(figure);
        }
        if self.is_feedback_only {
            figures[Signal::Command as usize] = figures[Signal::Feedback as usize];
        }
        Ok(figures)
    }

    /// The numbers of any row, by the faster path that fits.
    pub(crate) fn figures(&self, line: &[u8]) -> Result<Figures, Fault> {
        let mut figures = Figures::default();
        if self.fast(line, &mut figures) { Ok(figures) } else { self.slow(line) }
    }
}

/// Start of the next cell; `None` if there is none, or a quote before it.
#[inline]
fn skip(line: &[u8], mut at: usize, delimiter: u8) -> Option<usize> {
    while delimiter == b' ' && line.get(at) == Some(&b' ') {
        at += 1;
    }
    let rest = line.get(at..)?;
    let end = rest.iter().position(|&byte| byte == delimiter || byte == b'"' || byte == b'\t')?;
    (rest[end] == delimiter).then_some(at + end + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::columns::Column;

    fn parser(delimiter: char, places: [usize; 3]) -> RowParser {
        let column = |index| Column { index, ..Column::default() };
        let [time, command, feedback] = places.map(column);
        let columns = Columns { time: Some(time), command, feedback, ..Columns::default() };
        RowParser::new(Dialect { delimiter: delimiter as u8, decimal: b'.' }, &columns)
    }

    #[track_caller]
    fn check(delimiter: char, places: [usize; 3], line: &str, expected: Result<[&str; 3], &str>) {
        let parser = parser(delimiter, places);
        let slow = parser.slow(line.as_bytes());
        let mut fast = Figures::default();
        if parser.fast(line.as_bytes(), &mut fast) {
            assert_eq!(Ok(fast), slow, "{line:?}: the fast path differs");
        }
        match (slow, expected) {
            (Ok(found), Ok(expected)) => {
                assert_eq!(found.map(|figure| figure.to_string()), expected, "{line:?}")
            }
            (Err(fault), Err(words)) => assert_eq!(fault.to_string(), words, "{line:?}"),
            (found, _) => panic!("{line:?} gave {found:?}"),
        }
    }

    #[test]
    fn both_paths_give_the_same() {
        check(',', [0, 1, 2], "0.5,-1,2.25", Ok(["0.5", "-1", "2.25"]));
        check(',', [3, 0, 1], "7 , 8,text,9.0,", Ok(["9.0", "7", "8"]));
        check(';', [1, 2, 0], "\"a;b\";1;2", Err("feedback holds 'a;b', which is not a number"));
        check(';', [1, 2, 3], "\"a;b\";1;2;3", Ok(["1", "2", "3"]));
        check(';', [1, 2, 3], " \"a;b\";\"1\";2e1;3", Ok(["1", "20", "3"]));
        check(' ', [0, 1, 2], "  1   2 3  ", Ok(["1", "2", "3"]));
        check(' ', [1, 2, 3], "  x \t 1\t2 3", Ok(["1", "2", "3"]));
        check('\t', [1, 2, 3], "x y\t1\t2\t3", Ok(["1", "2", "3"]));
        check(',', [0, 1, 2], "1,2", Err("the row ends before feedback"));
        check(',', [0, 1, 2], "1,,3", Err("command holds '', which is not a number"));
        check(',', [0, 2, 2], "1,2,3", Ok(["1", "3", "3"]));
        check(',', [0, 2, 2], "1,2,\"3\"", Ok(["1", "3", "3"]));
        check(',', [0, 1, 2], "NaN,2,3", Err("time holds 'NaN', which is not a number"));
    }

    #[test]
    fn plain_rows_take_the_fast_path() {
        let fast = |delimiter, places, line: &str| {
            parser(delimiter, places).fast(line.as_bytes(), &mut Figures::default())
        };
        for line in ["1,2,3", "-1.5,2,3,4,5", "1 , 2,3 "] {
            assert!(fast(',', [0, 1, 2], line), "{line:?}");
        }
        assert!(fast(' ', [0, 1, 3], " 1   2 x 3"));
    }
}
