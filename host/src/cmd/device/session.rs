//! In: commands for a monitor, one after another. Out: the state of the monitor, and its answers.
//!
//! A monitor answers a command that it accepts. If it refuses a command, it sends at once a status that names it.

use std::collections::BTreeMap;
use std::io::{self, Read, Write};
use std::path::Path;
use std::sync::mpsc::{Receiver as Channel, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use crate::checksum::FastCrc;
use stillpoint_core::wire::alarm::{Alarm, AlarmState};
use stillpoint_core::wire::command::{Command, DumpSince};
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::settings::Parameters;

use crate::cmd::output::notify;
use crate::command::CommandEncoder;
use crate::error::Error;
use crate::source::{self, Connection};
use crate::store::log::Log;
use crate::store::{Options, Store, time};

/// Longest wait for an answer.
const TIME_OUT: Duration = Duration::from_secs(10);

/// State that a monitor has reported.
#[derive(Debug, Default)]
pub(super) struct MonitorState {
    pub(super) number: [u8; 12],
    pub(super) board: String,
    pub(super) firmware: String,
    pub(super) axes: u8,
    pub(super) ticks_per_second: u32,
    /// Accepted settings of each axis.
    pub(super) settings: BTreeMap<u8, Parameters>,
    /// Alarms that are not normal, by number.
    pub(super) alarms: BTreeMap<u32, Alarm>,
}

impl MonitorState {
    fn update(&mut self, message: &Message) {
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

    fn is_complete(&self) -> bool {
        self.axes > 0 && self.settings.len() >= usize::from(self.axes)
    }
}

/// A connection to one monitor.
pub(super) struct Session {
    source: String,
    chunks: Channel<io::Result<Vec<u8>>>,
    writer: Box<dyn Write + Send>,
    receiver: Receiver<FastCrc>,
    commands: CommandEncoder,
    /// Number of commands sent.
    sent: u32,
    /// Time of the last command or readable frame.
    last_frame: Instant,
    pub(super) monitor: MonitorState,
    /// Stores the frames, if requested.
    log: Option<Log>,
}

impl Session {
    /// Connects and waits until the monitor has reported its state.
    pub(super) fn open(source: &str, store: Option<&Path>) -> Result<Session, Error> {
        // The store must exist: no action may be taken that then can't be recorded.
        let options = Options::default();
        let log = store.map(|path| {
            Store::open(path, &options)?;
            Log::open(path, &options, None, Vec::new())
        });
        let log = log.transpose()?;
        let Connection { reader, writer } = source::open(source)?;
        let writer = writer.ok_or_else(|| {
            super::unusable_source(
                source,
                "accepts no commands",
                "give serial:PATH, tcp:HOST:PORT or probe:CHIP",
            )
        })?;
        let mut session = Session {
            source: source.to_owned(),
            chunks: read_on_thread(reader),
            writer,
            receiver: Receiver::new(Direction::FromDevice),
            commands: CommandEncoder::default(),
            sent: 0,
            last_frame: Instant::now(),
            monitor: MonitorState::default(),
            log,
        };
        session.send(&Command::Identify)?;
        while !session.monitor.is_complete() {
            session.receive(&mut |_, _| ())?;
        }
        Ok(session)
    }

    fn send(&mut self, command: &Command) -> Result<(), Error> {
        let sent = self.writer.write_all(&self.commands.encode(command)).and_then(|()| self.writer.flush());
        self.sent += 1;
        self.last_frame = Instant::now();
        sent.map_err(|error| source::connection_error(&self.source, error))
    }

    /// Sends a command and waits for the message that `answer` accepts; `None` if the monitor refuses the command. A dump
    /// is over with the first status that names it and reports nothing left to replay: a status may be on its way when
    /// the command is sent, and one may be sent while the log is replayed.
    pub(super) fn request<T>(
        &mut self,
        command: &Command,
        mut answer: impl FnMut(&Header, &Message) -> Option<T>,
    ) -> Result<Option<T>, Error> {
        let (mut answered, mut refused, number) = (None, false, self.sent);
        self.send(command)?;
        while answered.is_none() && !refused {
            self.receive(&mut |header, message| {
                if answered.is_none() && !refused {
                    answered = answer(header, message);
                    let Message::Status(status) = message else { return };
                    let is_over = status.replay_left == 0 && status.last_command == Some(number);
                    refused = answered.is_none() && is_over;
                }
            })?;
        }
        Ok(answered)
    }

    /// Number of commands that the monitor has refused so far. The request for a dump beyond the end of the log is
    /// answered at once with a status.
    pub(super) fn refusals(&mut self) -> Result<u32, Error> {
        let number = self.sent;
        let beyond = DumpSince { boot: u32::MAX, priority: Priority::Move as u8, sequence: u32::MAX };
        let count = self.request(&Command::DumpSince(beyond), |_, message| match message {
            Message::Status(status) if status.last_command == Some(number) => Some(status.refused_commands),
            _ => None,
        })?;
        count.ok_or_else(|| self.no_answer("the monitor does not report its status"))
    }

    /// Passes the next messages to `out`.
    fn receive(&mut self, out: &mut impl FnMut(&Header, &Message)) -> Result<(), Error> {
        let bytes = match self.chunks.recv_timeout(TIME_OUT) {
            Ok(read) => read.map_err(|error| source::connection_error(&self.source, error))?,
            Err(RecvTimeoutError::Timeout) => return Err(self.no_answer("the monitor sends nothing")),
            Err(RecvTimeoutError::Disconnected) => {
                return Err(self.no_answer("the connection ended without an answer"));
            }
        };
        if let Some(log) = &mut self.log {
            log.push(&bytes, time::now());
        }
        let mut remaining = &bytes[..];
        while let Some(event) = self.receiver.step(&mut remaining) {
            let Event::Frame(frame) = event else { continue };
            if let Ok(read) = frame.read::<Message>() {
                // A replayed frame reports an earlier state.
                if !frame.header.replay {
                    self.monitor.update(&read.payload);
                }
                out(&frame.header, &read.payload);
                self.last_frame = Instant::now();
            }
        }
        if self.last_frame.elapsed() > TIME_OUT {
            Err(self.no_answer("the monitor sends no readable frames"))
        } else {
            Ok(())
        }
    }

    fn no_answer(&self, wrong: &str) -> Error {
        self.error(wrong, "check that a monitor is connected and that no other program uses the connection")
    }

    /// An error of this monitor.
    pub(super) fn error(&self, wrong: impl ToString, remedy: impl ToString) -> Error {
        Error::Unreached { place: self.source.clone(), wrong: wrong.to_string(), remedy: remedy.to_string() }
    }

    /// Ends the session and commits the stored frames; gives the store, if there is one.
    pub(super) fn finish(self) -> Result<Option<Store>, Error> {
        let Some(mut log) = self.log else { return Ok(None) };
        log.drain_notes().iter().for_each(notify);
        log.finish().map(|(store, _)| Some(store))
    }
}

/// Reads on a thread, so that waiting for an answer can time out.
fn read_on_thread(mut reader: Box<dyn Read + Send>) -> Channel<io::Result<Vec<u8>>> {
    let (out, chunks) = channel();
    std::thread::spawn(move || {
        let mut bytes = [0; 4096];
        let mut read =
            || reader.read(&mut bytes).map(|count| bytes.get(..count).unwrap_or_default().to_vec());
        loop {
            let chunk = read();
            let has_bytes = chunk.as_ref().is_ok_and(|bytes| !bytes.is_empty());
            let is_end = chunk.is_ok() && !has_bytes;
            // At the end nothing is sent; the channel closes.
            if !is_end && out.send(chunk).is_err() || !has_bytes {
                return;
            }
        }
    });
    chunks
}
