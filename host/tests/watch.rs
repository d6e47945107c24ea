//! `watch` and `device` through the binary: files, a TCP connection, and answers.

#[path = "peer/mod.rs"]
mod hostile;
#[path = "watch/hostile.rs"]
mod hostile_peers;
#[path = "watch/reconnected.rs"]
mod reconnected;
#[path = "watch/settings.rs"]
mod settings;
#[path = "watch/several.rs"]
mod several;

use std::io::{Read, Write};
use std::net::TcpListener;
use std::process::{Command, Output};
use std::time::Duration;

use stillpoint::source::rehearsal::monitor::Monitor;
use stillpoint::store::{Options, Store};
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::{LONGEST_FRAME, alarm, drift, finding, job, record, status};

fn stillpoint(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_stillpoint")).args(arguments).output().expect("it runs")
}

/// The same by a person who acts, with a store of its own whose journal records it.
fn recorded(name: &str, arguments: &[&str]) -> Output {
    let path = std::env::temp_dir().join(format!("stillpoint-{}-{name}.store", std::process::id()));
    drop(Store::create(&path, &Options::default()).expect("a store"));
    let store = path.display().to_string();
    let output = stillpoint(&[arguments, &["--store", &store, "--who", "M. Ito"]].concat());
    ["", "-wal", "-shm"].iter().for_each(|end| drop(std::fs::remove_file(format!("{store}{end}"))));
    output
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A monitor behind a TCP port that runs for this time from the first connection on. Unit: s
fn serve(seconds: f64) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("an address");
    std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("a listener");
        stream.set_read_timeout(Some(Duration::from_millis(1))).expect("a time-out");
        let (mut monitor, _) = Monitor::new(3, 4000, None).expect("a machine");
        let (mut bytes, mut received) = (vec![], [0; 256]);
        while monitor.seconds() < seconds {
            for _ in 0..400 {
                monitor.step(&mut bytes);
            }
            if let Ok(count) = stream.read(&mut received) {
                monitor.receive(&received[..count]);
            }
            if stream.write_all(&bytes).is_err() {
                return;
            }
            bytes.clear();
        }
        monitor.finish(&mut bytes);
        stream.write_all(&bytes).ok();
    });
    format!("tcp:{address}")
}

#[test]
fn a_connection_is_watched_to_its_end() {
    let watched = stillpoint(&["watch", &serve(20.0), "--once", "--axes", "tray,dibble,turntable"]);
    let words = text(&watched.stderr);
    assert_eq!(watched.status.code(), Some(1), "{words}");
    assert!(
        words.contains(": the other side has ended the connection; check the power of the monitor"),
        "{words}"
    );
    let lines = text(&watched.stdout);
    assert!(lines.lines().count() > 50 && lines.contains("\"axis\":\"dibble\""), "{lines}");
    assert!(text(&watched.stderr).contains("monitor on rehearsal"), "{}", text(&watched.stderr));
}

/// The output of `watch` on a file with the frames of these messages.
fn watched(name: &str, messages: &[Message]) -> Output {
    let (mut numbers, mut bytes) = (Numbers::new(Direction::FromDevice, 1), vec![]);
    for message in messages {
        let (header, mut frame) = (numbers.next_header(message.priority()), [0; LONGEST_FRAME]);
        bytes.extend(encode::<SmallTable>(&header, message, &mut frame).expect("it fits"));
    }
    watched_bytes(name, &bytes)
}

/// The output of `watch` on a file with these bytes.
fn watched_bytes(name: &str, bytes: &[u8]) -> Output {
    let file = std::env::temp_dir().join(format!("stillpoint-{}-{name}.frames", std::process::id()));
    std::fs::write(&file, bytes).expect("a file is written");
    let source = format!("file:{}", file.display());
    let watched = Command::new(env!("CARGO_BIN_EXE_stillpoint"))
        .args(["watch", &source, "--axes", "tray,dibble", "--format", "jsonl"])
        .env("TZ", "UTC")
        .output();
    std::fs::remove_file(&file).ok();
    watched.expect("it runs")
}

/// Findings and alarms are notes on stderr, one line each; stdout has only moves.
#[test]
fn findings_and_alarms_are_described_in_words() {
    let which = finding::Which::WrongRatio;
    let (severity, proposed) = (finding::Severity::Fault, Some((73, 72)));
    let found = finding::Finding { axis: 1, which, severity, proposed, ..finding::Finding::default() };
    let (subject, state) = (alarm::Subject::Signal, alarm::AlarmState::Unacknowledged);
    let alarm = alarm::Alarm { alarm: 3, axis: 1, subject, state, ..alarm::Alarm::default() };
    let watched = watched("findings", &[Message::Finding(found), Message::Alarm(alarm)]);
    assert_eq!((text(&watched.stdout).as_str(), watched.status.success()), ("", true));
    let lines = text(&watched.stderr);
    let scale =
        "finished moves don't fit the command scale: set it to 73/72 feedback counts per command count";
    assert!(lines.contains(&format!("dibble: fault, its numbers can't be right: {scale}\n")), "{lines}");
    assert!(lines.contains("dibble: alarm 3, the signals are wrong: unacknowledged\n"), "{lines}");
}

