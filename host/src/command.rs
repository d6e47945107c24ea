//! In: what the host wants of a monitor. Out: the bytes of its commands.

use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::command::Command;
use stillpoint_core::wire::crc::LargeTable;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};

/// Numbers and encodes what a host wants.
#[derive(Debug)]
pub struct Commands {
    numbers: Numbers,
}

impl Commands {
    /// With a number that no earlier start of this host had; the time will do.
    pub fn new(boot: u32) -> Commands {
        Commands { numbers: Numbers::new(Direction::FromHost, boot) }
    }

    /// The bytes of a command.
    pub fn bytes(&mut self, command: &Command) -> Vec<u8> {
        let header = self.numbers.next_header(command.priority());
        let mut buffer = [0; LONGEST_FRAME];
        // Commands are short by design; an empty answer is one that is never heard.
        encode::<LargeTable>(&header, command, &mut buffer).map(<[u8]>::to_vec).unwrap_or_default()
    }
}

impl Default for Commands {
    fn default() -> Commands {
        let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
        Commands::new(since.map_or(1, |since| since.as_secs() as u32))
    }
}
