//! In: rehearsals in a store, read by `stillpoint shift`. Out: whether its text, its JSON and its page agree with the store.

#[path = "../program/mod.rs"]
mod program;

use std::path::PathBuf;

use program::{done, stillpoint};
use serde_json::Value;

/// A folder for one test; goes when the test is over.
struct Folder(PathBuf);

impl Folder {
    fn new(test: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("stillpoint-shift-{}-{test}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder for the test");
        Folder(path)
    }

    fn path(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        std::fs::remove_dir_all(&self.0).ok();
    }
}

fn json(arguments: &[&str]) -> Value {
    let text = done(&[&["shift", "--format", "json"], arguments].concat());
    serde_json::from_str(&text).expect("one JSON object")
}

fn lines(command: &str, store: &str) -> Vec<Value> {
    let text = done(&[command, "--store", store, "--format", "jsonl"]);
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

/// Nine minutes in which all axes wear.
#[test]
fn a_shift_says_what_the_store_holds() {
    let folder = Folder::new("worn");
    let store = folder.path("shift.store");
    done(&["rehearse", "--hours", "0.15", "--seed", "7", "--store", &store]);
    let shift = json(&["--store", &store]);
    let (alarms, kinds) = (lines("alarms", &store), lines("trend", &store));
    assert!(!alarms.is_empty() && kinds.len() == 6, "{alarms:?}");
    assert_eq!(shift["alarms"].as_array(), Some(&alarms));
    let axes = shift["axes"].as_array().expect("axes");
    assert_eq!(axes.len(), 3);
    for axis in axes {
        let worst = kinds.iter().find(|kind| kind["kind"] == axis["kind"] && kind["axis"] == axis["axis"]);
        let worst = worst.expect("its worst kind is one of its kinds");
        assert_eq!(axis["now_s"], worst["last_s"]);
        let drifts = kinds.iter().any(|kind| kind["axis"] == axis["axis"] && kind["drifts_up"] == true);
        assert!(axis["state"] != "steady" || !drifts, "{axis}");
        let of_axis = done(&[
            "moves",
            "--store",
            &store,
            "--no-curves",
            "--format",
            "csv",
            "--axis",
            axis["axis"].as_str().unwrap_or_default(),
        ]);
        assert_eq!(axis["moves"].as_u64(), Some(of_axis.lines().count() as u64 - 1), "every move is counted");
    }
    // The stop that an alarm names is the one that is shown.
    for (alarm, stop) in alarms.iter().zip(shift["evidence"].as_array().expect("stops")) {
        assert!(
            alarm["state"] != "unacknowledged" || alarm["move"] == 0 || stop["move"] == alarm["move"],
            "{alarm} {stop}"
        );
    }
    assert_eq!(shift["settings"][0]["window_time_s"], 0.01);
    assert_eq!(shift["holes"].as_array().map(Vec::len), Some(0));
    limits(&store);
    pages(&folder, &store, alarms.len());
}

/// A limit below what an axis settles in makes it late.
fn limits(store: &str) {
    let strict = json(&["--store", store, "--limit-ms", "0.5"]);
    let states: Vec<&str> =
        strict["axes"].as_array().expect("axes").iter().filter_map(|axis| axis["state"].as_str()).collect();
    assert!(states.iter().all(|state| ["late", "not-settling"].contains(state)), "{states:?}");
    let text = done(&["shift", "--store", store, "--limit-ms", "0.5"]);
    let first = text.lines().next().expect("an answer");
    assert!(first.contains("limit 0.5 ms; 2 more axes need action"), "{first}");
    let table =
        text.lines().take_while(|line| !line.is_empty()).filter(|line| !line.starts_with('*')).skip(1);
    assert!(table.clone().count() > 4 && table.clone().all(|line| line.chars().count() <= 80), "{text}");
    assert!(!text.contains('\u{a0}') && text.contains("What was not seen"));
}

fn pages(folder: &Folder, store: &str, alarms: usize) {
    let [html, pdf] = ["shift.html", "shift.pdf"].map(|name| folder.path(name));
    for page in [&html, &pdf] {
        done(&["shift", "--store", store, "--report", page]);
    }
    let html = std::fs::read_to_string(html).expect("a page").replace('\u{a0}', " ");
    assert!(std::fs::read(pdf).expect("a page").starts_with(b"%PDF-1.7"));
    for part in
        ["Settling now, against normal", "raised by move", "Handed over by, date", "Settings in force"]
    {
        assert!(html.contains(part), "{part:?} is not on the page");
    }
    assert_eq!(html.matches(">unacknowledged</td>").count(), alarms);
}

#[test]
fn a_time_without_moves_is_no_steady_axis() {
    let folder = Folder::new("empty");
    let store = folder.path("shift.store");
    done(&["rehearse", "--hours", "0.02", "--healthy", "--store", &store]);
    let before = ["--store", &store, "--since", "3d", "--until", "2d"];
    let shift = json(&before);
    let states: Vec<&Value> =
        shift["axes"].as_array().expect("axes").iter().map(|axis| &axis["state"]).collect();
    assert_eq!(states, ["no-moves"; 3]);
    let holes = shift["holes"].as_array().expect("holes");
    assert_eq!(holes.len(), 3, "a day without a move for each axis: {holes:?}");
    let whole_day =
        |hole: &Value| hole["length_s"].as_i64().is_some_and(|length| (86_100..=86_400).contains(&length));
    assert!(holes.iter().all(whole_day), "{holes:?}");
    let text = done(&[&["shift"], &before[..]].concat());
    assert!(
        text.starts_with("Nothing needs action, but not every axis can be judged\n3 axes: 3 no moves."),
        "{text}"
    );
    let one = json(&["--store", &store, "--axis", "dibble"]);
    assert_eq!(one["axes"].as_array().map(Vec::len), Some(1));
    let refused = |arguments: &[&str], status: i32, part: &str| {
        let output = stillpoint(&[&["shift", "--store", &store], arguments].concat());
        let message = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(
            output.status.code() == Some(status) && message.contains(part) && output.stdout.is_empty(),
            "{message}"
        );
    };
    refused(&["--report", "shift.svg"], 2, "must end in .html or .pdf");
    refused(&["--axis", "none"], 2, "it has: ");
    refused(&["--report", &folder.path("none/shift.pdf")], 1, "shift.pdf: can't be written");
}
