//! `device` through the binary, over TCP: answers in words, refusals, journal entries.

mod program;
#[path = "peer/mod.rs"]
mod hostile;
#[path = "device/hostile.rs"]
mod hostile_peers;
#[path = "device/declared.rs"]
mod declared;
#[path = "device/stale.rs"]
mod stale;
#[path = "device/sent.rs"]
mod sent;
#[path = "device/worn.rs"]
mod worn;

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use stillpoint::store::{Options, Store};
use stillpoint_core::wire::status::Reset;
use stillpoint_core::{Parameters, Settings};
use stillpoint_firmware::app::{App, Identity};
use stillpoint_firmware::memory::MemoryFlash;
use stillpoint_firmware::sampler::Raw;

use program::{done, stillpoint};
use stillpoint_firmware::tap::Register;

type Monitor = App<2, MemoryFlash<worn::Cells>>;

/// A monitor of two axes; the last three moves of the second did not settle.
fn monitor() -> Monitor {
    monitor_on(Arc::default())
}

/// The same; its flash is worn as soon as `is_worn` is set.
fn monitor_on(is_worn: Arc<AtomicBool>) -> Monitor {
    let parameters = Parameters { window: 50, ..Parameters::at(1_000_000) };
    let settings = Settings::new(parameters).expect("settings");
    let identity =
        Identity { device: *b"invented\0\0\0\0", board: "test", reset: Reset::PowerOn, period: 1000 };
    let flash = MemoryFlash::new(worn::Cells::new(1 << 20, is_worn));
    let mut monitor = App::new(identity, [settings; 2], flash).expect("a monitor");
    let word = |position: u32| Register::Whole(position);
    for sample in 0..4500_u32 {
        let (number, part) = (sample / 1000, (sample % 1000).min(200) * 100);
        let command = if number % 2 == 0 { part } else { 20_000 - part };
        let still = Raw { command: word(0), feedback: word(0) };
        let off = if (1001..=4000).contains(&sample) { 400 } else { 0 };
        monitor
            .sample(sample * 1000, &[still, Raw { command: word(command), feedback: word(command + off) }]);
    }
    monitor
}

/// Serves one client after another until the test ends.
fn serve(mut monitor: Monitor) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("an address");
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            answer(&mut monitor, &mut stream.expect("a connection"));
        }
    });
    format!("tcp:{address}")
}

fn answer(monitor: &mut Monitor, stream: &mut TcpStream) {
    let (mut received, mut sent) = ([0; 256], [0; 4096]);
    while let Ok(count @ 1..) = stream.read(&mut received) {
        monitor.receive(&received[..count]);
        while let count @ 1.. = monitor.transmit(&mut sent) {
            if stream.write_all(&sent[..count]).is_err() {
                return;
            }
        }
    }
}

/// Checks the exit status of a request, and its whole output or error message.
#[track_caller]
fn check(place: &str, request: &str, status: i32, expected: &str) {
    let scratch = Scratch::filled("check");
    let store = scratch.0.display().to_string();
    let by = ["--store", &store, "--who", "M. Ito"];
    let words: Vec<&str> = ["device", place].into_iter().chain(request.split(' ')).chain(by).collect();
    let output = stillpoint(&words);
    let text = if status == 0 { output.stdout } else { output.stderr };
    let text = String::from_utf8_lossy(&text).into_owned();
    let place = if status == 1 { format!("stillpoint: {place}: ") } else { String::new() };
    assert_eq!((output.status.code(), text), (Some(status), format!("{place}{expected}\n")), "{request}");
}

