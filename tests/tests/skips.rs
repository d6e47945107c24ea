//! In: planted output of test programs. Out: what `tests/count`, and so `tests/run`, makes of it.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use stillpoint_tests::skip;

const PASSED: &str =
    "test a ... ok\n\ntest result: ok. 3 passed; 0 failed; 1 ignored; 0 measured; 0 filtered out\n";
const FAILED: &str = "\ntest result: FAILED. 2 passed; 1 failed; 0 ignored; 0 measured; 0 filtered out\n";

/// Whether the output is a success, and its last two lines.
fn count(arguments: &[&str], output: &str) -> (bool, String) {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("count");
    let mut command = Command::new(script);
    let child = command.args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
    let mut child = child.expect("tests/count starts");
    child.stdin.take().expect("a pipe").write_all(output.as_bytes()).expect("it reads");
    let found = child.wait_with_output().expect("it ends");
    let text = String::from_utf8(found.stdout).expect("UTF-8");
    let lines: Vec<&str> = text.lines().collect();
    (found.status.success(), lines[lines.len() - 2..].join("\n"))
}

#[track_caller]
fn check(arguments: &[&str], output: &str, success: bool, expected: &str) {
    assert_eq!(count(arguments, output), (success, expected.to_owned()), "{output}");
}

#[test]
fn results_are_added_up() {
    let twice = [PASSED, PASSED].concat();
    check(&[], &twice, true, "skipped checks: 0\ntest result: ok. 6 passed; 0 failed; 2 ignored");
    let both = [PASSED, FAILED].concat();
    check(&[], &both, false, "skipped checks: 0\ntest result: FAILED. 5 passed; 1 failed; 1 ignored");
    check(&[], "", false, "skipped checks: 0\ntest result: FAILED. 0 passed; 0 failed; 0 ignored");
    let broken = [PASSED, "NOT PASSED: target/debug/deps/a\n"].concat();
    check(&[], &broken, false, "skipped checks: 0\ntest result: FAILED. 3 passed; 0 failed; 1 ignored");
}

#[test]
fn a_planted_skip_fails_unless_it_is_allowed() {
    // In the middle of a line of the test runner, as a line of another thread comes.
    let output = ["test b ... ", &skip::line("no emulator"), "ok\n", PASSED].concat();
    let expected =
        "skipped checks: 1; --allow-skips accepts that\ntest result: FAILED. 3 passed; 0 failed; 1 ignored";
    check(&[], &output, false, expected);
    let expected = "skipped checks: 1, allowed\ntest result: ok. 3 passed; 0 failed; 1 ignored";
    check(&["--allow-skips"], &output, true, expected);
}
