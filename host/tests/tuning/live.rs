//! The running table: while a monitor is watched and something is noted, and over a whole rehearsal.

use std::io::{BufRead, BufReader};
use std::process::{Child, Stdio};

use super::*;

/// A program that runs beside the test; ends with it.
struct Running(Child);

impl Running {
    fn new(arguments: &[&str]) -> Running {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
        let child = command.args(arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn();
        Running(child.expect("it runs"))
    }

    fn stdout(&mut self) -> impl Iterator<Item = String> + use<> {
        let stdout = self.0.stdout.take().expect("a pipe");
        BufReader::new(stdout).lines().map(|line| line.expect("text"))
    }

    /// Its stderr is read to its end, so that it never waits for a reader.
    fn stderr(&mut self) -> std::sync::mpsc::Receiver<String> {
        let (sender, lines) = std::sync::mpsc::channel();
        let stderr = self.0.stderr.take().expect("a pipe");
        std::thread::spawn(move || {
            BufReader::new(stderr).lines().map_while(Result::ok).for_each(|line| drop(sender.send(line)));
        });
        lines
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.0.kill().ok();
        self.0.wait().ok();
    }
}

#[test]
fn a_note_while_the_monitor_is_watched_begins_a_setting() {
    let folder = Folder::new("live");
    let (tune, store) = (folder.write("tune.csv", TUNINGS), folder.path("live.store"));
    let mut machine =
        Running::new(&["rehearse", "--listen", "127.0.0.1:0", "--hours", "0.1", "--tune", &tune]);
    let place = machine.stderr().iter().find_map(|line| {
        let (_, rest) = line.split_once("first connection to ")?;
        Some(rest.trim().to_owned())
    });
    let place = place.expect("an address");
    let axes = "tray_shuttle,dibble,gripper_turntable";
    let watch = ["watch", &place, "--store", &store, "--axes", axes, "--tuning", "--format", "jsonl"];
    let mut watch = Running::new(&watch);
    let _notes = watch.stderr();
    let mut lines = watch.stdout().map(|line| json(&line)).filter(|line| line["axis"] == AXIS);
    let moves = |line: &Value| line["moves"].as_u64().unwrap_or(0);
    let first = lines.find(|line| moves(line) == 2).expect("moves");
    assert_eq!((&first["setting"], &first["words"]), (&1.into(), &"the first setting".into()));
    assert_eq!(
        (&first["note"], first["signature"].is_string(), &first["against"]),
        (&Value::Null, true, &Value::Null)
    );
    let noted = done(&["note", "--store", &store, "gain 1 -> 2", "--axis", AXIS, "--who", "M. Ito"]);
    assert!(noted.contains("dibble at "), "{noted}");
    let second = lines.find(|line| line["setting"] == 2).expect("a move after the note");
    assert_eq!((&second["note"], moves(&second), &second["against"]), (&"gain 1 -> 2".into(), 1, &1.into()));
    assert_eq!(second["verdict"], "too few", "{second}");
    assert!(second["words"].as_str().is_some_and(|words| words.contains("too few moves")), "{second}");
    drop((watch, machine));
    assert!(done(&["store", "check", "--store", &store]).contains("file: ok"));
}

/// The last lines of a rehearsal are those of a table made of the whole store, and hold what a comparison at 99.75 % says.
#[test]
fn the_running_table_ends_where_the_store_does() {
    let folder = Folder::new("table");
    let (tune, store) = (folder.write("tunings.csv", TUNINGS), folder.path("s.store"));
    let hours = (END / 3600.0).to_string();
    let arguments = ["rehearse", "--hours", &hours, "--tune", &tune, "--store", &store, "--tuning"];
    let lines: Vec<Value> =
        done(&[&arguments[..], &["--format", "jsonl"]].concat()).lines().map(json).collect();
    let after = lines.iter().position(|line| line["note"] != Value::Null).expect("a note");
    assert!(lines[after..].iter().all(|line| line["axis"] == AXIS), "only the axis that was tuned");
    let last = |setting: u64| {
        lines.iter().rfind(|line| {
            line["setting"] == setting && line["kind"].as_str().is_some_and(|kind| kind.starts_with('+'))
        })
    };
    let [first, second, third] = [1, 2, 3].map(|setting| last(setting).expect("a line"));
    assert_eq!(
        [first, second, third].map(|line| line["is_best"].as_bool()),
        [Some(false), Some(true), Some(true)]
    );
    let compared =
        ["compare", "--store", &REHEARSED.store, "--by-note", "--axis", AXIS, "--confidence", "0.9975"];
    let compared = json(&done(&[&compared[..], &["--format", "json"]].concat()));
    let pairs = compared["pairs"].as_array().expect("pairs");
    for (line, names) in [(second, ("setting 1", "setting 2")), (third, ("setting 2", "setting 3"))] {
        let pair = pairs
            .iter()
            .find(|pair| {
                // The speed of a kind is that of its moves until then.
                let is_forward = pair["kind"].as_str().is_some_and(|kind| kind.starts_with('+'));
                pair["before"] == names.0 && pair["after"] == names.1 && is_forward
            })
            .unwrap_or_else(|| panic!("{line}: {pairs:?}"));
        assert_eq!((&line["shift_interval_s"], &line["shift_s"]), (&pair["shift_95_s"], &pair["shift_s"]));
        assert_eq!((&line["verdict"], &line["median_s"]), (&pair["verdict"], &pair["median_after_s"]));
        assert!(line["median_95_s"][0].as_f64() <= line["median_s"].as_f64());
    }
    // The same again: notes are written once, and the table of the whole store is drawn in lines that fit.
    let again = done(&arguments);
    assert!(again.lines().all(|line| line.chars().count() <= 80), "{again}");
    assert!(again.contains("faster than 2 by"), "{again}");
    let notes = text(&in_zone("UTC", &["note", "--store", &store, "--list"]).stdout);
    assert_eq!(notes.matches("rehearsal").count(), 2, "{notes}");
}

#[test]
fn what_the_running_table_needs_is_named() {
    fails(&["watch", "file:x", "--tuning"], 2, &["--store"]);
    fails(&["rehearse", "--tuning"], 2, &["--store", "--tune"]);
    let folder = Folder::new("needs");
    let (tune, store) = (folder.write("tunings.csv", TUNINGS), folder.path("s.store"));
    let wrong = folder.write("wrong.csv", "minute,axis,lever,value\n1,dibble,gain,3\n");
    let csv = ["rehearse", "--tune", &tune, "--store", &store, "--tuning", "--format", "csv"];
    fails(&csv, 2, &["--format csv", "no form of the running table"]);
    fails(&["rehearse", "--tune", &wrong], 1, &["wrong.csv, line 2", "none of the levers position gain"]);
    fails(
        &["rehearse", "--tune", &tune, "--hours", "0.01"],
        2,
        &["ends before the last change", "give at least"],
    );
    fails(&["rehearse", "--tune", &tune, "--wear", "dibble"], 2, &["--wear"]);
}
