//! The commands that write and read a store, through the binary.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::time::Duration;

pub(super) use super::program::{done, stillpoint};
use super::*;

/// A call that fails with an exit status, and the parts of its message.
#[track_caller]
pub(super) fn refused(arguments: &[&str], status: i32, parts: &[&str]) {
    let output = stillpoint(arguments);
    let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(status), "{stderr}");
    parts.iter().for_each(|part| assert!(stderr.contains(part), "{part:?} is not in {stderr:?}"));
}

fn sorted(text: &str) -> Vec<&str> {
    let mut lines: Vec<&str> = text.lines().collect();
    lines.sort_unstable();
    lines
}

/// The lines without their last field, which only a store has.
fn but_kinds(lines: &str) -> String {
    let cut =
        |line: &str| line.split_once(r#","kind":"#).map_or(line.to_owned(), |(line, _)| format!("{line}}}"));
    lines.lines().map(|line| cut(line) + "\n").collect()
}

/// A rest ends where the next move of the axis begins.
#[track_caller]
fn check_rests(stored: &str) {
    let moves: Vec<serde_json::Value> =
        stored.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    let figure = |of: &serde_json::Value, name: &str| of[name].as_f64().expect(name);
    let pairs = moves.windows(2).filter(|pair| pair[0]["axis"] == pair[1]["axis"]);
    let late = pairs.map(|pair| {
        figure(&pair[1], "start_s") - figure(&pair[0], "command_end_s") - figure(&pair[0], "held_s")
    });
    // A sample lies between the last at the old command and the first at another.
    let late: Vec<f64> = late.collect();
    assert!(late.len() > 100 && late.iter().all(|late| late.abs() < 3e-4), "{late:?}");
}

/// `rehearse` and the store describe a kind in the same words.
#[track_caller]
fn check_kinds(rehearse: &[&str], stored: &str) {
    let summary = String::from_utf8(stillpoint(rehearse).stderr).expect("UTF-8");
    let kinds = summary.lines().filter(|line| line.contains("(kind ")).collect::<Vec<_>>();
    assert_eq!(kinds.len(), 6, "{summary}");
    for line in kinds {
        let words = line.split_once(", ").and_then(|(_, rest)| rest.split_once(": ")).expect(line).0;
        assert!(stored.contains(&format!(r#""kind":"{words}""#)), "{line}");
    }
}

#[test]
fn a_rehearsed_shift_reads_back_line_by_line() {
    let place = Scratch::new("rehearsed");
    let store = place.text();
    let rehearse = ["rehearse", "--hours", "0.01", "--seed", "5", "--format", "jsonl", "--store", &store];
    let live = done(&rehearse);
    let moves = |more: &[&str]| done(&[&["moves", "--store", &store], more].concat());
    let stored = moves(&["--format", "jsonl"]);
    assert!(live.lines().count() > 100);
    assert_eq!(sorted(&live), sorted(&but_kinds(&stored)));
    assert!(stored.contains(r#""kind":"+60 mm at 6"#) && stored.contains("mm/s (kind 1)"), "{stored}");
    check_kinds(&rehearse, &stored);
    check_rests(&stored);
    // The same shift again is known; it is an hour's fraction that ended just now.
    assert_eq!(sorted(&done(&rehearse)), sorted(&live));
    assert_eq!(moves(&["--format", "jsonl"]), stored);
    let count =
        |more: &[&str]| moves(&[&["--format", "csv", "--no-curves"], more].concat()).lines().count() - 1;
    let all = stored.lines().count();
    assert_eq!(count(&["--since", "1h"]), all);
    assert_eq!(count(&["--until", "1h"]), 0);
    assert_eq!(count(&["--shift", "rehearsal of 0.01 h, seed 5"]), all);
    let late = count(&["--since", "18s"]);
    assert!(late > 0 && late < all, "{late}");
    let by_axis: usize = ["tray_shuttle", "dibble", "2"].iter().map(|axis| count(&["--axis", axis])).sum();
    assert_eq!(by_axis, all);
    // The machine wears out within the fraction of an hour: stops of the dibble no longer settle.
    let alarms = done(&["alarms", "--store", &store, "--format", "csv"]);
    let (head, steps) = alarms.split_once('\n').expect("a head");
    let first = "axis,alarm,at,subject,state,move,value,limit,kind,priority,category,who,unit,story,";
    assert_eq!(head.strip_prefix(first), Some("axis_number,next,drift_s,drift_last_s,drift_most_s"));
    let rows = csv::ReaderBuilder::new().has_headers(false).from_reader(steps.as_bytes()).into_records();
    let units: Vec<String> = rows.map(|row| row.expect("a row")[12].to_owned()).collect();
    assert!(units[0] == "stops in a row" && units.iter().all(|unit| !unit.is_empty()), "{steps}");
    assert!(steps.starts_with("dibble,1,") && steps.contains(",unsettled,unacknowledged,"), "{steps}");
}

/// The figures of a column by the name of the axis, rows of the same axis added up.
fn column(table: &str, wanted: impl Fn(&csv::StringRecord) -> bool, name: &str) -> BTreeMap<String, u64> {
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let header = reader.headers().expect("a head").clone();
    let place = |name: &str| header.iter().position(|one| one == name).expect(name);
    let (axis, place) = (place("axis"), place(name));
    let mut sums = BTreeMap::new();
    for row in reader.records().map(|row| row.expect("a row")).filter(wanted) {
        // A word counts as one.
        *sums.entry(row[axis].to_owned()).or_default() += row[place].parse().unwrap_or(1);
    }
    sums.retain(|_, sum| *sum > 0);
    sums
}

/// Summaries of each length count the moves of each outcome, also those that did not settle.
#[track_caller]
fn check_outcomes(moves: &str, summaries: &str) {
    for outcome in ["settled", "unsettled", "interrupted", "untrusted"] {
        let printed = column(moves, |row| row.iter().any(|cell| cell == outcome), "outcome");
        for span in ["300", "3600", "86400"] {
            assert_eq!(column(summaries, |row| &row[1] == span, outcome), printed, "{outcome}, {span} s");
        }
    }
    let unsettled = column(moves, |row| row.iter().any(|cell| cell == "unsettled"), "outcome");
    assert!(!unsettled.is_empty(), "some did not settle");
}

/// Columns that are lists say in the help what their figures are.
#[track_caller]
fn lists_have_units(store: &str) {
    for (command, lists) in [
        ("moves", &["settling_curve"][..]),
        ("trend", &["change_points", "shifts", "unsettled_intervals", "restarts"]),
    ] {
        let (table, help) =
            (done(&[command, "--store", store, "--format", "csv"]), done(&[command, "--help"]));
        let header = table.lines().next().expect("a head");
        for list in lists {
            assert!(header.split(',').any(|name| name == *list) && help.contains(list), "{list}");
        }
    }
}

/// Whatever changes a store needs a name, and its journal has it.
fn who_is_recorded(store: &str) {
    let new = Scratch::new("who-rescued");
    let new_store = new.text();
    for (work, more, what) in [
        ("retain", &["--days", "30"][..], Some("retention")),
        ("rebuild", &[], Some("rebuild")),
        ("shift", &["--since", "2026-05-04", "--until", "2026-05-05", "named"], Some("shift")),
        ("note", &["belt"], Some("note")),
        ("rescue", &[&new_store], None),
    ] {
        let work = [&["store", work, "--store", store], more].concat();
        refused(&work, 2, &["--who <NAME>"]);
        done(&[&work[..], &["--who", what.unwrap_or("rescuer")]].concat());
        let lines = |store: &str| done(&["store", "journal", "--store", store]);
        let (journal, what) = match what {
            Some(what) => (lines(store), what),
            None => (lines(&new_store), "rescue"),
        };
        let who = if what == "rescue" { "rescuer" } else { what };
        assert!(journal.contains(&format!("\"who\":\"{who}\",\"what\":\"{what}\"")), "{work:?}: {journal}");
    }
}

#[test]
fn a_store_is_looked_after() {
    let (place, table) = (Scratch::new("work"), Scratch::new("work.csv"));
    let store = place.text();
    done(&["rehearse", "--hours", "0.01", "--seed", "5", "--store", &store]);
    assert!(done(&["store", "check", "--store", &store]).contains("file: ok"));
    assert!(done(&["store", "rebuild", "--store", &store, "--who", "M. Ito"]).contains("tables rebuilt"));
    let other = ["holds the moves of another machine: rehearsal of 0.01 h, seed 5", "give another file"];
    refused(&["rehearse", "--hours", "0.01", "--seed", "6", "--store", &store], 2, &other);
    done(&["store", "note", "--store", &store, "--who", "night shift", "belt tightened"]);
    assert!(
        done(&["store", "journal", "--store", &store])
            .contains(r#""who":"night shift","what":"note","text":"belt tightened""#)
    );
    let reversed = ["--since", "2026-05-05", "--until", "2026-05-04"];
    let shift =
        [&["store", "shift", "--store", &store, "--who", "M. Ito"], &reversed[..], &["early"]].concat();
    refused(&shift, 2, &["--until", "ends before it begins", "2026-05-05"]);
    refused(&["store", "note", "--store", &store, "--who", " ", "x"], 2, &["--who", "give the name"]);
    done(&[
        "store",
        "shift",
        "--store",
        &store,
        "--who",
        "M. Ito",
        "--since",
        "2026-05-04",
        "--until",
        "2026-05-05",
        "early",
    ]);
    assert_eq!(done(&["moves", "--store", &store, "--shift", "early", "--format", "jsonl"]), "");
    done(&["store", "export", "--store", &store, &table.text()]);
    assert_eq!(
        std::fs::read_to_string(&table.0).expect("a file"),
        done(&["moves", "--store", &store, "--format", "csv"])
    );
    done(&["store", "export", "--store", &store, "--summaries", &table.text()]);
    let summaries = std::fs::read_to_string(&table.0).expect("a file");
    check_outcomes(&done(&["moves", "--store", &store, "--format", "csv"]), &summaries);
    lists_have_units(&store);
    assert!(summaries.starts_with("axis,span_s,kind,at,moves,") && summaries.contains("\ndibble,86400,-1,"));
    assert!(
        done(&["store", "retain", "--store", &store, "--days", "30", "--who", "M. Ito"])
            .starts_with("0 raw frames")
    );
    who_is_recorded(&store);

    let moves = |more: &[&'static str]| {
        [&["moves", "--store", &store], more].concat().iter().map(|word| word.to_string()).collect::<Vec<_>>()
    };
    let check = |more: &[&'static str], parts: &[&str]| {
        let arguments = moves(more);
        refused(&arguments.iter().map(String::as_str).collect::<Vec<_>>(), 2, parts);
    };
    // A time of day, as `note` and `compare` read it.
    for command in ["moves", "alarms", "trend", "shift", "explain"] {
        done(&[command, "--store", &store, "--since", "00:00"]);
    }
    check(&["--since", "yesterday"], &["--since yesterday: is no time", "30m, 2h, 3d"]);
    check(&["--axis", "spindle"], &["tray_shuttle, dibble"]);
    check(&["--shift", "late"], &["no shift has this name", "early"]);
    refused(&["alarms", "--store", &store, "--axis", "spindle"], 2, &["tray_shuttle, dibble"]);
    let none = ["--kind 99: no move in this time is of this kind", "dibble +25 mm at"];
    refused(&["trend", "--store", &store, "--kind", "99"], 2, &none);
    refused(&["rehearse", "--hours", "1e300"], 2, &["--hours", "at most 8784"]);
    wrong_values_are_named(&store);
    refused(&["moves", "--store", "not-there.store"], 1, &["not-there.store", "there is no store here"]);
    refused(&["store", "export", "--store", &store, "week.txt"], 2, &["week.txt", ".csv"]);
    refused(&["rehearse", "--store", "/not/there/s.store"], 1, &["can't be opened or made", "folder"]);
}

/// Option, value, what is wrong and what is allowed.
fn wrong_values_are_named(store: &str) {
    for rate in ["3", "30000"] {
        let parts = [&format!("--rate {rate}: does not divide the 20000 steps"), "1000, 4000 or 10000"];
        refused(&["rehearse", "--rate", rate], 2, &parts.map(|part| part as &str));
    }
    let whole = "give a whole number from ";
    for (command, option, value, allowed) in [
        (&["rehearse"][..], "--rate", "0", whole),
        (&["rehearse"], "--rate", "-4", whole),
        (&["rehearse"], "--hours", "-1", "give a plain number above 0"),
        (&["rehearse"], "--hours", "long", "give a plain number above 0"),
        (&["rehearse"], "--seed", "1.5", "from 0 to 18446744073709551615"),
        (&["trend", "--store", store], "--kind", "-1", whole),
        (&["trend", "--store", store], "--limit-ms", "0", "give a plain number above 0"),
        (&["trend", "--store", store, "--moves-per-cycle", "1"], "--cycle-s", "x", "a plain number above 0"),
        (&["store", "retain", "--store", store], "--days", "-2", "from 0 to 36500"),
        (&["device", "tcp:x", "shelve", "1"], "--minutes", "5.5", whole),
        (&["device", "tcp:x", "declare", "1"], "--kind", "x", whole),
    ] {
        refused(&[command, &[option, value]].concat(), 2, &[option, value, allowed]);
    }
    refused(&["device", "tcp:x", "settings", "300"], 2, &["AXIS", "300", "from 0 to 255"]);
}

#[test]
fn frames_of_a_file_are_stored() {
    let (place, file) = (Scratch::new("imported"), Scratch::new("raw.frames"));
    std::fs::write(&file.0, Line::new(32).run(150).concat()).expect("a file");
    let source = format!("file:{}", file.text());
    let live = done(&["watch", &source, "--store", &place.text(), "--axes", "a,b,c"]);
    let stored = done(&["moves", "--store", &place.text(), "--format", "jsonl"]);
    assert!(live.lines().count() > 60);
    assert_eq!(sorted(&live), sorted(&but_kinds(&stored)));
    let again = stillpoint(&["watch", &source, "--store", &place.text(), "--axes", "a,b,c"]);
    let counts = String::from_utf8_lossy(&again.stderr).into_owned();
    assert!(counts.contains("0 frames stored") && counts.contains("0 lost in transmission"), "{counts}");
    assert_eq!(stored, done(&["moves", "--store", &place.text(), "--format", "jsonl"]));
}

/// A monitor that goes on while nobody listens: tenths of a second for the first connection, until the next, and for it.
fn serve(parts: [usize; 3]) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("an address");
    std::thread::spawn(move || {
        let mut line = Line::new(33);
        for (part, tenths) in parts.into_iter().enumerate() {
            if part == 1 {
                line.run(tenths);
                continue;
            }
            let (mut out, _) = listener.accept().expect("a listener");
            out.set_read_timeout(Some(Duration::from_millis(2))).expect("a time-out");
            let mut heard = [0; 256];
            for _ in 0..tenths {
                if let Ok(count) = out.read(&mut heard) {
                    line.monitor.receive(&heard[..count]);
                }
                let bytes = line.run(1).concat();
                out.write_all(&bytes).expect("a listener");
            }
        }
    });
    format!("tcp:{address}")
}

#[test]
fn whoever_watches_again_gets_what_was_missed() {
    let place = Scratch::new("again");
    let source = serve([80, 60, 120]);
    let watch = ["watch", &source, "--once", "--store", &place.text()].map(str::to_owned);
    let watch = || stillpoint(&watch.iter().map(String::as_str).collect::<Vec<_>>());
    // The line ends.
    assert_eq!(watch().status.code(), Some(1));
    let first = numbers(&place.store()).len();
    assert_eq!(watch().status.code(), Some(1));
    let both = check_whole(&place.store());
    assert_eq!(place.store().check().expect("readable").missing, []);
    assert!(first > 30 && both > 3 * first / 2 + 30, "{first} {both}");
}
