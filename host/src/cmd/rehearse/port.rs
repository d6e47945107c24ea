//! In: bytes of a monitor. Out: the same over TCP to one listener at a time, as fast as it takes them; its commands.

use std::io::{ErrorKind, Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::time::{Duration, Instant};

use super::tell;
use crate::error::Error;

/// Who takes nothing of what waits for so long is gone, though the line did not say so.
const PATIENCE: Duration = Duration::from_secs(30);

/// So long the last bytes are offered.
const LAST: Duration = Duration::from_secs(5);

/// While they are, so long passes between two looks.
const LOOK: Duration = Duration::from_millis(10);

/// Most reads in one turn: who sends for ever does not stop the monitor.
const READS: usize = 16;

/// A port and who listens there. Others wait in the system's queue until that one leaves.
#[derive(Debug)]
pub(super) struct Port {
    listener: TcpListener,
    /// As it was bound.
    address: String,
    guest: Option<Guest>,
}

#[derive(Debug)]
struct Guest {
    stream: TcpStream,
    name: String,
    /// When it last took all or some of what waited.
    took: Instant,
}

impl Port {
    /// Binds the address and nothing else.
    pub(super) fn open(address: &str) -> Result<Port, Error> {
        let bound = TcpListener::bind(address).and_then(|listener| Ok((listener.local_addr()?, listener)));
        let (local, listener) = bound.map_err(|source| unbound(address, source))?;
        Ok(Port { listener, address: local.to_string(), guest: None })
    }

    /// Where it listens.
    pub(super) fn address(&self) -> &str {
        &self.address
    }

    /// Waits for the first; from then on nothing waits.
    pub(super) fn wait(&mut self) -> Result<(), Error> {
        while self.guest.is_none() {
            let came = self.listener.accept().map_err(|source| unbound(&self.address, source))?;
            self.admit(came.0, Instant::now());
        }
        self.listener.set_nonblocking(true).map_err(|source| unbound(&self.address, source))
    }

    /// Passes on what came, sends what waits as far as the line takes it, lets the next one in.
    pub(super) fn turn(&mut self, waiting: &mut Vec<u8>, now: Instant, hear: &mut impl FnMut(&[u8])) {
        self.receive(hear);
        self.send(waiting, now);
        if self.guest.is_none()
            && let Ok((stream, _)) = self.listener.accept()
        {
            self.admit(stream, now);
        }
    }

    fn admit(&mut self, stream: TcpStream, now: Instant) {
        let name = stream.peer_addr().map(|peer| peer.to_string());
        let ready = stream.set_nonblocking(true).and_then(|()| stream.set_nodelay(true)).and(name);
        // One that is gone again before it was ready was never here.
        let Ok(name) = ready else { return };
        tell(format_args!("{name} listens"));
        self.guest = Some(Guest { stream, name, took: now });
    }

    fn receive(&mut self, hear: &mut impl FnMut(&[u8])) {
        let mut bytes = [0; 1024];
        for _ in 0..READS {
            let Some(guest) = &mut self.guest else { return };
            match guest.stream.read(&mut bytes) {
                Ok(count @ 1..) => hear(bytes.get(..count).unwrap_or_default()),
                Err(error) if is_none_yet(error.kind()) => return,
                Ok(_) | Err(_) => self.leave("has left"),
            }
        }
    }

    /// What nobody is there to take is gone, as on any line.
    fn send(&mut self, waiting: &mut Vec<u8>, now: Instant) {
        while let Some(guest) = &mut self.guest {
            if waiting.is_empty() {
                guest.took = now;
                return;
            }
            match guest.stream.write(waiting) {
                Ok(count @ 1..) => {
                    waiting.drain(..count);
                    guest.took = now;
                }
                Err(error) if is_none_yet(error.kind()) => {
                    if now.saturating_duration_since(guest.took) < PATIENCE {
                        return;
                    }
                    self.leave("takes nothing any more and was hung up on");
                }
                Ok(_) | Err(_) => self.leave("has left"),
            }
        }
        waiting.clear();
    }

    fn leave(&mut self, how: &str) {
        if let Some(guest) = self.guest.take() {
            tell(format_args!("{} {how}; the monitor goes on", guest.name));
        }
    }

    /// Sends the last bytes, hangs up and waits until the other side has, but not for ever.
    pub(super) fn close(mut self, mut waiting: Vec<u8>) {
        let begun = Instant::now();
        while self.guest.is_some() && begun.elapsed() < LAST {
            self.receive(&mut |_| ());
            self.send(&mut waiting, Instant::now());
            if let Some(guest) = self.guest.as_ref().filter(|_| waiting.is_empty()) {
                // Whoever reads finds the end; what it still says is read, or the end would be lost with it.
                guest.stream.shutdown(Shutdown::Write).ok();
            }
            std::thread::sleep(LOOK);
        }
    }
}

/// The line has nothing, or takes nothing, at the moment.
fn is_none_yet(kind: ErrorKind) -> bool {
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

    /// A port and who has connected to it.
    fn connected() -> (Port, TcpStream) {
        let mut port = Port::open("127.0.0.1:0").unwrap();
        let guest = TcpStream::connect(port.address()).unwrap();
        port.wait().unwrap();
        (port, guest)
    }

    /// Sends until the line takes no more.
    fn fill(port: &mut Port, now: Instant) -> Vec<u8> {
        // 256 MiB: more than any system keeps for a line.
        for _ in 0..256 {
            let mut waiting = vec![7; 1 << 20];
            port.send(&mut waiting, now);
            if !waiting.is_empty() {
                return waiting;
            }
        }
        panic!("the line takes everything");
    }

    #[test]
    fn who_takes_nothing_holds_nobody_up_and_is_hung_up_on() {
        let (mut port, silent) = connected();
        let now = Instant::now();
        let mut waiting = fill(&mut port, now);
        port.turn(&mut waiting, now + PATIENCE - Duration::from_nanos(1), &mut |_| ());
        assert!(port.guest.is_some() && !waiting.is_empty());
        port.turn(&mut waiting, now + PATIENCE, &mut |_| ());
        assert!(port.guest.is_none() && waiting.is_empty());
        drop(silent);
    }

    #[test]
    fn the_next_one_waits_until_the_first_has_left() {
        let (mut port, first) = connected();
        let mut second = TcpStream::connect(port.address()).unwrap();
        second.write_all(b"command").unwrap();
        let (now, mut heard) = (Instant::now(), Vec::<u8>::new());
        port.turn(&mut vec![1], now, &mut |bytes| heard.extend(bytes));
        assert!(heard.is_empty());
        drop(first);
        for _ in 0..1000 {
            port.turn(&mut vec![2], now, &mut |bytes| heard.extend(bytes));
            if heard.len() == 7 {
                break;
            }
            std::thread::sleep(LOOK);
        }
        assert_eq!(heard, b"command");
        port.close(vec![]);
        let mut came = Vec::new();
        second.set_read_timeout(Some(LAST)).unwrap();
        second.read_to_end(&mut came).unwrap();
        assert!(!came.is_empty() && came.iter().all(|byte| *byte == 2), "{came:?}");
    }
}