/// What is printed of a request whose arguments are wrong.
#[track_caller]
fn refusal(place: &str, request: &str) -> String {
    let scratch = Scratch::filled("refusal");
    let store = scratch.0.display().to_string();
    let by = ["--store", &store, "--who", "M. Ito"];
    let words: Vec<&str> = ["device", place].into_iter().chain(request.split(' ')).chain(by).collect();
    let output = stillpoint(&words);
    assert_eq!(output.status.code(), Some(2), "{request}");
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn alarm_actions_are_answered_in_words() {
    let place = serve(monitor());
    assert!(
        done(&["device", &place, "identify"])
            .ends_with("axis 1: alarm 1, stops don't settle: unacknowledged\n")
    );
    let alarm = |state: &str| format!("axis 1: alarm 1, stops don't settle: {state}");
    check(&place, "acknowledge 1", 0, &alarm("acknowledged"));
    let refused = "can't acknowledge alarm 1: it is acknowledged; it remains until its cause is removed";
    check(&place, "acknowledge 1", 1, refused);
    let unknown = "can't acknowledge alarm 7: it is normal or does not exist; alarms that are not normal: 1";
    check(&place, "acknowledge 7", 1, unknown);
    check(&place, "shelve 1 --minutes 90", 0, &alarm("shelved for 90 min"));
    let bounds = "give at least one minute, and at most the longest shelving of this alarm";
    check(&place, "shelve 1 --minutes 0", 1, &format!("can't shelve alarm 1: it is shelved; {bounds}"));
    check(&place, "shelve 1 --minutes 481", 1, &format!("can't shelve alarm 1: it is shelved; {bounds}"));
    check(&place, "unshelve 1", 0, &alarm("unacknowledged"));
    check(&place, "unshelve 1", 1, "can't unshelve alarm 1: it is unacknowledged; acknowledge it");
    check(&place, "out-of-service 1", 0, &alarm("out of service"));
    check(&place, "reset 1", 1, "can't reset alarm 1: it is out of service; return it to service");
    check(&place, "return-to-service 1", 0, &alarm("unacknowledged"));
}

#[test]
fn settings_are_shown_and_changed_or_the_broken_rule_is_named() {
    let place = serve(monitor());
    let shown = done(&["device", &place, "settings", "1"]);
    assert!(shown.starts_with("axis 1: ticks_per_second=1000000 window=50 window_time=10000 "), "{shown}");
    let changed = "axis 1, from the next move on: window 50 -> 60, window_time 10000 -> 5000";
    check(&place, "settings 1 window=60 window_time=5ms", 0, changed);
    check(&place, "settings 1 window=60", 0, "axis 1, from the next move on: no change");
    let unchanged = "the previous settings stay in force";
    let rule = "axis 1: window was refused: it must be less than 2^31 counts";
    check(&place, "settings 1 window=4000000000", 1, &format!("{rule}; {unchanged}"));
    let rule = "axis 1: inferred was refused: it must be true on no more axes than the board can infer";
    check(&place, "settings 1 inferred=true", 1, &format!("{rule}; {unchanged}"));
    check(&place, "settings 4 window=60", 1, "there is no axis 4; its axes are 0 to 1");
    let text = refusal(&place, "settings 1 widow=60");
    assert!(text.contains("widow=60: is not KEY=VALUE") && text.contains("rest_time, "), "{text}");
    let message = |wrong: &str| format!("stillpoint: settings {wrong}");
    let wrong = "window_time=-1ms: window_time can't have this value; give ticks, or a time such as 10ms, 2s, 5min \
        or 8h, of less than 2^32 ticks";
    check(&place, "settings 1 window_time=-1ms", 2, &message(wrong));
    let wrong =
        "definition=first: definition can't have this value; give last-entry, iso-9283 or target-reached";
    check(&place, "settings 1 definition=first", 2, &message(wrong));
    assert!(done(&["device", &place, "settings", "1"]).contains(" window=60 window_time=5000 "));
}

#[test]
fn samples_are_requested_and_moves_are_declared_good() {
    let place = serve(monitor());
    let captured = "axis 1: the samples around the next 5 stops will be sent; `stillpoint watch` stores them";
    check(&place, "capture 1 5", 0, captured);
    check(&place, "capture 1 0", 0, "axis 1: no more samples are sent");
    check(&place, "capture 2 5", 1, "there is no axis 2; its axes are 0 to 1");
    let declared = "are declared good as they run now; baselines are learnt anew";
    check(&place, "declare 1 --anyway", 0, &format!("axis 1: all kinds of moves {declared}"));
    check(&place, "declare 1 --kind 1 --anyway", 0, &format!("axis 1: moves of kind 1 {declared}"));
    let kinds = "store its frames with `stillpoint watch --store`; `stillpoint moves` then prints the kinds";
    let none = |why| format!("axis 0 can't be declared good: {why}; {kinds}");
    check(&place, "declare 0 --anyway", 1, &none("it has made no move yet"));
    check(&place, "declare 0 --kind 3 --anyway", 1, &none("it has no kind 3 of moves"));
    assert!(done(&["device", &place, "dump-since", "0", "0"]).ends_with("4 moves received\n"));
}

/// A board reports its status regularly, so one is often on its way when a request is made. It must not end the count.
#[test]
fn a_status_on_its_way_is_no_answer() {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let place = format!("tcp:{}", listener.local_addr().expect("an address"));
    let mut monitor = monitor();
    std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("a connection");
        let (mut received, mut sent) = ([0; 256], [0; 4096]);
        while let Ok(count @ 1..) = stream.read(&mut received) {
            monitor.publish_status(0);
            for request in [&received[..0], &received[..count]] {
                monitor.receive(request);
                while let count @ 1.. = monitor.transmit(&mut sent) {
                    stream.write_all(&sent[..count]).expect("sent");
                }
            }
        }
    });
    assert!(done(&["device", &place, "dump-since", "0", "0"]).ends_with("4 moves received\n"));
}

