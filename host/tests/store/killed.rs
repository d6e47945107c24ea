//! Killed at random moments while logging: what was acknowledged is there, nothing is lost or doubled.

use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};
use std::time::Duration;

use super::*;

const HELPER: &str = "killed::helper_that_logs_until_it_is_killed";

/// Not a test: the process that is killed. It says how many frames are durable after every commit.
#[test]
#[ignore = "run by the tests that kill it"]
fn helper_that_logs_until_it_is_killed() {
    let path = std::env::var("STILLPOINT_TEST_STORE").expect("run by another test");
    let frames = std::fs::read(std::env::var("STILLPOINT_TEST_FRAMES").expect("frames")).expect("frames");
    let mut log = Log::open(Path::new(&path), &Options::default(), None, vec![]).expect("a store");
    let mut out = std::io::stdout().lock();
    for (number, chunk) in frames.chunks(199).enumerate() {
        log.push(chunk, BEGIN + number as i64 * 50_000);
        assert!(log.commit());
        let stats = log.stats();
        writeln!(out, "\ndurable {}", stats.stored + stats.known).expect("a listener");
    }
    log.finish().expect("room");
    writeln!(out, "\ndone").expect("a listener");
}

/// A number below `end`, from a seed that goes on.
fn below(seed: &mut u64, end: u64) -> u64 {
    *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*seed >> 33) % end
}

/// Starts the helper and kills it after so long, counted from its first commit. Returns what it had acknowledged.
fn run(store: &Scratch, frames: &Scratch, kill: Option<Duration>) -> usize {
    let mut helper = Command::new(std::env::current_exe().expect("this test"))
        .args([HELPER, "--exact", "--ignored", "--nocapture"])
        .env("STILLPOINT_TEST_STORE", store.text())
        .env("STILLPOINT_TEST_FRAMES", frames.text())
        .stdout(Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut lines = BufReader::new(helper.stdout.take().expect("a pipe")).lines();
    let mut durable = 0;
    let mut note = |line: &str| {
        if let Some(count) = line.strip_prefix("durable ") {
            durable = count.parse().expect("a count");
        }
    };
    if let Some(after) = kill {
        let first = lines.by_ref().map_while(Result::ok).find(|line| line.starts_with("durable"));
        note(&first.expect("it logs"));
        std::thread::sleep(after);
        // SIGKILL: no destructor, no handler, no flush.
        helper.kill().expect("it runs");
    }
    lines.map_while(Result::ok).for_each(|line| note(&line));
    helper.wait().expect("it ended");
    durable
}

#[test]
fn two_hundred_kills_lose_and_double_nothing() {
    let frames = Scratch::new("kill-frames");
    let chunks = Line::new(30).run(300);
    std::fs::write(&frames.0, chunks.concat()).expect("a file");
    let whole = Scratch::new("kill-whole");
    let all = run(&whole, &frames, None);
    let moves = check_whole(&whole.store());
    assert!(moves > 150 && all > 300, "{moves} {all}");
    // Kills lie within the time that logging takes, however busy this computer is just now.
    let (mut seed, mut early, mut longest) = (4, 0, 100_000.0);
    for number in 0..100 {
        let store = Scratch::new(&format!("kill-{number}"));
        // Into an empty store, and into the store of the first kill.
        for again in [false, true] {
            let after = Duration::from_micros(below(&mut seed, longest as u64));
            let durable = run(&store, &frames, Some(after));
            let opened = store.store();
            let stored = opened.check().expect("readable");
            assert!(stored.is_sound(), "{stored:?}");
            assert!(stored.frames as usize >= durable, "{durable} were acknowledged: {stored:?}");
            check_whole(&opened);
            let in_time = (stored.frames as usize) < all;
            early += usize::from(in_time);
            longest *= if again {
                1.0
            } else if in_time {
                1.05
            } else {
                0.7
            };
        }
        // Whoever listens next gets the rest; together it is what one quiet run stores.
        if number % 5 == 0 {
            run(&store, &frames, None);
            assert_eq!(check_whole(&store.store()), moves);
        }
    }
    assert!(early > 100, "only {early} kills came before the end");
}

#[test]
fn the_command_is_killed_too() {
    let store = Scratch::new("kill-command");
    let arguments = ["rehearse", "--hours", "0.02", "--seed", "31", "--store", &store.text()];
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
    command.args(arguments).stdout(Stdio::null()).stderr(Stdio::null());
    let mut seed = 5;
    for _ in 0..5 {
        let mut child = command.spawn().expect("it starts");
        std::thread::sleep(Duration::from_millis(300 + below(&mut seed, 500)));
        child.kill().ok();
        child.wait().expect("it ended");
        let found = store.store().check().expect("readable");
        assert!(found.is_sound() && found.missing.is_empty(), "{found:?}");
    }
    assert!(command.status().expect("it runs").success());
    let whole = Scratch::new("kill-command-whole");
    let arguments = ["rehearse", "--hours", "0.02", "--seed", "31", "--store", &whole.text()];
    let quiet = Command::new(env!("CARGO_BIN_EXE_stillpoint")).args(arguments).output().expect("it runs");
    assert!(quiet.status.success());
    assert_eq!(numbers(&store.store()), numbers(&whole.store()));
}