/// A drift is one line with its figures; so are a job and what it explains. Times are those of the monitor's clock, or
/// since its first reading while that is not set.
#[test]
fn drifts_jobs_and_causes_are_described_in_words() {
    let check = |clock: Option<i64>, since: &str| {
        let hello = status::Hello { ticks_per_second: 1000, clock, ..status::Hello::default() };
        let (forward, distance) = (true, 500);
        let kind = drift::Kind { axis: 1, kind: 2, forward, distance, ..drift::Kind::default() };
        let moves = (1..=9).map(|number| {
            let start = u64::from(number) * 60_000;
            let flags = record::flag::SETTLING;
            Message::Move(record::Move { axis: 1, kind: 2, number, start, flags, ..record::Move::default() })
        });
        let begin = drift::Drift {
            axis: 1,
            kind: 2,
            number: 9,
            moves: 9,
            since: 5,
            score: 256,
            ..Default::default()
        };
        let begin = drift::Drift { change: 3, middle: 40, ..begin };
        let end = drift::Drift { score: 0, returned: true, ..begin };
        let cause = drift::Cause::Job;
        let explained = drift::Explained { axis: 1, cause, key: 7, permille: [40; 12], ..Default::default() };
        let job = job::Job { axis: 1, number: 7, ..job::Job::default() };
        let messages = [Message::Hello(hello), Message::Kind(kind)].into_iter().chain(moves).chain([
            Message::Drift(begin),
            Message::Drift(end),
            Message::Job(job),
            Message::Explained(explained),
        ]);
        let messages: Vec<Message> = messages.collect();
        let lines = text(&watched("drifts", &messages).stderr);
        for line in [
            &format!("dibble, +500 count at 0 count/s (kind 2): slower by 3.0 ms (7.5 %) since {since}\n"),
            "dibble, +500 count at 0 count/s (kind 2): back at baseline\n",
            "dibble: job 7 begins\n",
            "dibble, job 7: 4.0 % slower\n",
        ] {
            assert!(lines.contains(line), "{line} in {lines}");
        }
    };
    // 2026-06-02T10:00:00Z
    check(Some(1_780_394_400_000_000), "10:06");
    check(None, "minute 6.0 of the monitor");
}

#[test]
fn a_monitor_answers() {
    let answer = text(&stillpoint(&["device", &serve(20.0), "identify"]).stdout);
    assert!(answer.contains("board rehearsal"), "{answer}");
    assert!(answer.contains("axis 2: "), "{answer}");
    let clock = recorded("clock", &["device", &serve(20.0), "set-clock"]);
    assert!(clock.status.success(), "{}", text(&clock.stderr));
}

#[test]
fn an_unusable_source_is_named() {
    let wrong = stillpoint(&["watch", "nowhere"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(text(&wrong.stderr).contains("serial:PATH, tcp:HOST:PORT, file:PATH or probe:CHIP"));
    let missing = stillpoint(&["watch", "file:not-there.frames"]);
    assert_eq!(missing.status.code(), Some(1));
    assert!(text(&missing.stderr).contains("not-there.frames"));
    let no_probe = recorded("no-probe", &["device", "serial:port", "flash", "image.elf"]);
    assert_eq!(no_probe.status.code(), Some(2));
    assert!(text(&no_probe.stderr).contains("serial:port: is not a probe; give probe:CHIP"));
}

#[test]
fn a_file_without_frames_is_no_monitors() {
    let file = std::env::temp_dir().join(format!("stillpoint-{}-recording.csv", std::process::id()));
    let source = format!("file:{}", file.display());
    for content in ["", "t_s,command,feedback\n0.0,1,1\n"] {
        std::fs::write(&file, content).expect("a file is written");
        let refused = stillpoint(&["watch", &source]);
        let words = text(&refused.stderr);
        assert_eq!((refused.status.code(), text(&refused.stdout).as_str()), (Some(1), ""), "{words}");
        let expected = format!("{}: holds no frames of a monitor; name a file", file.display());
        assert!(words.contains(&expected) && words.contains("`stillpoint measure`"), "{words}");
    }
    std::fs::remove_file(&file).ok();
    assert!(watched("a-frame", &[Message::Hello(status::Hello::default())]).status.success());
}

/// `--features probe` has its own tests.
#[cfg(not(feature = "probe"))]
#[test]
fn a_build_without_probes_reports_it() {
    for refused in [
        stillpoint(&["watch", "probe:STM32G474RETx"]),
        recorded("unbuilt", &["device", "probe:STM32G474RETx", "flash", "a"]),
    ] {
        assert_eq!(refused.status.code(), Some(1));
        let words = text(&refused.stderr);
        assert!(
            words.contains("probe:STM32G474RETx: this program was built without support for probes"),
            "{words}"
        );
        assert!(words.contains("build it with `--features probe`"), "{words}");
    }
}
