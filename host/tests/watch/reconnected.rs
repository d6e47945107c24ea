//! A line that is lost is opened again: it is said once, nothing is lost or doubled, and an interrupt ends it well.

use std::io::{BufRead, BufReader};
use std::net::TcpStream;
use std::process::{Child, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Instant;

use super::*;

/// A program that hangs is stopped after this time.
const DEADLINE: Duration = Duration::from_secs(120);

/// `watch`, and its lines.
pub(super) struct Running {
    child: Child,
    pub(super) out: Receiver<String>,
    pub(super) err: Receiver<String>,
    begun: Instant,
}

impl Running {
    pub(super) fn new(arguments: &[&str]) -> Running {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
        command.args(arguments).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("it runs");
        let (out, err) = (lines(child.stdout.take()), lines(child.stderr.take()));
        Running { child, out, err, begun: Instant::now() }
    }

    /// The next note with these words.
    #[track_caller]
    pub(super) fn note(&self, words: &str) -> String {
        let mut before = vec![];
        while let Ok(line) = self.err.recv_timeout(DEADLINE.saturating_sub(self.begun.elapsed())) {
            if line.contains(words) {
                return line;
            }
            before.push(line);
        }
        panic!("no {words:?} in {before:#?}");
    }

    /// The next line of output.
    #[track_caller]
    pub(super) fn line(&self) -> String {
        self.out.recv_timeout(DEADLINE.saturating_sub(self.begun.elapsed())).expect("a line")
    }

    /// Interrupts it as by Ctrl-C. Returns its status, and what it had still to write.
    pub(super) fn interrupt(mut self) -> (Option<i32>, Vec<String>, Vec<String>) {
        let id = self.child.id().to_string();
        assert!(Command::new("kill").args(["-INT", &id]).status().expect("it is interrupted").success());
        let status = self.child.wait().expect("it ends").code();
        (status, self.out.iter().collect(), self.err.iter().collect())
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

fn lines(pipe: Option<impl Read + Send + 'static>) -> Receiver<String> {
    let (out, lines) = channel();
    let pipe = BufReader::new(pipe.expect("a pipe"));
    std::thread::spawn(move || pipe.lines().map_while(Result::ok).try_for_each(|line| out.send(line)));
    lines
}

/// Runs a monitor for this many tenths of a second of its own time; false when the client has gone.
fn run(monitor: &mut Monitor, stream: &mut TcpStream, tenths: usize) -> bool {
    let (mut bytes, mut received) = (vec![], [0; 256]);
    for _ in 0..tenths {
        (0..400).for_each(|_| _ = monitor.step(&mut bytes));
        if let Ok(count) = stream.read(&mut received) {
            monitor.receive(&received[..count]);
        }
        if stream.write_all(&bytes).is_err() {
            return false;
        }
        bytes.clear();
    }
    true
}

/// A monitor that hangs up after ten seconds of its own time, runs on alone for ten, and is there again.
fn hangs_up() -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let place = format!("tcp:{}", listener.local_addr().expect("an address"));
    std::thread::spawn(move || {
        let (mut monitor, _) = Monitor::new(3, 4000, None).expect("a machine");
        for part in 0..2 {
            let (mut stream, _) = listener.accept().expect("a client");
            stream.set_read_timeout(Some(Duration::from_millis(1))).expect("a time-out");
            if part == 0 {
                run(&mut monitor, &mut stream, 100);
                let mut unheard = vec![];
                (0..40_000).for_each(|_| _ = monitor.step(&mut unheard));
                continue;
            }
            while run(&mut monitor, &mut stream, 1) {
                std::thread::sleep(Duration::from_millis(20));
            }
        }
    });
    place
}

#[test]
fn a_lost_line_is_opened_again_and_no_move_is_lost_or_doubled() {
    let store = std::env::temp_dir().join(format!("stillpoint-{}-lost.store", std::process::id()));
    let name = store.display().to_string();
    let watch = Running::new(&["watch", &hangs_up(), "--axes", "a,b,c", "--store", &name]);
    let lost = watch.note("trying until it is there again");
    assert!(lost.contains(": the other side has ended the connection; "), "{lost}");
    let back = watch.note("the line is back after ");
    assert!(back.ends_with(" s"), "{back}");
    // The monitor has made some 60 moves before, while nobody listened as many; wait for more than both.
    let mut moves: Vec<String> = (0..150).map(|_| watch.line()).collect();
    let (status, more, notes) = watch.interrupt();
    assert_eq!(status, Some(0), "{notes:#?}");
    assert!(!notes.iter().any(|note| note.contains("the line is") || note.contains("trying")), "{notes:#?}");
    moves.extend(more);
    let mut numbers = std::collections::BTreeMap::<String, Vec<u64>>::new();
    for line in &moves {
        let line: serde_json::Value = serde_json::from_str(line).expect("JSON");
        let number = line["move"].as_u64().expect("a number");
        numbers.entry(line["axis"].to_string()).or_default().push(number);
    }
    assert_eq!(numbers.len(), 3);
    for (axis, mut numbers) in numbers {
        numbers.sort_unstable();
        assert!(numbers.iter().copied().eq(1..=numbers.len() as u64), "{axis}: {numbers:?}");
    }
    let stored = text(&stillpoint(&["moves", "--store", &name, "--format", "jsonl"]).stdout);
    assert_eq!(stored.lines().count(), moves.len());
    for ending in ["", "-wal", "-shm"] {
        std::fs::remove_file(format!("{name}{ending}")).ok();
    }
}

#[test]
fn an_interrupt_prints_the_table_and_is_no_failure() {
    let watch = Running::new(&["watch", &hangs_up(), "--axes", "a,b,c", "--format", "table"]);
    watch.note("the line is back after ");
    let (status, table, notes) = watch.interrupt();
    assert_eq!(status, Some(0), "{notes:#?}");
    assert!(table.len() > 20 && table.iter().any(|line| line.contains("settled")), "{table:#?}");
    assert!(notes.iter().any(|note| note.contains(" lost in transmission")), "{notes:#?}");
}

#[test]
fn a_silent_line_is_told_and_taken_for_lost() {
    let place = hostile::peers::serve(|victim| victim.stay());
    let watch = Running::new(&["watch", &place, "--time-out", "1"]);
    watch.note("nothing for 0.5 s since the line was opened: check power, wiring and port");
    watch.note("nothing for 1.0 s since the line was opened");
    let (status, _, _) = watch.interrupt();
    assert_eq!(status, Some(0));
    let once = stillpoint(&["watch", &place, "--time-out", "0.5", "--once"]);
    assert_eq!(once.status.code(), Some(1));
    assert!(
        text(&once.stderr).contains("nothing for 0.5 s since the line was opened"),
        "{}",
        text(&once.stderr)
    );
}

#[test]
fn a_port_that_is_not_there_yet_is_waited_for_and_a_wrong_name_is_not() {
    let place = |port: u16| format!("127.0.0.1:{port}");
    let free = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("an address").port();
    let watch = Running::new(&["watch", &format!("tcp:{}", place(free))]);
    let refused = watch.note("trying until it is there again");
    assert!(refused.contains("nothing listens on this port"), "{refused}");
    let listener = TcpListener::bind(place(free)).expect("the port is still free");
    let (mut stream, _) = listener.accept().expect("the client comes");
    let mut bytes = vec![];
    let (mut monitor, _) = Monitor::new(3, 4000, None).expect("a machine");
    monitor.step(&mut bytes);
    stream.write_all(&bytes).expect("it is there");
    watch.note("the line is back after ");
    assert_eq!(watch.interrupt().0, Some(0));
    for wrong in ["tcp:monitor.invalid:4000", "tcp:127.0.0.1", "serial:not-there"] {
        assert_eq!(stillpoint(&["watch", wrong]).status.code(), Some(1), "{wrong}");
    }
}

/// This computer's own address in its network, if it has one: no packet is sent to find it.
fn own_address() -> Option<std::net::IpAddr> {
    let socket = std::net::UdpSocket::bind("0.0.0.0:0").ok()?;
    // RFC 5737: this network is for documents only.
    socket.connect("192.0.2.1:9").ok()?;
    Some(socket.local_addr().ok()?.ip()).filter(|address| !address.is_loopback())
}

#[test]
fn a_plain_line_that_leaves_the_computer_is_warned_of_once() {
    let address = own_address().unwrap_or([127, 0, 0, 1].into());
    let listener = TcpListener::bind((address, 0)).expect("a port");
    let place = format!("tcp:{}", listener.local_addr().expect("an address"));
    std::thread::spawn(move || listener.incoming().map_while(Result::ok).for_each(drop));
    // The line is opened again and again.
    let end = hostile::run("warning", &["watch", &place], Some(Duration::from_secs(3)));
    let warnings = end
        .err
        .lines()
        .filter(|line| line.contains("encrypted") && line.contains("SSH tunnel or a VPN"))
        .count();
    assert_eq!(warnings, usize::from(!address.is_loopback()), "{}", end.err);
}
