//! In: rows of a table, each value beside the name of its column. Out: statements that insert them.
//!
//! A statement of many rows opens its table and takes its locks once, which costs a single row as much as finding its
//! place in the table.

use rusqlite::{Connection, ToSql, params_from_iter};

/// Rows of a statement; more gain nothing that can be measured.
const ROWS: usize = 32;

/// The columns of a row and their values, as `named_params!` makes them.
pub(super) type Columns<'v> = &'v [(&'v str, &'v dyn ToSql)];

/// Adds the columns of a row.
pub(super) type Push<'p> = dyn FnMut(Columns) -> rusqlite::Result<()> + 'p;

/// Inserts a row; `into` is the beginning of the statement up to the name of the table. Returns 0 if `into` ignores a
/// row that is there.
pub(super) fn one(store: &Connection, into: &str, columns: Columns) -> rusqlite::Result<usize> {
    let names: Vec<&str> = columns.iter().map(|column| column.0).collect();
    let values = columns.iter().map(|column| column.1);
    store.prepare_cached(&statement(into, &names, 1))?.execute(params_from_iter(values))
}

/// Inserts rows, `columns` pushing all columns of a row at once.
pub(super) fn many<R>(
    store: &Connection,
    into: &str,
    rows: &[R],
    columns: impl Fn(&R, &mut Push) -> rusqlite::Result<()>,
) -> rusqlite::Result<()> {
    let Some(first) = rows.first() else { return Ok(()) };
    let mut names: Vec<String> = Vec::new();
    columns(first, &mut |columns| {
        names = columns.iter().map(|column| column.0.to_owned()).collect();
        Ok(())
    })?;
    let (full, rest) = rows.split_at(rows.len() - rows.len() % ROWS);
    for (rows, at_once) in [(full, ROWS), (rest, 1)] {
        if rows.is_empty() {
            continue;
        }
        let mut insert = store.prepare_cached(&statement(into, &names, at_once))?;
        for rows in rows.chunks(at_once) {
            let mut place = 0;
            let mut bind = |values: Columns| {
                values.iter().try_for_each(|(_, value)| {
                    place += 1;
                    insert.raw_bind_parameter(place, value)
                })
            };
            rows.iter().try_for_each(|row| columns(row, &mut bind))?;
            insert.raw_execute()?;
        }
    }
    Ok(())
}

/// The statement for a number of rows.
fn statement(into: &str, names: &[impl AsRef<str>], rows: usize) -> String {
    let names: Vec<&str> = names.iter().map(AsRef::as_ref).collect();
    let row = format!("({})", vec!["?"; names.len()].join(","));
    format!("{into} ({}) VALUES {}", names.join(","), vec![row.as_str(); rows].join(","))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rusqlite::named_params;

    #[test]
    fn every_row_is_there_once_whatever_their_number() {
        for count in [0, 1, ROWS - 1, ROWS, ROWS + 1, 3 * ROWS + 5] {
            let store = Connection::open_in_memory().expect("memory");
            store.execute_batch("CREATE TABLE t (a INTEGER PRIMARY KEY, b TEXT) WITHOUT ROWID").expect("SQL");
            let rows: Vec<usize> = (0..count).collect();
            // The order of the columns is that of the statement, not that of the table.
            let insert = || {
                many(&store, "INSERT INTO t", &rows, |row, push| {
                    push(named_params! { "b": row.to_string(), "a": *row as i64 })
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

    #[test]
    fn a_row_that_is_there_may_be_ignored() {
        let store = Connection::open_in_memory().expect("memory");
        store.execute_batch("CREATE TABLE t (a INTEGER PRIMARY KEY, b TEXT) WITHOUT ROWID").expect("SQL");
        let insert = |b: &str| one(&store, "INSERT OR IGNORE INTO t", named_params! { "a": 1, "b": b });
        assert_eq!((insert("first").expect("room"), insert("second").expect("room")), (1, 0));
        let b: String = store.query_row("SELECT b FROM t", [], |row| row.get(0)).expect("a row");
        assert_eq!(b, "first");
    }
}
