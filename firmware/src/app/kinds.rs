//! In: records of one axis. Out: the kind of each move, and how the moves of a kind compare with its baseline.
//!
//! The kind is found before the move is published. The settling time is judged later, by [`KindMonitor::judge`]
//! between two samples, one move at a time: that adds nothing to the time of a sample. Only if the queue is full,
//! the oldest move is judged at once.

use heapless::{Deque, Vec};
use stillpoint_core::baseline::Evidence;
use stillpoint_core::causes::{Causes, Circumstances};
use stillpoint_core::drift::{Drift, DriftSettings, Finding, Moment, Promise};
use stillpoint_core::kind::{Arrival, Assignment, Kinds};
use stillpoint_core::wire::alarm::Subject;
use stillpoint_core::wire::drift::{self, Baseline, Explained, Kind, Restart, RestartReason};
use stillpoint_core::{Record, Settings};

use super::alarms::Figure;

/// Moves of an axis that can wait to be judged: its last two stops.
const WAITING: usize = 2;

/// A move that waits to be judged.
#[derive(Clone, Copy, Debug)]
struct Unjudged {
    row: usize,
    /// Of the move.
    number: u32,
    /// When the move was published. Unit: ticks since the first reading
    at: u64,
    /// Product that the axis worked on; 0: none.
    job: u32,
    evidence: Evidence,
}

/// Settling times of a baseline, as people read them.
#[derive(Clone, Copy, Debug, Default)]
struct Figures {
    /// Of the settled moves. Unit: ticks
    mean: f32,
    settled: u32,
    unsettled: u16,
    /// The first limits were reported.
    reported: bool,
    /// When the first move was published. Unit: seconds since the first reading
    from: u32,
}

/// Baseline and drift of one kind.
#[derive(Clone, Copy, Debug, Default)]
struct KindState {
    /// Its number.
    kind: u32,
    /// Moves up to this number do not count.
    after: u32,
    drift: Drift,
    /// While the baseline grows.
    figures: Figures,
    /// The baseline was reported as complete.
    complete: bool,
    /// At the last finding, with the move that decided it. Unit: 1/256 of the limit
    score: u16,
    number: u32,
    /// As published last.
    promise: Promise,
}

/// The kinds of one axis and the state of each.
#[derive(Clone, Debug)]
pub(super) struct KindMonitor<const KINDS: usize> {
    axis: u8,
    kinds: Kinds<KINDS>,
    /// One per row of `kinds` that is in use.
    states: Vec<KindState, KINDS>,
    causes: Causes,
    unjudged: Deque<Unjudged, WAITING>,
}

/// Monitoring begins anew: the message, and the worst drift of the axis afterwards.
#[derive(Clone, Copy, Debug)]
pub(super) struct Restarted {
    pub(super) restart: Restart,
    pub(super) worst: Figure,
}

/// What judging a move found.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Judgement {
    /// There are first limits, or the baseline is complete with this move.
    pub(super) baseline: Option<Baseline>,
    /// A drift begins or ends, or what the detector promises has changed.
    pub(super) drift: Option<drift::Drift>,
    /// A known cause moves the settling time by another amount than before.
    pub(super) explained: Option<Explained>,
    /// Baselines begin anew: the machine is warm for the first time.
    pub(super) warm: Option<Restart>,
    /// The worst drift of the axis, where it may have changed.
    pub(super) worst: Option<Figure>,
}

/// The kind of a move.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Classified {
    /// Number of the kind, 0 if the move has none.
    pub(super) kind: u32,
    /// The kind whose row was reused for this one.
    pub(super) evicted: Option<Restarted>,
    /// The kind is new.
    pub(super) new: Option<Kind>,
    /// An older move, judged now because the queue was full.
    pub(super) judged: Option<Judgement>,
}

impl KindState {
    /// Begins anew with the moves after this number.
    fn restart(&mut self, kind: u32, after: u32) {
        *self = KindState { kind, after, ..KindState::default() };
    }

    /// The moves to come are added to the baseline.
    fn teach(&mut self, minute: u32) {
        self.drift.teach(&Moment { minute, ..Moment::default() });
        (self.complete, self.figures.reported, self.score) = (false, false, 0);
    }

    /// Adds a move to drift detection and baseline. The caller, who has all kinds, finds the worst drift.
    fn judge(
        &mut self,
        axis: u8,
        (settings, ticks_per_second): (&DriftSettings, u32),
        (causes, circumstances): (&mut Causes, &Circumstances),
        unjudged: &Unjudged,
    ) -> (Judgement, bool) {
        let stood = self.drift.stands();
        let finding = causes.judge(circumstances, &mut self.drift, settings, unjudged.evidence);
        let drift = match finding {
            Some(finding) => self.found(axis, &finding, stood.is_some(), unjudged.number),
            None => self.without_scale(axis, unjudged.number),
        };
        let baseline = self.extend_baseline(axis, (settings, ticks_per_second), unjudged);
        (Judgement { baseline, drift, ..Judgement::default() }, finding.is_some())
    }

