//! In: a client that has connected. Out: what a hostile, damaged or half-dead monitor does to it. Each goes on until the
//! client has gone; floods pause between chunks, so that many can run beside each other.

use std::io::{ErrorKind, Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::time::Duration;

use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::alarm::{Alarm, AlarmState, Arranged, Subject};
use stillpoint_core::wire::crc::Crc;
use stillpoint_core::wire::drift::{Baseline, Drift, Explained, Kind, Restart};
use stillpoint_core::wire::finding::Finding;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::job::Job;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::ringing::Ringing;
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::{Gap, Hello, Status};

/// A peer by its name.
pub(crate) type Peer = (&'static str, fn(&mut Victim));

/// Pause between the chunks of a flood.
const PAUSE: Duration = Duration::from_millis(5);

/// Bytes of a chunk.
const CHUNK: usize = 1 << 14;

/// The client, and the numbers of the frames for it.
pub(crate) struct Victim {
    stream: TcpStream,
    boot: u32,
    next: [u32; 4],
    is_replay: bool,
}

impl Victim {
    fn new(stream: TcpStream) -> Victim {
        Victim { stream, boot: 7, next: [0; 4], is_replay: false }
    }

    /// The next frame with this message.
    fn frame(&mut self, message: &Message) -> Vec<u8> {
        let priority = message.priority();
        let sequence = self.next[priority as usize];
        self.next[priority as usize] = sequence.wrapping_add(1);
        self.frame_of(sequence, message)
    }

    fn frame_of(&self, sequence: u32, message: &Message) -> Vec<u8> {
        let priority = message.priority();
        let (direction, replay) = (Direction::FromDevice, self.is_replay);
        let header = Header { version: 2, direction, replay, priority, boot: self.boot, sequence };
        encode::<FastCrc>(&header, message, &mut [0; LONGEST_FRAME]).expect("it fits").to_vec()
    }

    /// Whether the client still takes the bytes.
    fn send(&mut self, bytes: &[u8]) -> bool {
        self.stream.write_all(bytes).is_ok()
    }

    /// Sends chunks of what `next` makes until the client has gone.
    pub(crate) fn flood(&mut self, mut next: impl FnMut(&mut Victim, u32) -> Vec<u8>) {
        let mut count = 0_u32;
        loop {
            let mut chunk = vec![];
            while chunk.len() < CHUNK {
                chunk.extend(next(self, count));
                count = count.wrapping_add(1);
            }
            if !self.send(&chunk) {
                return;
            }
            std::thread::sleep(PAUSE);
        }
    }

    /// A flood of one message after another.
    fn chatter(&mut self, message: impl Fn(u32) -> Message<'static>) {
        self.flood(|victim, count| victim.frame(&message(count)));
    }

    /// Identity and settings of this many axes.
    fn state(&mut self, axes: u8) {
        let hello = Message::Hello(hello(axes));
        let mut bytes = self.frame(&hello);
        for axis in 0..axes {
            bytes.extend(self.frame(&settings(axis)));
        }
        self.send(&bytes);
    }

    /// Reads what the client sends until it has gone.
    pub(crate) fn stay(&mut self) {
        let mut bytes = [0; 4096];
        loop {
            match self.stream.read(&mut bytes) {
                Ok(1..) => (),
                Err(error) if error.kind() == ErrorKind::Interrupted => (),
                _ => return,
            }
        }
    }

    fn read(&mut self) {
        _ = self.stream.read(&mut [0; 4096]);
    }
}

fn hello(axes: u8) -> Hello<'static> {
    let ticks_per_second = 1_000_000;
    Hello { device: *b"hostile\0\0\0\0\0", board: "hostile", axes, ticks_per_second, ..Hello::default() }
}

fn settings(axis: u8) -> Message<'static> {
    let parameters =
        (&stillpoint_core::Parameters { window: 50, ..stillpoint_core::Parameters::at(1_000_000) }).into();
    Message::Settings(Settings { axis, parameters, ..Settings::default() })
}

fn moved(axis: u8, number: u32, start: u64) -> Message<'static> {
    Message::Move(Move { axis, number, start, ..Move::default() })
}

/// Bytes that look random.
fn noise(count: u32) -> Vec<u8> {
    let mut seed = count | 1;
    let mut next = || {
        seed ^= seed << 13;
        seed ^= seed >> 17;
        seed ^= seed << 5;
        seed as u8
    };
    (0..64).map(|_| next()).collect()
}

