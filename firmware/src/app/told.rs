//! In: what the axes found out, the monitor's counters. Out: messages, queued and kept.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::Record;
use stillpoint_core::wire::LONGEST_PIECE;
use stillpoint_core::wire::alarm::{Alarm, Subject};
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::frame::Payload;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::status::{Hello, Status};
use stillpoint_core::wire::trace::Trace;

use super::watched::{Asked, Wanted};
use super::{App, Identity};
use crate::health::{Finding, Severity};
use crate::link::{Link, Put};
use crate::store::Store;

/// Who speaks, before the time is known.
fn hello(identity: &Identity, axes: usize, ticks_per_second: u32) -> Hello<'static> {
    let Identity { device, board, reset, .. } = *identity;
    let (firmware, oldest) = (env!("CARGO_PKG_VERSION"), stillpoint_core::wire::OLDEST);
    Hello { device, board, firmware, oldest, axes: axes as u8, ticks_per_second, reset, clock: None }
}

/// The first frames of a start.
pub(super) fn greet<F: NorFlash>(
    identity: &Identity,
    asked: &[Asked],
    link: &mut Link,
    store: &mut Store<F>,
) {
    let rate = asked.first().map_or(1, |asked| asked.settings.ticks_per_second);
    tell_as(Priority::Alarm, &Message::Hello(hello(identity, asked.len(), rate)), link, store);
    for (axis, asked) in asked.iter().enumerate() {
        tell_as(Priority::Move, &Message::Settings(asked.told(axis as u8)), link, store);
    }
}

fn tell_as<F: NorFlash>(priority: Priority, message: &Message, link: &mut Link, store: &mut Store<F>) {
    let (header, put) = link.put_as(priority, message);
    let sealed = store.keep(&header, message);
    if sealed && put == Put::NoRoom {
        link.forgive(priority);
    }
}

