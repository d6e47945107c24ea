//! In: readings of one axis. Out: findings about its signals; its moves, numbered and placed in time, with their kinds.
//!
//! The channel owns everything of one axis and returns what happened as values; the app publishes them.
//!
//! A new configuration waits until a move begins: the move before, with its rest, is then wholly measured by the old
//! settings and the new move wholly by the new ones. A change that invalidates the state of the axis (command scale,
//! tap, inference) resets it; the first move after that may be marked as joined late, while numbers and instants
//! continue. Such a change does not wait for a command that has stood still for a second: that command may be the
//! dead one which the change is about.

use stillpoint_core::drift::DriftSettings;
use stillpoint_core::ringing::{self, StopCapture};
use stillpoint_core::wire::alarm::Subject;
use stillpoint_core::wire::drift::RestartReason;
use stillpoint_core::wire::job;
use stillpoint_core::wire::record::{Move, flag2};
use stillpoint_core::wire::settings;
use stillpoint_core::wire::status::{self, Cause, Gap, Missing};
use stillpoint_core::{Axis, CurvePoint, Event, Invalid, Outcome, Reading, Record, Status, Turn};

use super::alarms::Figure;
use super::clock::Clock;
use super::config::{AxisConfig, StopLimits, health_limits, inference_limits};
use super::job::Job;
use super::kinds::{Classified, Judgement, KindMonitor, Restarted};
use super::limits::LimitMonitor;
use crate::capture::{Capture, EvidenceBudget};
use crate::health::{Finding, Health, Limits, Severity};
use crate::infer::Inference;
use crate::sampler::Raw;

/// The board has no delay line, and so can't infer a command.
const NO_DELAY_LINE: Invalid =
    Invalid { parameter: "inferred", rule: "false on a board without delay lines" };

/// Why the samples of a stop are published.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum CaptureReason {
    /// A host has requested them.
    Requested,
    /// The stop did not settle.
    Evidence,
}

/// A move and its rest are over.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stop {
    /// The record with its kind, as it is sent.
    pub(super) message: Move,
    /// What the classification found.
    pub(super) classified: Classified,
    pub(super) capture: Option<CaptureReason>,
    /// Its ringing can't be evaluated: another stop is captured.
    pub(super) unfitted: bool,
    /// Shares of moves against limits that a person gives, where this stop changed what is shown.
    pub(super) limits: [Option<Figure>; 2],
    /// Stops in a row that did not settle, if this stop changed the number.
    pub(super) unsettled: Option<Figure>,
}

/// A stop that waits for a fit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Unfitted {
    /// Of its move.
    pub(super) number: u32,
    /// When its rest was over. Unit: ticks since the first reading
    pub(super) since: u64,
}

/// What one reading of an axis came to.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stepped {
    /// Something happened, see [`AxisChannel::event`].
    pub(super) event: bool,
    /// A stop that waited for a fit is overwritten by the next: number of its move.
    pub(super) overwritten: Option<u32>,
}

/// Counts of the axis before its last reset.
#[derive(Clone, Copy, Debug, Default)]
struct Earlier {
    moves: u32,
    small: u32,
    lost: u32,
}

/// Everything of one axis. `LINE` is the length of its delay line, 0 for none; `KINDS` how many kinds of moves are
/// monitored at a time.
#[derive(Debug)]
pub(super) struct AxisChannel<const LINE: usize, const KINDS: usize> {
    /// Of the axis, from 0.
    number: u8,
    /// Time between samples. Unit: ticks
    period: u32,
    /// Owns the settings in force.
    axis: Axis,
    turn: Turn,
    status: Status,
    /// The command is inferred, not tapped.
    inferred: bool,
    inference: Inference<LINE>,
    drift: DriftSettings,
    stop_limits: StopLimits,
    limit_monitor: LimitMonitor,
    job: Job,
    /// Waits for the next move.
    pending: Option<AxisConfig>,
    samples: u64,
    gaps: u32,
    /// Illegal transitions counted by the feedback tap.
    illegal_transitions: u32,
    /// The last reading the axis was given.
    last: Option<Reading>,
    /// Instant of the first reading since the last reset. Unit: ticks since the first reading of all
    origin: Option<u64>,
    earlier: Earlier,
    /// When the axis was last given a reading, and one with another command. Unit: ticks since the first reading
    last_step: u64,
    last_change: u64,
    /// When the command last began to move. Unit: ticks since the first reading
    begun: u64,
    health: Health,
    /// Unknown until a reading shows the widths of the counters.
    limits: Option<Limits>,
    near_limit: bool,
    /// Around the last stop.
    capture: Capture,
    /// Of the last stop.
    stop_capture: StopCapture,
    /// The captured stop waits for a fit.
    unfitted: Option<Unfitted>,
    finds_ringing: bool,
    evidence: EvidenceBudget,
    /// Stops whose samples a host has requested.
    requested_stops: u32,
    /// Stops in a row that did not settle.
    unsettled: u8,
    kinds: KindMonitor<KINDS>,
}

