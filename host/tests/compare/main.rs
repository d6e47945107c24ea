//! In: recordings made here and real ones, given to the built `stillpoint compare`. Out: whether it does what its manual says.

mod made;
#[path = "../program/mod.rs"]
mod program;

use std::path::PathBuf;

use made::{Tail, recording};
use program::{done, stillpoint};
use serde_json::Value;

/// A folder for one test; goes when the test is over.
struct Folder(PathBuf);

impl Folder {
    fn new(test: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("stillpoint-compare-{}-{test}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder for the test");
        Folder(path)
    }

    /// Writes a file and returns its path.
    fn write(&self, name: &str, text: impl AsRef<[u8]>) -> String {
        let path = self.0.join(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder for the test");
        std::fs::write(&path, text).expect("a file for the test");
        path.display().to_string()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        std::fs::remove_dir_all(&self.0).ok();
    }
}

/// A stop for each number; time constants from `constant` up to a fifth more, in an order without dependence.
fn spread(count: usize, constant: f64) -> Vec<Tail> {
    let part = |at: usize| (at * 37 % 101) as f64 / 101.0;
    (0..count)
        .map(|at| Tail { height: 0.5, constant: constant * (1.0 + 0.2 * part(at)), offset: 0.0 })
        .collect()
}

fn json(arguments: &[&str]) -> Value {
    let arguments = [&["compare"], arguments, &["--format", "json"]].concat();
    serde_json::from_str(&done(&arguments)).expect("one JSON object")
}

#[track_caller]
fn fails(arguments: &[&str], status: i32, parts: &[&str]) {
    let output = stillpoint(&[&["compare"], arguments].concat());
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(status), "{message}");
    assert!(output.stdout.is_empty(), "no result beside an error");
    parts.iter().for_each(|part| assert!(message.contains(part), "{part:?} is not in {message:?}"));
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Tails of 20 ms become tails of 10 ms: 20 ms × ln(0.5/0.01) becomes half of it, 39 ms sooner at the shortest.
#[test]
fn a_change_that_halves_the_tail_is_faster_by_that_much() {
    let folder = Folder::new("faster");
    let before = folder.write("before.csv", recording(&spread(48, 0.02), 10.0));
    let after = folder.write("after.csv", recording(&spread(48, 0.01), 10.0));
    let result =
        json(&[&before, &after, "--window", "0.01", "--margin-ms", "5", "--note", "belt 42 -> 68 Hz"]);
    assert_eq!(result["groups"][1]["note"], "belt 42 -> 68 Hz");
    assert_eq!((&result["groups"][0]["name"], &result["groups"][0]["moves"]), (&"before".into(), &48.into()));
    let pairs = result["pairs"].as_array().expect("pairs");
    assert_eq!(pairs.len(), 2, "there and back are two kinds: {result}");
    let expected = -0.010 * (0.5_f64 / 0.01).ln() * 1.1;
    for pair in pairs {
        assert_eq!((&pair["verdict"], &pair["reason"]), (&"faster".into(), &"".into()), "{pair}");
        assert_eq!((&pair["n_before"], &pair["n_after"]), (&24.into(), &24.into()));
        let (shift, ends) = (number(&pair["shift_s"]), &pair["shift_95_s"]);
        assert!((shift - expected).abs() < 0.002, "{pair}, expected {expected}");
        assert!(
            number(&ends[0]) < expected && expected < number(&ends[1]) && number(&ends[1]) < -0.03,
            "{pair}"
        );
    }
    let text = done(&["compare", &before, &after, "--window", "0.01"]);
    assert!(text.starts_with("after is faster than before at ± 0.01 mm for 10 ms by 4"), "{text}");
    assert!(text.lines().next().is_some_and(|line| line.contains("(95 % sure: 4")), "{text}");
    let back = json(&[&after, &before, "--window", "0.01"]);
    assert_eq!(back["pairs"][0]["verdict"], "slower");
    let text = done(&["compare", &before, &after, "--window", "0.01", "--margin", "80%"]);
    assert!(text.starts_with("before and after at ± 0.01 mm for 10 ms: no difference shown"), "{text}");
    assert!(text.contains("not shown to exceed the margin of"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 110), "{text}");
}

#[test]
fn the_fields_of_the_contract_come_first() {
    let folder = Folder::new("fields");
    let one = folder.write("one.csv", recording(&spread(8, 0.02), 10.0));
    let text = done(&["compare", &one, &one, "--window", "0.01", "--format", "json"]);
    assert!(text.starts_with("{\"groups\":[{\"name\":\"one (1)\",\"files\":[\""), "{text}");
    let order = "kind before after n_before n_after median_before_s median_after_s shift_s shift_95_s unsettled_before \
                 unsettled_after verdict reason";
    let mut from = text.find("\"pairs\"").expect("pairs");
    for field in order.split_whitespace() {
        from += text[from..]
            .find(&format!("\"{field}\":"))
            .unwrap_or_else(|| panic!("{field}, in its place: {text}"));
    }
}

#[test]
fn moves_that_only_one_side_has_are_refused_by_name() {
    let folder = Folder::new("unlike");
    let before = folder.write("before.csv", recording(&spread(20, 0.02), 10.0));
    let after = folder.write("after.csv", recording(&spread(20, 0.02), 20.0));
    let result = json(&[&before, &after, "--window", "0.01"]);
    let pairs = result["pairs"].as_array().expect("pairs");
    assert_eq!(pairs.len(), 4);
    for pair in pairs {
        assert_eq!((&pair["verdict"], &pair["shift_95_s"]), (&"unlike moves".into(), &Value::Null));
    }
    let reason = pairs[0]["reason"].as_str().expect("words");
    assert!(reason.starts_with("no such moves in after; the nearest there are +20 mm at"), "{reason}");
}

#[test]
fn too_few_moves_name_how_many_are_needed() {
    let folder = Folder::new("few");
    let before = folder.write("before.csv", recording(&spread(6, 0.02), 10.0));
    let after = folder.write("after.csv", recording(&spread(40, 0.01), 10.0));
    let result = json(&[&before, &after, "--window", "0.01", "--confidence", "0.999"]);
    assert_eq!(result["pairs"][0]["verdict"], "too few");
    assert_eq!(result["pairs"][0]["reason"], "at least 7 moves on each side are needed");
    // Three and twenty moves have enough orders for 95 %.
    let result = json(&[&before, &after, "--window", "0.01"]);
    assert_eq!(result["pairs"][0]["verdict"], "faster", "{result}");
    assert!(result["pairs"][0]["reason"].as_str().is_some_and(|reason| reason.contains("scatter alike")));
}

#[test]
fn unsettled_moves_count_and_open_the_interval() {
    let folder = Folder::new("unsettled");
    let mut tails = spread(60, 0.02);
    tails.iter_mut().filter(|tail| tail.constant > 0.0218).for_each(|tail| tail.offset = 0.02);
    let before = folder.write("before.csv", recording(&tails, 10.0));
    let after = folder.write("after.csv", recording(&spread(60, 0.01), 10.0));
    let result = json(&[&before, &after, "--window", "0.01"]);
    let pair = &result["pairs"][0];
    let unsettled = pair["unsettled_before"].as_u64().expect("a number");
    assert!((12..=18).contains(&unsettled) && pair["unsettled_after"] == 0, "{pair}");
    assert_eq!((&pair["verdict"], &pair["shift_95_s"][0]), (&"faster".into(), &Value::Null), "{pair}");
    let reason = pair["reason"].as_str().expect("words");
    assert!(
        reason.contains("fewer moves do not settle") && reason.contains("among unsettled moves"),
        "{reason}"
    );
}

#[test]
fn groups_are_files_folders_and_lists_with_names() {
    let folder = Folder::new("groups");
    let tails = spread(24, 0.02);
    let before: Vec<String> = (0..3)
        .map(|at| folder.write(&format!("monday/{at}.csv"), recording(&tails[8 * at..8 * at + 8], 10.0)))
        .collect();
    let monday = folder.0.join("monday").display().to_string();
    let note = folder.write("changes.csv", "name,old,new,unit\nbelt tension,42,68,Hz\n");
    let list = format!("gain 2={},{}", before[0], before[1]);
    let result = json(&[&monday, &list, &before[2], "--window", "0.01", "--note-file", &note]);
    let names: Vec<&str> = result["groups"]
        .as_array()
        .expect("groups")
        .iter()
        .filter_map(|group| group["name"].as_str())
        .collect();
    assert_eq!(names, ["monday", "gain 2", "2"]);
    assert_eq!(result["groups"][0]["moves"], 24);
    assert_eq!(result["groups"][1]["note"], "belt tension 42 → 68 Hz");
    assert_eq!(result["groups"][2]["note"], Value::Null);
    assert_eq!(result["pairs"].as_array().map(Vec::len), Some(6), "each two groups, two kinds");
}

#[test]
fn what_can_not_be_used_is_named() {
    let folder = Folder::new("wrong");
    let good = folder.write("good.csv", recording(&spread(8, 0.02), 10.0));
    let degrees = folder.write("degrees.csv", recording(&spread(8, 0.02), 10.0).replace("[mm]", "[deg]"));
    let missing = folder.0.join("missing.csv").display().to_string();
    fails(&[&good, &missing, "--window", "0.01"], 1, &["missing.csv", "can't be read"]);
    fails(&[&good, &degrees, "--window", "0.01"], 1, &["degrees", "its unit is deg", "mm"]);
    fails(&[&good, &good], 2, &["--window"]);
    fails(&[&good, "--window", "0.01"], 2, &["2 values required"]);
    fails(&[&good, &good, "--window", "0.01", "--margin", "x"], 2, &["5%"]);
    fails(&[&good, &good, "--window", "0.01", "--note", "a", "--note", "b"], 2, &["--note given 2 times"]);
    fails(&[&good, &good, "--window", "0.01", "--plot", "a.pdf"], 2, &[".svg"]);
}

#[test]
fn every_kind_of_picture_is_drawn() {
    let folder = Folder::new("pictures");
    let before = folder.write("before.csv", recording(&spread(24, 0.02), 10.0));
    let after = folder.write("after.csv", recording(&spread(24, 0.01), 10.0));
    for (name, starts) in [("a.svg", "<svg"), ("a.png", "\u{89}PNG"), ("a.html", "<!DOCTYPE html")] {
        let path = folder.0.join(name).display().to_string();
        done(&["compare", &before, &after, "--window", "0.01", "--plot", &path]);
        let bytes = std::fs::read(&path).expect("a picture");
        let start: String = bytes.iter().take(20).map(|byte| char::from(*byte)).collect();
        assert!(start.starts_with(starts) && bytes.len() > 5_000, "{name} begins {start:?}");
    }
    let page = std::fs::read_to_string(folder.0.join("a.html")).expect("text");
    assert!(page.contains("after is faster than before") && page.matches("<svg").count() == 2);
    assert!(!page.contains("<script") && page.contains("before, 12 moves: median, and the span of 18 of 20"));
}

/// One recorded move for each gain of a geared motor: inside ± 3 counts a gain of 0.2 is soonest, inside ± 5 one of 0.4.
/// `tests/recordings/README.md` names the source.
#[test]
fn which_gain_is_best_depends_on_the_window() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/recordings/geared-motor/07_r05__0p0400_0p");
    let group = |gain: &str, name: &str| format!("{name}={folder}{gain}_0p0001_2000_2.csv");
    let groups = [("0400", "g0.04"), ("1000", "g0.1"), ("2000", "g0.2"), ("4000", "g0.4")];
    let groups = groups.map(|(gain, name)| group(gain, name));
    let mut arguments = vec!["compare", "--window", "3"];
    arguments.extend(groups.iter().map(String::as_str));
    let text = done(&arguments);
    assert!(text.contains("too few"), "one move each shows nothing of the next ones: {text}");
    let best = |window: &str| {
        // The table comes after the list of groups.
        let line = text.lines().rfind(|line| line.split_whitespace().next() == Some(window));
        let cells: Vec<&str> =
            line.unwrap_or_else(|| panic!("{window}: {text}")).split_whitespace().collect();
        let marked: Vec<usize> = (1..cells.len()).filter(|at| cells[*at].ends_with('*')).collect();
        assert_eq!((cells.len(), marked.len()), (5, 1), "{cells:?}");
        marked[0]
    };
    assert_eq!((best("3"), best("5")), (3, 4), "{text}");
}
