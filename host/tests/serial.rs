//! A serial port without hardware: the monitor on one end of a pseudo-terminal, `serial:` on the other.
#![cfg(target_os = "linux")]

#[path = "probe/deadline.rs"]
mod deadline;

use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::os::fd::AsFd;
use std::os::unix::fs::OpenOptionsExt;
use std::process::{Command as Process, Stdio};
use std::sync::mpsc::{Sender, channel};
use std::thread::{JoinHandle, spawn};

use deadline::in_time;
use nix::fcntl::OFlag;
use nix::poll::{PollFd, PollFlags, PollTimeout, poll};
use nix::pty::{grantpt, posix_openpt, ptsname_r, unlockpt};
use stillpoint::command::CommandEncoder;
use stillpoint::decode::{Decoder, DeviceEvent};
use stillpoint::source::rehearsal::monitor::Monitor;
use stillpoint::source::{self, Connection};
use stillpoint_core::Record;
use stillpoint_core::wire::command::{Apply, Command};

/// Unit: s
const SHIFT: f64 = 30.0;

fn monitor() -> Monitor {
    Monitor::new(3, 4000, None).expect("a machine").0
}

/// The far end: a monitor that runs from its first command on, until the test makes it hang up.
struct Far {
    port: File,
    monitor: Monitor,
}

impl Far {
    /// The name of the near end, a sender that makes the far end hang up, and its thread.
    fn start() -> (String, Sender<()>, JoinHandle<()>) {
        // Both ends are closed in child processes; else the program under test would hold its own far end open.
        let master =
            posix_openpt(OFlag::O_RDWR | OFlag::O_NOCTTY | OFlag::O_CLOEXEC).expect("a pseudo-terminal");
        grantpt(&master).and_then(|()| unlockpt(&master)).expect("its near end is free");
        let name = ptsname_r(&master).expect("its name");
        let mut near = OpenOptions::new();
        near.read(true).custom_flags(OFlag::O_NOCTTY.bits());
        let near = near.open(&name).expect("its near end");
        let port = File::from(master.as_fd().try_clone_to_owned().expect("a handle"));
        let mut far = Far { port, monitor: monitor() };
        drop(master);
        let (hang_up, signal) = channel();
        let thread = spawn(move || {
            assert!(far.receive(PollTimeout::NONE), "a command");
            // Until the first command only this handle holds the near end open.
            drop(near);
            while far.monitor.seconds() < SHIFT {
                far.receive(PollTimeout::ZERO);
                far.work();
            }
            while signal.try_recv().is_err() {
                if far.receive(PollTimeout::from(10_u8)) {
                    far.work();
                }
            }
        });
        (format!("serial:{name}"), hang_up, thread)
    }

    /// Receives commands; `false` if there are none.
    fn receive(&mut self, wait: PollTimeout) -> bool {
        let mut polled = [PollFd::new(self.port.as_fd(), PollFlags::POLLIN)];
        if poll(&mut polled, wait).expect("the port is polled") == 0 {
            return false;
        }
        let mut bytes = [0; 256];
        // Reading fails once the near end is closed.
        let Ok(count) = self.port.read(&mut bytes) else { return false };
        self.monitor.receive(&bytes[..count]);
        true
    }

    /// Runs a tenth of a second of samples.
    fn work(&mut self) {
        let mut bytes = vec![];
        for _ in 0..400 {
            self.monitor.step(&mut bytes);
        }
        self.port.write_all(&bytes).expect("the port accepts it");
    }
}

/// The moves of the shift, decoded without a port.
fn truth() -> Vec<(u8, Record)> {
    let (mut monitor, mut bytes, mut moves) = (monitor(), vec![], vec![]);
    while monitor.seconds() < SHIFT {
        monitor.step(&mut bytes);
    }
    Decoder::default().push(&bytes, &mut |event| add_move(&mut moves, &event));
    moves
}

fn add_move(moves: &mut Vec<(u8, Record)>, event: &DeviceEvent) {
    if let DeviceEvent::Move(decoded) = event {
        moves.push((decoded.axis, decoded.record));
    }
}

/// Reads until `enough` returns true.
fn read_until(reader: &mut dyn Read, decoder: &mut Decoder, enough: &mut dyn FnMut(&DeviceEvent) -> bool) {
    let (mut done, mut bytes) = (false, [0; 4096]);
    while !done {
        let count = reader.read(&mut bytes).expect("the port is read");
        decoder.push(&bytes[..count], &mut |event| done |= enough(&event));
    }
}

