//! `rehearse`, `watch` and `device` through the binary: files, a line over TCP, and answers.

use std::io::{Read, Write};
use std::net::TcpListener;
use std::process::{Command, Output};
use std::time::Duration;

use stillpoint::source::rehearsal::monitor::Monitor;

fn stillpoint(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_stillpoint")).args(arguments).output().expect("it runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A monitor that listens on a port and works through so many seconds once somebody has connected.
fn serve(seconds: f64) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("an address");
    std::thread::spawn(move || {
        let (mut line, _) = listener.accept().expect("a listener");
        line.set_read_timeout(Some(Duration::from_millis(1))).expect("a time-out");
        let (mut monitor, _) = Monitor::new(3, 4000, None).expect("a machine");
        let (mut bytes, mut heard) = (vec![], [0; 256]);
        while monitor.seconds() < seconds {
            for _ in 0..400 {
                monitor.step(&mut bytes);
            }
            if let Ok(count) = line.read(&mut heard) {
                monitor.hear(&heard[..count]);
            }
            if line.write_all(&bytes).is_err() {
                return;
            }
            bytes.clear();
        }
        monitor.finish(&mut bytes);
        line.write_all(&bytes).ok();
    });
    format!("tcp:{address}")
}

#[test]
fn a_line_is_watched_to_its_end() {
    let watched = stillpoint(&["watch", &serve(20.0), "--axes", "tray,dibble,turntable"]);
    assert!(watched.status.success(), "{}", text(&watched.stderr));
    let lines = text(&watched.stdout);
    assert!(lines.lines().count() > 50 && lines.contains("\"axis\":\"dibble\""), "{lines}");
    assert!(text(&watched.stderr).contains("monitor on rehearsal"), "{}", text(&watched.stderr));
}

#[test]
fn a_monitor_answers() {
    let told = text(&stillpoint(&["device", &serve(20.0), "identify"]).stdout);
    assert!(told.contains("board rehearsal"), "{told}");
    assert!(told.contains("axis 2: "), "{told}");
    let clock = stillpoint(&["device", &serve(20.0), "set-clock"]);
    assert!(clock.status.success());
}

#[test]
fn a_place_that_can_not_be_listened_to_is_named() {
    let wrong = stillpoint(&["watch", "nowhere"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(text(&wrong.stderr).contains("serial:PATH, tcp:HOST:PORT or file:PATH"));
    let missing = stillpoint(&["watch", "file:not-there.frames"]);
    assert_eq!(missing.status.code(), Some(1));
    assert!(text(&missing.stderr).contains("not-there.frames"));
}