impl<const LINE: usize, const KINDS: usize> AxisChannel<LINE, KINDS> {
    /// A channel that starts with `config`. Unit of `period`: ticks
    pub(super) fn new(number: u8, config: AxisConfig, period: u32) -> AxisChannel<LINE, KINDS> {
        let rate = config.settings.ticks_per_second.checked_div(period).unwrap_or(0);
        AxisChannel {
            number,
            period,
            axis: Axis::new(config.settings),
            turn: Turn::new(&config.settings),
            status: Status::default(),
            inferred: config.inferred,
            inference: Inference::default(),
            drift: config.drift,
            stop_limits: config.limits,
            limit_monitor: LimitMonitor::default(),
            job: Job::default(),
            pending: None,
            samples: 0,
            gaps: 0,
            illegal_transitions: 0,
            last: None,
            origin: None,
            earlier: Earlier::default(),
            last_step: 0,
            last_change: 0,
            begun: 0,
            health: Health::default(),
            limits: None,
            near_limit: false,
            capture: Capture::new(Capture::factor_of(rate)),
            stop_capture: StopCapture::new(config.settings.encoder_step),
            unfitted: None,
            finds_ringing: true,
            evidence: EvidenceBudget::default(),
            requested_stops: 0,
            unsettled: 0,
            kinds: KindMonitor::new(number),
        }
    }

    /// Checks what a host sends for this axis; the error names the parameter that breaks its rule.
    pub(super) fn check_config(sent: &settings::Parameters) -> Result<AxisConfig, Invalid> {
        let config = AxisConfig::new(sent)?;
        if config.inferred && LINE == 0 { Err(NO_DELAY_LINE) } else { Ok(config) }
    }
}

/// One reading, step by step.
impl<const LINE: usize, const KINDS: usize> AxisChannel<LINE, KINDS> {
    /// Readings are missing before the next one.
    pub(super) fn gap(&mut self, count: u32) -> Gap {
        let missing = Missing::Samples { axis: self.number, first: self.samples };
        self.gaps = self.gaps.saturating_add(1);
        self.samples += u64::from(count);
        self.health.gap();
        if self.inferred {
            // The delay line passes the gap on to the axis: readings from before it are still to come.
            self.inference.gap();
        } else {
            self.axis.gap();
        }
        Gap { missing, count, cause: Cause::Overrun }
    }

    /// The reading with positions that go on where those of a rotary axis begin anew.
    pub(super) fn unwrap(&mut self, reading: Reading) -> Reading {
        self.turn.unwrap(reading)
    }

    /// Checks the signals.
    pub(super) fn check(&mut self, raw: &Raw, reading: Reading) -> Option<Finding> {
        self.samples += 1;
        let (settings, inferred, period) = (self.axis.settings(), self.inferred, self.period);
        let limits = self.limits.get_or_insert_with(|| health_limits(settings, inferred, raw, period));
        // A command that is not tapped has no faults.
        let command = if inferred { reading.feedback } else { reading.command };
        let finding = self.health.step(limits, Reading { command, ..reading }, self.illegal_transitions)?;
        self.near_limit |= finding.severity() == Severity::Warning;
        Some(finding)
    }

