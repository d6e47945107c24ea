//! In: recordings made here, given to `stillpoint measure` with a limit, `compare` and `window`. Out: whether verdict, exit status and page say the
//! same, and whether the page is one that can be printed and signed.

#[path = "../compare/made.rs"]
mod made;
mod handed_over;
mod pages;

use std::path::PathBuf;
use std::process::{Command, Output};

use made::{Tail, recording};

/// A folder for one test; goes when the test is over.
pub(crate) struct Folder(PathBuf);

impl Folder {
    pub(crate) fn new(test: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("stillpoint-sign-off-{}-{test}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder for the test");
        Folder(path)
    }

    pub(crate) fn path(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }

    /// Writes a file and returns its path.
    pub(crate) fn write(&self, name: &str, text: impl AsRef<[u8]>) -> String {
        std::fs::write(self.0.join(name), text).expect("a file for the test");
        self.path(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        std::fs::remove_dir_all(&self.0).ok();
    }
}

/// Stops with a tail of `constant` seconds and up to a fifth more, in an order without dependence: at ± 0.01 mm settled
/// after 3.9 to 4.7 times that.
pub(crate) fn stops(count: usize, constant: f64) -> Vec<Tail> {
    let part = |at: usize| (at * 37 % 101) as f64 / 101.0;
    (0..count)
        .map(|at| Tail { height: 0.5, constant: constant * (1.0 + 0.2 * part(at)), offset: 0.0 })
        .collect()
}

pub(crate) fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8")
}

/// Runs the program.
pub(crate) fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_stillpoint")).args(arguments).output().expect("it runs")
}

fn measure(arguments: &[&str]) -> Output {
    run(&[&["measure", "--window", "0.01"], arguments].concat())
}

/// Runs it, and looks for words on stderr.
#[track_caller]
fn check(arguments: &[&str], status: i32, parts: &[&str]) -> Output {
    let output = measure(arguments);
    let message = text(&output.stderr);
    assert_eq!(output.status.code(), Some(status), "{arguments:?}: {message}");
    parts.iter().for_each(|part| assert!(message.contains(part), "{part:?} is not in {message:?}"));
    output
}

/// Tails of 10 to 12 ms settle after 39 to 47 ms.
#[test]
fn the_verdict_is_on_stderr_and_in_the_exit_status() {
    let folder = Folder::new("verdict");
    let file = folder.write("axis.csv", recording(&stops(12, 0.01), 10.0));
    let alone = check(&[&file], 0, &[]);
    let kept = check(&[&file, "--limit-ms", "60"], 0, &["Passes: 12 of 12 moves settled within 60 ms."]);
    let late = check(
        &[&file, "--limit-ms", "41"],
        3,
        &["Does not pass: ", "of 12 moves settled within 41 ms", "late"],
    );
    assert!(!alone.stdout.is_empty() && alone.stdout == kept.stdout && alone.stdout == late.stdout);
    assert!(!text(&alone.stderr).contains("pass"), "no verdict without a limit");
    let lines = check(&[&file, "--limit-ms", "60", "--format", "jsonl"], 0, &["Passes"]);
    assert_eq!(text(&lines.stdout).lines().count(), 12, "stdout stays as it is");
    // The measured settling times decide, wherever the limit lies.
    let settling =
        |line: &str| serde_json::from_str::<serde_json::Value>(line).expect("JSON")["settling_s"].clone();
    let times: Vec<f64> = text(&lines.stdout).lines().filter_map(|line| settling(line).as_f64()).collect();
    for limit in [39.0, 42.5, 45.0, 60.0] {
        let within = times.iter().filter(|time| **time <= 1e-3 * limit).count();
        let found = format!("{within} of 12 moves settled within {limit} ms");
        check(&[&file, "--limit-ms", &limit.to_string()], if within == 12 { 0 } else { 3 }, &[&found]);
    }
}

/// 99 % at 95 % sure need 299 stops of each kind without a failure; a recording has as many there as back.
#[test]
fn a_share_is_shown_by_enough_moves_only() {
    let folder = Folder::new("share");
    let few = folder.write("few.csv", recording(&stops(596, 0.004), 10.0));
    let enough = folder.write("enough.csv", recording(&stops(598, 0.004), 10.0));
    let limit = ["--limit-ms", "40", "--limit-share", "0.99"];
    check(
        &[&[few.as_str()], &limit[..]].concat(),
        3,
        &[
            "Not shown, so it does not pass: 596 of 596",
            "298 moves; 299 are needed for 99 % of moves at 95 % confidence",
        ],
    );
    check(&[&[enough.as_str()], &limit[..]].concat(), 0, &["Passes: 598 of 598", "at least 99.50 %"]);
    // Less confidence needs fewer.
    check(&[&[few.as_str()], &limit[..], &["--limit-confidence", "0.9"]].concat(), 0, &["Passes"]);
    check(&[&[few.as_str()], &limit[..2]].concat(), 0, &["Passes: 596 of 596"]);
}

