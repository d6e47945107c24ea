//! In: HOST:PORT. Out: a connection; for a network error its cause and remedy.

use std::io::{self, ErrorKind};
use std::net::{SocketAddr, TcpStream, ToSocketAddrs};
use std::time::Duration;

use super::patient::{Empty, Patient, TIME_OUT};
use super::{Connection, ConnectionError, HangUp};

/// Longest wait for an address to answer; systems wait for minutes.
const CONNECT: Duration = Duration::from_secs(10);

/// Time-out of one write, for a peer that reads nothing.
const WRITE_TIME_OUT: Duration = Duration::from_secs(5);

/// Connects to a TCP port.
pub(super) fn open(address: &str) -> Result<Connection, io::Error> {
    let places = match address.to_socket_addrs() {
        Ok(places) => places.collect::<Vec<_>>(),
        Err(error) if error.kind() == ErrorKind::InvalidInput => {
            return Err(ConnectionError::new(
                "is not HOST:PORT",
                "give for example tcp:192.168.1.20:4000, with a port up to 65535",
            )
            .into());
        }
        Err(error) => {
            let wrong = format!("the host is unknown: {error}");
            return Err(ConnectionError::new(wrong, "check its name, or give its numeric address").into());
        }
    };
    let stream = connect(&places)?;
    stream.set_nodelay(true)?;
    stream.set_read_timeout(Some(TIME_OUT))?;
    stream.set_write_timeout(Some(WRITE_TIME_OUT))?;
    let (writer, hang_up) = (stream.try_clone()?, HangUp::default());
    let is_plain_and_remote = !stream.peer_addr()?.ip().to_canonical().is_loopback();
    let reader = Patient::new(stream, Empty::End, hang_up.clone());
    Ok(Connection { reader: Box::new(reader), writer: Some(Box::new(writer)), hang_up, is_plain_and_remote })
}

/// The first address that answers, or the error of the last.
fn connect(places: &[SocketAddr]) -> io::Result<TcpStream> {
    let mut failed = io::Error::from(ErrorKind::HostUnreachable);
    for place in places {
        match TcpStream::connect_timeout(place, CONNECT) {
            Ok(stream) => return Ok(stream),
            Err(error) => failed = error,
        }
    }
    Err(failed)
}

/// Whether an error is of the network or of the other side, and may be over soon; a wrong address is not.
pub(super) fn passes(error: &io::Error) -> bool {
    !error.get_ref().is_some_and(|inner| inner.is::<ConnectionError>())
        && network_error(error.kind()).is_some()
}

/// The meaning of a network error; `None` for any other error.
pub(super) fn network_error(kind: ErrorKind) -> Option<ConnectionError> {
    let (wrong, remedy) = match kind {
        ErrorKind::ConnectionRefused => (
            "the connection was refused: nothing listens on this port",
            "check the port, and that the program that serves the monitor is running",
        ),
        ErrorKind::ConnectionReset | ErrorKind::ConnectionAborted | ErrorKind::BrokenPipe => (
            "the other side has closed the connection",
            "find out why, and restart this command; with --store it then requests the missing frames",
        ),
        ErrorKind::TimedOut => (
            "the host does not answer",
            "check the address, the power of the host, and any firewall in between",
        ),
        ErrorKind::HostUnreachable | ErrorKind::NetworkUnreachable | ErrorKind::NetworkDown => {
            ("the host can't be reached", "check the network cable and the address")
        }
        ErrorKind::NotConnected => ("the connection is closed", "restart this command"),
        _ => return None,
    };
    Some(ConnectionError::new(wrong, remedy))
}

#[cfg(test)]
mod tests {
    use super::super::{connection_error, open};
    use super::*;

    #[track_caller]
    fn check(error: crate::error::Error, parts: &[&str]) {
        let message = error.to_string();
        parts.iter().for_each(|part| assert!(message.contains(part), "{part:?} is not in {message:?}"));
        assert!(!message.contains("medium"), "{message:?}");
    }

    #[test]
    fn network_errors_name_cause_and_remedy() {
        let refused = |place: &str| open(place).err().expect("nothing listens there");
        // A port that was free a moment ago; no other program binds it so soon.
        let free =
            std::net::TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("an address");
        check(refused(&format!("tcp:{free}")), &[&free.to_string(), "was refused", "check the port"]);
        for place in ["tcp:127.0.0.1", "tcp:127.0.0.1:99999", "tcp:"] {
            check(refused(place), &[place, "is not HOST:PORT", "with a port"]);
        }
        // RFC 6761, 6.4: names under `.invalid` never resolve.
        check(refused("tcp:monitor.invalid:4000"), &["the host is unknown", "numeric address"]);
        for (kind, wrong, remedy) in [
            (ErrorKind::ConnectionReset, "closed the connection", "restart"),
            (ErrorKind::BrokenPipe, "closed the connection", "--store"),
            (ErrorKind::TimedOut, "does not answer", "firewall"),
            (ErrorKind::NetworkUnreachable, "can't be reached", "cable"),
        ] {
            check(
                connection_error("tcp:10.0.0.1:4000", kind.into()),
                &["tcp:10.0.0.1:4000: ", wrong, remedy],
            );
        }
    }

    #[test]
    fn other_sources_name_the_file() {
        let message = connection_error("file:x", ErrorKind::PermissionDenied.into()).to_string();
        assert!(message.contains("check the name, the permissions"), "{message}");
    }
}
