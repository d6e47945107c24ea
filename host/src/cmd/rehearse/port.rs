//! In: bytes of a monitor. Out: the same over TCP to one client at a time, as fast as it reads; the client's commands.

use std::io::{ErrorKind, Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::time::{Duration, Instant};

use stillpoint_core::wire::header::Direction;
use stillpoint_core::wire::receive::{Event, Receiver};

use crate::checksum::FastCrc;
use crate::cmd::few_notes::FewNotes;
use crate::cmd::output::notify;
use crate::error::Error;

/// A client that reads nothing for this long is disconnected.
const STALL_LIMIT: Duration = Duration::from_secs(10);

/// A client that sends no command for this long after it has connected is disconnected: others wait for its place.
const FIRST_COMMAND: Duration = Duration::from_secs(5);

/// Bytes without a command among them after which a client is disconnected; the longest command has 256.
const GARBAGE: usize = 1 << 14;

/// Longest time for sending the last bytes.
const CLOSE_LIMIT: Duration = Duration::from_secs(5);

/// Pause between two attempts to send the last bytes.
const PAUSE: Duration = Duration::from_millis(10);

/// Largest number of reads in one step, so that a client that sends without end does not stop the monitor.
const READS: usize = 16;

/// A port and its client. Further clients wait in the system's queue until this one disconnects.
#[derive(Debug)]
pub(super) struct Port {
    listener: TcpListener,
    /// The bound address.
    address: String,
    client: Option<Client>,
    notes: FewNotes,
}

#[derive(Debug)]
struct Client {
    stream: TcpStream,
    name: String,
    connected: Instant,
    /// Last time at which it had read all or some of the waiting bytes.
    last_read: Instant,
    commands: Receiver<FastCrc>,
    has_commanded: bool,
    /// Bytes since its last command.
    garbage: usize,
}

impl Client {
    /// Notes bytes that the client sent.
    fn note(&mut self, bytes: &[u8]) {
        self.garbage += bytes.len();
        let mut remaining = bytes;
        while let Some(event) = self.commands.step(&mut remaining) {
            if matches!(event, Event::Frame(_)) {
                (self.has_commanded, self.garbage) = (true, remaining.len());
            }
        }
    }
}

impl Port {
    /// Binds the address.
    pub(super) fn open(address: &str, allow_remote: bool) -> Result<Port, Error> {
        let bound = TcpListener::bind(address).and_then(|listener| Ok((listener.local_addr()?, listener)));
        let (local, listener) = bound.map_err(|source| unbound(address, source))?;
        match (is_remote(&local), allow_remote) {
            (true, false) => return Err(remote(address)),
            (true, true) => notify(
                "other computers reach this port: nothing is encrypted, and whoever connects may command the invented monitor",
            ),
            (false, _) => (),
        }
        Ok(Port { listener, address: local.to_string(), client: None, notes: FewNotes::default() })
    }

    /// The bound address.
    pub(super) fn address(&self) -> &str {
        &self.address
    }

    /// Waits for the first client; later calls do not block.
    pub(super) fn wait(&mut self) -> Result<(), Error> {
        while self.client.is_none() {
            let accepted = self.listener.accept().map_err(|source| unbound(&self.address, source))?;
            self.connect(accepted.0, Instant::now());
        }
        self.listener.set_nonblocking(true).map_err(|source| unbound(&self.address, source))
    }

    /// Passes on the received commands, sends the waiting bytes as far as the client reads, accepts the next client.
    pub(super) fn step(&mut self, waiting: &mut Vec<u8>, now: Instant, on_command: &mut impl FnMut(&[u8])) {
        self.notes.step(now, &mut |line: &str| notify(line));
        self.receive(on_command);
        self.send(waiting, now);
        let is_idle = |client: &Client| {
            !client.has_commanded && now.saturating_duration_since(client.connected) >= FIRST_COMMAND
        };
        if self.client.as_ref().is_some_and(is_idle) {
            self.disconnect("sends no command and was disconnected");
        }
        if self.client.is_none()
            && let Ok((stream, _)) = self.listener.accept()
        {
            self.connect(stream, now);
        }
    }

    fn connect(&mut self, stream: TcpStream, now: Instant) {
        let name = stream.peer_addr().map(|peer| peer.to_string());
        let ready = stream.set_nonblocking(true).and_then(|()| stream.set_nodelay(true)).and(name);
        // A client that has disconnected already is ignored.
        let Ok(name) = ready else { return };
        self.notes.add(&format!("{name} has connected"), now, &mut |line: &str| notify(line));
        let commands = Receiver::new(Direction::FromHost);
        let (connected, last_read) = (now, now);
        let client =
            Client { stream, name, connected, last_read, commands, has_commanded: false, garbage: 0 };
        self.client = Some(client);
    }

    fn receive(&mut self, on_command: &mut impl FnMut(&[u8])) {
        let mut bytes = [0; 1024];
        for _ in 0..READS {
            let Some(client) = &mut self.client else { return };
            match client.stream.read(&mut bytes) {
                Ok(count @ 1..) => {
                    let bytes = bytes.get(..count).unwrap_or_default();
                    client.note(bytes);
                    if client.garbage > GARBAGE {
                        return self.disconnect("sends no commands that can be read and was disconnected");
                    }
                    on_command(bytes);
                }
                Err(error) if would_block(error.kind()) => return,
                Ok(_) | Err(_) => self.disconnect("has disconnected"),
            }
        }
    }

    /// Sends what the client reads. Without a client the waiting bytes are dropped.
    fn send(&mut self, waiting: &mut Vec<u8>, now: Instant) {
        while let Some(client) = &mut self.client {
            if waiting.is_empty() {
                client.last_read = now;
                return;
            }
            match client.stream.write(waiting) {
                Ok(count @ 1..) => {
                    waiting.drain(..count);
                    client.last_read = now;
                }
                Err(error) if would_block(error.kind()) => {
                    if now.saturating_duration_since(client.last_read) < STALL_LIMIT {
                        return;
                    }
                    self.disconnect("reads nothing any more and was disconnected");
                }
                Ok(_) | Err(_) => self.disconnect("has disconnected"),
            }
        }
        waiting.clear();
    }

    fn disconnect(&mut self, how: &str) {
        if let Some(client) = self.client.take() {
            let text = format!("{} {how}; the monitor runs on", client.name);
            self.notes.add(&text, Instant::now(), &mut |line: &str| notify(line));
        }
    }

    /// Sends the last bytes, shuts the connection down and waits, for a limited time, until the client has closed it.
    pub(super) fn close(mut self, mut waiting: Vec<u8>) {
        let begun = Instant::now();
        while self.client.is_some() && begun.elapsed() < CLOSE_LIMIT {
            self.receive(&mut |_| ());
            self.send(&mut waiting, Instant::now());
            if let Some(client) = self.client.as_ref().filter(|_| waiting.is_empty()) {
                // The client then reads the end. Its last commands are read too; else the system would reset the connection
                // and the client would lose the end.
                client.stream.shutdown(Shutdown::Write).ok();
            }
            std::thread::sleep(PAUSE);
        }
    }
}

/// Whether other computers reach an address.
fn is_remote(address: &SocketAddr) -> bool {
    !address.ip().to_canonical().is_loopback()
}

fn remote(address: &str) -> Error {
    Error::Option {
        option: "--listen".to_owned(),
        value: address.to_owned(),
        wrong: "other computers reach this address, and nothing is encrypted".to_owned(),
        remedy: "give 127.0.0.1:PORT, with an SSH tunnel or a VPN from elsewhere, or add --allow-remote"
            .to_owned(),
    }
}

/// The connection can neither be read nor written at the moment.
fn would_block(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::WouldBlock | ErrorKind::Interrupted)
}

