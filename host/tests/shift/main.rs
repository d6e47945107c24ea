//! In: rehearsals in a store, read by `stillpoint shift`. Out: whether its text, its JSON and its page agree with the store.

#[path = "../store/frames.rs"]
mod frames;
#[path = "../program/mod.rs"]
mod program;

use std::path::PathBuf;

use frames::{RATE, Start};
use program::{done, stillpoint};
use serde_json::Value;
use stillpoint::store::Options;
use stillpoint::store::log::Log;
use stillpoint_core::wire::drift::Kind;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, flag};
use stillpoint_core::wire::settings::{Limits, Parameters, Settings};
use stillpoint_core::wire::status::{Cause, Gap, Missing};

/// 2026-06-02T10:00:00Z. Unit: µs since 1970
const BEGIN: i64 = 1_780_394_400_000_000;

/// What must stand beside the results of a rehearsal.
const INVENTED: &str = "Invented data: they come from a rehearsal; no machine was measured.";

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
    assert_eq!(text.lines().nth(2), Some(INVENTED));
    // Two lines of headings and three axes.
    let table: Vec<&str> = text.lines().skip(3).take(5).collect();
    assert!(table[1].starts_with("axis") && table.iter().all(|line| line.chars().count() <= 80), "{text}");
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
        ["Settling now, against normal", "the last of them move", "Handed over by, date", "Settings in force"]
    {
        assert!(html.contains(part), "{part:?} is not on the page");
    }
    assert_eq!(html.matches(">unacknowledged</td>").count(), alarms);
    assert!(html.contains(INVENTED), "the page does not say that it is of a rehearsal");
    // Each figure of now with the name of its statistic, and why they are not the same.
    let of = |measure: &str| html.matches(&format!(">{measure} ")).count();
    assert!(of("mean") >= 2 && of("median") >= 2, "{} means, {} medians", of("mean"), of("median"));
    assert_eq!(
        html.matches("where hardly any move settles near the median").count(),
        2,
        "both tables say why"
    );
    // A kind has one name, whoever names it.
    let kinds = lines("trend", store);
    let explained = done(&["explain", "--store", store]);
    for name in kinds.iter().filter_map(|kind| kind["kind"].as_str()) {
        assert!(explained.contains(&format!("\n{name}: ")), "{name} has another name in {explained}");
    }
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

/// Moves each ten seconds that settle in 18 to 22 ms. Unit: s
fn moves(start: &mut Start, from: u64, to: u64) {
    for number in from / 10 + 1..=to / 10 {
        start.send(&Message::Move(Move {
            flags: flag::SETTLING,
            number: number as u32,
            start: number * 10 * RATE - RATE / 2,
            duration: RATE / 4,
            travel: 60_000,
            settling: (18_000 + number * 37 % 101 * 40) as u32,
            kind: 1,
            ..Move::default()
        }));
    }
}

/// An hour of moves, half an hour of nothing, an hour of moves; meanwhile samples and frames were lost.
#[test]
fn what_was_not_seen_and_what_was_set_on_the_monitor_are_reported() {
    let folder = Folder::new("holes");
    let store = folder.path("shift.store");
    let mut start = Start::new(1);
    let limits = Limits { settling: 15_000, unsettled_permille: 20, ..Limits::default() };
    let parameters = Parameters {
        ticks_per_second: RATE as u32,
        window: 50,
        window_time: 10_000,
        rest_time: 20_000,
        encoder_step: 1,
        command_scale: (1, 1),
        limits,
        ..Parameters::default()
    };
    start.send(&Message::Settings(Settings { parameters, ..Settings::default() }));
    let (distance, speed_distance, speed_time) = (60_000, 6000, 10_000);
    start.send(&Message::Kind(Kind {
        kind: 1,
        forward: true,
        distance,
        speed_distance,
        speed_time,
        ..Kind::default()
    }));
    moves(&mut start, 0, 3600);
    let missing = Missing::Samples { axis: 0, first: 9 };
    start.send(&Message::Gap(Gap { missing, count: 7, cause: Cause::Overrun }));
    let missing = Missing::Frames { priority: Priority::Curve as u8, first: 4 };
    start.send(&Message::Gap(Gap { missing, count: 3, cause: Cause::QueueFull }));
    moves(&mut start, 5400, 9000);
    let mut log = Log::open(store.as_ref(), &Options::default(), None, vec![]).expect("a store");
    log.push(&start.bytes, BEGIN);
    log.finish().expect("room");
    let shift = json(&["--store", &store]);
    let holes = shift["holes"].as_array().expect("holes");
    let names = ["axis", "what", "count", "length_s", "cause"];
    let words = |hole: &Value| names.map(|name| hole[name].to_string().replace('"', "")).join("; ");
    let expected = [
        "axis 0; samples; 7; null; Overrun",
        "; frames; 3; null; QueueFull",
        "axis 0; no moves; null; 1800; ",
    ];
    assert_eq!(holes.iter().map(words).collect::<Vec<String>>(), expected);
    let axis = &shift["axes"][0];
    assert_eq!(
        (&axis["state"], &axis["limit_s"], &axis["moves"]),
        (&"late".into(), &0.015.into(), &720.into()),
        "{axis}"
    );
    let set = &shift["settings"][0];
    assert_eq!(
        (&set["window"], &set["rest_time_s"], &set["unsettled_limit"]),
        (&50.0.into(), &0.02.into(), &0.02.into())
    );
    // The limit of the command line counts instead.
    let given = json(&["--store", &store, "--limit-ms", "30"]);
    assert_eq!(
        (&given["axes"][0]["state"], &given["axes"][0]["limit_s"]),
        (&"learning".into(), &0.03.into())
    );
    let text = done(&["shift", "--store", &store]);
    for part in ["7 samples missing", "3 frames missing", "no move for 30 min", "axis 0 is late: median 2"] {
        assert!(text.contains(part), "{part:?} is not in {text}");
    }
}

/// A note is a change at the time from which on it holds, and none once it was withdrawn.
#[test]
fn notes_are_changes_at_their_own_time() {
    let folder = Folder::new("notes");
    let store = folder.path("shift.store");
    done(&["rehearse", "--hours", "0.02", "--seed", "7", "--healthy", "--store", &store]);
    let note = |more: &[&str]| {
        done(&[&["note", "--store", &store, "--axis", "dibble", "--who", "M. Ito"], more].concat())
    };
    note(&["gain 40 -> 60", "--at", "2m"]);
    let noted = note(&["gain 60 -> 80"]);
    let number = noted.trim_start_matches("note ").split(',').next().expect("note 13, dibble at …");
    done(&["note", "--store", &store, "--withdraw", number, "--who", "M. Ito"]);
    let changes = json(&["--store", &store])["changes"].clone();
    let texts: Vec<&str> =
        changes.as_array().unwrap().iter().filter_map(|one| one["text"].as_str()).collect();
    assert!(texts.contains(&"dibble: gain 40 -> 60"), "{texts:?}");
    assert!(!texts.iter().any(|text| text.contains("60 -> 80") || text.contains("withdrawn")), "{texts:?}");
    // Written down now, it holds from two minutes ago on.
    assert!(json(&["--store", &store, "--since", "1m"])["changes"].to_string().find("40 -> 60").is_none());
}
