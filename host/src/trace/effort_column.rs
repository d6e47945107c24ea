//! In: the columns of a recording, then its lines. Out: the column of the effort, then the effort of every row.

use crate::error::Error;
use crate::trace::cell::Dialect;
use crate::trace::columns::{Columns, Table};
use crate::trace::number;
use crate::trace::place::Place;
use crate::trace::rows::Row;

/// Reads force, torque or current.
#[derive(Clone, Debug)]
pub(crate) struct EffortColumn {
    index: usize,
    dialect: Dialect,
}

impl EffortColumn {
    /// The column of numbers that the option names.
    pub(crate) fn find(
        table: Table<'_>,
        chosen: &Columns,
        name: &str,
        dialect: Dialect,
    ) -> Result<EffortColumn, Error> {
        let wrong = |wrong: String| {
            let names: Vec<&str> = table.columns.iter().take(40).map(|column| column.name.as_str()).collect();
            let remedy = format!("give --effort the name or the number of one of: {}", names.join(", "));
            Place { file: table.file, line: table.line }.error(wrong, &remedy)
        };
        let index = match table.lookup(name).as_slice() {
            [index] => Some(*index),
            [] => name.trim().parse::<usize>().ok().and_then(|number| number.checked_sub(1)),
            _ => return Err(wrong(format!("several columns are called '{name}'"))),
        };
        let column = index.and_then(|index| table.columns.get(index));
        let column = column.ok_or_else(|| wrong(format!("there is no column '{name}' for the effort")))?;
        let is_time = chosen.time.as_ref().is_some_and(|time| time.index == column.index);
        if is_time || column.index == chosen.feedback.index {
            return Err(wrong(format!("column '{}' is the time or the position already", column.name)));
        }
        if !column.numeric {
            return Err(wrong(format!("column '{}' does not hold numbers", column.name)));
        }
        Ok(EffortColumn { index: column.index, dialect })
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
