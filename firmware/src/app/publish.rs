//! In: what happened on an axis. Out: its messages in order, and the alarms that follow from its figures.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::wire::alarm::{Alarm, Subject};
use stillpoint_core::wire::drift::RestartReason;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::ringing::Ringing;
use stillpoint_core::wire::status::Status;

use super::alarms::{Alarms, Figure};
use super::channel::{AxisChannel, CaptureReason, Stop};
use super::clock::Clock;
use super::config::StopLimits;
use super::kinds::{Judgement, Restarted};
use super::limits;
use super::output::Output;
use crate::health::{Finding, Severity};
use crate::store::Store;

/// The side of the monitor that speaks.
#[derive(Debug)]
pub(super) struct Publisher<const AXES: usize, F> {
    pub(super) clock: Clock,
    pub(super) alarms: Alarms<AXES>,
    pub(super) output: Output<F>,
    /// Samples missed since the start.
    overruns: u32,
    /// Samples and frames of moves lost so far, and whether some were lost at the last sample.
    lost: u32,
    losing: bool,
    pub(super) last_command: Option<u32>,
    pub(super) refused_commands: u32,
}

impl<const AXES: usize, F: NorFlash> Publisher<AXES, F> {
    pub(super) fn new(store: Store<F>, ticks_per_second: u32) -> Publisher<AXES, F> {
        Publisher {
            clock: Clock::default(),
            alarms: Alarms::new(ticks_per_second),
            output: Output::new(store),
            overruns: 0,
            lost: 0,
            losing: false,
            last_command: None,
            refused_commands: 0,
        }
    }

    /// Publishes a single message.
    pub(super) fn publish(&mut self, message: &Message) {
        self.output.publish(message);
    }
}

/// What happened on an axis.
impl<const AXES: usize, F: NorFlash> Publisher<AXES, F> {
    /// A move and its rest are over.
    pub(super) fn stop<const LINE: usize, const KINDS: usize>(
        &mut self,
        channel: &AxisChannel<LINE, KINDS>,
        stop: &Stop,
    ) {
        let Stop { message, classified, capture, unfitted, limits, unsettled } = stop;
        if let Some(evicted) = &classified.evicted {
            self.restarted(evicted);
        }
        if let Some(kind) = classified.new {
            self.publish(&Message::Kind(kind));
        }
        if let Some(judged) = &classified.judged {
            self.judgement(judged);
        }
        self.publish(&Message::Move(*message));
        self.curve_and_trace(channel, message.number, *capture);
        if *unfitted {
            self.not_evaluated(channel.number(), message.number);
        }
        for figure in limits.iter().chain([unsettled]).flatten() {
            self.evaluate(figure);
        }
    }

    /// The settling curve, and the samples around the stop if there is a reason for them.
    ///
    /// Evidence is published with the moves, its curve once more, and so stored in the log. Other curves are not
    /// stored: with them the log of a shift would take three times the room.
    fn curve_and_trace<const LINE: usize, const KINDS: usize>(
        &mut self,
        channel: &AxisChannel<LINE, KINDS>,
        number: u32,
        reason: Option<CaptureReason>,
    ) {
        let (output, of) = (&mut self.output, (channel.number(), number));
        output.curve(Priority::Curve, of, channel.curve());
        match reason {
            Some(CaptureReason::Evidence) => {
                output.curve(Priority::Move, of, channel.curve());
                output.trace(Priority::Move, of, channel.capture());
            }
            Some(CaptureReason::Requested) => output.trace(Priority::Trace, of, channel.capture()),
            None => (),
        }
    }

    /// Another stop has overwritten the one of this move before a fit was free.
    pub(super) fn not_evaluated(&mut self, axis: u8, number: u32) {
        self.publish(&Message::Ringing(Ringing::new(axis, number, None)));
    }