#[test]
fn a_job_is_set_for_one_axis_or_for_all() {
    let place = serve(monitor());
    check(&place, "job 4201", 0, "all axes: job 4201 from the next move on");
    check(&place, "job 0 --axis 1", 0, "axis 1: no job from the next move on");
    check(&place, "job 4201 --axis 2", 1, "there is no axis 2; its axes are 0 to 1");
}

#[test]
fn limits_and_the_time_of_a_baseline_are_settings() {
    let place = serve(monitor());
    let changed = "axis 1, from the next move on: baseline_minutes 1440 -> 60, settling_limit 0 -> 80000, \
        unsettled_limit_permille 0 -> 10";
    check(
        &place,
        "settings 1 baseline_minutes=60 settling_limit=80ms unsettled_limit_permille=10",
        0,
        changed,
    );
    let refused = "axis 1: unsettled_limit_permille was refused: it must be at most 999; \
        the previous settings stay in force";
    check(&place, "settings 1 unsettled_limit_permille=1000", 1, refused);
    let refused = "axis 1: baseline_minutes was refused: it must be at most 100000; \
        the previous settings stay in force";
    check(&place, "settings 1 baseline_minutes=100001", 1, refused);
}

#[test]
fn an_alarm_is_configured() {
    let place = serve(monitor());
    let line = |latching: bool, delay: &str, priority: &str| {
        format!(
            "axis 1, unsettled: latching={latching} on_delay={delay} off_delay=60s re_alarm_time=28800s \
            longest_shelving=28800s priority={priority}"
        )
    };
    check(&place, "arrange 1 unsettled", 0, &line(false, "0s", "medium"));
    let changes = "arrange 1 unsettled latching=true on_delay=1500ms priority=high";
    check(&place, changes, 0, &line(true, "1.5s", "high"));
    let refused = "axis 1: off_delay was refused: it must be at most 2^48 ticks";
    let unchanged = "the previous configuration stays in force";
    check(&place, "arrange 1 unsettled off_delay=999999h", 1, &format!("{refused}; {unchanged}"));
    check(&place, "arrange 1 unsettled", 0, &line(true, "1.5s", "high"));
    check(&place, "arrange 1 gap", 1, "axis 1 has no such alarm; the gap alarm belongs to axis 0");
    assert!(refusal(&place, "arrange 1 drift latch=true").contains("keys: latching, on_delay, "));
}

/// A store file that is deleted at the end of the test.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Scratch {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let file = format!("stillpoint-{}-{name}-{number}.store", std::process::id());
        Scratch(std::env::temp_dir().join(file))
    }

    /// With an empty store in it.
    fn filled(name: &str) -> Scratch {
        let scratch = Scratch::new(name);
        drop(Store::create(&scratch.0, &Options::default()).expect("a store"));
        scratch
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        for ending in ["", "-wal", "-shm"] {
            std::fs::remove_file(format!("{}{ending}", self.0.display())).ok();
        }
    }
}

/// More of them.
const CHANGES: [&str; 7] = [
    "set-clock",
    "job 7",
    "arrange 1 drift latching=true",
    "reset 1",
    "unshelve 1",
    "return-to-service 1",
    "flash image.elf",
];

#[test]
fn clock_job_and_arrangement_are_recorded_too() {
    let (place, scratch) = (serve(monitor()), Scratch::filled("recorded"));
    let store = scratch.0.display().to_string();
    for request in &CHANGES[..3] {
        let words = ["device", &place].into_iter().chain(request.split(' '));
        let words = words.chain(["--store", &store, "--who", "M. Ito"]).collect::<Vec<_>>();
        done(&words);
    }
    let journal = done(&["store", "journal", "--store", &store]);
    let entries: Vec<serde_json::Value> =
        journal.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    let found: Vec<_> = entries
        .iter()
        .filter(|line| line["who"] == "M. Ito")
        .map(|line| (&line["what"], &line["axis"]))
        .collect();
    let expected = [("clock", None), ("job", Some(0)), ("settings", Some(1))];
    let expected = expected.map(|(what, axis): (_, Option<u8>)| (what.into(), axis.into()));
    assert_eq!(found, expected.iter().map(|(what, axis)| (what, axis)).collect::<Vec<_>>(), "{journal}");
}

