//! Files that anyone may have made are opened with care, and a file that is gone is noticed.

use std::fs;

use rusqlite::Connection;

use super::commands::refused;
use super::*;

/// A store with some moves and a note.
fn filled(name: &str) -> Scratch {
    let place = Scratch::new(name);
    let mut log = place.log(&Options::default());
    push(&mut log, &Line::new(60).run(40), BEGIN);
    let (store, _) = log.finish().expect("room");
    store.add_note("M. Ito", "note", "belt tightened").expect("a line");
    place
}

#[test]
#[cfg(unix)]
fn a_new_store_is_its_users_alone() {
    use std::os::unix::fs::PermissionsExt;
    let place = Scratch::new("private");
    let mut log = place.log(&Options::default());
    push(&mut log, &Line::new(60).run(10), BEGIN);
    log.commit();
    for ending in ["", "-wal", "-shm"] {
        let file = fs::metadata(format!("{}{ending}", place.text())).expect("it is there");
        assert_eq!(file.permissions().mode() & 0o777, 0o600, "{ending}");
    }
}

#[test]
fn what_is_not_ours_is_refused_before_it_runs() {
    for (sql, wrong) in [
        (
            "CREATE TRIGGER extra AFTER INSERT ON frames BEGIN DELETE FROM moves; END",
            "the trigger extra is none of",
        ),
        ("CREATE VIEW extra AS SELECT * FROM moves", "the view extra is none of"),
        (
            "DROP VIEW moves_readable; CREATE VIEW moves_readable AS SELECT 1 AS move",
            "the view moves_readable is another",
        ),
        ("ALTER TABLE axes ADD COLUMN other TEXT", "the table axes is another"),
        ("ALTER TABLE moves RENAME COLUMN body TO bytes", "the table moves is another"),
        ("DROP TABLE settings", "the table settings is missing"),
    ] {
        let place = filled("crafted");
        Connection::open(&place.0).expect("a file").execute_batch(sql).expect(sql);
        let before = fs::read(&place.0).expect("a file");
        let error = Store::open(&place.0, &Options::default()).expect_err(sql).to_string();
        assert!(error.contains(wrong) && error.contains("store rescue --store PATH NEW"), "{error}");
        let error = Log::open(&place.0, &Options::default(), None, vec![]).expect_err(sql).to_string();
        assert!(error.contains(wrong), "{error}");
        assert_eq!(fs::read(&place.0).expect("a file"), before, "left as it was");
    }
}

#[test]
fn tables_and_indexes_of_others_do_no_harm_and_a_missing_trigger_is_found() {
    let place = filled("others");
    let file = Connection::open(&place.0).expect("a file");
    file.execute_batch("CREATE TABLE recipes (name TEXT); CREATE INDEX by_kind ON moves (kind)")
        .expect("SQL");
    assert!(place.store().check().expect("readable").is_sound());
    file.execute_batch("DROP TRIGGER journal_is_never_cut").expect("SQL");
    let wrong = place.store().check().expect("readable").wrong;
    assert_eq!(wrong, ["the schema: the trigger journal_is_never_cut is missing"]);
}

#[test]
fn a_value_that_is_too_long_is_refused_in_words() {
    let place = filled("long-value");
    let file = Connection::open(&place.0).expect("a file");
    let sql = "INSERT INTO journal (at_us, who, what, text)
        VALUES (1, 'a', 'b', CAST(zeroblob(17000000) AS TEXT))";
    file.execute(sql, []).expect("SQL");
    drop(file);
    let error = place.store().journal(i64::MIN, i64::MAX).expect_err("too long").to_string();
    assert!(error.contains("holds a value longer than any"), "{error}");
}

#[test]
fn the_first_line_of_the_journal_that_was_changed_is_named() {
    let place = filled("tampered");
    let file = Connection::open(&place.0).expect("a file");
    let trigger: String = file
        .query_row("SELECT sql FROM sqlite_schema WHERE name = 'journal_is_never_changed'", [], |row| {
            row.get(0)
        })
        .expect("a trigger");
    let tamper = format!(
        "DROP TRIGGER journal_is_never_changed;
        UPDATE journal SET who = 'nobody' WHERE id = 2;
        {trigger}"
    );
    file.execute_batch(&tamper).expect("SQL");
    let found = place.store().check().expect("readable");
    assert!(found.wrong.len() == 1 && found.wrong[0].contains("line 2 does not fit"), "{found:?}");
    let store = place.text();
    refused(&["store", "check", "--store", &store], 1, &["the store is damaged"]);
}

