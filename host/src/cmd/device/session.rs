//! In: commands for a monitor, one after another. Out: the state of the monitor, and its answers; each within a deadline.
//!
//! A monitor answers a command that it accepts. If it refuses a command, it sends at once a status that names it. An
//! answer is a live frame of the present start that was not received before: what is sent again, or was on its way, is
//! none. Whatever else the monitor sends extends no deadline.

use std::path::Path;
use std::time::{Duration, Instant};

use crate::checksum::FastCrc;
use stillpoint_core::wire::command::{Command, DumpSince};
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::sequence::{Continuity, Sequence};

use super::state::MonitorState;
use crate::cmd::output::notify;
use crate::cmd::plain_line;
use crate::command::CommandEncoder;
use crate::error::Error;
use crate::source::line::{Heard, Line};
use crate::source::{self, Opening};
use crate::store::log::Log;
use crate::store::{Options, Store, time};

/// A dump may last this many times as long as another answer: 16 MiB of log at 921,600 baud take three minutes.
const DUMP: u32 = 30;

/// Time after which `Identify` is repeated, as long as the state is not complete.
const REPEAT: Duration = Duration::from_secs(1);

/// A connection to one monitor.
pub(super) struct Session {
    source: String,
    line: Line,
    receiver: Receiver<FastCrc>,
    sequence: Sequence,
    commands: CommandEncoder,
    /// Longest wait for an answer.
    time_out: Duration,
    /// When the present wait ends.
    deadline: Instant,
    /// Whether a frame was read since the present wait began.
    is_heard: bool,
    pub(super) monitor: MonitorState,
    /// Stores the frames, if requested.
    log: Option<Log>,
}

impl Session {
    /// Connects and waits until the monitor has reported its state. `time_out` is for both together.
    pub(super) fn open(source: &str, store: Option<&Path>, time_out: Duration) -> Result<Session, Error> {
        // The store must exist: no action may be taken that then can't be recorded.
        let options = Options::default();
        let log = store.map(|path| {
            Store::open(path, &options)?;
            Log::open(path, &options, None, Vec::new())
        });
        let log = log.transpose()?;
        let deadline = Instant::now() + time_out;
        let opened = Opening::begin(source, None).wait(time_out).ok_or_else(|| {
            let remedy = "check the address or the port, and the power of the monitor";
            unreached(source, "the connection does not open in time", remedy)
        })?;
        let connection = opened.map_err(|unopened| unopened.error)?;
        plain_line::warn(source, &connection);
        let line = Line::new(connection);
        if !line.accepts_commands() {
            let remedy = "give serial:PATH, tcp:HOST:PORT or probe:CHIP";
            return Err(super::unusable_source(source, "accepts no commands", remedy));
        }
        let mut session = Session {
            source: source.to_owned(),
            line,
            receiver: Receiver::new(Direction::FromDevice),
            sequence: Sequence::default(),
            commands: CommandEncoder::default(),
            time_out,
            deadline,
            is_heard: false,
            monitor: MonitorState::default(),
            log,
        };
        session.identify()?;
        Ok(session)
    }

    /// Waits for the state; `Identify` is repeated, since bytes on the line may have spoilt it.
    fn identify(&mut self) -> Result<(), Error> {
        let mut repeat = Instant::now();
        while !self.monitor.is_complete() {
            if Instant::now() >= repeat {
                self.send(&Command::Identify)?;
                repeat = Instant::now() + REPEAT;
            }
            self.receive(repeat, &mut |_, _| ())?;
        }
        Ok(())
    }

    fn send(&mut self, command: &Command) -> Result<(), Error> {
        let sent = self.line.send(self.commands.encode(command));
        sent.map_err(|error| source::connection_error(&self.source, error))
    }

    /// Sends a command, from which on a wait of this length begins.
    fn begin(&mut self, command: &Command, wait: Duration) -> Result<(), Error> {
        (self.deadline, self.is_heard) = (Instant::now() + wait, false);
        self.send(command)
    }

    /// Sends a command and waits for the live message that `answer` accepts; `None` if the monitor refuses the command,
    /// which it says with a status that names it.
    pub(super) fn request<T>(
        &mut self,
        command: &Command,
        mut answer: impl FnMut(&Header, &Message) -> Option<T>,
    ) -> Result<Option<T>, Error> {
        self.begin(command, self.time_out)?;
        let (mut answered, mut refused) = (None, false);
        let (number, boot) = (self.commands.last(), self.monitor.boot());
        while answered.is_none() && !refused {
            self.receive(self.deadline, &mut |header, message| {
                if !header.replay && answered.is_none() && !refused {
                    answered = answer(header, message);
                    refused = answered.is_none() && names(message, number);
                }
            })?;
            if self.monitor.boot() != boot {
                return Err(self.error("the monitor has restarted before it answered", "try again"));
            }
        }
        Ok(answered)
    }

