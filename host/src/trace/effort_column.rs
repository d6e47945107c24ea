//! In: the columns of a recording, then its lines. Out: the column of the effort, then the effort of every row.

use crate::error::Error;
use crate::trace::cell::Dialect;
use crate::trace::choice::Choice;
use crate::trace::columns::{Columns, Table};
use crate::trace::number;
use crate::trace::rows::Row;

/// Reads force, torque or current.
#[derive(Clone, Debug)]
pub(crate) struct EffortColumn {
    index: usize,
    /// As the header has it.
    pub(crate) name: String,
    dialect: Dialect,
}

impl EffortColumn {
    /// The column of numbers that the option names, if it is given.
    pub(crate) fn find(
        table: Table<'_>,
        chosen: &Columns,
        choice: &Choice,
        dialect: Dialect,
    ) -> Result<Option<EffortColumn>, Error> {
        let Some(name) = &choice.effort else { return Ok(None) };
        let column = table.beside("--effort", name)?;
        let is_time = chosen.time.as_ref().is_some_and(|time| time.index == column.index);
        let wrong = if is_time || column.index == chosen.feedback.index {
            format!("column '{}' is the time or the position already", column.name)
        } else if !column.numeric {
            format!("column '{}' does not hold numbers", column.name)
        } else {
            return Ok(Some(EffortColumn { index: column.index, name: column.name.clone(), dialect }));
        };
        Err(table.unusable("--effort", wrong))
    }

    /// Adds the effort of this line to `out`; nothing if the cell holds no number.
    pub(crate) fn step(&self, line: &[u8], number: u64, out: &mut Vec<Row>) {
        let cell = self.dialect.cells(line).nth(self.index);
        let figure = cell.and_then(|cell| number::of_cell(cell, self.dialect.decimal));
        if let Some(figure) = figure {
            out.push(Row::Effort { line: number, effort: figure.to_f64() });
        }
    }
}
