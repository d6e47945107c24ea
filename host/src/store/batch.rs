//! In: rows of a table. Out: statements that insert many of them at once.
//!
//! A statement of many rows opens its table and looks at its locks once, which a row on its own pays as dearly as
//! its place in the table.

use rusqlite::{CachedStatement, Connection, ToSql};

/// Rows of a statement; more gain nothing that can be measured.
const ROWS: usize = 32;

/// Values of a statement, from its first to its last.
pub(super) struct Values<'s, 'c> {
    statement: &'s mut CachedStatement<'c>,
    given: usize,
}

impl Values<'_, '_> {
    /// Gives the next value of the row.
    pub(super) fn push(&mut self, value: impl ToSql) -> rusqlite::Result<()> {
        self.given += 1;
        self.statement.raw_bind_parameter(self.given, value)
    }
}

/// Inserts rows, `into` being the beginning of the statement up to `VALUES`. `values` pushes all `columns` of a row.
pub(super) fn insert<R>(
    store: &Connection,
    (into, columns): (&str, usize),
    rows: &[R],
    values: impl Fn(&R, &mut Values) -> rusqlite::Result<()>,
) -> rusqlite::Result<()> {
    let (whole, rest) = rows.split_at(rows.len() - rows.len() % ROWS);
    for (rows, at_once) in [(whole, ROWS), (rest, 1)] {
        if rows.is_empty() {
            continue;
        }
        let row = format!("({})", vec!["?"; columns].join(","));
        let sql = format!("{into} VALUES {}", vec![row.as_str(); at_once].join(","));
        let mut statement = store.prepare_cached(&sql)?;
        for rows in rows.chunks(at_once) {
            let mut given = Values { statement: &mut statement, given: 0 };
            rows.iter().try_for_each(|row| values(row, &mut given))?;
            statement.raw_execute()?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_there_once_whatever_their_number() {
        for count in [0, 1, ROWS - 1, ROWS, ROWS + 1, 3 * ROWS + 5] {
            let store = Connection::open_in_memory().expect("memory");
            store.execute_batch("CREATE TABLE t (a INTEGER PRIMARY KEY, b TEXT) WITHOUT ROWID").expect("SQL");
            let rows: Vec<usize> = (0..count).collect();
            let insert = || {
                insert(&store, ("INSERT INTO t", 2), &rows, |row, values| {
                    values.push(*row as i64)?;
                    values.push(row.to_string())
                })
            };
            insert().expect("room");
            let found: (i64, Option<i64>) = store
                .query_row("SELECT count(*), sum(a) FROM t WHERE b = CAST(a AS TEXT)", [], |row| {
                    Ok((row.get(0)?, row.get(1)?))
                })
                .expect("a row");
            let sum: usize = rows.iter().sum();
            assert_eq!((found.0 as usize, found.1.unwrap_or(0) as usize), (count, sum));
            assert_eq!(insert().is_err(), count > 0, "a row that is there is an error, not lost");
        }
    }
}
