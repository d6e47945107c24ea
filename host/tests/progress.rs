//! The bar of a long command: on a terminal, and nowhere else.
#![cfg(target_os = "linux")]

use std::fs::File;
use std::io::Read;
use std::process::{Command, Stdio};

use nix::pty::{Winsize, openpty};

fn rehearse() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
    command.args(["rehearse", "--hours", "0.02"]).env("TERM", "xterm").stdout(Stdio::piped());
    command
}

#[test]
fn a_shift_shows_its_progress_on_a_terminal() {
    let size = Winsize { ws_row: 24, ws_col: 80, ws_xpixel: 0, ws_ypixel: 0 };
    let terminal = openpty(&size, None).expect("a pseudo-terminal");
    let child = rehearse().stderr(terminal.slave).spawn().expect("it runs");
    let (mut shown, mut terminal) = (Vec::new(), File::from(terminal.master));
    // The end of the last process on a terminal reads as an error.
    terminal.read_to_end(&mut shown).ok();
    let output = child.wait_with_output().expect("it ends");
    let shown = String::from_utf8_lossy(&shown);
    let bars: Vec<&str> = shown.split('\r').filter(|line| line.contains("rehearsing [")).collect();
    assert!(output.status.success() && bars.len() > 1, "{shown}");
    assert!(bars.iter().any(|bar| bar.contains(" of 72 s, ") && bar.contains(" remaining")), "{shown}");
    let begun = |bar: &&&str| bar.contains("] 0 of 72 s");
    assert!(!bars.iter().filter(begun).any(|bar| bar.contains("remaining")), "nothing is known yet: {shown}");
    assert!(!String::from_utf8_lossy(&output.stdout).contains("rehearsing ["));
}

#[test]
fn a_file_gets_no_progress() {
    let output = rehearse().stderr(Stdio::piped()).output().expect("it runs");
    let notes = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success() && !notes.contains("rehearsing"), "{notes}");
}
