//! In: planted output of test programs. Out: what `tests/count`, and so `tests/run`, reports for it.

use std::fs::Permissions;
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
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

/// What `cargo` answers in a run without compiling: two test programs of the host and one from outside.
const CARGO: &str = r#"#!/bin/sh
program() {
    echo '{"manifest_path":"ROOT/'$1'/Cargo.toml","profile":{"overflow_checks":true,"test":true},"executable":"STUBS/'$2'"}'
}
case "$*" in
    *--message-format*) program host trace-1; program host store-1; program tests outside-1 ;;
    *--doc*) exec "STUBS/trace-1" ;;
esac
"#;
const PROGRAM: &str = "#!/bin/sh\necho 'test result: ok. 1 passed; 0 failed; 0 ignored; 0 measured'\n";

/// Runs `tests/run` with stubs for compilers and test programs; `planted` is what the outside program does.
fn run(name: &str, arguments: &[&str], planted: &str) -> (bool, String) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the repository");
    let stubs = std::env::temp_dir().join(format!("stillpoint-run-{}-{name}", std::process::id()));
    for target in ["thumbv7em-none-eabihf", "thumbv6m-none-eabi"] {
        std::fs::create_dir_all(stubs.join("lib/rustlib").join(target).join("lib")).expect("a folder");
    }
    let fill = |text: &str| {
        text.replace("ROOT", &root.display().to_string()).replace("STUBS", &stubs.display().to_string())
    };
    let outside = format!("{PROGRAM}{planted}\n");
    for (name, text) in [
        ("cargo", CARGO),
        ("rustc", "#!/bin/sh\necho STUBS\n"),
        ("cc", "#!/bin/sh\n"),
        ("qemu-system-arm", "#!/bin/sh\n"),
        ("trace-1", PROGRAM),
        ("store-1", PROGRAM),
        ("outside-1", &outside),
    ] {
        std::fs::write(stubs.join(name), fill(text)).expect("a stub");
        std::fs::set_permissions(stubs.join(name), Permissions::from_mode(0o755)).expect("it can be run");
    }
    let path = format!("{}:{}", stubs.display(), std::env::var("PATH").expect("a path"));
    let output = Command::new(root.join("tests/run")).args(arguments).env("PATH", path).output();
    let output = output.expect("tests/run starts");
    std::fs::remove_dir_all(&stubs).ok();
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines.len() > 10, "{text} {}", String::from_utf8_lossy(&output.stderr));
    (output.status.success(), lines[lines.len() - 2..].join("\n"))
}

#[test]
fn the_whole_run_fails_if_a_check_was_skipped() {
    let summary = |skips: &str, result: &str| format!("skipped checks: {skips}\ntest result: {result}");
    let (success, end) = run("sound", &[], "");
    assert_eq!((success, end), (true, summary("0", "ok. 6 passed; 0 failed; 0 ignored")));
    let planted = "printf '\\nSKIPPED: no emulator\\n' >&2";
    let (success, end) = run("skip", &[], planted);
    let expected = summary("1; --allow-skips accepts that", "FAILED. 6 passed; 0 failed; 0 ignored");
    assert_eq!((success, end), (false, expected));
    let (success, end) = run("allowed", &["--allow-skips"], planted);
    assert_eq!((success, end), (true, summary("1, allowed", "ok. 6 passed; 0 failed; 0 ignored")));
    let (success, end) = run("crash", &[], "exit 1");
    assert_eq!((success, end), (false, summary("0", "FAILED. 6 passed; 0 failed; 0 ignored")));
}