    /// The reading the axis is given next: this one, or one out of the delay line with an inferred command.
    pub(super) fn infer(&mut self, reading: Reading) -> Option<Reading> {
        if !self.inferred {
            return Some(reading);
        }
        let limits = inference_limits(self.axis.settings(), self.period);
        let delayed = self.inference.step(&limits, reading.tick, reading.feedback)?;
        if delayed.gap {
            self.axis.gap();
        }
        Some(delayed.reading)
    }

    /// Gives the axis a reading.
    pub(super) fn step(&mut self, reading: Reading, clock: &Clock) -> Stepped {
        let now = clock.now();
        self.origin.get_or_insert_with(|| clock.instant(reading.tick));
        let (before, was_moving) = (self.last_step, self.status.moving);
        self.last_step = now;
        self.status = self.axis.step(reading);
        if self.status.moving {
            self.last_change = now;
            if !was_moving {
                self.begun = before;
            }
        }
        let begins = self.stop_capture.step(self.status.moving, reading.tick, self.axis.error());
        let overwritten = if begins { self.unfitted.take().map(|stop| stop.number) } else { None };
        Stepped { event: self.status.event, overwritten }
    }

    /// Adds the same reading to the capture of the stop to come, after the events before it are published.
    pub(super) fn record(&mut self, reading: Reading) {
        self.last = Some(reading);
        // Until it is known whether the next move has begun, what the command does belongs to the stop before.
        self.capture.step(self.status.moving && !self.axis.is_undecided(), reading);
    }

    /// The next thing that happened on the axis.
    pub(super) fn event(&mut self) -> Option<Event> {
        self.axis.event()
    }
}

/// What an event of the axis comes to.
impl<const LINE: usize, const KINDS: usize> AxisChannel<LINE, KINDS> {
    /// A move and its rest are over.
    pub(super) fn stop(&mut self, record: Record, now: u64) -> Stop {
        let is_evaluated = self.finds_ringing && record.outcome.is_whole();
        let has_stop = self.stop_capture.of(record.command_end).is_some();
        let (mut record, inferred) = (self.placed(record), self.inferred);
        if inferred {
            self.inference.mark_record(&mut record, self.axis.settings().window, self.axis.curve());
        }
        let unsettled = self.count_unsettled(record.outcome);
        let capture = self.capture_reason(record.outcome, now);
        let job = self.job.of(record.start);
        let classified = self.kinds.classify(self.axis.settings(), &self.drift, (&record, job), now);
        let kind = classified.kind;
        let mut message = Move { kind, job, ..Move::new(self.number, inferred, &record) };
        let unfitted = is_evaluated && !has_stop;
        if is_evaluated {
            message.flags2 |= flag2::RINGING;
            self.unfitted = has_stop.then_some(Unfitted { number: record.number, since: now });
        }
        let unsettled = unsettled.map(|count| Figure {
            number: record.number,
            kind,
            ..Figure::new(self.number, Subject::Unsettled, count.into())
        });
        let limits = self.limit_monitor.step(&self.stop_limits, self.number, kind, &record);
        Stop { message, classified, capture, unfitted, limits, unsettled }
    }

    /// Stops in a row that did not settle, if this one changes the number.
    fn count_unsettled(&mut self, outcome: Outcome) -> Option<u8> {
        let count = match outcome {
            Outcome::Settled => 0,
            Outcome::Unsettled | Outcome::Interrupted => self.unsettled.saturating_add(1),
            // It may have settled or not.
            Outcome::Untrusted => self.unsettled,
        };
        let before = core::mem::replace(&mut self.unsettled, count);
        (count != before).then_some(count)
    }

    fn capture_reason(&mut self, outcome: Outcome, now: u64) -> Option<CaptureReason> {
        let requested = self.requested_stops > 0;
        self.requested_stops = self.requested_stops.saturating_sub(1);
        let rate = self.ticks_per_second();
        if outcome != Outcome::Settled && self.evidence.spend(now, rate) {
            Some(CaptureReason::Evidence)
        } else {
            requested.then_some(CaptureReason::Requested)
        }
    }

    /// The record as it is published: numbers and instants count from the very first reading.
    fn placed(&self, record: Record) -> Record {
        let origin = self.origin.unwrap_or(0);
        Record {
            number: record.number.wrapping_add(self.earlier.moves),
            start: record.start.saturating_add(origin),
            command_end: record.command_end.saturating_add(origin),
            ..record
        }
    }

