//! `compare --store`: by notes and by intervals, beside the same moves out of recordings.

use std::io::{BufRead, BufReader, Write};

use super::*;

/// The rows of the rehearsed axis, one recording for each tuning.
fn recordings(folder: &Folder) -> Vec<String> {
    let file = std::fs::File::open(format!("{}/{AXIS}.csv", REHEARSED.samples)).expect("samples");
    let paths: Vec<String> = (1..=3).map(|number| folder.path(&format!("setting_{number}.csv"))).collect();
    let mut files: Vec<std::fs::File> =
        paths.iter().map(|path| std::fs::File::create(path).expect("a file")).collect();
    for line in BufReader::new(file).lines().map(|line| line.expect("text")) {
        let second: Option<f64> = line.split(',').next().and_then(|cell| cell.parse().ok());
        let place = second.map(|second| CHANGES.iter().filter(|change| second >= **change).count());
        let all = 0..files.len();
        let places = place.map_or(all, |place| place..place + 1);
        places.for_each(|place| writeln!(files[place], "{line}").expect("a line is written"));
    }
    paths
}

fn by_note(more: &[&str]) -> Value {
    let arguments =
        [&["compare", "--store", &REHEARSED.store, "--by-note", "--axis", AXIS, "--format", "json"], more]
            .concat();
    json(&done(&arguments))
}