#[test]
fn moves_arrive_and_commands_get_through() {
    in_time(|| {
        let (truth, (place, hang_up, far)) = (truth(), Far::start());
        let Connection { mut reader, writer, .. } = source::open(&place).expect("the port opens");
        let (mut writer, mut commands) = (writer.expect("a port takes commands"), CommandEncoder::new(1));
        let mut send = |command| writer.write_all(&commands.encode(&command)).expect("the port accepts it");
        let (mut decoder, mut moves, mut parameters) = (Decoder::default(), vec![], None);
        send(Command::Identify);
        read_until(&mut *reader, &mut decoder, &mut |event| {
            add_move(&mut moves, event);
            if let DeviceEvent::Settings(settings) = event
                && settings.axis == 1
            {
                parameters = Some(settings.parameters);
            }
            moves.len() == truth.len()
        });
        assert!(truth.len() > 50 && moves == truth, "{} moves of {}", moves.len(), truth.len());
        assert_eq!(decoder.counts().lost, 0);
        let mut parameters = parameters.expect("settings are reported");
        parameters.window += 7;
        send(Command::Apply(Apply { axis: 1, parameters }));
        let applied = &mut |event: &DeviceEvent| matches!(event, DeviceEvent::Settings(one) if one.parameters == parameters);
        read_until(&mut *reader, &mut decoder, applied);
        hang_up.send(()).expect("the far end waits");
        far.join().expect("the far end did well");
        let mut bytes = [0; 4096];
        let error = loop {
            if let Err(error) = reader.read(&mut bytes) {
                break source::connection_error(&place, error).to_string();
            }
        };
        let message = ": the other side has hung up; plug the monitor in again and restart this command";
        assert_eq!(error, format!("{place}{message}"));
    });
}

#[test]
fn a_hang_up_ends_a_watch_with_a_message_and_loses_no_move() {
    in_time(|| {
        let (place, hang_up, far) = Far::start();
        let mut process = Process::new(env!("CARGO_BIN_EXE_stillpoint"));
        process.args(["watch", &place, "--once"]).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut watch = process.spawn().expect("it runs");
        let mut lines = String::new();
        let mut out = std::io::BufReader::new(watch.stdout.take().expect("its output"));
        for _ in 0..truth().len() {
            std::io::BufRead::read_line(&mut out, &mut lines).expect("a move");
        }
        hang_up.send(()).expect("the far end waits");
        far.join().expect("the far end did well");
        out.read_to_string(&mut lines).expect("the rest");
        let done = watch.wait_with_output().expect("it ends");
        let words = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(1), "{words}");
        assert!(words.contains("the other side has hung up; plug the monitor in again"), "{words}");
        assert!(words.contains(" 0 lost in transmission"), "{words}");
        assert!(lines.lines().count() >= truth().len() && lines.lines().all(|line| line.ends_with('}')));
    });
}

/// A name that stays while the port behind it changes, as with a USB adapter that is plugged in again.
struct Link(std::path::PathBuf);

impl Link {
    fn to(&self, place: &str) {
        std::fs::remove_file(&self.0).ok();
        std::os::unix::fs::symlink(place.trim_start_matches("serial:"), &self.0).expect("a link");
    }
}

impl Drop for Link {
    fn drop(&mut self) {
        std::fs::remove_file(&self.0).ok();
    }
}

#[test]
fn a_port_that_was_unplugged_is_opened_again() {
    in_time(|| {
        let link = Link(std::env::temp_dir().join(format!("stillpoint-{}-port", std::process::id())));
        let (place, hang_up, far) = Far::start();
        link.to(&place);
        let mut process = Process::new(env!("CARGO_BIN_EXE_stillpoint"));
        process
            .args(["watch", &format!("serial:{}", link.0.display())])
            .stdout(Stdio::null())
            .stderr(Stdio::piped());
        let mut watch = process.spawn().expect("it runs");
        let notes = std::io::BufReader::new(watch.stderr.take().expect("its notes"));
        let mut notes = std::io::BufRead::lines(notes).map_while(Result::ok);
        let mut note = |words: &str| notes.find(|note| note.contains(words)).expect("the note");
        note("monitor on rehearsal");
        hang_up.send(()).expect("the far end waits");
        far.join().expect("the far end did well");
        std::fs::remove_file(&link.0).expect("the port is unplugged");
        note("the other side has hung up; trying until it is there again");
        let (place, hang_up, far) = Far::start();
        link.to(&place);
        note("the line is back after ");
        // The far end writes for some time yet, and waits where nobody reads.
        hang_up.send(()).expect("the far end waits");
        far.join().expect("the far end did well");
        let id = watch.id().to_string();
        assert!(Process::new("kill").args(["-INT", &id]).status().expect("it is interrupted").success());
        assert_eq!(watch.wait().expect("it ends").code(), Some(0));
    });
}
