//! `rehearse --listen` through the binary: watched, configured, disconnected and watched again.

mod program;
#[path = "peer/memory.rs"]
mod memory;
#[path = "listen/hostile.rs"]
mod hostile;

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read};
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use stillpoint::store::{Options, Store};

use program::{done, stillpoint};

/// A program that hangs is stopped after this time.
const DEADLINE: Duration = Duration::from_secs(240);

fn program(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
    command.args(arguments).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// A running program, killed on drop, and its lines.
struct Running {
    child: Child,
    lines: Receiver<String>,
    begun: Instant,
}

impl Running {
    fn new(arguments: &[&str], lines_of: fn(&mut Child) -> Box<dyn Read + Send>) -> Running {
        let mut child = program(arguments).spawn().expect("it runs");
        let (out, lines) = channel();
        let source = BufReader::new(lines_of(&mut child));
        std::thread::spawn(move || source.lines().map_while(Result::ok).try_for_each(|line| out.send(line)));
        Running { child, lines, begun: Instant::now() }
    }

    fn watch(place: &str, store: &str) -> Running {
        let arguments = ["watch", place, "--store", store, "--axes", "tray,dibble,turntable"];
        // Stderr is drained, so that its pipe does not fill up.
        Running::new(&arguments, |child| {
            let mut notes = child.stderr.take().expect("a pipe");
            std::thread::spawn(move || std::io::copy(&mut notes, &mut std::io::sink()));
            Box::new(child.stdout.take().expect("a pipe"))
        })
    }

    /// The first line that `matches`.
    fn line(&self, matches: impl Fn(&str) -> bool) -> String {
        let mut before = String::new();
        loop {
            let remaining = DEADLINE.saturating_sub(self.begun.elapsed());
            let Ok(line) = self.lines.recv_timeout(remaining) else { panic!("no such line after: {before}") };
            if matches(&line) {
                return line;
            }
            before = format!("{before}{line}\n");
        }
    }

    /// Its exit status, once it ends by itself.
    fn ended(&mut self) -> Option<i32> {
        while self.begun.elapsed() < DEADLINE {
            if let Some(status) = self.child.try_wait().expect("a status") {
                return status.code();
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("it does not end");
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// A rehearsal, and the source to connect to.
fn rehearse(arguments: &[&str]) -> (Running, String) {
    rehearse_at("127.0.0.1:0", arguments)
}

fn rehearse_at(address: &str, arguments: &[&str]) -> (Running, String) {
    let running = Running::new(&[&["rehearse", "--listen", address], arguments].concat(), |child| {
        Box::new(child.stderr.take().expect("a pipe"))
    });
    let line = running.line(|line| line.contains("stillpoint device tcp:"));
    let place = line.split_whitespace().find(|word| word.starts_with("tcp:")).expect("a place");
    (running, place.to_owned())
}

/// Sends a request to the monitor.
#[track_caller]
fn request(place: &str, request: &str) -> String {
    let path = std::env::temp_dir().join(format!("stillpoint-{}-requests.store", std::process::id()));
    let (store, scratch) = (path.display().to_string(), Scratch(path));
    drop(Store::create(&scratch.0, &Options::default()).expect("a store"));
    let words = ["device", place].into_iter().chain(request.split(' '));
    done(&words.chain(["--store", &store, "--who", "M. Ito"]).collect::<Vec<_>>())
}

/// Numbers of the moves in a store, by axis.
fn moves(store: &str) -> BTreeMap<String, Vec<u64>> {
    let mut moves = BTreeMap::<_, Vec<u64>>::new();
    for line in done(&["moves", "--store", store, "--format", "jsonl"]).lines() {
        let line: serde_json::Value = serde_json::from_str(line).expect("JSON");
        let number = line["move"].as_u64().expect("a number");
        moves.entry(line["axis"].to_string()).or_default().push(number);
    }
    moves.values_mut().for_each(|numbers| numbers.sort_unstable());
    moves
}

/// A store file that is deleted at the end of the test.
struct Scratch(PathBuf);

impl Drop for Scratch {
    fn drop(&mut self) {
        for ending in ["", "-wal", "-shm"] {
            std::fs::remove_file(format!("{}{ending}", self.0.display())).ok();
        }
    }
}

/// Queries the monitor until an alarm of axis 1 is active, and returns its number.
fn alarm(place: &str) -> String {
    let begun = Instant::now();
    while begun.elapsed() < DEADLINE {
        let state = request(place, "identify");
        let open = state.lines().find_map(|line| line.strip_prefix("axis 1: alarm "));
        if let Some((number, _)) = open.and_then(|alarm| alarm.split_once(", the following error lasts")) {
            return number.to_owned();
        }
    }
    panic!("no alarm");
}

#[test]
fn a_rehearsal_is_watched_configured_disconnected_and_watched_again() {
    let name = format!("stillpoint-{}-listen.store", std::process::id());
    let scratch = Scratch(std::env::temp_dir().join(name));
    let store = scratch.0.display().to_string();
    let (mut rehearsal, place) = rehearse(&["--hours", "1", "--healthy"]);
    let watch = Running::watch(&place, &store);
    (0..5).for_each(|_| drop(watch.line(|line| line.contains("\"outcome\":"))));
    drop(watch);
    let before: usize = moves(&store).values().map(Vec::len).sum();
    assert!(before >= 5);
    // No axis follows its command within one count while it moves.
    let set = request(&place, "settings 1 following_error_window=1 following_error_time_out=10ms");
    assert!(
        set.starts_with("axis 1, from the next move on: following_error_window 4294967295 -> 1, "),
        "{set}"
    );
    let arranged = request(&place, "arrange 1 following-error latching=true");
    assert!(arranged.starts_with("axis 1, following-error: latching=true "), "{arranged}");
    let alarm = alarm(&place);
    let acknowledged = format!("axis 1: alarm {alarm}, the following error lasts: acknowledged\n");
    assert_eq!(request(&place, &format!("acknowledge {alarm}")), acknowledged);
    let log = request(&place, "dump-since 1 0");
    let in_log: usize = log.split(' ').find_map(|word| word.parse().ok()).expect("a number of moves");
    assert!(in_log > before, "there is a gap to fill: {before}, {log}");
    let watch = Running::watch(&place, &store);
    (0..in_log - before + 5).for_each(|_| drop(watch.line(|line| line.contains("\"outcome\":"))));
    drop(watch);
    let after = moves(&store);
    assert!(after.values().map(Vec::len).sum::<usize>() > in_log, "{after:?}");
    for (axis, numbers) in &after {
        assert!(numbers.iter().copied().eq(1..=numbers.len() as u64), "{axis}: {numbers:?}");
    }
    let found = Store::open(&scratch.0, &Options::default()).expect("a store").check().expect("readable");
    assert_eq!(found.missing, []);
    assert_eq!(rehearsal.child.try_wait().expect("a status"), None, "the monitor goes on");
}

#[test]
fn a_shift_ends_and_closes_the_connection() {
    let (mut rehearsal, place) = rehearse(&["--hours", "0.001", "--real-time"]);
    // A client that disconnects at once does not disturb; a connected client receives the end.
    drop(TcpStream::connect(&place[4..]).expect("a line"));
    let watched = stillpoint(&["watch", &place, "--once"]);
    assert_eq!(watched.status.code(), Some(1), "the line ends");
    let watched = String::from_utf8_lossy(&watched.stdout);
    assert!(watched.lines().count() > 5, "{watched}");
    assert_eq!(rehearsal.ended(), Some(0));
    assert!(rehearsal.line(|line| line.contains("the shift is over")).contains("invented"));
}

/// Checks exit status and message for wrong arguments.
#[track_caller]
fn refused(arguments: &[&str], parts: &[&str]) {
    let output = stillpoint(&[&["rehearse", "--listen"], arguments].concat());
    let message = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{message}");
    parts.iter().for_each(|part| assert!(message.contains(part), "{part:?} is not in {message:?}"));
}

#[test]
fn an_unusable_address_is_named() {
    let occupied = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = occupied.local_addr().expect("an address").to_string();
    let cause = TcpListener::bind(&address).expect_err("it is occupied").to_string();
    refused(
        &[&address],
        &[&format!("--listen {address}: can't be listened on: {cause}; "), "127.0.0.1:7007"],
    );
    refused(&["7007"], &["--listen 7007: can't be listened on: ", "127.0.0.1:7007"]);
    let stored = ["127.0.0.1:0", "--store", "shift.store"];
    refused(
        &stored,
        &[
            "--store shift.store: with --listen this command stores and prints nothing",
            "stillpoint watch tcp:",
        ],
    );
    let printed = ["127.0.0.1:0", "--format", "jsonl"];
    refused(
        &printed,
        &["--format jsonl: with --listen this command", "`stillpoint watch tcp:… --format jsonl`"],
    );
}

#[test]
fn other_computers_are_served_on_request_only() {
    for address in ["0.0.0.0:0", "[::]:0"] {
        if TcpListener::bind(address).is_ok() {
            refused(&[address], &["other computers reach this address", "SSH tunnel", "--allow-remote"]);
        }
    }
    let (rehearsal, _) = rehearse_at("0.0.0.0:0", &["--hours", "0.1", "--allow-remote"]);
    drop(rehearsal);
    let alone = stillpoint(&["rehearse", "--allow-remote"]);
    assert_eq!(alone.status.code(), Some(2));
}