fn unbound(address: &str, source: std::io::Error) -> Error {
    Error::Option {
        option: "--listen".to_owned(),
        value: address.to_owned(),
        wrong: format!("can't be listened on: {source}"),
        remedy: "give an address of this computer and a free port, such as 127.0.0.1:7007".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::command::CommandEncoder;
    use stillpoint_core::wire::command::Command;

    /// A port and a client connected to it.
    fn connected() -> (Port, TcpStream) {
        let mut port = Port::open("127.0.0.1:0", false).unwrap();
        let client = TcpStream::connect(port.address()).unwrap();
        port.wait().unwrap();
        (port, client)
    }

    /// Sends until the connection accepts no more.
    fn fill(port: &mut Port, now: Instant) -> Vec<u8> {
        // 256 MiB is more than any system buffers for a connection.
        for _ in 0..256 {
            let mut waiting = vec![7; 1 << 20];
            port.send(&mut waiting, now);
            if !waiting.is_empty() {
                return waiting;
            }
        }
        panic!("the connection accepts everything");
    }

    #[test]
    fn a_client_without_commands_is_disconnected() {
        let (mut port, mut client) = connected();
        let begun = port.client.as_ref().unwrap().connected;
        port.step(&mut vec![], begun + FIRST_COMMAND - Duration::from_nanos(1), &mut |_| ());
        assert!(port.client.is_some());
        port.step(&mut vec![], begun + FIRST_COMMAND, &mut |_| ());
        assert!(port.client.is_none());
        assert_eq!(client.read(&mut [0]).unwrap_or(0), 0);
    }

    #[test]
    fn garbage_is_counted_until_the_next_command() {
        let (mut port, _client) = connected();
        let client = port.client.as_mut().unwrap();
        let command = CommandEncoder::new(1).encode(&Command::Identify);
        for _ in 0..100 {
            client.note(&vec![7; GARBAGE / 2]);
            client.note(&command);
        }
        assert!(client.has_commanded && client.garbage < GARBAGE / 2);
        client.note(&vec![7; 2 * GARBAGE]);
        assert!(client.garbage > GARBAGE);
    }

    #[test]
    fn only_loopback_is_not_remote() {
        for (address, remote) in [
            ("127.0.0.1:7", false),
            ("127.9.9.9:7", false),
            ("[::1]:7", false),
            ("[::ffff:127.0.0.1]:7", false),
            ("0.0.0.0:7", true),
            ("[::]:7", true),
            ("10.1.2.3:7", true),
        ] {
            assert_eq!(is_remote(&address.parse().unwrap()), remote, "{address}");
        }
    }

    #[test]
    fn a_stalled_client_is_disconnected() {
        let (mut port, mut silent) = connected();
        silent.write_all(&CommandEncoder::new(1).encode(&Command::Identify)).unwrap();
        while !port.client.as_ref().unwrap().has_commanded {
            port.receive(&mut |_| ());
        }
        let now = Instant::now();
        let mut waiting = fill(&mut port, now);
        port.step(&mut waiting, now + STALL_LIMIT - Duration::from_nanos(1), &mut |_| ());
        assert!(port.client.is_some() && !waiting.is_empty());
        port.step(&mut waiting, now + STALL_LIMIT, &mut |_| ());
        assert!(port.client.is_none() && waiting.is_empty());
        drop(silent);
    }

    #[test]
    fn the_next_client_waits_until_the_first_has_disconnected() {
        let (mut port, first) = connected();
        let mut second = TcpStream::connect(port.address()).unwrap();
        second.write_all(b"command").unwrap();
        let (now, mut received) = (Instant::now(), Vec::<u8>::new());
        port.step(&mut vec![1], now, &mut |bytes| received.extend(bytes));
        assert!(received.is_empty());
        drop(first);
        for _ in 0..1000 {
            port.step(&mut vec![2], now, &mut |bytes| received.extend(bytes));
            if received.len() == 7 {
                break;
            }
            std::thread::sleep(PAUSE);
        }
        assert_eq!(received, b"command");
        port.close(vec![]);
        let mut bytes = Vec::new();
        second.set_read_timeout(Some(CLOSE_LIMIT)).unwrap();
        second.read_to_end(&mut bytes).unwrap();
        assert!(!bytes.is_empty() && bytes.iter().all(|byte| *byte == 2), "{bytes:?}");
    }
}