impl<const AXES: usize, F: NorFlash, const LINES: usize, const LINE: usize, const KINDS: usize>
    App<AXES, F, LINES, LINE, KINDS>
{
    /// Numbers a message, keeps it if it is one to be kept, and queues it.
    pub(super) fn tell(&mut self, message: &Message) {
        tell_as(message.priority(), message, &mut self.link, &mut self.store);
    }

    /// A move and its rest are over.
    pub(super) fn told(&mut self, number: usize, record: Record) {
        let Some(watched) = self.watched.get_mut(number) else { return };
        let (mut record, inferred) = (watched.placed(record), watched.asked.inferred);
        if inferred && let Some(line) = self.lines.of(number) {
            line.mark_record(&mut record, watched.asked.settings.window, watched.axis.curve());
        }
        let (before, wanted) = (watched.unsettled, watched.stopped(record.outcome, self.now));
        let now = watched.unsettled;
        let kind = self.compare(number, &record);
        self.tell(&Message::Move(Move { kind, ..Move::new(number as u8, inferred, &record) }));
        self.curve(number, record.number, Priority::Curve);
        if wanted == Wanted::Evidence {
            self.curve(number, record.number, Priority::Move);
        }
        self.trace(number, record.number, wanted);
        if now != before {
            self.judge(number, now, (record.number, kind));
        }
        if let Some(watched) = self.watched.get_mut(number) {
            watched.begin();
        }
    }

    /// The settling curve. That of evidence goes with the moves once more and so is kept; the others are
    /// not: with them the log of a shift would be three times as large.
    fn curve(&mut self, number: usize, record: u32, priority: Priority) {
        let Some(watched) = self.watched.get(number) else { return };
        let mut points = watched.axis.curve().peekable();
        let (mut first, mut buffer) = (0, [0; LONGEST_PIECE]);
        while let Some(curve) = Curve::pack((number as u8, record, first), &mut points, &mut buffer) {
            first += curve.points().count() as u16;
            tell_as(priority, &Message::Curve(curve), &mut self.link, &mut self.store);
        }
    }

    /// The samples around the stop, if anybody wants them.
    fn trace(&mut self, number: usize, record: u32, wanted: Wanted) {
        let Some(watched) = self.watched.get(number) else { return };
        let priority = match wanted {
            Wanted::Nobody => return,
            Wanted::Asked => Priority::Trace,
            Wanted::Evidence => Priority::Move,
        };
        let mut readings = watched.capture.readings().peekable();
        let (mut first, mut buffer) = (0, [0; LONGEST_PIECE]);
        while let Some(trace) = Trace::pack((number as u8, record, first), &mut readings, &mut buffer) {
            first += trace.readings().count() as u32;
            let trace = Trace { factor: watched.capture.factor(), ..trace };
            tell_as(priority, &Message::Trace(trace), &mut self.link, &mut self.store);
        }
    }

    /// So many stops in a row did not settle; `behind`: the move and its kind.
    fn judge(&mut self, number: usize, unsettled: u8, behind: (u32, u32)) {
        self.alarm((number, Subject::Unsettled), unsettled.into(), behind);
    }

    /// Something is wrong with the signals; where no number can be right it is an alarm.
    pub(super) fn found(&mut self, number: usize, finding: Finding) {
        let told = finding.told(number as u8, self.now);
        self.tell(&Message::Finding(told));
        if finding.severity() == Severity::Fault {
            self.alarm((number, Subject::Signal), told.which as i64, (0, 0));
        }
    }

    /// What was found about the signals no longer holds.
    pub(super) fn unfound(&mut self, number: usize) {
        self.alarm((number, Subject::Signal), -1, (0, 0));
    }

    /// The following error lasts, or is inside its window again.
    pub(super) fn following_error(&mut self, number: usize, lasts: bool) {
        self.tell_status(number);
        let Some(watched) = self.watched.get(number) else { return };
        let window = watched.asked.settings.following_error_window;
        let beyond = i64::from(watched.axis.error().unsigned_abs()) - i64::from(window);
        // The event may be told a sample later.
        let figure = if lasts { beyond.max(1) } else { beyond.min(0) };
        self.alarm((number, Subject::FollowingError), figure, (watched.moves().wrapping_add(1), 0));
    }

    /// How the worst kind of moves of an axis stands against its baseline; `behind`: the move and the kind.
    pub(super) fn alarm_drift(&mut self, number: usize, score: u32, behind: (u32, u32)) {
        self.alarm((number, Subject::Drift), score.into(), behind);
    }

    /// A figure that an alarm is about, and the number and kind of the move behind it.
    pub(super) fn alarm(&mut self, about: (usize, Subject), figure: i64, behind: (u32, u32)) {
        let step = self.alarms.step(about, figure, behind, self.now);
        self.tell_alarm(step);
    }

    /// Tells a step, and those that follow from it by logic or by the clock.
    pub(super) fn tell_alarm(&mut self, step: Option<Alarm>) {
        let mut step = step.or_else(|| self.alarms.next(self.now));
        while let Some(alarm) = step {
            self.tell(&Message::Alarm(alarm));
            step = self.alarms.next(self.now);
        }
    }

    /// Says how an axis and the device fare.
    pub fn tell_status(&mut self, number: usize) {
        let Some(watched) = self.watched.get(number) else { return };
        let status = Status {
            axis: number as u8,
            now: watched.now(),
            moving: watched.status.moving,
            position: watched.status.position.into(),
            following_error: watched.status.following_error,
            error: watched.axis.error(),
            moves: watched.moves(),
            small: watched.small(),
            samples: watched.samples,
            gaps: watched.gaps,
            lost_events: watched.lost(),
            overruns: self.sampler.missed(),
            lost_frames: self.link.lost(),
            queue_depth: self.link.waiting(),
            queue_most: self.link.most(),
            replay_left: u32::from(self.replay.is_some()),
            last_command: self.last_command,
            refused_commands: self.refused,
        };
        self.link.put(&Message::Status(status));
    }

    pub(super) fn hello(&mut self) {
        let hello = hello(&self.identity, AXES, self.ticks_per_second());
        self.tell(&Message::Hello(Hello { clock: self.clock, ..hello }));
    }

    pub(super) fn ticks_per_second(&self) -> u32 {
        self.watched.first().map_or(1, |watched| watched.asked.settings.ticks_per_second)
    }

    /// Time since the first reading. Unit: µs
    pub(super) fn microseconds(&self) -> i64 {
        let rate = u64::from(self.ticks_per_second().max(1));
        let whole = (self.now / rate).saturating_mul(1_000_000);
        i64::try_from(whole.saturating_add(self.now % rate * 1_000_000 / rate)).unwrap_or(i64::MAX)
    }
}
