//! Hostile clients: whatever one does, the next one is served, and the monitor's memory is bounded.

use std::io::Write;

use stillpoint::command::CommandEncoder;
use stillpoint_core::wire::command::{Apply, Command, DumpSince, Job, SetClock};
use stillpoint_core::wire::settings::Parameters;

use super::memory::{MOST_MEMORY, most_resident};
use super::*;

/// A client by its name. It acts until it is disconnected, or returns the connection that it leaves open.
type Client = (&'static str, fn(TcpStream) -> Option<TcpStream>);

/// Sends again and again what `next` makes, and reads nothing, until it is disconnected.
fn flood(mut stream: TcpStream, mut next: impl FnMut(u32) -> Vec<u8>) -> Option<TcpStream> {
    for count in 0.. {
        if stream.write_all(&next(count)).is_err() {
            return None;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    None
}

/// Sends hundreds of commands, and reads no answer.
fn commands(mut stream: TcpStream, command: fn(u32) -> Command) -> Option<TcpStream> {
    let mut encoder = CommandEncoder::default();
    for count in 0..500 {
        if stream.write_all(&encoder.encode(&command(count))).is_err() {
            return None;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    None
}

fn slowly(mut stream: TcpStream, bytes: &[u8]) -> Option<TcpStream> {
    for byte in bytes.iter().cycle() {
        if stream.write_all(&[*byte]).is_err() {
            return None;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    None
}

/// In rows of five; a row shares a rehearsal.
const CLIENTS: [[Client; 5]; 4] = [
    [
        ("silent", Some),
        ("closes at once", |_| None),
        ("garbage", |stream| {
            flood(stream, |count| count.wrapping_mul(2_654_435_761).to_le_bytes().repeat(64))
        }),
        ("zeros", |stream| flood(stream, |_| vec![0; 256])),
        ("closes within a command", |mut stream| {
            stream.write_all(&CommandEncoder::default().encode(&Command::Identify)[..4]).ok();
            None
        }),
    ],
    [
        ("slow bytes", |stream| slowly(stream, b"no command")),
        ("no zero", |stream| flood(stream, |_| vec![0xFF; 256])),
        ("asks and closes", |mut stream| {
            stream.write_all(&CommandEncoder::default().encode(&Command::Identify)).ok();
            None
        }),
        ("frames of a device", |stream| flood(stream, |_| b"\x05\x02\x57\x0b\x02\x01\x01".to_vec())),
        ("a web browser", |mut stream| {
            stream.write_all(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n").ok();
            Some(stream)
        }),
    ],
    [
        ("a slow head", |stream| slowly(stream, b"GET / HTTP/1.1\r\nX: ")),
        ("shuts its sending down", |stream| {
            stream.shutdown(std::net::Shutdown::Write).ok();
            Some(stream)
        }),
        ("shuts its reading down", |stream| {
            stream.shutdown(std::net::Shutdown::Read).ok();
            Some(stream)
        }),
        ("damaged commands", |stream| {
            let mut encoder = CommandEncoder::default();
            flood(stream, move |_| {
                let mut bytes = encoder.encode(&Command::Identify);
                let middle = bytes.len() / 2;
                bytes[middle] ^= 0x11;
                bytes.repeat(16)
            })
        }),
        ("half commands", |stream| {
            let mut encoder = CommandEncoder::default();
            flood(stream, move |_| [&encoder.encode(&Command::Identify)[..6], &[0]].concat().repeat(32))
        }),
    ],
    [
        ("sets the clock without end", |stream| {
            commands(stream, |count| {
                Command::SetClock(SetClock { now: [i64::MIN, i64::MAX][count as usize % 2] })
            })
        }),
        ("asks for the log without end", |stream| {
            commands(stream, |_| Command::DumpSince(DumpSince { boot: 0, priority: 1, sequence: 0 }))
        }),
        ("applies settings without end", |stream| {
            commands(stream, |window| {
                Command::Apply(Apply {
                    axis: window as u8,
                    parameters: Parameters { window, ..Parameters::default() },
                })
            })
        }),
        ("names jobs without end", |stream| {
            commands(stream, |number| Command::Job(Job { axis: Job::ALL_AXES, number }))
        }),
        ("never reads", |mut stream| {
            stream.write_all(b"nothing").ok();
            Some(stream)
        }),
    ],
];

fn check(row: &'static [Client; 5]) {
    let (rehearsal, place) = rehearse(&["--hours", "1", "--rate", "1000"]);
    for (name, act) in row {
        let stream = TcpStream::connect(&place[4..]).expect("it is connected");
        let still_open = act(stream);
        let next = stillpoint(&["device", &place, "identify", "--time-out", "30"]);
        let words = String::from_utf8_lossy(&next.stderr);
        assert_eq!(next.status.code(), Some(0), "after {name}: {words}");
        let memory = most_resident(&rehearsal.child);
        println!("{memory} kB: {name}");
        assert!(memory < MOST_MEMORY, "{name}: {memory} kB");
        drop(still_open);
    }
}

#[test]
fn after_a_hostile_client_the_next_is_served() {
    let rows = CLIENTS.iter().map(|row| std::thread::spawn(move || check(row)));
    let failed = rows.collect::<Vec<_>>().into_iter().filter_map(|row| row.join().err()).count();
    assert_eq!(failed, 0, "the messages are above");
}
