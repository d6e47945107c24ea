//! In: rows that can't be made again. Out: the same rows, each with its digest; and which rows don't fit theirs.
//!
//! Triggers that belong to the connection, not to the file, write the digests: no statement that writes a row can
//! forget it, and other programs find no function in the file that they don't know. A line of the journal has the
//! digest of the line before among its values, so that a line can't be changed, removed or put in between without all
//! lines after it being written anew. A summary gets its digest when its frames are let go; until then it can be
//! made again.

use rusqlite::functions::FunctionFlags;
use rusqlite::{Connection, OptionalExtension};

use super::digest::digest;

/// Tables whose rows have digests of their own, and the columns that name a row.
pub(super) const SEALED: [(&str, &[&str]); 5] = [
    ("devices", &["id"]),
    ("boots", &["device", "boot"]),
    ("axes", &["device", "axis"]),
    ("shifts", &["name"]),
    ("marks", &["name"]),
];

/// Defines the SQL function `row_digest` of any number of values on a connection.
pub(super) fn define_digest(connection: &Connection) -> rusqlite::Result<()> {
    let flags =
        FunctionFlags::SQLITE_UTF8 | FunctionFlags::SQLITE_DETERMINISTIC | FunctionFlags::SQLITE_INNOCUOUS;
    connection.create_scalar_function("row_digest", -1, flags, |values| {
        Ok(digest((0..values.len()).map(|place| values.get_raw(place))).to_vec())
    })
}

/// Creates the triggers on a connection that has the function. A file that can't be written needs none.
pub(super) fn install(connection: &Connection) -> rusqlite::Result<()> {
    for (table, keys) in SEALED {
        let columns = columns(connection, table)?;
        let row = keys.iter().map(|key| format!("{key} = NEW.{key}")).collect::<Vec<_>>().join(" AND ");
        let update = format!("UPDATE {table} SET digest = {} WHERE {row};", of_row(table, "NEW.", &columns));
        for event in ["INSERT".to_owned(), format!("UPDATE OF {}", columns.join(", "))] {
            let name = format!("{table}_sealed_after_{}", &event[..6]);
            connection.execute_batch(&format!(
                "CREATE TEMP TRIGGER IF NOT EXISTS {name} AFTER {event} ON main.{table} BEGIN {update} END"
            ))?;
        }
    }
    let line = of_line("NEW.", &columns(connection, "journal")?);
    connection.execute_batch(&format!(
        "CREATE TEMP TRIGGER IF NOT EXISTS journal_chained AFTER INSERT ON main.journal
        BEGIN UPDATE journal SET digest = {line} WHERE id = NEW.id; END"
    ))
}

/// Gives every row its digest; summaries those before the horizon. A line of the journal that has one keeps it.
pub(super) fn all(store: &Connection, horizon: Option<i64>) -> rusqlite::Result<()> {
    for (table, _) in SEALED {
        let digest = of_row(table, "", &columns(store, table)?);
        store.execute(&format!("UPDATE {table} SET digest = {digest}"), [])?;
    }
    let line = of_line("", &columns(store, "journal")?);
    let mut chain = store.prepare(&format!("UPDATE journal SET digest = {line} WHERE id = ?1"))?;
    let mut open = store.prepare("SELECT id FROM journal WHERE digest IS NULL ORDER BY id")?;
    let open: Vec<i64> = open.query_map([], |row| row.get(0))?.collect::<rusqlite::Result<_>>()?;
    open.into_iter().try_for_each(|line| chain.execute([line]).map(|_| ()))?;
    horizon.map_or(Ok(()), |horizon| summaries(store, horizon))
}

/// Gives the summaries before an instant their digests. Unit: µs since 1970, UTC
pub(super) fn summaries(store: &Connection, horizon: i64) -> rusqlite::Result<()> {
    let digest = of_row("summaries", "", &columns(store, "summaries")?);
    let sql = format!("UPDATE summaries SET digest = {digest} WHERE at_us < ?1 AND digest IS NULL");
    store.execute(&sql, [horizon])?;
    Ok(())
}

/// How many rows of a sealed table do not fit their digest.
pub(super) fn unfit(store: &Connection, table: &str) -> rusqlite::Result<u64> {
    let digest = of_row(table, "", &columns(store, table)?);
    count(store, &format!("SELECT count(*) FROM {table} WHERE digest IS NOT {digest}"))
}

/// How many summaries do not fit their digest, or have none though their frames are past retention. Unit: µs since 1970,
/// UTC
pub(super) fn unfit_summaries(store: &Connection, horizon: Option<i64>) -> rusqlite::Result<u64> {
    let digest = of_row("summaries", "", &columns(store, "summaries")?);
    let horizon = horizon.unwrap_or(i64::MIN);
    count(
        store,
        &format!(
            "SELECT count(*) FROM summaries WHERE digest IS NOT {digest}
            AND (digest IS NOT NULL OR at_us < {horizon})"
        ),
    )
}

/// The first line of the journal that does not fit the line before it.
pub(super) fn first_broken_line(store: &Connection) -> rusqlite::Result<Option<i64>> {
    let line = of_line("", &columns(store, "journal")?);
    let sql = format!("SELECT id FROM journal WHERE digest IS NOT {line} ORDER BY id LIMIT 1");
    store.query_row(&sql, [], |row| row.get(0)).optional()
}

/// Number and digest of the newest line of the journal.
pub(super) fn newest_line(store: &Connection) -> rusqlite::Result<Option<(i64, String)>> {
    let sql = "SELECT id, coalesce(lower(hex(digest)), '') FROM journal ORDER BY id DESC LIMIT 1";
    store.query_row(sql, [], |row| Ok((row.get(0)?, row.get(1)?))).optional()
}

