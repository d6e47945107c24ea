//! In: HOST:PORT. Out: the bytes of the monitor behind it; or what a network refuses, and what to do about it.

use std::io::{self, ErrorKind};
use std::net::{TcpStream, ToSocketAddrs};

use super::{Ended, Line};

/// Connects.
pub(super) fn open(address: &str) -> Result<Line, io::Error> {
    let places = match address.to_socket_addrs() {
        Ok(places) => places.collect::<Vec<_>>(),
        Err(error) if error.kind() == ErrorKind::InvalidInput => {
            return Err(
                Ended::new("is no HOST:PORT", "say tcp:192.168.1.20:4000, with a port up to 65535").into()
            );
        }
        Err(error) => {
            let wrong = format!("the host is not known: {error}");
            return Err(Ended::new(wrong, "check its name, or give its address in figures").into());
        }
    };
    let stream = TcpStream::connect(&places[..])?;
    stream.set_nodelay(true)?;
    let writer = stream.try_clone()?;
    Ok(Line { reader: Box::new(stream), writer: Some(Box::new(writer)) })
}

/// What a network says; none if it is something else.
pub(super) fn told(kind: ErrorKind) -> Option<Ended> {
    let (wrong, remedy) = match kind {
        ErrorKind::ConnectionRefused => (
            "the connection was refused: nothing listens on this port",
            "check the port, and that whatever passes the monitor's line on is running",
        ),
        ErrorKind::ConnectionReset | ErrorKind::ConnectionAborted | ErrorKind::BrokenPipe => (
            "the other side has broken the connection off",
            "see why it stopped, and start anew; with --store the monitor is asked for what was missed",
        ),
        ErrorKind::TimedOut => {
            ("no answer came", "check the address, that the host is switched on, and any firewall between")
        }
        ErrorKind::HostUnreachable | ErrorKind::NetworkUnreachable | ErrorKind::NetworkDown => {
            ("no way leads there", "check the network cable and the address")
        }
        ErrorKind::NotConnected => ("the connection is closed", "start anew"),
        _ => return None,
    };
    Some(Ended::new(wrong, remedy))
}

#[cfg(test)]
mod tests {
    use super::super::{failed, open};
    use super::*;

    #[track_caller]
    fn check(error: crate::error::Error, parts: &[&str]) {
        let message = error.to_string();
        parts.iter().for_each(|part| assert!(message.contains(part), "{part:?} is not in {message:?}"));
        assert!(!message.contains("medium"), "{message:?}");
    }

    #[test]
    fn a_network_has_causes_of_its_own() {
        let refused = |place: &str| open(place).err().expect("nobody is there");
        // A port that was just free; nobody takes it within the moment.
        let free =
            std::net::TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("an address");
        check(refused(&format!("tcp:{free}")), &[&free.to_string(), "was refused", "check the port"]);
        for place in ["tcp:127.0.0.1", "tcp:127.0.0.1:99999", "tcp:"] {
            check(refused(place), &[place, "is no HOST:PORT", "with a port"]);
        }
        // RFC 6761, 6.4: names under `.invalid` never resolve.
        check(refused("tcp:monitor.invalid:4000"), &["the host is not known", "address in figures"]);
        for (kind, wrong, remedy) in [
            (ErrorKind::ConnectionReset, "broken the connection off", "start anew"),
            (ErrorKind::BrokenPipe, "broken the connection off", "--store"),
            (ErrorKind::TimedOut, "no answer came", "firewall"),
            (ErrorKind::NetworkUnreachable, "no way leads there", "cable"),
        ] {
            check(failed("tcp:10.0.0.1:4000", kind.into()), &["tcp:10.0.0.1:4000: ", wrong, remedy]);
        }
    }

    #[test]
    fn other_places_keep_their_words() {
        let message = failed("file:x", ErrorKind::PermissionDenied.into()).to_string();
        assert!(message.contains("check the name, the permissions"), "{message}");
    }
}
