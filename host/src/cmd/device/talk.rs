//! In: the line to a monitor, one command after another. Out: who it is, and its answers.
//!
//! A monitor answers a command it does; of one it refuses it sends its status at once, which names the command.

use std::collections::BTreeMap;
use std::io::{self, Read, Write};
use std::path::Path;
use std::sync::mpsc::{Receiver as Channel, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use stillpoint_core::wire::alarm::{Alarm, AlarmState};
use stillpoint_core::wire::command::{Command, DumpSince};
use stillpoint_core::wire::crc::LargeTable;
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::settings::Parameters;

use crate::cmd::output::tell;
use crate::command::Commands;
use crate::error::Error;
use crate::source::{self, Line};
use crate::store::log::Log;
use crate::store::{Options, Store, time};

/// How long a line may be silent before an answer.
const PATIENCE: Duration = Duration::from_secs(10);

/// What a monitor has said of itself.
#[derive(Debug, Default)]
pub(super) struct Known {
    pub(super) number: [u8; 12],
    pub(super) board: String,
    pub(super) firmware: String,
    pub(super) axes: u8,
    pub(super) ticks_per_second: u32,
    /// Accepted for each axis.
    pub(super) settings: BTreeMap<u8, Parameters>,
    /// Those that are not normal, by number.
    pub(super) alarms: BTreeMap<u32, Alarm>,
}

impl Known {
    fn hear(&mut self, message: &Message) {
        match message {
            Message::Hello(hello) => {
                (self.number, self.axes) = (hello.device, hello.axes);
                self.ticks_per_second = hello.ticks_per_second;
                (self.board, self.firmware) = (hello.board.to_owned(), hello.firmware.to_owned());
            }
            Message::Settings(settings) => {
                self.settings.insert(settings.axis, settings.parameters);
            }
            Message::Alarm(alarm) if alarm.state == AlarmState::Normal => {
                self.alarms.remove(&alarm.alarm);
            }
            Message::Alarm(alarm) => {
                self.alarms.insert(alarm.alarm, *alarm);
            }
            _ => (),
        }
    }

    fn is_whole(&self) -> bool {
        self.axes > 0 && self.settings.len() >= usize::from(self.axes)
    }
}

/// A talk with one monitor.
pub(super) struct Talk {
    place: String,
    heard: Channel<io::Result<Vec<u8>>>,
    writer: Box<dyn Write + Send>,
    receiver: Receiver<LargeTable>,
    commands: Commands,
    /// Commands sent.
    sent: u32,
    /// When the monitor last said something, or was asked.
    spoke: Instant,
    pub(super) known: Known,
    /// What is said is kept here, too.
    log: Option<Log>,
}

impl Talk {
    /// Opens the line and has the monitor say who it is.
    pub(super) fn open(place: &str, store: Option<&Path>) -> Result<Talk, Error> {
        // It must be there: nothing may be done that then can't be written down.
        let options = Options::default();
        let log = store.map(|path| {
            Store::open(path, &options)?;
            Log::open(path, &options, None, Vec::new())
        });
        let log = log.transpose()?;
        let Line { reader, writer } = source::open(place)?;
        let writer = writer.ok_or_else(|| {
            super::unfit(place, "takes no commands", "say serial:PATH, tcp:HOST:PORT or probe:CHIP")
        })?;
        let mut talk = Talk {
            place: place.to_owned(),
            heard: listen(reader),
            writer,
            receiver: Receiver::new(Direction::FromDevice),
            commands: Commands::default(),
            sent: 0,
            spoke: Instant::now(),
            known: Known::default(),
            log,
        };
        talk.send(&Command::Identify)?;
        while !talk.known.is_whole() {
            talk.hear(&mut |_, _| ())?;
        }
        Ok(talk)
    }

    fn send(&mut self, command: &Command) -> Result<(), Error> {
        let sent = self.writer.write_all(&self.commands.bytes(command)).and_then(|()| self.writer.flush());
        self.sent += 1;
        self.spoke = Instant::now();
        sent.map_err(|error| source::failed(&self.place, error))
    }

    /// Sends a command and listens for what counts as its answer; none if the monitor refuses it.
    pub(super) fn ask<T>(
        &mut self,
        command: &Command,
        mut answer: impl FnMut(&Header, &Message) -> Option<T>,
    ) -> Result<Option<T>, Error> {
        let (mut answered, mut refused, number) = (None, false, self.sent);
        self.send(command)?;
        while answered.is_none() && !refused {
            self.hear(&mut |header, message| {
                if answered.is_none() && !refused {
                    answered = answer(header, message);
                    let Message::Status(status) = message else { return };
                    refused = answered.is_none() && status.last_command == Some(number);
                }
            })?;
        }
        Ok(answered)
    }

    /// How many commands the monitor has refused so far. The log from beyond its end on is nothing to send, and its end
    /// is told at once by a status.
    pub(super) fn refusals(&mut self) -> Result<u32, Error> {
        let number = self.sent;
        let beyond = DumpSince { boot: u32::MAX, priority: Priority::Move as u8, sequence: u32::MAX };
        let count = self.ask(&Command::DumpSince(beyond), |_, message| match message {
            Message::Status(status) if status.last_command == Some(number) => Some(status.refused_commands),
            _ => None,
        })?;
        count.ok_or_else(|| self.silent("does not tell how it fares"))
    }

    /// What comes next.
    fn hear(&mut self, out: &mut impl FnMut(&Header, &Message)) -> Result<(), Error> {
        let bytes = match self.heard.recv_timeout(PATIENCE) {
            Ok(read) => read.map_err(|error| source::failed(&self.place, error))?,
            Err(RecvTimeoutError::Timeout) => return Err(self.silent("is silent")),
            Err(RecvTimeoutError::Disconnected) => {
                return Err(self.silent("the line ended without an answer"));
            }
        };
        if let Some(log) = &mut self.log {
            log.push(&bytes, time::now());
        }
        let mut left = &bytes[..];
        while let Some(event) = self.receiver.step(&mut left) {
            let Event::Frame(frame) = event else { continue };
            if let Ok(read) = frame.read::<Message>() {
                // What comes out of the log is of another time.
                if !frame.header.replay {
                    self.known.hear(&read.payload);
                }
                out(&frame.header, &read.payload);
                self.spoke = Instant::now();
            }
        }
        if self.spoke.elapsed() > PATIENCE {
            Err(self.silent("sends nothing that can be read"))
        } else {
            Ok(())
        }
    }

    fn silent(&self, wrong: &str) -> Error {
        self.wrong(wrong, "check that a monitor is at the other end and nobody else listens to it")
    }

    /// What the monitor does not do, and what to do about it.
    pub(super) fn wrong(&self, wrong: impl ToString, remedy: impl ToString) -> Error {
        Error::Unreached { place: self.place.clone(), wrong: wrong.to_string(), remedy: remedy.to_string() }
    }

    /// The talk is over: the store, if there is one, has all that was said.
    pub(super) fn finish(self) -> Result<Option<Store>, Error> {
        let Some(mut log) = self.log else { return Ok(None) };
        log.drain_notes().iter().for_each(tell);
        log.finish().map(|(store, _)| Some(store))
    }
}

/// Reads along, so that silence can be told from an answer.
fn listen(mut reader: Box<dyn Read + Send>) -> Channel<io::Result<Vec<u8>>> {
    let (out, heard) = channel();
    std::thread::spawn(move || {
        let mut bytes = [0; 4096];
        let mut read =
            || reader.read(&mut bytes).map(|count| bytes.get(..count).unwrap_or_default().to_vec());
        loop {
            let came = read();
            let goes_on = came.as_ref().is_ok_and(|bytes| !bytes.is_empty());
            // At the end there is nothing to tell; the channel closes.
            let is_told = goes_on || came.is_err();
            if is_told && out.send(came).is_err() || !goes_on {
                return;
            }
        }
    });
    heard
}