    /// Requests the log from a frame on, and passes its frames to `out`, each once and in the order of their numbers. The
    /// dump is over with the first status that names it and reports nothing left to replay: a status may be on its way
    /// when the command is sent, and one may be sent while the log is replayed.
    pub(super) fn dump(
        &mut self,
        since: DumpSince,
        out: &mut impl FnMut(&Header, &Message),
    ) -> Result<(), Error> {
        self.begin(&Command::DumpSince(since), self.time_out)?;
        let (number, end) = (self.commands.last(), Instant::now() + self.time_out * DUMP);
        let (mut is_over, mut last) = (false, None);
        while !is_over {
            let mut goes_on = false;
            self.receive(self.deadline, &mut |header, message| {
                is_over |= !header.replay && names(message, number);
                let place = Some((header.boot, header.sequence));
                if header.replay && header.priority == Priority::Move && place > last {
                    (last, goes_on) = (place, true);
                    out(header, message);
                }
            })?;
            if goes_on {
                self.deadline = (Instant::now() + self.time_out).min(end);
            }
        }
        Ok(())
    }

    /// Number of commands that the monitor has refused so far. The request for a dump beyond the end of the log is
    /// answered at once with a status.
    pub(super) fn refusals(&mut self) -> Result<u32, Error> {
        let beyond = DumpSince { boot: u32::MAX, priority: Priority::Move as u8, sequence: u32::MAX };
        let number = self.commands.last().map(|last| last.wrapping_add(1));
        let count = self.request(&Command::DumpSince(beyond), |_, message| match message {
            Message::Status(status) if names(message, number) => Some(status.refused_commands),
            _ => None,
        })?;
        count.ok_or_else(|| self.no_answer("the monitor does not report its status"))
    }

    /// Passes the next messages to `out`; returns at `until` at the latest. An error at the end of the present wait.
    fn receive(&mut self, until: Instant, out: &mut impl FnMut(&Header, &Message)) -> Result<(), Error> {
        match self.line.hear(until.min(self.deadline)) {
            Heard::Bytes(bytes) => self.read(&bytes, out),
            Heard::Nothing => (),
            Heard::End => return Err(self.no_answer("the connection ended without an answer")),
            Heard::Failed(error) => return Err(source::connection_error(&self.source, error)),
        }
        match (Instant::now() < self.deadline, self.is_heard) {
            (true, _) => Ok(()),
            (false, true) => Err(self.no_answer("the monitor sends frames, but no answer")),
            (false, false) => Err(self.no_answer("the monitor sends no readable frames")),
        }
    }

    fn read(&mut self, bytes: &[u8], out: &mut impl FnMut(&Header, &Message)) {
        if let Some(log) = &mut self.log {
            log.push(bytes, time::now());
        }
        let mut remaining = bytes;
        while let Some(event) = self.receiver.step(&mut remaining) {
            let Event::Frame(frame) = event else { continue };
            let is_new = self.sequence.step(&frame.header) != Continuity::Duplicate;
            let Some(read) = frame.read::<Message>().ok().filter(|_| is_new) else { continue };
            self.is_heard = true;
            // A replayed frame reports an earlier state.
            if !frame.header.replay {
                self.monitor.update(&frame.header, &read.payload);
            }
            out(&frame.header, &read.payload);
        }
    }

    fn no_answer(&self, wrong: &str) -> Error {
        self.error(wrong, "check that a monitor is connected and that no other program uses the connection")
    }

    /// An error of this monitor.
    pub(super) fn error(&self, wrong: impl ToString, remedy: impl ToString) -> Error {
        unreached(&self.source, wrong, remedy)
    }

    /// Ends the session and commits the stored frames; gives the store, if there is one.
    pub(super) fn finish(self) -> Result<Option<Store>, Error> {
        let Some(mut log) = self.log else { return Ok(None) };
        log.drain_notes().iter().for_each(notify);
        log.finish().map(|(store, _)| Some(store))
    }
}

/// Whether a message is the status that ends the work on a command.
fn names(message: &Message, number: Option<u32>) -> bool {
    match message {
        Message::Status(status) => status.replay_left == 0 && status.last_command == number,
        _ => false,
    }
}

fn unreached(place: &str, wrong: impl ToString, remedy: impl ToString) -> Error {
    Error::Unreached { place: place.to_owned(), wrong: wrong.to_string(), remedy: remedy.to_string() }
}