    /// The message about a finding, if a drift begins or ends with it or if the promise is another.
    fn found(&mut self, axis: u8, finding: &Finding, stood: bool, number: u32) -> Option<drift::Drift> {
        let another = self.promise != finding.promise;
        (self.score, self.number, self.promise) = (finding.score as u16, number, finding.promise);
        (another || stood != finding.is_drift()).then(|| drift::Drift {
            change: finding.change,
            score: finding.score,
            direction: finding.direction.into(),
            since: finding.since,
            since_earliest: finding.since_within.0,
            since_latest: finding.since_within.1,
            smallest: finding.smallest,
            middle: finding.middle,
            returned: finding.returned,
            ..self.message(axis, number)
        })
    }

    /// The message that this kind can have no baseline, once.
    fn without_scale(&mut self, axis: u8, number: u32) -> Option<drift::Drift> {
        let promise = self.drift.promise();
        let another = promise == Promise::NoBaseline && self.promise != promise;
        another.then(|| {
            self.promise = promise;
            self.message(axis, number)
        })
    }

    fn message(&self, axis: u8, number: u32) -> drift::Drift {
        let (promise, moves) = (self.promise.into(), self.drift.moves());
        drift::Drift { axis, kind: self.kind, number, promise, moves, ..drift::Drift::default() }
    }

    /// Adds a move to the figures of the baseline; its message with the first limits, and once it is complete.
    fn extend_baseline(
        &mut self,
        axis: u8,
        (settings, ticks_per_second): (&DriftSettings, u32),
        unjudged: &Unjudged,
    ) -> Option<Baseline> {
        if self.complete {
            return None;
        }
        self.figures.step(unjudged, ticks_per_second);
        let provisional = self.drift.is_learning();
        let another = !provisional || self.drift.has_limits() && !self.figures.reported;
        if !another {
            return None;
        }
        (self.complete, self.figures.reported) = (!provisional, true);
        let Figures { mean, settled, unsettled, from, .. } = self.figures;
        let settling_median = self.drift.quantile(0.5).unwrap_or(Baseline::NOT_STATED);
        Some(Baseline {
            axis,
            kind: self.kind,
            at: unjudged.at,
            moves: settled,
            settling_median,
            settling_p95: self.drift.quantile(0.95).unwrap_or(Baseline::NOT_STATED),
            settling_mean: (mean + 0.5) as u32,
            unsettled: unsettled.into(),
            from: u64::from(from) * u64::from(ticks_per_second),
            median_is_empty: self.drift.is_empty_at(settings, settling_median),
            provisional,
        })
    }
}

impl Figures {
    fn step(&mut self, unjudged: &Unjudged, ticks_per_second: u32) {
        if self.settled + u32::from(self.unsettled) == 0 {
            self.from = second(unjudged.at, ticks_per_second);
        }
        match unjudged.evidence {
            Evidence::Value(settling) => {
                self.settled = self.settled.saturating_add(1);
                self.mean += (settling as f32 - self.mean) / self.settled as f32;
            }
            Evidence::Unsettled => self.unsettled = self.unsettled.saturating_add(1),
        }
    }
}

impl<const KINDS: usize> KindMonitor<KINDS> {
    pub(super) const fn new(axis: u8) -> KindMonitor<KINDS> {
        KindMonitor {
            axis,
            kinds: Kinds::new(),
            states: Vec::new(),
            causes: Causes::new(),
            unjudged: Deque::new(),
        }
    }

    /// Finds the kind of a move that is about to be published, and queues the move to be judged.
    pub(super) fn classify(
        &mut self,
        settings: &Settings,
        drift: &DriftSettings,
        (record, job): (&Record, u32),
        now: u64,
    ) -> Classified {
        let Some(assignment) = self.assign(settings, record) else { return Classified::default() };
        let mut classified = Classified { kind: assignment.number, ..Classified::default() };
        if assignment.arrival != Arrival::Known {
            classified.evicted = self.evicted(&assignment, now);
            classified.new = Some(self.new_kind(&assignment, record, now));
        }
        if let Some(evidence) = Evidence::of(record) {
            if self.unjudged.is_full() {
                classified.judged = self.judge(settings, drift);
            }
            // There is room now.
            _ = self.unjudged.push_back(Unjudged {
                row: assignment.row,
                number: record.number,
                at: now,
                job,
                evidence,
            });
        }
        classified
    }

    /// The row of a move; a new kind begins with it.
    fn assign(&mut self, settings: &Settings, record: &Record) -> Option<Assignment> {
        let assignment = self.kinds.step(settings, record)?;
        if assignment.arrival != Arrival::Known {
            // Rows of the table fill up one by one.
            if assignment.row >= self.states.len() {
                self.states.push(KindState::default()).ok()?;
            }
            self.states.get_mut(assignment.row)?.restart(assignment.number, record.number.wrapping_sub(1));
        }
        Some(assignment)
    }

