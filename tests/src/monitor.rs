//! In: readings of one axis, commands. Out: every frame that a monitor on it sends.

use stillpoint::command::CommandEncoder;
use stillpoint_core::wire::command::Command;
use stillpoint_core::wire::crc::LargeTable;
use stillpoint_core::wire::header::{Direction, Header};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::status::Reset;
use stillpoint_core::{Parameters, Reading, Settings};
use stillpoint_firmware::app::{App, Identity};
use stillpoint_firmware::memory::MemoryFlash;
use stillpoint_firmware::sampler::Raw;
use stillpoint_firmware::tap::Register;

/// Samples of the delay line: a quarter of a second at 4 kHz.
pub const LINE: usize = 1024;

/// A frame as it came.
pub type Said = (Header, Message<'static>);

/// The portable firmware with one axis and a line that takes everything.
pub struct Monitor {
    /// The firmware.
    pub app: App<1, MemoryFlash<Vec<u8>>, LINE>,
    receiver: Receiver<LargeTable>,
    commands: CommandEncoder,
}

impl Monitor {
    /// Takes a sample each `period` ticks.
    pub fn new(parameters: Parameters, period: u32) -> Monitor {
        let settings = Settings::new(parameters).expect("settings of a test are valid");
        let identity = Identity { device: [0; 12], board: "test", reset: Reset::PowerOn, period };
        let flash = MemoryFlash::new(vec![0; 1 << 20]);
        let app = App::new(identity, [settings], flash).expect("the flash opens");
        Monitor { app, receiver: Receiver::new(Direction::FromDevice), commands: CommandEncoder::new(7) }
    }

    /// What comes while these readings are taken.
    pub fn take(&mut self, readings: impl IntoIterator<Item = Reading>) -> Vec<Said> {
        let mut said = self.said();
        for reading in readings {
            let word = |position: i32| Register::Whole(position as u32);
            let raw = Raw { command: word(reading.command), feedback: word(reading.feedback) };
            self.app.sample(reading.tick, &[raw]);
            said.extend(self.said());
        }
        said
    }

    /// What comes when no more readings do.
    pub fn finish(&mut self) -> Vec<Said> {
        self.app.finish();
        self.said()
    }

    /// The answer to a command.
    pub fn ask(&mut self, command: &Command) -> Vec<Said> {
        self.app.receive(&self.commands.encode(command));
        self.said()
    }

    /// What waits to be said.
    pub fn said(&mut self) -> Vec<Said> {
        let (mut said, mut bytes) = (vec![], [0; 4096]);
        loop {
            let count = self.app.transmit(&mut bytes);
            let mut left = &bytes[..count];
            while let Some(event) = self.receiver.step(&mut left) {
                let Event::Frame(frame) = event else { panic!("{event:?}") };
                // What is said may borrow from the bytes; a test may leak them.
                let body = frame.body().to_vec().leak();
                let frame = stillpoint_core::wire::frame::Frame::check::<LargeTable>(body).expect("sealed");
                said.push((frame.header, frame.read::<Message>().expect("a message").payload));
            }
            if count == 0 {
                return said;
            }
        }
    }
}
