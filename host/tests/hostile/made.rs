//! In: hostile texts. Out: a folder with recordings, frames of a monitor and stores that hold them, and a monitor.

use std::io::{Read, Write};
use std::net::TcpListener;
use std::path::PathBuf;

use stillpoint::source::rehearsal::monitor::Monitor;
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::status::{Hello, Reset};
use stillpoint_core::wire::{LONGEST_FRAME, alarm, finding};
use stillpoint_core::{Parameters, Settings};
use stillpoint_firmware::app::{App, Identity};
use stillpoint_firmware::memory::MemoryFlash;
use stillpoint_firmware::sampler::Raw;
use stillpoint_firmware::tap::Register;

use crate::recordings::{Tail, recording};

/// A formula, markup, and what moves a cursor, ends a line, turns the order of letters, or hides.
pub(crate) const HOSTILE: &str = "=1+1<hostile>&'\"\x1b[2J\x1b]0;x\x07\u{9B}31m\u{90}\x7F\u{85}\r\n\t\u{2028}\u{2029}\u{202E}gnp\
    \u{2066}\u{200E}\u{200F}\u{61C}\u{FEFF}\u{E0041} onload=\"x";
/// The same in 32 bytes, which a monitor can send.
pub(crate) const SHORT: &str = "=1<hostile>\x1b[2J\u{9B}\u{202E}\u{2028}\x07";

/// A folder for one test; goes when the test is over.
pub(crate) struct Folder(PathBuf);

impl Folder {
    pub(crate) fn new(test: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("stillpoint-hostile-{}-{test}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder for the test");
        Folder(path)
    }

    pub(crate) fn path(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }

    pub(crate) fn write(&self, name: &str, text: impl AsRef<[u8]>) -> String {
        std::fs::write(self.0.join(name), text).expect("a file for the test");
        self.path(name)
    }
}

impl AsRef<std::path::Path> for Folder {
    fn as_ref(&self) -> &std::path::Path {
        &self.0
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        std::fs::remove_dir_all(&self.0).ok();
    }
}

/// A recording under a hostile name, with hostile columns and a hostile unit.
pub(crate) fn hostile_recording(folder: &Folder, name: &str, constant: f64) -> String {
    let part = |at: usize| (at * 37 % 101) as f64 / 101.0;
    let tails =
        (0..12).map(|at| Tail { height: 0.5, constant: constant * (1.0 + 0.2 * part(at)), offset: 0.0 });
    let lines = recording(&tails.collect::<Vec<Tail>>(), 10.0);
    let words = "<hostile>\x1b[2J\u{9B}\u{202E}\u{2066}\x07";
    let head = format!("t_s,command {words} [mm],feedback {words} [mm]\n");
    folder.write(name, lines.replacen("t_s,command [mm],feedback [mm]\n", &head, 1))
}

/// What a monitor sends that was tampered with: its names, an alarm, a finding.
pub(crate) fn tampered_frames(folder: &Folder) -> String {
    let hello = Hello {
        device: [7; 12],
        board: SHORT,
        firmware: SHORT,
        axes: 3,
        ticks_per_second: 1000,
        ..Hello::default()
    };
    let (subject, state) = (alarm::Subject::Signal, alarm::AlarmState::Unacknowledged);
    let alarm = alarm::Alarm { alarm: 3, axis: 1, subject, state, ..alarm::Alarm::default() };
    let finding = finding::Finding { axis: 1, ..finding::Finding::default() };
    let (mut numbers, mut bytes) = (Numbers::new(Direction::FromDevice, 1), vec![]);
    for message in [Message::Hello(hello), Message::Alarm(alarm), Message::Finding(finding)] {
        let (header, mut frame) = (numbers.next_header(message.priority()), [0; LONGEST_FRAME]);
        bytes.extend(encode::<SmallTable>(&header, &message, &mut frame).expect("it fits"));
    }
    folder.write("tampered.frames", bytes)
}

/// Moves of the invented machine.
pub(crate) fn frames(folder: &Folder, seconds: f64) -> String {
    let (mut monitor, _) = Monitor::new(3, 4000, None).expect("a machine");
    let mut bytes = vec![];
    while monitor.seconds() < seconds {
        monitor.step(&mut bytes);
    }
    monitor.finish(&mut bytes);
    folder.write("moves.frames", bytes)
}

/// A monitor on a board with a hostile name; serves one client after another until the test ends.
pub(crate) fn served() -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("an address");
    let settings = Settings::new(Parameters { window: 50, ..Parameters::at(1_000_000) }).expect("settings");
    let identity = Identity { device: [8; 12], board: SHORT, reset: Reset::PowerOn, period: 1000 };
    std::thread::spawn(move || {
        let flash = MemoryFlash::new(vec![0; 1 << 20]);
        let mut monitor = App::<2, _>::new(identity, [settings; 2], flash).expect("a monitor");
        monitor.sample(0, &[Raw { command: Register::Whole(0), feedback: Register::Whole(0) }; 2]);
        for stream in listener.incoming() {
            let (mut stream, mut received, mut sent) = (stream.expect("a connection"), [0; 256], [0; 4096]);
            while let Ok(count @ 1..) = stream.read(&mut received) {
                monitor.receive(&received[..count]);
                while let count @ 1.. = monitor.transmit(&mut sent) {
                    if stream.write_all(&sent[..count]).is_err() {
                        break;
                    }
                }
            }
        }
    });
    format!("tcp:{address}")
}
