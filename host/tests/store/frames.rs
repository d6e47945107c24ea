//! Frames of a monitor made up by a test: one start of it.

use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::status::Hello;

/// Unit: ticks/s
pub(crate) const RATE: u64 = 1_000_000;

/// One start of a monitor with one axis.
pub(crate) struct Start {
    numbers: Numbers,
    /// What it has sent.
    pub(crate) bytes: Vec<u8>,
}

impl Start {
    pub(crate) fn new(boot: u32) -> Start {
        let mut start = Start { numbers: Numbers::new(Direction::FromDevice, boot), bytes: vec![] };
        start.send(&Message::Hello(Hello { ticks_per_second: RATE as u32, axes: 1, ..Hello::default() }));
        start
    }

    pub(crate) fn send(&mut self, message: &Message) {
        let mut buffer = [0; stillpoint_core::wire::LONGEST_FRAME];
        let header = self.numbers.next_header(message.priority());
        self.bytes.extend_from_slice(encode::<FastCrc>(&header, message, &mut buffer).expect("it fits"));
    }
}
