//! `note`: what it writes, lists, withdraws and refuses, and what notes survive.

use super::*;

fn list(store: &str) -> String {
    text(&in_zone("UTC", &["note", "--store", store, "--list"]).stdout)
}

fn journal(store: &str) -> Vec<Value> {
    let lines = done(&["store", "journal", "--store", store]);
    lines.lines().map(json).filter(|line| line["what"] == "change").collect()
}

#[test]
fn a_note_is_a_line_of_the_journal_that_survives_whatever_is_done_to_the_store() {
    let folder = Folder::new("survives");
    let store = folder.copy(&REHEARSED);
    let csv = folder.write("changes.csv", "name,old,new,unit\nposition gain,40,60,1/s\nbelt,42,68,Hz\n");
    done(&["note", "--store", &store, "by hand", "--csv", &csv, "--axis", "dibble", "--who", "M. Ito"]);
    let notes = list(&store);
    assert!(notes.contains("by hand; position gain 40 → 60 1/s; belt 42 → 68 Hz"), "{notes}");
    assert!(notes.contains("dibble") && notes.contains("M. Ito") && notes.contains("rehearsal"), "{notes}");
    assert!(notes.lines().all(|line| line.chars().count() <= 80), "{notes}");
    let lines = journal(&store);
    assert_eq!(lines.len(), 3, "two of the rehearsal: {lines:?}");
    assert_eq!((&lines[2]["who"], &lines[2]["axis"]), (&"M. Ito".into(), &1.into()));
    assert!(done(&["store", "rebuild", "--store", &store, "--who", "M. Ito"]).contains("tables rebuilt"));
    assert!(done(&["store", "check", "--store", &store]).contains("file: ok"));
    let rescued = folder.path("rescued.store");
    done(&["store", "rescue", "--store", &store, &rescued, "--who", "M. Ito"]);
    assert_eq!((list(&store), list(&rescued)), (notes.clone(), notes));
}

#[test]
fn a_withdrawn_note_parts_nothing_and_the_journal_has_both() {
    let folder = Folder::new("withdrawn");
    let store = folder.copy(&REHEARSED);
    let groups = |store: &str| {
        let found =
            json(&done(&["compare", "--store", store, "--by-note", "--axis", AXIS, "--format", "json"]));
        found["groups"].as_array().expect("groups").len()
    };
    assert_eq!(groups(&store), 3);
    let notes = list(&store);
    let number = notes.lines().nth(1).and_then(|line| line.split_whitespace().next()).expect("a number");
    assert!(
        done(&["note", "--store", &store, "--withdraw", number, "--who", "M. Ito"]).contains("is withdrawn")
    );
    assert_eq!(groups(&store), 2);
    let lines = journal(&store);
    assert_eq!(lines[2]["text"], format!("note {number} is withdrawn"));
    fails(
        &["note", "--store", &store, "--withdraw", number, "--who", "M. Ito"],
        2,
        &["has no such note", "it has: "],
    );
}

#[test]
fn what_can_not_be_noted_is_refused_in_words() {
    let store = REHEARSED.store.as_str();
    let note = |more: &[&'static str]| [&["note", "--store", store, "--who", "M. Ito"], more].concat();
    fails(&["note", "--store", store, "x"], 2, &["--who <NAME>"]);
    let names = "it has: tray_shuttle, dibble, gripper_turntable";
    fails(&note(&["x", "--axis", "spindle"]), 2, &["--axis spindle", "no moves of such an axis", names]);
    fails(&note(&["x", "--at", "2100-01-01"]), 2, &["lies in the future", "when it is made"]);
    fails(&note(&["x", "--at", "25:00"]), 2, &["is no time", "14:00"]);
    fails(&note(&[" \n"]), 2, &["says nothing", "position gain"]);
    fails(&note(&[]), 2, &["TEXT"]);
    fails(&note(&["x", "--csv", "none.csv"]), 1, &["none.csv", "can't be read"]);
    fails(&["note", "--store", "none.store", "x", "--who", "M. Ito"], 1, &["none.store", "no store here"]);
}

#[test]
fn times_are_those_of_the_zone_and_texts_are_safe_to_show() {
    let folder = Folder::new("zones");
    let store = folder.copy(&REHEARSED);
    let noted = |zone: &str, at: &str, words: &str| {
        let output = in_zone(zone, &["note", "--store", &store, words, "--at", at, "--who", "M. Ito"]);
        assert!(output.status.success(), "{}", text(&output.stderr));
        text(&output.stdout)
    };
    // The same instant, three hours and three quarters apart on the clock.
    let one = noted("Asia/Kathmandu", "2026-05-04 12:45", "a\x1b[2Jb\u{202E}c\nd");
    let other = noted("UTC", "2026-05-04T07:00", "next");
    assert!(one.contains("2026-05-04 12:45:00 (Asia/Kathmandu): a\u{FFFD}[2Jb\u{FFFD}c d"), "{one:?}");
    assert!(other.contains("2026-05-04 07:00:00"), "{other}");
    let notes = list(&store);
    assert_eq!(notes.matches("2026-05-04 07:00:00").count(), 2, "{notes}");
    assert!(!notes.contains('\x1b') && notes.contains("a\u{FFFD}[2Jb"), "{notes:?}");
    // A time of day is the last one, so it never lies in the future.
    let (zone, at) = ("Pacific/Auckland", "23:59");
    assert!(noted(zone, at, "late").contains("23:59:00 (Pacific/Auckland)"));
}