fn pairs(found: &Value) -> &[Value] {
    found["pairs"].as_array().expect("pairs")
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// The same kinds, moves, medians, shifts, intervals and verdicts, to the tick.
#[track_caller]
fn assert_alike(one: &Value, other: &Value) {
    for field in ["kind", "n_before", "n_after", "unsettled_before", "unsettled_after", "verdict"] {
        assert_eq!(one[field], other[field], "{field}: {one} {other}");
    }
    for field in ["median_before_s", "median_after_s", "shift_s"] {
        assert!((number(&one[field]) - number(&other[field])).abs() < 2e-7, "{field}: {one} {other}");
    }
    for end in 0..2 {
        let [a, b] = [one, other].map(|pair| number(&pair["shift_95_s"][end]));
        assert!((a - b).abs() < 2e-7, "{one} {other}");
    }
}

#[test]
fn a_ladder_by_notes_is_the_comparison_of_the_recordings() {
    let folder = Folder::new("alike");
    let recordings = recordings(&folder);
    let scale = ["--window", "0.02", "--counts-per-unit", "131072/10", "--unit", "mm", "--format", "json"];
    let files: Vec<&str> = recordings.iter().map(String::as_str).collect();
    let recorded = json(&done(&[&["compare"], files.as_slice(), &scale].concat()));
    let stored = by_note(&[]);
    let (recorded, stored) = (pairs(&recorded), pairs(&stored));
    // 1 and 2, 1 and 3, 2 and 3, two kinds each: here 2 is the best before 3, so that these are all pairs.
    assert_eq!((recorded.len(), stored.len()), (6, 6));
    let mut compared = 0;
    for one in stored {
        let names =
            [&one["before"], &one["after"]].map(|name| name.as_str().expect("a name").replace(' ', "_"));
        let is_it = |other: &&Value| {
            other["before"] == names[0].as_str()
                && other["after"] == names[1].as_str()
                && other["kind"] == one["kind"]
        };
        let other = recorded.iter().find(is_it).unwrap_or_else(|| panic!("{one}: {recorded:?}"));
        assert_alike(one, other);
        assert_eq!(one["verdict"], "faster");
        compared += 1;
    }
    assert_eq!(compared, 6);
}

#[test]
fn the_ladder_says_what_was_changed_and_which_setting_is_best() {
    let found = by_note(&[]);
    let notes: Vec<&str> = found["groups"]
        .as_array()
        .expect("groups")
        .iter()
        .map(|group| group["note"].as_str().unwrap_or("none"))
        .collect();
    assert_eq!(notes, ["none", "position gain 40 → 60 1/s", "velocity feedforward 80 → 100 %"]);
    let best = found["best"].as_array().expect("best");
    assert_eq!(best.len(), 2, "of each kind: {best:?}");
    for line in best {
        assert_eq!((&line["first"], &line["best"]), (&"setting 1".into(), &"setting 3".into()));
        assert_eq!(line["comparisons"], 3);
        assert!((number(&line["confidence"]) - (1.0 - 0.05 / 3.0)).abs() < 1e-12);
    }
    let arguments = ["compare", "--store", &REHEARSED.store, "--by-note", "--axis", AXIS];
    let output = stillpoint(&arguments);
    let words = text(&output.stdout);
    assert!(words.contains("setting 3 is the best, faster than setting 1\n  (98.33 % sure: "), "{words}");
    assert!(words.contains("6 comparisons, each 95 % sure by itself"), "{words}");
    assert!(words.lines().all(|line| line.chars().count() <= 80), "{words}");
    // On a page it is a table: a row for each setting with what was changed, the best one bold.
    let page = std::env::temp_dir().join(format!("stillpoint-ladder-{}.html", std::process::id()));
    let report = page.display().to_string();
    assert!(stillpoint(&[&arguments[..], &["--report", &report]].concat()).status.success());
    let html = std::fs::read_to_string(&page).expect("a page").replace('\u{a0}', " ");
    std::fs::remove_file(&page).ok();
    assert_eq!(
        html.matches("<td class=\"word\">velocity feedforward 80 → 100 %</td>").count(),
        2,
        "of each kind: {html}"
    );
    assert!(html.contains("against the best before it, ms") && html.contains("2: faster "), "{html}");
    for text in [&html, &words.to_string()] {
        assert!(text.contains("Invented data: they come from a rehearsal"), "{text}");
    }
    // Times at which one change is made, so that the other is none.
    let later = by_note(&["--since", &at(CHANGES[0] + 0.05)]);
    assert_eq!(later["groups"].as_array().map(Vec::len), Some(2), "{later}");
}

/// A time of the rehearsal. Input unit: s; RFC 3339
fn at(second: f64) -> String {
    let store = rusqlite::Connection::open(&REHEARSED.store).expect("a store");
    let begun: i64 = store.query_row("SELECT epoch_us FROM boots", [], |row| row.get(0)).expect("a start");
    stillpoint::store::time::text(begun + (second * 1e6) as i64)
}

#[test]
fn intervals_of_the_same_times_give_the_same() {
    let [one, other, third] = [(0.0, CHANGES[0]), (CHANGES[0], CHANGES[1]), (CHANGES[1], END + 1.0)]
        .map(|(since, until)| format!("{}..{}", at(since), at(until)));
    let third = format!("full feedforward={third}");
    let store = REHEARSED.store.as_str();
    let arguments = ["compare", "--store", store, "--axis", AXIS, &one, &other, &third, "--format", "json"];
    let found = json(&done(&[&arguments[..], &["--note", "a", "--note", "b"]].concat()));
    let names: Vec<&Value> =
        found["groups"].as_array().expect("groups").iter().map(|group| &group["name"]).collect();
    assert_eq!(names, [one.as_str(), other.as_str(), "full feedforward"]);
    assert_eq!((&found["groups"][2]["note"], &found["groups"][0]["files"][0]), (&"b".into(), &store.into()));
    let stored = by_note(&[]);
    // Pairs of a ladder stand by their later setting, those of a comparison by the earlier one.
    for (at, place) in [(0, 0), (1, 1), (2, 2), (3, 3), (4, 4), (5, 5)] {
        assert_alike(&pairs(&found)[at], &pairs(&stored)[place]);
    }
    fails(&["compare", "--store", store, "--axis", AXIS, &one, &one], 2, &["overlaps"]);
    fails(&["compare", "--store", store, "--axis", AXIS, &one, "x"], 2, &["no interval of time", "A..B"]);
    let never = ["2020-01-01..2020-01-02", "2020-01-03..2020-01-04"];
    fails(
        &["compare", "--store", store, "--axis", AXIS, never[0], never[1]],
        1,
        &["no move", "its moves are from"],
    );
}

#[test]
fn notes_without_moves_between_them_are_one_and_one_after_all_moves_waits() {
    let folder = Folder::new("none-between");
    let store = folder.copy(&REHEARSED);
    for (second, words) in [(CHANGES[1] + 0.001, "second lever"), (END + 5.0, "last lever")] {
        // The shift has ended now, or some seconds ago; a note in the future is refused.
        let at = if second > END { "0s".to_owned() } else { at(second) };
        done(&["note", "--store", &store, words, "--axis", AXIS, "--at", &at, "--who", "M. Ito"]);
    }
    let found = json(&done(&["compare", "--store", &store, "--by-note", "--axis", AXIS, "--format", "json"]));
    let groups = found["groups"].as_array().expect("groups");
    assert_eq!(groups.len(), 4, "{groups:?}");
    assert_eq!(groups[2]["note"], "velocity feedforward 80 → 100 %; second lever");
    assert_eq!((&groups[3]["note"], &groups[3]["moves"]), (&"last lever".into(), &0.into()));
    let words = done(&["compare", "--store", &store, "--by-note", "--axis", AXIS]);
    assert!(words.contains("no such moves"), "{words}");
}

#[test]
fn what_can_not_be_compared_is_refused_in_words() {
    let store = REHEARSED.store.as_str();
    let of = |more: &[&'static str]| [&["compare", "--store", store], more].concat();
    fails(&of(&["--by-note"]), 2, &["--axis not given", "tray_shuttle, dibble, gripper_turntable"]);
    fails(&of(&["--by-note", "--axis", "tray_shuttle"]), 2, &["no note lies between", "stillpoint note"]);
    fails(&of(&["--by-note", "--axis", "x"]), 2, &["it has: tray_shuttle"]);
    fails(&of(&["--by-note", "--axis", AXIS, "--window", "1"]), 2, &["--window"]);
    fails(&of(&["--by-note", "--axis", AXIS, "--definition", "iso-9283"]), 2, &["--definition"]);
    fails(&of(&["--by-note", "--axis", AXIS, "--note", "x"]), 2, &["--note"]);
    fails(
        &of(&["--by-note", "--axis", AXIS, "--since", "1s", "--until", "1h"]),
        2,
        &["ends before it begins"],
    );
}
