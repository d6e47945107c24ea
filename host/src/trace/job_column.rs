//! In: the columns of a recording, then its lines. Out: the column of the job, then every change of the job.

use crate::error::Error;
use crate::trace::cell::Dialect;
use crate::trace::choice::Choice;
use crate::trace::columns::{Columns, Table};
use crate::trace::rows::Row;
use crate::trace::{number, signal_names, unit};

/// Reads the number of the product.
#[derive(Clone, Debug)]
pub(crate) struct JobColumn {
    index: usize,
    dialect: Dialect,
    /// The last cell that was not blank.
    last: Vec<u8>,
}

/// The number of a product in a cell; `None` if it holds none.
pub(crate) fn job(cell: &[u8], decimal: u8) -> Option<u32> {
    let figure = number::of_cell(cell, decimal).filter(|figure| figure.is_whole())?;
    figure.scaled(0).and_then(|(whole, _)| u32::try_from(whole).ok())
}

impl JobColumn {
    /// The column that the options name, or else the one of whole numbers whose name means a job, if there is only one; and
    /// a note that names it.
    pub(crate) fn find(
        table: Table<'_>,
        chosen: &Columns,
        choice: &Choice,
        dialect: Dialect,
    ) -> Result<Option<(JobColumn, String)>, Error> {
        let column = |index: usize| JobColumn { index, dialect, last: Vec::new() };
        if let Some(name) = &choice.job {
            let index = named(table, name)?;
            return Ok(Some((column(index), note(&table.columns[index].name))));
        }
        let taken = [chosen.command.index, chosen.feedback.index];
        let times = [&chosen.time, &chosen.feedback_time].map(|time| time.as_ref().map(|time| time.index));
        let is_free = |index| !taken.contains(&index) && !times.contains(&Some(index));
        // A name with a unit is that of a quantity: "product count" counts.
        let usable = table.columns.iter().filter(|column| {
            let is_plain = column.numeric && column.whole && unit::split(&column.name).1.is_none();
            table.named && is_plain && is_free(column.index)
        });
        let ranked: Vec<_> =
            usable.filter_map(|column| Some((signal_names::job_rank(&column.name)?, column))).collect();
        let best = ranked.iter().map(|(rank, _)| *rank).min();
        let mut fitting = ranked.iter().filter(|(rank, _)| Some(*rank) == best);
        let only = fitting.next().filter(|_| fitting.next().is_none());
        Ok(only.map(|(_, found)| (column(found.index), note(&found.name))))
    }

    /// Adds a row to `out` if the job changes with this line. A blank cell means that the job stands; a cell without a
    /// whole number that no job is known.
    pub(crate) fn step(&mut self, line: &[u8], number: u64, out: &mut Vec<Row>) {
        let Some(cell) = self.dialect.cells(line).nth(self.index) else { return };
        if cell.is_empty() || cell == self.last {
            return;
        }
        self.last.clear();
        self.last.extend_from_slice(cell);
        out.push(Row::Job { line: number, job: job(cell, self.dialect.decimal).unwrap_or(0) });
    }
}

fn note(name: &str) -> String {
    format!("column '{name}' holds the job of each move")
}

/// The column that the option names, which must hold whole numbers.
fn named(table: Table<'_>, name: &str) -> Result<usize, Error> {
    let column = table.beside("--job", name)?;
    match column.whole {
        true => Ok(column.index),
        false => {
            let wrong = format!("column '{}' does not hold whole numbers, as a job must", column.name);
            Err(table.unusable("--job", wrong))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::columns::Column;

    const DIALECT: Dialect = Dialect { delimiter: b';', decimal: b',' };

    /// The column that is found; a name with a sign holds other than whole numbers.
    fn found(names: &str, option: Option<&str>) -> Result<Option<String>, String> {
        let column = |(index, name): (usize, &str)| Column {
            index,
            name: name.trim_end_matches('!').to_string(),
            numeric: true,
            whole: !name.ends_with('!'),
            ..Column::default()
        };
        let columns: Vec<Column> = names.split(',').enumerate().map(column).collect();
        let chosen =
            Columns { command: columns[0].clone(), feedback: columns[1].clone(), ..Columns::default() };
        let choice = Choice { job: option.map(str::to_string), ..Choice::default() };
        let table = Table { columns: &columns, named: true, file: "axis.csv", line: 1 };
        let job = JobColumn::find(table, &chosen, &choice, DIALECT);
        job.map(|job| job.map(|(_, note)| note)).map_err(|error| error.to_string())
    }

    #[track_caller]
    fn check(names: &str, option: Option<&str>, expected: Option<&str>) {
        assert_eq!(found(names, option), Ok(expected.map(note)), "{names} {option:?}");
    }

    #[test]
    fn a_job_is_found_by_name_and_by_sense() {
        check("cmd,act", None, None);
        check("cmd,act,job", None, Some("job"));
        check("cmd,act,Batch no,Product ID", None, Some("Product ID"));
        check("cmd,act,recipeNumber", None, Some("recipeNumber"));
        check("cmd,act,job!", None, None);
        check("cmd,act,job,Job", None, None);
        check("cmd,act,job time,batch size,product count", None, None);
        check("job,act,x", None, None);
        check("cmd,act,x,job", Some("X"), Some("x"));
        check("cmd,act,x,job", Some("3"), Some("x"));
        for (option, words) in [
            ("y", "there is no column 'y'"),
            ("0", "no column '0'"),
            ("z", "'z' does not hold whole numbers"),
        ] {
            let error = found("cmd,act,x,z!", Some(option)).unwrap_err();
            assert!(error.contains(words) && error.contains("cmd, act, x, z"), "{error}");
        }
        assert!(found("cmd,act,a,A", Some("a")).unwrap_err().contains("several columns"));
    }

    #[test]
    fn a_blank_stands_and_nonsense_is_no_job() {
        let mut column = JobColumn { index: 1, dialect: DIALECT, last: vec![] };
        let mut out = vec![];
        let lines = ["1;7", "2;7", "3;", "4;8,0", "5;A", "6", "7;8", "8;-1", "9;7,5"];
        for (line, number) in lines.iter().zip(1..) {
            column.step(line.as_bytes(), number, &mut out);
        }
        let jobs: Vec<(u64, u32)> = out
            .iter()
            .map(|row| match row {
                Row::Job { line, job } => (*line, *job),
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!(jobs, [(1, 7), (4, 8), (5, 0), (7, 8), (8, 0), (9, 0)]);
    }
}
