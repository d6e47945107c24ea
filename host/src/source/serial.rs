//! In: the name of a serial port. Out: a connection, which fails when the other side hangs up.

use std::io;
use std::time::Duration;

use super::patient::{Empty, Patient, TIME_OUT};
use super::{Connection, HangUp};

/// Unit: baud
const BAUD: u32 = 921_600;

/// Time-out of one write, for a port whose other side accepts nothing.
const WRITE_TIME_OUT: Duration = Duration::from_secs(5);

/// Opens the port.
pub(super) fn open(path: &str) -> io::Result<Connection> {
    let mut port = serial2::SerialPort::open(path, BAUD)?;
    port.set_read_timeout(TIME_OUT)?;
    port.set_write_timeout(WRITE_TIME_OUT)?;
    let (writer, hang_up) = (port.try_clone()?, HangUp::default());
    // A silent port times out, so an empty read means that the port is gone.
    let reader = Patient::new(port, Empty::Gone, hang_up.clone());
    Ok(Connection {
        reader: Box::new(reader),
        writer: Some(Box::new(writer)),
        hang_up,
        is_plain_and_remote: false,
    })
}
