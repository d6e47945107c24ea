//! In: commands for a monitor. Out: their frames as bytes.

use crate::checksum::FastCrc;
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::command::Command;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};

/// Numbers and encodes commands.
#[derive(Debug)]
pub struct CommandEncoder {
    numbers: Numbers,
}

impl CommandEncoder {
    /// `boot` must differ from that of every earlier start of this host, so that a monitor sees a new series.
    pub fn new(boot: u32) -> CommandEncoder {
        CommandEncoder { numbers: Numbers::new(Direction::FromHost, boot) }
    }

    /// The frame of a command.
    pub fn encode(&mut self, command: &Command) -> Vec<u8> {
        let header = self.numbers.next_header(command.priority());
        let mut buffer = [0; LONGEST_FRAME];
        // Every command fits the buffer. An empty frame would be ignored by the monitor.
        encode::<FastCrc>(&header, command, &mut buffer).map(<[u8]>::to_vec).unwrap_or_default()
    }
}

impl Default for CommandEncoder {
    /// With the current time as boot number. Unit: s since 1970
    fn default() -> CommandEncoder {
        let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
        CommandEncoder::new(since.map_or(1, |since| since.as_secs() as u32))
    }
}
