//! In: recordings and a store, given to the built `stillpoint explain`. Out: whether it says what it should.

#[path = "../compare/made.rs"]
mod made;
#[path = "../program/mod.rs"]
mod program;

use std::path::{Path, PathBuf};

use made::{Tail, recording};
use program::{done, stillpoint};
use serde_json::Value;

/// A folder for one test; goes when the test is over.
struct Folder(PathBuf);

impl Folder {
    fn new(test: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("stillpoint-explain-{}-{test}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder for the test");
        Folder(path)
    }

    fn file(&self, name: &str) -> String {
        self.0.join(name).to_str().expect("UTF-8").to_owned()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        std::fs::remove_dir_all(&self.0).ok();
    }
}

/// A recording of a real machine.
fn real(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/recordings").join(name);
    path.to_str().expect("UTF-8").to_owned()
}

fn json(arguments: &[&str]) -> Value {
    let arguments = [&["explain"], arguments, &["--format", "json"]].concat();
    serde_json::from_str(&done(&arguments)).expect("one JSON object")
}

/// Words in one line.
fn words(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[track_caller]
fn check(arguments: &[&str], expected: &[&str]) {
    let text = done(&[&["explain"], arguments].concat());
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    for part in expected {
        assert!(words(&text).contains(part), "no {part:?} in\n{text}");
    }
    assert!(words(&text).contains("Caution: Stillpoint only listens and is no safety function."), "{text}");
}

/// Of one stop the evidence is stated, but no lever. Causes of these stops are not known: these are the words that were
/// found plausible when the stops were looked at.
#[test]
fn real_recordings_say_what_was_found_plausible() {
    check(
        &[&real("geared-motor/07_r04__0p0800_0p0400_0p0001_2000_2.csv"), "--window", "5"],
        &[
            "+4000 unit at 3109 unit/s (kind 1): too few moves",
            "6 moves alike would show which signature prevails",
            "1 ringing stop: feedback swings at 21.6 Hz, turns 6 times before it stays inside",
        ],
    );
    check(
        &[&real("geared-motor/07_r01__0p0020_0p0060_0p0000_2000_2.csv"), "--window", "5"],
        &["1 offset stop: feedback stands 20 unit, 4 × the window, beyond the target"],
    );
    check(
        &[&real("step-drive/pid_step.csv"), "--window", "3"],
        &[
            "too small: it is below two encoder steps of 3.51 unit",
            "six moves at rest in each direction are needed",
        ],
    );
    let text = done(&["explain", &real("step-drive/pid_step.csv"), "--window", "6"]);
    assert!(!text.contains("Lever"), "four moves of a kind are too few for a lever: {text}");
}

/// Tails that stop short in both directions, long enough to creep.
#[test]
fn made_stops_are_explained() {
    let folder = Folder::new("made");
    let file = folder.file("axis.csv");
    let part = |at: usize| (at * 37 % 101) as f64 / 101.0;
    let tail = |at| Tail { height: 0.4 + 0.1 * part(at), constant: 0.02, offset: 0.06 };
    std::fs::write(&file, recording(&(0..40).map(tail).collect::<Vec<Tail>>(), 10.0)).expect("a recording");
    let found = json(&[&file, "--window", "0.05"]);
    let axis = &found["axes"][0];
    let kind = &axis["kinds"][0];
    assert_eq!((&kind["moves"], &kind["unsettled"]), (&20.into(), &20.into()), "{kind}");
    assert_eq!((&kind["prevails"], &kind["median_settling_s"]), (&"offset".into(), &Value::Null), "{kind}");
    // To and fro between two positions: no cause can be told from another.
    let offset = &axis["offset"];
    assert_eq!((&offset["constant"], &offset["by_direction"]), (&Value::Null, &Value::Null), "{offset}");
    assert!(kind["frequency"].is_null() && kind["frequency_refused"] != "", "{kind}");
    check(&[&file, "--window", "0.05"], &["offset prevails", "a scale error look alike in these moves"]);
}

/// What the monitor stored and what its samples give again have the same words.
#[test]
fn a_store_and_its_samples_say_the_same() {
    let folder = Folder::new("store");
    let (store, samples) = (folder.file("s.store"), folder.file("samples"));
    done(&["rehearse", "--hours", "0.03", "--seed", "7", "--store", &store, "--save-samples", &samples]);
    for (axis, unit, counts, window) in
        [("dibble", "mm", "65536/5", "0.02"), ("tray_shuttle", "mm", "1310720/75", "0.05")]
    {
        let stored = done(&["explain", "--store", &store, "--axis", axis]);
        let file = format!("{samples}/{axis}.csv");
        let scale = ["--counts-per-unit", counts, "--unit", unit];
        let measured = done(&[&["explain", &file, "--window", window], &scale[..]].concat());
        let caution = "Caution: Invented data: they come from a rehearsal; no machine was measured.\n";
        assert_eq!(stored.strip_suffix(caution), Some(measured.as_str()), "{stored}");
        assert!(stored.contains("Evidence"), "{stored}");
    }
}

/// Two changes of the dibble: what it did before them says nothing of what it does now.
#[test]
fn a_store_is_explained_from_the_last_note_on() {
    let folder = Folder::new("notes");
    let (tune, store) = (folder.file("tune.csv"), folder.file("s.store"));
    let changes = "minute,axis,lever,value\n0,dibble,position gain,40\n0.3,dibble,position gain,60\n\
        0.5,dibble,velocity feedforward,100\n";
    std::fs::write(&tune, changes).expect("a file");
    done(&["rehearse", "--hours", "0.012", "--tune", &tune, "--store", &store]);
    let of = |axis: &str, more: &[&str]| {
        let found = json(&[&["--store", &store, "--axis", axis], more].concat());
        let kinds = found["axes"][0]["kinds"].as_array().expect("kinds");
        let moves: u64 = kinds.iter().filter_map(|kind| kind["moves"].as_u64()).sum();
        (found["axes"][0]["note"].clone(), moves + found["axes"][0]["omitted"].as_u64().expect("a number"))
    };
    let count = |axis: &str| {
        done(&["moves", "--store", &store, "--axis", axis, "--format", "jsonl"]).lines().count() as u64
    };
    let (note, moves) = of("dibble", &[]);
    assert!(note["text"].as_str().is_some_and(|text| text.starts_with("velocity feedforward")), "{note}");
    assert_eq!(note["left_out"].as_u64().expect("a number") + moves, count("dibble"));
    assert!(note["left_out"].as_u64() > Some(2 * moves), "30 s of 43 s lie before: {note}");
    let since = note["since"].as_str().expect("a time").to_owned();
    let (before, _) = of("dibble", &["--until", &since]);
    assert!(before["text"].as_str().is_some_and(|text| text.starts_with("position gain")), "{before}");
    assert_eq!(of("tray_shuttle", &[]), (Value::Null, count("tray_shuttle")), "another axis was not changed");
    let text = words(&done(&["explain", "--store", &store, "--axis", "dibble"]));
    assert!(text.contains("since the note \"velocity feedforward"), "{text}");
    // A note without moves after it does not hide those before.
    done(&["note", "--store", &store, "belt", "--axis", "dibble", "--who", "M. Ito"]);
    assert_eq!(of("dibble", &[]), (note, moves));
}

/// A drift parts what the axis did from what it does; explained from it on, nothing is left to part.
#[test]
fn a_drift_within_the_time_is_named_with_the_time_that_leaves_it_out() {
    let folder = Folder::new("drift");
    let store = folder.file("s.store");
    done(&["rehearse", "--hours", "0.15", "--seed", "7", "--wear", "tray_shuttle", "--store", &store]);
    let of = |more: &[&str]| {
        let output = stillpoint(&[&["explain", "--store", &store, "--axis", "tray_shuttle"], more].concat());
        String::from_utf8(output.stderr).expect("text")
    };
    let notice = of(&[]);
    let since = notice.split('"').nth(1).unwrap_or_else(|| panic!("no time in {notice:?}"));
    assert!(notice.contains(&format!("a drift came at {since} and stands")), "{notice}");
    assert_eq!([of(&["--since", since]), of(&["--until", since])], ["", ""]);
}

#[test]
fn wrong_arguments_are_refused() {
    let status = |arguments: &[&str]| stillpoint(&[&["explain"], arguments].concat()).status.code();
    assert_eq!(status(&[]), Some(2));
    assert_eq!(status(&["axis.csv"]), Some(2), "no window");
    assert_eq!(status(&["axis.csv", "--window", "1", "--store", "s.store"]), Some(2));
    assert_eq!(status(&["--axis", "1"]), Some(2), "no store");
    assert_eq!(status(&["axis_that_is_not_there.csv", "--window", "1"]), Some(1));
}