    /// Clears the capture for the next stop, once that of this stop is published.
    pub(super) fn restart_capture(&mut self) {
        self.capture.restart();
        // Where the command stood before the move.
        if let Some(last) = self.last {
            self.capture.step(true, last);
        }
    }

    /// The following error has lasted too long, or is inside its window again: counts beyond the window.
    pub(super) fn following_error(&self, lasts: bool) -> Figure {
        let window = i64::from(self.axis.settings().following_error_window);
        let beyond = i64::from(self.axis.error().unsigned_abs()) - window;
        // The event may come a sample late.
        let value = if lasts { beyond.max(1) } else { beyond.min(0) };
        let number = self.moves().wrapping_add(1);
        Figure { number, ..Figure::new(self.number, Subject::FollowingError, value) }
    }

    /// The stop that waits for a fit, if one does.
    pub(super) fn unfitted(&self) -> Option<Unfitted> {
        self.unfitted
    }

    /// Whether ringing is looked for.
    pub(super) fn set_finds_ringing(&mut self, finds: bool) {
        self.finds_ringing = finds;
    }

    /// The capture of the stop that waits for a fit; it waits no more.
    pub(super) fn fit_stop(&mut self) -> Option<(Unfitted, &ringing::Capture)> {
        Some((self.unfitted.take()?, self.stop_capture.captured()))
    }

    /// Judges the oldest move that waits for it.
    pub(super) fn judge(&mut self) -> Option<Judgement> {
        self.kinds.judge(self.axis.settings(), &self.drift)
    }

    /// Whether a move waits to be judged.
    pub(super) fn has_unjudged(&self) -> bool {
        self.kinds.has_unjudged()
    }

    /// When the oldest move that waits to be judged was published. Unit: ticks since the first reading
    pub(super) fn unjudged_since(&self) -> Option<u64> {
        self.kinds.unjudged_since()
    }
}

/// Configuration.
impl<const LINE: usize, const KINDS: usize> AxisChannel<LINE, KINDS> {
    /// Lets a configuration wait for the next move; it replaces one that waits already.
    pub(super) fn set_pending(&mut self, config: AxisConfig) {
        self.pending = Some(config).filter(|config| *config != self.config());
    }

    /// Whether no reading has come yet: a new configuration need not wait.
    pub(super) fn is_fresh(&self) -> bool {
        self.last.is_none()
    }

    /// Whether a configuration waits and a move begins with this reading.
    pub(super) fn is_due(&self, reading: Reading) -> bool {
        self.pending.is_some()
            && self.last.is_some_and(|last| last.command != reading.command)
            && !self.axis.is_under_way()
    }

    /// Whether a configuration that resets the axis has waited for a standing command long enough.
    pub(super) fn is_overdue(&self, now: u64) -> bool {
        let Some(pending) = &self.pending else { return false };
        let second = u64::from(self.ticks_per_second());
        let stands = !self.axis.is_under_way() && now.saturating_sub(self.last_change) >= second;
        pending.invalidates(&self.config()) && (stands || now.saturating_sub(self.last_step) >= second)
    }

    /// The last rest ends here.
    pub(super) fn finish(&mut self) {
        self.axis.finish();
    }

    /// Puts the configuration that waits in force; the events of the last rest must be published before.
    pub(super) fn apply_pending(&mut self, clock: &Clock) {
        self.inference.gap();
        let Some(config) = self.pending.take() else { return };
        let old = self.config();
        (self.drift, self.inferred) = (config.drift, config.inferred);
        (self.stop_limits, self.limit_monitor) = (config.limits, LimitMonitor::default());
        self.turn.set(&config.settings);
        (self.health, self.limits, self.near_limit) = (Health::default(), None, false);
        // A command that is under way keeps its settings: then the axis begins anew.
        if !config.invalidates(&old) && self.axis.set(config.settings) {
            self.stop_capture.set(config.settings.encoder_step);
            return;
        }
        self.earlier = Earlier { moves: self.moves(), small: self.small(), lost: self.lost() };
        (self.axis, self.origin) = (Axis::new(config.settings), None);
        self.stop_capture.restart(config.settings.encoder_step);
        let last = self.last.take();
        // Inferred and tapped readings are not of the same instant.
        if let Some(last) = last.filter(|_| !config.inferred && !old.inferred) {
            self.step(last, clock);
            self.record(last);
        }
    }

