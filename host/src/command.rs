//! In: commands for a monitor. Out: their frames as bytes, each with its number.

use std::time::{SystemTime, UNIX_EPOCH};

use crate::checksum::FastCrc;
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::command::Command;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};

/// Numbers and encodes commands.
#[derive(Debug)]
pub struct CommandEncoder {
    numbers: Numbers,
    first: u32,
    last: Option<u32>,
}

impl CommandEncoder {
    /// Numbers from 0. `boot` must differ from that of every earlier start of this host, so that a monitor sees a new
    /// series.
    pub fn new(boot: u32) -> CommandEncoder {
        CommandEncoder { numbers: Numbers::new(Direction::FromHost, boot), first: 0, last: None }
    }

    /// The frame of a command, after a zero: whatever stray bytes came before, it is read.
    pub fn encode(&mut self, command: &Command) -> Vec<u8> {
        let mut header = self.numbers.next_header(command.priority());
        header.sequence = header.sequence.wrapping_add(self.first);
        self.last = Some(header.sequence);
        let mut buffer = [0; LONGEST_FRAME];
        // Every command fits the buffer. An empty frame would be ignored by the monitor.
        let frame = encode::<FastCrc>(&header, command, &mut buffer).unwrap_or_default();
        [&[0], frame].concat()
    }

    /// Number of the last command, by which a status names it.
    pub fn last(&self) -> Option<u32> {
        self.last
    }
}

impl Default for CommandEncoder {
    /// With the current time as boot number, in s since 1970; numbers from one that no earlier host is likely to have
    /// reached, so that a status about a command of that host names none of this one.
    fn default() -> CommandEncoder {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        let first = since.subsec_nanos() | 1 << 30;
        CommandEncoder { first, ..CommandEncoder::new(since.as_secs() as u32) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::wire::header::Header;
    use stillpoint_core::wire::receive::{Event, Receiver};

    #[test]
    fn one_stray_byte_is_harmless_and_numbers_go_on() {
        let mut commands = CommandEncoder::default();
        let mut receiver = Receiver::<FastCrc>::new(Direction::FromHost);
        for _ in 0..3 {
            let bytes = [&[0x55][..], &commands.encode(&Command::Identify)].concat();
            let (mut remaining, mut found) = (&bytes[..], None);
            while let Some(event) = receiver.step(&mut remaining) {
                if let Event::Frame(frame) = event {
                    let Header { sequence, .. } = frame.header;
                    found = Some(sequence);
                }
            }
            assert!(found.is_some_and(|number| number >= 1 << 30));
            assert_eq!(found, commands.last());
        }
    }
}