/// All of them.
pub(crate) const PEERS: [Peer; 44] = [
    ("silent", |victim| victim.stay()),
    ("closes at once", |_| ()),
    ("closes after a command", |victim| victim.read()),
    ("ends what it sends and stays", |victim| {
        victim.stream.shutdown(Shutdown::Write).ok();
        victim.stay();
    }),
    ("closes after hello", |victim| {
        let bytes = victim.frame(&Message::Hello(hello(2)));
        victim.send(&bytes);
        victim.read();
    }),
    ("closes after its state", |victim| {
        victim.state(2);
        victim.read();
    }),
    ("closes within a frame", |victim| {
        let bytes = victim.frame(&Message::Hello(hello(2)));
        victim.send(&bytes[..bytes.len() / 2]);
        victim.read();
    }),
    ("closes after a move", |victim| {
        victim.state(1);
        let bytes = victim.frame(&moved(0, 1, 5));
        victim.send(&bytes);
        victim.read();
    }),
    ("garbage", |victim| victim.flood(|_, count| noise(count))),
    ("zeros", |victim| victim.flood(|_, _| vec![0; 512])),
    ("no zero", |victim| victim.flood(|_, _| vec![0xFF; 512])),
    ("half frames", |victim| {
        victim.flood(|victim, _| {
            let mut frame = victim.frame(&Message::Hello(hello(2)));
            frame.truncate(frame.len() / 2);
            frame.push(0);
            frame
        });
    }),
    ("damaged frames", |victim| {
        victim.flood(|victim, _| {
            let mut frame = victim.frame(&settings(0));
            let middle = frame.len() / 2;
            frame[middle] ^= 0x41;
            frame
        });
    }),
    ("slow bytes", |victim| {
        let frame = victim.frame(&Message::Hello(hello(2)));
        for byte in frame.iter().cycle() {
            std::thread::sleep(Duration::from_millis(40));
            if !victim.send(&[*byte]) {
                return;
            }
        }
    }),
    ("chatter of status", |victim| victim.chatter(|_| Message::Status(Status::default()))),
    ("chatter of hello", |victim| victim.chatter(|_| Message::Hello(hello(3)))),
    ("hello of no axis", |victim| victim.chatter(|_| Message::Hello(hello(0)))),
    ("one axis of two", |victim| {
        victim.state(1);
        victim.chatter(|count| if count == 0 { Message::Hello(hello(2)) } else { settings(0) });
    }),
    ("endless axes", |victim| {
        let bytes = victim.frame(&Message::Hello(hello(255)));
        victim.send(&bytes);
        victim.chatter(|count| settings((count % 254) as u8));
    }),
    ("moves of endless axes", |victim| victim.chatter(|count| moved(count as u8, count, count.into()))),
    ("settings sent again", |victim| {
        victim.is_replay = true;
        victim.state(2);
        victim.chatter(|count| settings((count % 2) as u8));
    }),
    ("settings of one number", |victim| {
        victim.state(2);
        victim.flood(|victim, _| victim.frame_of(1, &settings(1)));
    }),
    ("unsolicited settings", |victim| {
        victim.state(2);
        victim.chatter(|count| settings((count % 2) as u8));
    }),
    ("a status that names other commands", |victim| {
        victim.state(2);
        let named = |count| Status { last_command: Some(count % 8), ..Status::default() };
        victim.chatter(|count| Message::Status(named(count)));
    }),
    ("endless alarms", |victim| {
        victim.state(2);
        let state = AlarmState::Unacknowledged;
        victim.chatter(|alarm| Message::Alarm(Alarm { alarm, state, ..Alarm::default() }));
    }),
    ("endless kinds", |victim| {
        victim.state(2);
        victim.chatter(|kind| Message::Kind(Kind { kind, ..Kind::default() }));
    }),
    ("drifts of endless kinds", |victim| {
        victim.state(2);
        victim.chatter(|kind| Message::Drift(Drift { kind, score: 256, ..Drift::default() }));
    }),
    ("baselines of endless kinds", |victim| {
        victim.state(2);
        victim.chatter(|kind| Message::Baseline(Baseline { kind, ..Baseline::default() }));
    }),
    ("findings, gaps, jobs and causes", |victim| {
        victim.state(2);
        victim.chatter(|count| match count % 6 {
            0 => Message::Finding(Finding::default()),
            1 => Message::Gap(Gap { count, ..Gap::default() }),
            2 => Message::Job(Job { number: count, ..Job::default() }),
            3 => Message::Explained(Explained { key: count, ..Explained::default() }),
            4 => Message::Restart(Restart::default()),
            _ => Message::Arranged(Arranged::default()),
        });
    }),
    ("moves without settings", |victim| {
        let bytes = victim.frame(&Message::Hello(hello(2)));
        victim.send(&bytes);
        victim.chatter(|count| moved(1, count, u64::from(count) * 1000));
    }),
    ("moves without curves", |victim| {
        victim.state(2);
        victim.chatter(|count| moved(1, count, u64::from(count) * 1000));
    }),
    ("ringing of no move", |victim| {
        victim.state(2);
        victim.chatter(|count| Message::Ringing(Ringing::new(0, count, None)));
    }),
    ("clocks at their ends", |victim| {
        victim.flood(|victim, count| {
            let clock = [Some(i64::MIN), Some(i64::MAX), None][count as usize % 3];
            let ticks_per_second = [0, 1, u32::MAX][count as usize / 3 % 3];
            let mut bytes = victim.frame(&Message::Hello(Hello { clock, ticks_per_second, ..hello(2) }));
            bytes.extend(victim.frame(&settings((count % 2) as u8)));
            bytes.extend(victim.frame(&moved(0, count, u64::MAX - u64::from(count % 2))));
            let now = u64::MAX;
            bytes.extend(victim.frame(&Message::Status(Status { now, ..Status::default() })));
            bytes
        });
    }),
    ("values at their ends", |victim| {
        victim.state(1);
        victim.chatter(|number| {
            let most = u32::MAX;
            Message::Move(Move {
                number,
                start: u64::MAX,
                duration: u64::MAX,
                held: u64::MAX,
                flags: u8::MAX,
                travel: i32::MIN,
                settling: most,
                overshoot: most,
                rest_error: i64::MIN,
                flags2: most,
                kind: most,
                ..Move::default()
            })
        });
    }),
    ("restarts in a loop", |victim| {
        victim.flood(|victim, _| {
            victim.boot = victim.boot.wrapping_add(1);
            victim.next = [0; 4];
            [victim.frame(&Message::Hello(hello(1))), victim.frame(&settings(0))].concat()
        });
    }),
    ("restarts with missing frames", |victim| {
        victim.flood(|victim, count| {
            victim.boot = victim.boot.wrapping_add(1);
            victim.next = [count; 4];
            victim.frame(&settings(0))
        });
    }),
    ("numbers with holes", |victim| {
        victim.state(1);
        victim.flood(|victim, count| {
            victim.next[Priority::Move as usize] = count.wrapping_mul(1 << 20);
            victim.frame(&moved(0, count, count.into()))
        });
    }),
    ("every other number", |victim| {
        victim.state(1);
        victim.flood(|victim, count| {
            victim.next[Priority::Move as usize] = count.wrapping_mul(2);
            victim.frame(&moved(0, count, count.into()))
        });
    }),
    ("endless moves sent again", |victim| {
        victim.state(1);
        victim.is_replay = true;
        victim.chatter(|count| moved(0, count, count.into()));
    }),
    ("another monitor at each frame", |victim| {
        victim.flood(|victim, count| {
            let mut device = *b"hostile\0\0\0\0\0";
            device[8..].copy_from_slice(&count.to_le_bytes());
            [victim.frame(&Message::Hello(Hello { device, ..hello(1) })), victim.frame(&moved(0, count, 1))]
                .concat()
        });
    }),
    ("alarms without end in one state", |victim| {
        victim.state(1);
        let (subject, state) = (Subject::Signal, AlarmState::Shelved);
        victim.chatter(|_| Message::Alarm(Alarm { alarm: 1, subject, state, ..Alarm::default() }));
    }),
    ("echoes", |victim| {
        let mut bytes = [0; 4096];
        while let Ok(count @ 1..) = victim.stream.read(&mut bytes) {
            if !victim.send(&bytes[..count]) {
                return;
            }
        }
    }),
    ("never reads", |victim| {
        victim.state(1);
        while victim.send(&[0]) {
            std::thread::sleep(Duration::from_millis(100));
        }
    }),
    ("frames of a later version", |victim| {
        victim.flood(|_, count| {
            let body = [&[0x0F, 7, 0, 0, 0, (count % 128) as u8, 99][..], &noise(count)].concat();
            let sealed = [&body[..], &FastCrc::crc(&body).to_le_bytes()].concat();
            cobs(&sealed)
        });
    }),
];

/// COBS of fewer than 254 bytes, with the closing zero.
fn cobs(bytes: &[u8]) -> Vec<u8> {
    let mut out = vec![];
    for part in bytes.split(|byte| *byte == 0) {
        out.push(part.len() as u8 + 1);
        out.extend(part);
    }
    out.push(0);
    out
}

/// Serves one client after another, each on a thread, until the test ends.
pub(crate) fn serve(act: fn(&mut Victim)) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("an address");
    std::thread::spawn(move || {
        for stream in listener.incoming().map_while(Result::ok) {
            std::thread::spawn(move || act(&mut Victim::new(stream)));
        }
    });
    format!("tcp:{address}")
}
