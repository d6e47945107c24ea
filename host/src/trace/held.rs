//! In: rows in which the cell of a slower signal is blank. Out: numbers of whole rows: a blank command is the last one; a row
//! without feedback is no sample.
//!
//! A blank counts only where a signal is written in every n-th row; a blank that comes without such an order stays a bad
//! row.

use crate::trace::layout::Signal;
use crate::trace::row_parser::RowParser;
use crate::trace::rows::Fault;
use crate::trace::survey::Figures;

/// Fewest numbers in regular rows by which their order is believed.
const REGULAR: usize = 4;

/// Largest share of numbers that are not in the row where they are expected. No source
const IRREGULAR: f64 = 0.05;

/// Which signals are written in every n-th row only, and the last command.
#[derive(Clone, Debug, Default)]
pub(crate) struct Held {
    /// Rows from one number to the next of time, command and feedback; 0: every row.
    pub(crate) every: [usize; 3],
    /// Rows since the last number of each.
    since: [usize; 3],
    last: Figures,
    has_command: bool,
}

impl Held {
    /// From the first lines of rows.
    pub(crate) fn find<'a>(parser: &RowParser, lines: impl Iterator<Item = &'a [u8]>) -> Held {
        let mut written: [Vec<usize>; 3] = Default::default();
        for (row, cells) in lines.filter_map(|line| parser.with_blanks(line).ok()).enumerate() {
            for (places, cell) in written.iter_mut().zip(&cells) {
                places.extend(cell.map(|_| row));
            }
        }
        let mut held = Held::default();
        for signal in [Signal::Command, Signal::Feedback] {
            held.every[signal as usize] = period(&written[signal as usize]).unwrap_or(0);
        }
        held
    }

    /// Whether a blank may be a number held.
    pub(crate) fn is_active(&self) -> bool {
        self.every != [0; 3]
    }

    /// The numbers of a row; `None` if it is no sample.
    pub(crate) fn figures(&mut self, parser: &RowParser, line: &[u8]) -> Result<Option<Figures>, Fault> {
        let cells = parser.with_blanks(line)?;
        for signal in Signal::ALL {
            let at = signal as usize;
            self.since[at] += 1;
            if let Some(figure) = cells[at] {
                (self.last[at], self.since[at]) = (figure, 0);
            } else if self.since[at] >= longest(self.every[at]) {
                return Err(Fault::Figure { signal, text: "".into() });
            }
        }
        self.has_command |= cells[Signal::Command as usize].is_some();
        Ok((self.has_command && cells[Signal::Feedback as usize].is_some()).then_some(self.last))
    }
}

/// Rows without a number after which one is missing.
fn longest(every: usize) -> usize {
    (every + usize::from(every > 2)).max(1)
}

/// The number of rows from one number to the next, if it is regular and above one.
fn period(written: &[usize]) -> Option<usize> {
    let mut steps: Vec<usize> = written.windows(2).map(|pair| pair[1] - pair[0]).collect();
    if steps.len() < REGULAR {
        return None;
    }
    steps.sort_unstable();
    let usual = steps[steps.len() / 2];
    let others = steps.iter().filter(|&&step| step.abs_diff(usual) > usize::from(usual > 2)).count();
    (usual > 1 && others as f64 <= IRREGULAR * steps.len() as f64).then_some(usual)
}