fn count(store: &Connection, sql: &str) -> rusqlite::Result<u64> {
    store.query_row(sql, [], |row| row.get::<_, i64>(0)).map(|count| count as u64)
}

/// The columns that the digest of a row covers.
fn columns(store: &Connection, table: &str) -> rusqlite::Result<Vec<String>> {
    let sql = "SELECT name FROM pragma_table_info(?1) WHERE name <> 'digest' ORDER BY cid";
    let mut statement = store.prepare(sql)?;
    statement.query_map([table], |row| row.get(0))?.collect()
}

/// The expression of the digest of a row: over the name of its table and its values.
fn of_row(table: &str, row: &str, columns: &[String]) -> String {
    format!("row_digest('{table}', {row}{})", columns.join(&format!(", {row}")))
}

/// The expression of the digest of a line of the journal: over the digest before, or `journal`, and its values.
fn of_line(row: &str, columns: &[String]) -> String {
    let id = if row.is_empty() { "journal.id".to_owned() } else { format!("{row}id") };
    format!(
        "row_digest(coalesce((SELECT line.digest FROM journal AS line WHERE line.id < {id}
            ORDER BY line.id DESC LIMIT 1), 'journal'), {row}{})",
        columns.join(&format!(", {row}"))
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::schema;

    fn store() -> Connection {
        let store = Connection::open_in_memory().expect("memory");
        schema::migrate(&store).expect("tables");
        define_digest(&store).expect("a function");
        store
    }

    #[test]
    fn every_statement_seals_its_rows() {
        let store = store();
        install(&store).expect("triggers");
        for sql in [
            "INSERT INTO devices (number, generation) VALUES (x'01', 0)",
            "UPDATE devices SET board = 'b'",
            "INSERT OR REPLACE INTO axes (device, axis, name, unit, counts_per_unit, source)
                VALUES (1, 0, 'dibble', 'mm', 1000, 's')",
            "INSERT OR REPLACE INTO axes (device, axis, name, unit, counts_per_unit, source)
                VALUES (1, 0, 'dibble', 'mm', 2000.5, 's')",
            "INSERT INTO boots (device, boot, ticks_per_second, epoch_us, epoch_from) VALUES (1, 2, 3, 4, 'x')",
            "UPDATE boots SET gone_before = 7 WHERE boot = 2",
            "INSERT OR REPLACE INTO marks (name, value) VALUES ('a', 1), ('b', 2)",
            "UPDATE marks SET value = 5",
            "INSERT INTO shifts (name, since_us, until_us) VALUES ('early', 1, 2)",
            "INSERT INTO journal (at_us, who, what, text) VALUES (1, 'a', 'b', 'c'), (2, 'a', 'b', 'd')",
            "INSERT INTO journal (at_us, who, what, text) VALUES (3, 'a', 'b', 'e')",
        ] {
            store.execute(sql, []).expect(sql);
            let unfit: u64 = SEALED.iter().map(|(table, _)| unfit(&store, table).expect("a count")).sum();
            assert_eq!((unfit, first_broken_line(&store).expect("lines")), (0, None), "{sql}");
        }
        store.execute_batch("DROP TRIGGER marks_sealed_after_UPDATE").expect("a trigger");
        store.execute("UPDATE marks SET value = 6 WHERE name = 'a'", []).expect("SQL");
        assert_eq!(unfit(&store, "marks").expect("a count"), 1);
    }

    #[test]
    fn the_first_line_that_does_not_fit_is_named() {
        for (tamper, first) in [
            ("UPDATE journal SET text = 'other' WHERE id = 3", 3),
            ("DELETE FROM journal WHERE id = 2", 3),
            ("UPDATE journal SET axis = 1 WHERE id = 5", 5),
            ("UPDATE journal SET digest = NULL WHERE id = 1", 1),
        ] {
            let store = store();
            install(&store).expect("triggers");
            for line in 0..5 {
                let sql = "INSERT INTO journal (at_us, who, what, text) VALUES (?1, 'a', 'b', 'c')";
                store.execute(sql, [line]).expect("a line");
            }
            assert!(store.execute(tamper, []).is_err(), "append-only");
            store
                .execute_batch("DROP TRIGGER journal_is_never_changed; DROP TRIGGER journal_is_never_cut")
                .expect("SQL");
            store.execute(tamper, []).expect(tamper);
            assert_eq!(first_broken_line(&store).expect("lines"), Some(first), "{tamper}");
        }
    }

    #[test]
    fn rows_of_an_older_version_get_their_digests_at_once() {
        let store = store();
        for line in 0..3 {
            let sql = "INSERT INTO journal (at_us, who, what, text) VALUES (?1, 'a', 'b', 'c')";
            store.execute(sql, [line]).expect("a line");
        }
        store.execute("INSERT INTO marks (name, value) VALUES ('a', 1)", []).expect("SQL");
        assert_eq!(first_broken_line(&store).expect("lines"), Some(1));
        all(&store, None).expect("digests");
        assert_eq!(
            (first_broken_line(&store).expect("lines"), unfit(&store, "marks").expect("a count")),
            (None, 0)
        );
        install(&store).expect("triggers");
        store
            .execute("INSERT INTO journal (at_us, who, what, text) VALUES (9, 'a', 'b', 'c')", [])
            .expect("a line");
        assert_eq!(first_broken_line(&store).expect("lines"), None);
    }
}
