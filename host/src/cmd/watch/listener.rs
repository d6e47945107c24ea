//! In: a source. Out: its monitor, heard to the end of the file or until interrupted: a line that is lost is opened again.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use super::back_off::BackOff;
use super::monitor::Monitor;
use super::pulse::{Beat, Pulse, Silence};
use super::queue::Queue;
use crate::cmd::plain_line;
use crate::error::Error;
use crate::source::line::{Heard, Line};
use crate::source::{self, Connection, ConnectionError, Opening, Unopened};

/// Time after which it is looked again whether a person interrupts.
const STEP: Duration = Duration::from_millis(200);

/// A line that was open for this long was no mere attempt: the next attempt comes soon.
const STEADY: Duration = Duration::from_secs(10);

/// Listens to one source.
pub(super) struct Listener {
    pub(super) monitor: Monitor,
    pub(super) queue: Queue,
    pub(super) image: Option<PathBuf>,
    /// Without a frame for this long a line is lost.
    pub(super) time_out: Duration,
    /// A line that is lost is not opened again.
    pub(super) once: bool,
}

/// How a connection ends.
enum End {
    /// A person interrupts.
    Stopped,
    /// The file or the connection is over.
    Over,
    Failed(Error),
    /// Nothing more can be stored.
    NoStore(Error),
}

impl Listener {
    /// Listens, and ends with what went wrong.
    pub(super) fn run(mut self) -> Result<(), Error> {
        let heard = self.listen();
        // The moves received before an error are reported first.
        self.monitor.finish().and(heard)
    }

    fn listen(&mut self) -> Result<(), Error> {
        let (mut back_off, mut lost, mut was_open) = (BackOff::default(), None, false);
        while !self.queue.is_stopped() {
            let end = match self.open() {
                None => return Ok(()),
                Some(Ok(connection)) => {
                    was_open = true;
                    let opened = Instant::now();
                    plain_line::warn(self.monitor.place(), &connection);
                    let end = self.hear(&Line::new(connection), &mut lost);
                    if opened.elapsed() >= STEADY {
                        back_off.reset();
                    }
                    end
                }
                Some(Err(Unopened { error, passes })) if was_open || passes => End::Failed(error),
                Some(Err(Unopened { error, .. })) => return Err(error),
            };
            let error = match end {
                End::Stopped => return Ok(()),
                End::Over if self.monitor.place().starts_with("file:") => return Ok(()),
                End::Over => self.error("the other side has ended the connection"),
                End::NoStore(error) => return Err(error),
                End::Failed(error) => error,
            };
            if self.once || !can_be_opened_again(self.monitor.place()) {
                return Err(error);
            }
            self.monitor.cut();
            if lost.is_none() {
                self.monitor.note(&format!("{}; trying until it is there again", self.words(&error)));
                lost = Some(Instant::now());
            }
            self.wait(back_off.next_wait());
        }
        Ok(())
    }

    /// A connection; `None` if a person interrupts first.
    fn open(&self) -> Option<Result<Connection, Unopened>> {
        let opening = Opening::begin(self.monitor.place(), self.image.as_deref());
        while !self.queue.is_stopped() {
            if let Some(opened) = opening.wait(STEP) {
                return Some(opened);
            }
        }
        None
    }

    /// Hears a line to its end. `lost` is when the line before was lost, until this one brings a frame.
    fn hear(&mut self, line: &Line, lost: &mut Option<Instant>) -> End {
        let mut pulse = Pulse::new(self.time_out, Instant::now());
        let mut commands = vec![self.monitor.begin()];
        while !self.queue.is_stopped() {
            let sent = commands.drain(..).try_for_each(|bytes| line.send(bytes));
            if let Err(error) = sent {
                return End::Failed(source::connection_error(self.monitor.place(), error));
            }
            match line.hear(Instant::now() + STEP) {
                Heard::Bytes(bytes) => {
                    let has_frames = self.monitor.receive(&bytes, Instant::now());
                    pulse.heard(has_frames, Instant::now());
                    if let Some(since) = lost.take_if(|_| has_frames) {
                        let words = length(since.elapsed());
                        self.monitor.note(&format!("the line is back after {words}"));
                    }
                }
                Heard::Nothing => self.monitor.commit(),
                Heard::End => return End::Over,
                Heard::Failed(error) => {
                    return End::Failed(source::connection_error(self.monitor.place(), error));
                }
            }
            if let Err(error) = self.monitor.check_store() {
                return End::NoStore(error);
            }
            commands = self.monitor.commands(Instant::now());
            match if line.accepts_commands() { pulse.beat(Instant::now()) } else { Beat::Wait } {
                Beat::Wait => (),
                Beat::Question => commands.push(self.monitor.question()),
                // That the line is lost was written already.
                Beat::Notice(_) if lost.is_some() => (),
                Beat::Notice(silence) => self.monitor.note(&self.silence(silence, self.time_out / 2)),
                Beat::Lost(silence) => {
                    return End::Failed(self.error(&self.silence(silence, self.time_out)));
                }
            }
        }
        End::Stopped
    }

    fn wait(&self, time: Duration) {
        let end = Instant::now() + time;
        while !self.queue.is_stopped() && Instant::now() < end {
            std::thread::sleep(end.saturating_duration_since(Instant::now()).min(STEP));
        }
    }

    fn error(&self, wrong: &str) -> Error {
        let remedy =
            "check the power of the monitor and the line; with --store the missing frames are then requested";
        ConnectionError::new(wrong, remedy).at(self.monitor.place())
    }

    /// What is wrong, without the remedy, which is at work.
    fn words(&self, error: &Error) -> String {
        match error {
            Error::Unreached { place, wrong, .. } => format!("{place}: {wrong}"),
            error => error.to_string(),
        }
    }

    fn silence(&self, silence: Silence, time: Duration) -> String {
        let time = length(time);
        match silence {
            Silence::NoMore => format!("nothing for {time}, and no answer"),
            Silence::FromTheBeginning => format!(
                "nothing for {time} since the line was opened: check power, wiring and port; a monitor answers at once"
            ),
            Silence::NoFrames => format!(
                "bytes, but no frame of a monitor for {time}: check what is connected, and the speed of a serial line"
            ),
        }
    }
}

/// Whether it makes sense to open a source again. A file is read once; a probe may have been unplugged with its chip.
fn can_be_opened_again(place: &str) -> bool {
    place.starts_with("tcp:") || place.starts_with("serial:")
}

/// `0.4 s`, `75 s`, `12 min`, `3.5 h`.
fn length(time: Duration) -> String {
    let seconds = time.as_secs_f64();
    match seconds {
        0.0..9.95 => format!("{seconds:.1} s"),
        9.95..119.5 => format!("{seconds:.0} s"),
        119.5..7170.0 => format!("{:.0} min", seconds / 60.0),
        _ => format!("{:.1} h", seconds / 3600.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_of_time_are_in_units_of_people() {
        let lengths = [0.42, 75.2, 720.0, 12_600.0].map(Duration::from_secs_f64).map(length);
        assert_eq!(lengths, ["0.4 s", "75 s", "12 min", "3.5 h"]);
    }
}
