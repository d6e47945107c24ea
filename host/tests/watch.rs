//! `rehearse`, `watch` and `device` through the binary: files, a line over TCP, and answers.

use std::io::{Read, Write};
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::{Command, Output};
use std::time::Duration;

use stillpoint::source::rehearsal::monitor::Monitor;

fn stillpoint(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_stillpoint")).args(arguments).output().expect("it runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn scratch(name: &str) -> PathBuf {
    std::env::temp_dir().join(format!("stillpoint-{}-{name}", std::process::id()))
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
fn kept_frames_tell_the_same_moves_again() {
    let store = scratch("kept.frames");
    std::fs::remove_file(&store).ok();
    let path = store.display().to_string();
    let live =
        stillpoint(&["rehearse", "--hours", "0.01", "--seed", "5", "--format", "jsonl", "--store", &path]);
    let again = stillpoint(&["watch", &format!("file:{path}")]);
    std::fs::remove_file(&store).ok();
    assert!(live.status.success() && again.status.success(), "{}", text(&again.stderr));
    let moves = |output: &Output| -> Vec<(serde_json::Value, serde_json::Value)> {
        let lines = text(&output.stdout);
        let read = lines.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).expect("JSON"));
        read.map(|line| (line["move"].clone(), line["settling_s"].clone())).collect()
    };
    assert!(moves(&live).len() > 100);
    assert_eq!(moves(&live), moves(&again));
    assert!(text(&again.stderr).contains("0 lost on the line"), "{}", text(&again.stderr));
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
    assert!(text(&wrong.stderr).contains("serial:PATH, tcp:HOST:PORT, file:PATH or probe:CHIP"));
    let missing = stillpoint(&["watch", "file:not-there.frames"]);
    assert_eq!(missing.status.code(), Some(1));
    assert!(text(&missing.stderr).contains("not-there.frames"));
    let no_probe = stillpoint(&["device", "serial:port", "flash", "image.elf"]);
    assert_eq!(no_probe.status.code(), Some(2));
    assert!(text(&no_probe.stderr).contains("serial:port: is no probe; say probe:CHIP"));
}

/// `--features probe` has its own tests.
#[cfg(not(feature = "probe"))]
#[test]
fn a_build_without_probe_says_so() {
    for arguments in [&["watch", "probe:STM32G474RETx"][..], &["device", "probe:STM32G474RETx", "flash", "a"]]
    {
        let refused = stillpoint(arguments);
        assert_eq!(refused.status.code(), Some(1));
        let words = text(&refused.stderr);
        assert!(words.contains("probe:STM32G474RETx: this program was built without probe"), "{words}");
        assert!(words.contains("build it with `--features probe`"), "{words}");
    }
}