    /// What judging a move found.
    pub(super) fn judgement(&mut self, judgement: &Judgement) {
        if let Some(warm) = judgement.warm {
            self.publish(&Message::Restart(warm));
        }
        if let Some(explained) = judgement.explained {
            self.publish(&Message::Explained(explained));
        }
        if let Some(baseline) = judgement.baseline {
            self.publish(&Message::Baseline(baseline));
        }
        if let Some(drift) = judgement.drift {
            self.publish(&Message::Drift(drift));
        }
        match &judgement.worst {
            Some(worst) if judgement.warm.is_some() => self.begin(worst),
            Some(worst) => self.evaluate(worst),
            None => (),
        }
    }

    /// Monitoring of some kinds begins anew.
    pub(super) fn restarted(&mut self, restarted: &Restarted) {
        self.publish(&Message::Restart(restarted.restart));
        match restarted.restart.why {
            RestartReason::Dropped => self.evaluate(&restarted.worst),
            _ => self.begin(&restarted.worst),
        }
    }

    /// Something is wrong with the signals; a fault is an alarm.
    pub(super) fn finding(&mut self, axis: u8, finding: &Finding) {
        let message = finding.to_wire(axis, self.clock.now());
        self.publish(&Message::Finding(message));
        if finding.severity() == Severity::Fault {
            self.evaluate(&Figure::new(axis, Subject::Signal, message.which as i64));
        }
    }

    /// Findings about the signals no longer hold.
    pub(super) fn findings_cleared(&mut self, axis: u8) {
        self.evaluate(&Figure::new(axis, Subject::Signal, -1));
    }

    /// State of an axis and the device; `of_axis` as the channel knows it.
    pub(super) fn status(&mut self, of_axis: Status) {
        let Status { lost_frames, queue_depth, queue_most, replay_left, .. } = self.output.status();
        self.publish(&Message::Status(Status {
            overruns: self.overruns,
            lost_frames,
            queue_depth,
            queue_most,
            replay_left,
            last_command: self.last_command,
            refused_commands: self.refused_commands,
            ..of_axis
        }));
    }
}

/// Alarms.
impl<const AXES: usize, F: NorFlash> Publisher<AXES, F> {
    /// Evaluates a figure of an alarm.
    pub(super) fn evaluate(&mut self, figure: &Figure) {
        let change = self.alarms.step(figure, self.clock.now());
        self.alarm_changes(change);
    }

    /// Evaluates the first figure of something that begins anew.
    fn begin(&mut self, figure: &Figure) {
        let change = self.alarms.begin(figure, self.clock.now());
        self.alarm_changes(change);
    }

    /// Puts limits that a person gives in force; what the moves showed before is forgotten.
    pub(super) fn set_limits(&mut self, axis: u8, limits: &StopLimits) {
        for (subject, limit) in limits::shares(limits) {
            let change = self.alarms.set_limit(axis, subject, limit, self.clock.now());
            self.alarm_changes(change);
        }
    }

    /// Publishes a state change, and those that follow from it by suppression logic or by time.
    pub(super) fn alarm_changes(&mut self, first: Option<Alarm>) {
        let now = self.clock.now();
        let mut change = first.or_else(|| self.alarms.next(now));
        while let Some(alarm) = change {
            self.publish(&Message::Alarm(alarm));
            change = self.alarms.next(now);
        }
    }

    /// Publishes all alarms that are not normal, as they are.
    pub(super) fn open_alarms(&mut self) {
        for alarm in self.alarms.not_normal() {
            self.output.publish(&Message::Alarm(alarm));
        }
    }

    /// Publishes state changes that are due by time.
    pub(super) fn check_alarms(&mut self) {
        if self.alarms.is_due(self.clock.now()) {
            self.alarm_changes(None);
        }
    }

    /// Evaluates the alarm about gaps: samples missed, and frames of moves lost.
    pub(super) fn check_losses(&mut self, overruns: u32) {
        self.overruns = overruns;
        let lost = overruns.saturating_add(self.output.lost_moves());
        let more = lost.saturating_sub(self.lost);
        if more > 0 || self.losing {
            (self.lost, self.losing) = (lost, more > 0);
            self.evaluate(&Figure::new(0, Subject::Gap, more.into()));
        }
    }
}