#[test]
fn what_did_not_settle_or_is_untrusted_never_passes() {
    let folder = Folder::new("untrusted");
    let mut tails = stops(12, 0.01);
    tails[5].offset = 0.05;
    let file = folder.write("offset.csv", recording(&tails, 10.0));
    check(&[&file, "--limit-ms", "90"], 3, &["Does not pass: 11 of 12", "Not within the limit: 1 unsettled"]);
    let whole = recording(&stops(12, 0.01), 10.0);
    // 30 ms are missing after the command end of the third move.
    let holed: String = whole
        .lines()
        .enumerate()
        .filter(|(at, _)| !(1155..1185).contains(at))
        .map(|(_, line)| line.to_owned() + "\n")
        .collect();
    let file = folder.write("hole.csv", holed);
    check(
        &[&file, "--limit-ms", "90"],
        3,
        &["does not pass: 11 of 12", "1 untrusted", "say nothing for the limit"],
    );
}

#[test]
fn part_of_the_recordings_does_not_pass() {
    let folder = Folder::new("part");
    let file = folder.write("axis.csv", recording(&stops(12, 0.01), 10.0));
    let broken = folder.write("broken.csv", "no numbers\n");
    let page = folder.path("page.html");
    check(
        &[&file, &broken, "--limit-ms", "90", "--report", &page],
        1,
        &["broken.csv", "does not pass", "not every recording could be read to its end"],
    );
    assert!(std::fs::read_to_string(&page).expect("a page").contains("does not pass"));
    let inches = folder.write("inch.csv", recording(&stops(12, 0.01), 10.0).replace("[mm]", "[in]"));
    check(&[&file, &inches, "--limit-ms", "90"], 1, &["inch.csv", "its unit is in"]);
}

#[test]
fn arguments_are_checked_before_anything_is_measured() {
    let folder = Folder::new("arguments");
    let file = folder.write("axis.csv", recording(&stops(4, 0.01), 10.0));
    let wrong = |arguments: &[&str], parts: &[&str]| {
        let output = check(&[&[file.as_str()], arguments].concat(), 2, parts);
        assert!(output.stdout.is_empty(), "{arguments:?}");
    };
    let page = folder.path("page.pdf");
    wrong(&["--report", &page], &["--report", "there is nothing to sign without a limit", "--limit-ms L"]);
    wrong(&["--limit-ms", "40", "--report", "page.png"], &["page.png", "must end in .html or .pdf"]);
    wrong(&["--limit-ms", "0"], &["above 0"]);
    wrong(&["--limit-share", "0.9"], &["--limit-ms"]);
    wrong(&["--limit-ms", "40", "--limit-share", "99"], &["0.5 to 0.999"]);
    wrong(&["--limit-ms", "40", "--paper", "letter"], &["--report"]);
    wrong(&["--limit-ms", "40", "--report", &page, "--paper", "a5"], &["a4", "letter"]);
    wrong(&["--limit-ms", "40", "--name", "x"], &["--report"]);
    let output = check(
        &[&file, "--limit-ms", "60", "--report", &page, "--changed", &folder.path("none.csv")],
        1,
        &["none.csv: can't be read"],
    );
    assert!(output.stdout.is_empty());
}

/// The moves are printed, and the message names the file.
#[test]
fn a_page_that_cannot_be_written_is_an_error() {
    let folder = Folder::new("unwritable");
    let file = folder.write("axis.csv", recording(&stops(4, 0.01), 10.0));
    let nowhere = folder.path("none/page.pdf");
    let output = check(
        &[&file, "--limit-ms", "60", "--report", &nowhere],
        1,
        &["page.pdf: can't be written", "check"],
    );
    assert!(text(&output.stdout).contains("4 moves: 4 settled"));
}

/// The words of README.md are those of the program, for the recording that comes with it.
#[test]
fn the_example_of_the_readme_is_what_the_program_says() {
    let package = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let file = package.join("recordings/transplanter_tray_shuttle.csv").display().to_string();
    let output = run(&["measure", &file, "--window", "0.05", "--limit-ms", "40"]);
    assert_eq!(output.status.code(), Some(3));
    let readme = std::fs::read_to_string(package.join("../README.md")).expect("README.md");
    let said = text(&output.stderr);
    let verdict = said.lines().last().expect("a verdict");
    assert!(readme.replace('\n', " ").contains(verdict), "README.md does not have {verdict:?}");
}

/// The same moves twice are no more evidence than once.
#[test]
fn a_recording_counts_once() {
    let folder = Folder::new("once");
    let half = recording(&stops(300, 0.004), 10.0);
    let (first, copy) = (folder.write("half.csv", &half), folder.write("copy.csv", &half));
    let limit = ["--limit-ms", "40", "--limit-share", "0.99"];
    for files in [[&first, &first], [&first, &copy]] {
        check(
            &[&files.map(String::as_str)[..], &limit[..]].concat(),
            2,
            &["would count twice", "give each recording once"],
        );
    }
}