/// The number and the digest of the newest line, which one may note elsewhere, are those of the file.
#[test]
fn the_newest_digest_is_printed() {
    let place = filled("digest");
    let newest: (i64, String) = Connection::open(&place.0)
        .expect("a file")
        .query_row("SELECT id, lower(hex(digest)) FROM journal ORDER BY id DESC LIMIT 1", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .expect("a line");
    assert_eq!(newest.1.len(), 64);
    let output = super::commands::stillpoint(&["store", "journal", "--store", &place.text()]);
    let stderr = String::from_utf8(output.stderr).expect("UTF-8");
    assert_eq!(stderr, format!("line {} is the newest, digest {}\n", newest.0, newest.1));
    let report = super::commands::done(&["store", "check", "--store", &place.text()]);
    assert!(report.contains(&format!("journal: {} lines, digest {}", newest.0, newest.1)), "{report}");
}

#[test]
#[cfg(unix)]
fn a_file_that_is_gone_is_noticed_at_the_next_commit() {
    for replaced in [false, true] {
        let place = Scratch::new("gone");
        let mut log = place.log(&Options::default());
        let mut line = Line::new(61);
        let now = push(&mut log, &line.run(20), BEGIN);
        assert!(log.commit());
        log.check_place().expect("it is there");
        place.clear();
        if replaced {
            fs::write(&place.0, "another").expect("room");
        }
        push(&mut log, &line.run(20), now);
        assert!(!log.commit() && log.stats().waiting > 0);
        let error = log.check_place().expect_err("it is gone").to_string();
        assert!(error.contains("was deleted or replaced while it was written"), "{error}");
        let error = log.finish().expect_err("it is gone").to_string();
        assert!(
            error.contains("frames could not be stored") && error.contains("watch the monitor again"),
            "{error}"
        );
    }
}

/// The command ends with a failure, and a second one gets into a new file what the monitor has still.
#[test]
#[cfg(unix)]
fn a_watch_whose_store_is_deleted_ends() {
    use std::io::{BufRead, BufReader, Read, Write};
    let place = Scratch::new("gone-watch");
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = format!("tcp:{}", listener.local_addr().expect("an address"));
    let mut watch = std::process::Command::new(env!("CARGO_BIN_EXE_stillpoint"))
        .args(["watch", &address, "--store", &place.text()])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("it starts");
    let (mut line, (mut stream, _)) = (Line::new(62), listener.accept().expect("a watch"));
    let mut moves = BufReader::new(watch.stdout.take().expect("a pipe")).lines();
    stream.write_all(&line.run(40).concat()).expect("a listener");
    moves.next().expect("a move").expect("a line");
    // The pipe never fills.
    let rest = std::thread::spawn(|| moves.count());
    place.clear();
    // It may be gone before all is sent.
    stream.write_all(&line.run(40).concat()).ok();
    drop(stream);
    let mut stderr = String::new();
    watch.stderr.take().expect("a pipe").read_to_string(&mut stderr).expect("UTF-8");
    assert_eq!(watch.wait().expect("it ended").code(), Some(1), "{stderr}");
    assert!(stderr.contains("was deleted or replaced while it was written"), "{stderr}");
    assert!(!place.0.exists(), "nothing was written in its place");
    rest.join().expect("it read on");
}

/// As a user who may not write there, which root always may.
#[cfg(unix)]
fn as_reader(folder: &Path, arguments: &[&str]) -> std::process::Output {
    use std::os::unix::fs::MetadataExt;
    use std::os::unix::process::CommandExt;
    let program = folder.join("program");
    fs::copy(env!("CARGO_BIN_EXE_stillpoint"), &program).expect("room");
    let mut command = std::process::Command::new(&program);
    command.args(arguments);
    if fs::metadata(&program).expect("it is there").uid() == 0 {
        command.uid(65_534);
    }
    command.output().expect("it runs")
}

#[test]
#[cfg(unix)]
fn a_store_on_a_medium_that_cannot_be_written_is_read() {
    use std::os::unix::fs::PermissionsExt;
    let folder = Scratch::new("read only?.d");
    fs::create_dir_all(&folder.0).expect("a folder");
    let (inside, place) = (folder.0.join("a%20 #store"), filled("read-only"));
    fs::copy(&place.0, &inside).expect("room");
    let mode = |path: &Path, mode| fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("ours");
    mode(&inside, 0o444);
    let name = inside.display().to_string();
    let program = Scratch::new("program.d");
    fs::create_dir_all(&program.0).expect("a folder");
    mode(&program.0, 0o755);
    mode(&folder.0, 0o555);
    let moves = as_reader(&program.0, &["moves", "--store", &name]);
    let stderr = String::from_utf8_lossy(&moves.stderr).into_owned();
    assert!(moves.status.success() && !moves.stdout.is_empty(), "{stderr}");
    let check = as_reader(&program.0, &["store", "check", "--store", &name]);
    assert!(check.status.success(), "{}", String::from_utf8_lossy(&check.stderr));
    // Rows that only the log beside it has can't be read there.
    mode(&folder.0, 0o755);
    fs::write(format!("{name}-wal"), [1; 100]).expect("room");
    mode(&folder.0, 0o555);
    let moves = as_reader(&program.0, &["moves", "--store", &name]);
    let stderr = String::from_utf8_lossy(&moves.stderr).into_owned();
    assert!(!moves.status.success() && stderr.contains("copy both to where you may write"), "{stderr}");
    mode(&folder.0, 0o755);
    fs::remove_dir_all(&folder.0).expect("ours");
    fs::remove_dir_all(&program.0).expect("ours");
}