#[test]
fn actions_are_recorded_in_the_journal() {
    let (place, scratch) = (serve(monitor()), Scratch::new("journal"));
    let store = scratch.0.display().to_string();
    let run = |request: &str| {
        let words = ["device", &place].into_iter().chain(request.split(' '));
        stillpoint(&words.chain(["--store", &store, "--who", "M. Ito"]).collect::<Vec<_>>())
    };
    // Without a store no action is taken.
    let lost = run("acknowledge 1");
    assert_eq!(lost.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&lost.stderr).contains("there is no store here"));
    assert!(done(&["device", &place, "identify"]).contains("alarm 1, stops don't settle: unacknowledged"));
    drop(Store::create(&scratch.0, &Options::default()).expect("a store"));
    let work =
        ["acknowledge 1", "shelve 1 --minutes 30", "out-of-service 1", "settings 1 window=60", "declare 1"];
    // Nobody changes anything without a name.
    for request in work.iter().copied().chain(CHANGES) {
        let words: Vec<&str> = ["device", &place].into_iter().chain(request.split(' ')).collect();
        let output = stillpoint(&words);
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{request}");
        assert!(text.contains("--who NAME: is missing") && text.contains("--store"), "{request}: {text}");
    }
    let shown = done(&["device", &place, "identify"]);
    assert!(shown.contains("alarm 1, stops don't settle: unacknowledged") && !shown.contains("window=60"));
    for request in work {
        let output = run(request);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }
    assert_eq!(run("reset 1").status.code(), Some(1), "a refused action is not recorded");
    let journal = done(&["store", "journal", "--store", &store]);
    let entries: Vec<(String, String, u64)> = journal
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).expect("JSON"))
        .filter(|line| line["who"] == "M. Ito")
        .map(|line| {
            (line["what"].to_string(), line["text"].to_string(), line["axis"].as_u64().expect("an axis"))
        })
        .collect();
    let texts = [
        ("acknowledgement", "axis 1: alarm 1, stops don't settle: acknowledged"),
        ("shelving", "axis 1: alarm 1, stops don't settle: shelved for 30 min"),
        ("out of service", "axis 1: alarm 1, stops don't settle: out of service"),
        ("settings", "axis 1, from the next move on: window 50 -> 60"),
        (
            "baseline",
            "axis 1: all kinds of moves are declared good as they run now; baselines are learnt anew; nothing was \
                compared: the store has no moves of the last hour and the week before",
        ),
    ];
    let expected = texts.map(|(what, text)| (format!("{what:?}"), format!("{text:?}"), 1));
    assert_eq!(entries, expected);
    // Every state change once, although the monitor sent it several times.
    let alarms = done(&["alarms", "--store", &store, "--format", "csv"]);
    let cells: Vec<Vec<&str>> = alarms.lines().skip(1).map(|line| line.split(',').collect()).collect();
    let steps: Vec<(&str, &str)> = cells.iter().map(|cells| (cells[4], cells[11])).collect();
    let by = |state| (state, "M. Ito");
    assert_eq!(steps, [("unacknowledged", ""), by("acknowledged"), by("shelved"), by("out of service")]);
    assert!(cells.iter().all(|cells| cells[5..11] == ["4", "3", "3", "kind 1", "medium", "S"]), "{alarms}");
}

#[test]
fn who_needs_store_and_a_connection_needs_an_answer() {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let place = format!("tcp:{}", listener.local_addr().expect("an address"));
    std::thread::spawn(move || {
        // The command is read first: closing a connection with unread bytes resets it.
        let read = |stream: std::io::Result<TcpStream>| stream.expect("a connection").read(&mut [0; 256]);
        listener.incoming().for_each(|stream| drop(read(stream)));
    });
    let remedy = "check that a monitor is connected and that no other program uses the connection";
    check(&place, "acknowledge 1", 1, &format!("the connection ended without an answer; {remedy}"));
    for half in [["--who", "M. Ito"], ["--store", "shift.store"]] {
        let words = [&["device", &place, "acknowledge", "1"], &half[..]].concat();
        assert_eq!(stillpoint(&words).status.code(), Some(2));
    }
}
