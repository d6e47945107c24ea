//! In: readings of one axis, commands. Out: every frame that a monitor on it sends.

use stillpoint::checksum::FastCrc;
use stillpoint::command::CommandEncoder;
use stillpoint_core::wire::command::Command;
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

/// A received frame.
pub type Received = (Header, Message<'static>);

/// The portable firmware with one axis and a link that accepts every byte.
pub struct Monitor {
    /// The firmware.
    pub app: App<1, MemoryFlash<Vec<u8>>, LINE>,
    receiver: Receiver<FastCrc>,
    commands: CommandEncoder,
}

impl Monitor {
    /// A monitor that samples every `period` ticks.
    pub fn new(parameters: Parameters, period: u32) -> Monitor {
        let settings = Settings::new(parameters).expect("settings of a test are valid");
        let identity = Identity { device: [0; 12], board: "test", reset: Reset::PowerOn, period };
        let flash = MemoryFlash::new(vec![0; 1 << 20]);
        let app = App::new(identity, [settings], flash).expect("the flash opens");
        Monitor { app, receiver: Receiver::new(Direction::FromDevice), commands: CommandEncoder::new(7) }
    }

    /// Samples these readings; returns the frames that the monitor sends meanwhile.
    pub fn sample(&mut self, readings: impl IntoIterator<Item = Reading>) -> Vec<Received> {
        let mut frames = self.receive();
        for reading in readings {
            let word = |position: i32| Register::Whole(position as u32);
            let raw = Raw { command: word(reading.command), feedback: word(reading.feedback) };
            self.app.sample(reading.tick, &[raw]);
            frames.extend(self.receive());
        }
        frames
    }

    /// Ends the recording; returns the last frames.
    pub fn finish(&mut self) -> Vec<Received> {
        self.app.finish();
        self.receive()
    }

    /// Sends a command; returns the frames that answer it.
    pub fn send(&mut self, command: &Command) -> Vec<Received> {
        self.app.receive(&self.commands.encode(command));
        self.receive()
    }

    /// The frames that the monitor has ready.
    pub fn receive(&mut self) -> Vec<Received> {
        let (mut frames, mut bytes) = (vec![], [0; 4096]);
        loop {
            let count = self.app.transmit(&mut bytes);
            let mut rest = &bytes[..count];
            while let Some(event) = self.receiver.step(&mut rest) {
                let Event::Frame(frame) = event else { panic!("{event:?}") };
                // Messages borrow from the bytes; a test may leak them.
                let body = frame.body().to_vec().leak();
                let frame = stillpoint_core::wire::frame::Frame::check::<FastCrc>(body).expect("sealed");
                frames.push((frame.header, frame.read::<Message>().expect("a message").payload));
            }
            if count == 0 {
                return frames;
            }
        }
    }
}