    fn evicted(&self, assignment: &Assignment, at: u64) -> Option<Restarted> {
        let Arrival::Replacing { number: kind, .. } = assignment.arrival else { return None };
        let restart = Restart { axis: self.axis, kind, at, why: RestartReason::Dropped };
        Some(Restarted { restart, worst: self.worst() })
    }

    fn new_kind(&self, assignment: &Assignment, record: &Record, at: u64) -> Kind {
        let (instead_of, moves) = match assignment.arrival {
            Arrival::Replacing { number, moves } => (number, moves),
            _ => (0, 0),
        };
        Kind {
            axis: self.axis,
            kind: assignment.number,
            at,
            forward: record.travel >= 0,
            distance: record.travel.unsigned_abs(),
            speed_distance: record.peak_speed.distance,
            speed_time: record.peak_speed.time,
            instead_of,
            moves,
        }
    }

    /// Begins anew with the moves after this number, for one kind or with 0 for all; `None` if there is no such kind.
    pub(super) fn restart(
        &mut self,
        kind: u32,
        after: u32,
        why: RestartReason,
        at: u64,
    ) -> Option<Restarted> {
        self.change(kind, why, at, |state| state.restart(state.kind, after))
    }

    /// The next moves of a kind, with 0 of all, are added to the baseline; `None` if there is no such kind.
    pub(super) fn teach(&mut self, kind: u32, at: u64, ticks_per_second: u32) -> Option<Restarted> {
        let minute = second(at, ticks_per_second) / 60;
        self.change(kind, RestartReason::Taught, at, |state| state.teach(minute))
    }

    /// Changes the state of one kind or with 0 of all; `None` if there is no such kind.
    fn change(
        &mut self,
        kind: u32,
        why: RestartReason,
        at: u64,
        mut change: impl FnMut(&mut KindState),
    ) -> Option<Restarted> {
        let mut any = false;
        for state in self.states.iter_mut().filter(|state| kind == 0 || kind == state.kind) {
            change(state);
            any = true;
        }
        let restart = Restart { axis: self.axis, kind, at, why };
        any.then(|| Restarted { restart, worst: self.worst() })
    }

    /// Whether a move waits to be judged.
    pub(super) fn has_unjudged(&self) -> bool {
        !self.unjudged.is_empty()
    }

    /// When the oldest move that waits to be judged was published. Unit: ticks since the first reading
    pub(super) fn unjudged_since(&self) -> Option<u64> {
        self.unjudged.front().map(|unjudged| unjudged.at)
    }

    /// Judges the oldest move that waits, unless its kind has begun anew since; `None` if none waits.
    pub(super) fn judge(&mut self, settings: &Settings, drift: &DriftSettings) -> Option<Judgement> {
        let unjudged = self.unjudged.pop_front()?;
        let at = second(unjudged.at, settings.ticks_per_second);
        let circumstances = self.causes.step(drift, at, unjudged.job);
        let warm = circumstances.warm_now.then(|| self.warm(&unjudged)).flatten();
        let effect = self.causes.next_effect();
        let explained = effect.map(|effect| Explained::new(self.axis, unjudged.at, &effect));
        let state = self.states.get_mut(unjudged.row).filter(|state| unjudged.number > state.after);
        let (judgement, found) = state.map_or_else(Default::default, |state| {
            let settings = (drift, settings.ticks_per_second);
            state.judge(self.axis, settings, (&mut self.causes, &circumstances), &unjudged)
        });
        let worst = (found || warm.is_some()).then(|| self.worst());
        Some(Judgement { worst, explained, warm, ..judgement })
    }

    /// The machine is warm for the first time: baselines begin anew with this move.
    fn warm(&mut self, unjudged: &Unjudged) -> Option<Restart> {
        let after = unjudged.number.wrapping_sub(1);
        self.restart(0, after, RestartReason::Warm, unjudged.at).map(|restarted| restarted.restart)
    }

    /// What explained the settling times no longer does: other settings are in force.
    pub(super) fn forget_causes(&mut self) {
        self.causes = Causes::new();
    }

    /// The machine was declared good as it is.
    pub(super) fn learn_causes_again(&mut self) {
        self.causes.learn_again();
    }

    /// The largest drift score of all kinds, its move and its kind.
    fn worst(&self) -> Figure {
        let none = Figure { axis: self.axis, subject: Subject::Drift, value: 0, number: 0, kind: 0 };
        self.states.iter().fold(none, |worst, state| {
            let KindState { score, number, kind, .. } = *state;
            if i64::from(score) > worst.value {
                Figure { value: score.into(), number, kind, ..worst }
            } else {
                worst
            }
        })
    }
}

/// Unit: seconds since the first reading, from ticks
fn second(at: u64, ticks_per_second: u32) -> u32 {
    at.checked_div(ticks_per_second.into()).unwrap_or_default() as u32
}