    /// Sets the job of the moves to come.
    pub(super) fn set_job(&mut self, number: u32, now: u64) -> job::Job {
        self.job.set(number, now, self.begun);
        job::Job { axis: self.number, at: now, number }
    }

    /// Whether the configuration that waits differs from the present one in nothing but its limits.
    pub(super) fn only_limits_are_pending(&self) -> bool {
        self.pending.is_some_and(|pending| pending.is_same_but_limits(&self.config()))
    }

    /// Monitoring of one kind begins anew, with 0 that of all; `None` if there is no such kind.
    pub(super) fn restart_kinds(&mut self, kind: u32, why: RestartReason, now: u64) -> Option<Restarted> {
        let moves = self.moves();
        match why {
            RestartReason::Settings => self.kinds.forget_causes(),
            RestartReason::Declared if kind == 0 => self.kinds.learn_causes_again(),
            _ => (),
        }
        self.kinds.restart(kind, moves, why, now)
    }

    /// The moves to come are added to the baseline of one kind, with 0 to that of all; `None` if there is no such kind.
    pub(super) fn teach_kinds(&mut self, kind: u32, now: u64) -> Option<Restarted> {
        let rate = self.ticks_per_second();
        self.kinds.teach(kind, now, rate)
    }

    /// Requests the samples of this many stops; 0 ends the request.
    pub(super) fn request_capture(&mut self, stops: u32) {
        self.requested_stops = stops;
    }

    /// Illegal transitions counted by the feedback tap since the start.
    pub(super) fn set_illegal_transitions(&mut self, count: u32) {
        self.illegal_transitions = count;
    }
}

/// State of the axis.
impl<const LINE: usize, const KINDS: usize> AxisChannel<LINE, KINDS> {
    pub(super) fn number(&self) -> u8 {
        self.number
    }

    /// The configuration in force.
    fn config(&self) -> AxisConfig {
        let (settings, drift, inferred) = (*self.axis.settings(), self.drift, self.inferred);
        AxisConfig { settings, drift, inferred, limits: self.stop_limits }
    }

    /// Limits that a person gives.
    pub(super) fn stop_limits(&self) -> &StopLimits {
        &self.stop_limits
    }

    /// The command is inferred, not tapped.
    pub(super) fn is_inferred(&self) -> bool {
        self.inferred
    }

    pub(super) fn ticks_per_second(&self) -> u32 {
        self.axis.settings().ticks_per_second
    }

    /// A signal is near its limit.
    pub(super) fn is_near_limit(&self) -> bool {
        self.near_limit
    }

    /// Settling curve of the last move published.
    pub(super) fn curve(&self) -> impl Iterator<Item = CurvePoint> + '_ {
        self.axis.curve()
    }

    /// Samples around the last stop.
    pub(super) fn capture(&self) -> &Capture {
        &self.capture
    }

    /// What is accepted, in force or not, and which parameter was refused.
    pub(super) fn settings(&self, refused: Option<Invalid>) -> settings::Settings {
        let accepted = self.pending.unwrap_or_else(|| self.config());
        settings::Settings { pending: self.pending.is_some(), ..accepted.message(self.number, refused) }
    }

    /// The part of the status that the channel knows.
    pub(super) fn status(&self) -> status::Status {
        status::Status {
            axis: self.number,
            now: self.axis.now().saturating_add(self.origin.unwrap_or(0)),
            moving: self.status.moving,
            position: self.status.position.into(),
            following_error: self.status.following_error,
            error: self.axis.error(),
            moves: self.moves(),
            small: self.small(),
            samples: self.samples,
            gaps: self.gaps,
            lost_events: self.lost(),
            ..status::Status::default()
        }
    }

    fn moves(&self) -> u32 {
        self.axis.moves().wrapping_add(self.earlier.moves)
    }

    fn small(&self) -> u32 {
        self.axis.small().wrapping_add(self.earlier.small)
    }

    fn lost(&self) -> u32 {
        self.axis.lost().wrapping_add(self.earlier.lost)
    }
}
