//! In: moves as they are told. Out: their kinds, and how the moves of each stand against its baseline.
//!
//! The kind of a move is found before the move is told. What its settling time says of that kind waits for
//! [`App::idle`], one move at a time, and so adds nothing to a sample's tick; only if as many moves as fit wait
//! already, the oldest is judged at once.

use embedded_storage::nor_flash::NorFlash;
use heapless::Vec;
use stillpoint_core::baseline::Evidence;
use stillpoint_core::baseline::Quantiles;
use stillpoint_core::drift::DriftSettings;
use stillpoint_core::drift::{Drift, Finding, Promise};
use stillpoint_core::kind::{Arrival, Assignment, Kinds};
use stillpoint_core::wire::drift;
use stillpoint_core::wire::drift::{Baseline, Kind, Restart, RestartReason};
use stillpoint_core::wire::message::Message;
use stillpoint_core::{Record, Settings};

use super::App;

/// Moves that may wait to be judged: two stops of four axes.
pub(super) const WAITING: usize = 8;

/// A move that waits to be judged.
#[derive(Clone, Copy, Debug)]
pub(super) struct Waiting {
    axis: u8,
    row: u8,
    /// Of the move.
    number: u32,
    evidence: Evidence,
}

/// What is kept of one kind.
#[derive(Clone, Copy, Debug, Default)]
struct Row {
    /// Its number.
    kind: u32,
    /// Moves up to this one are forgotten.
    after: u32,
    drift: Drift,
    settling: Quantiles,
    /// As it was last found, and the move that decided it. Unit: 1/256 of the limit
    score: u32,
    number: u32,
    stands: bool,
    /// As it was last told.
    promise: Promise,
}

/// The kinds of one axis and what is kept of each.
#[derive(Clone, Debug)]
pub(super) struct Compared<const KINDS: usize> {
    kinds: Kinds<KINDS>,
    /// As many as there were kinds at a time.
    rows: Vec<Row, KINDS>,
}

/// What a move has changed.
struct Weighed {
    baseline: Option<Baseline>,
    drift: Option<drift::Drift>,
    /// The score is another.
    found: bool,
}

impl Row {
    /// Begins anew with the moves after this one.
    fn restart(&mut self, kind: u32, after: u32) {
        *self = Row { kind, after, ..Row::default() };
    }

    /// Adds a move.
    fn weigh(&mut self, watch: &DriftSettings, waiting: &Waiting) -> Weighed {
        let finding = self.drift.step(watch, waiting.evidence);
        let drift = match finding {
            Some(finding) => self.found(&finding, waiting),
            None => self.promised(waiting),
        };
        Weighed { baseline: self.settled(watch, waiting), drift, found: finding.is_some() }
    }

    /// A finding is told if a drift begins or ends with it, or if it is promised otherwise.
    fn found(&mut self, finding: &Finding, waiting: &Waiting) -> Option<drift::Drift> {
        let (stood, another) = (self.stands, self.promise != finding.promise);
        (self.score, self.number) = (finding.score, waiting.number);
        (self.stands, self.promise) = (finding.is_drift_after(stood), finding.promise);
        (another || stood != self.stands).then(|| drift::Drift {
            change: finding.change,
            score: finding.score,
            direction: finding.direction.into(),
            since: finding.since,
            smallest: finding.smallest,
            ..self.told(waiting)
        })
    }

    /// Without a scale there is no finding, but that is told, too.
    fn promised(&mut self, waiting: &Waiting) -> Option<drift::Drift> {
        let promise = self.drift.promise();
        let another = promise == Promise::NoBaseline && self.promise != promise;
        another.then(|| {
            self.promise = promise;
            self.told(waiting)
        })
    }

    fn told(&self, waiting: &Waiting) -> drift::Drift {
        let (axis, number, kind) = (waiting.axis, waiting.number, self.kind);
        let (promise, moves) = (self.promise.into(), self.drift.moves());
        drift::Drift { axis, kind, number, promise, moves, ..drift::Drift::default() }
    }

    /// Adds to the settling times of the baseline; told once they are enough.
    fn settled(&mut self, watch: &DriftSettings, waiting: &Waiting) -> Option<Baseline> {
        let Evidence::Value(settling) = waiting.evidence else { return None };
        if self.settling.count() >= watch.baseline {
            return None;
        }
        self.settling.step(settling);
        let moves = self.settling.count();
        let settling_median = self.settling.median().filter(|_| moves == watch.baseline)?;
        let settling_p95 = self.settling.p95()?;
        Some(Baseline { axis: waiting.axis, kind: self.kind, at: 0, moves, settling_median, settling_p95 })
    }
}

impl<const KINDS: usize> Compared<KINDS> {
    pub(super) const fn new() -> Compared<KINDS> {
        Compared { kinds: Kinds::new(), rows: Vec::new() }
    }

    /// Where a move belongs; a new kind begins with it.
    fn place(&mut self, settings: &Settings, record: &Record) -> Option<Assignment> {
        let place = self.kinds.step(settings, record)?;
        if place.arrival != Arrival::Known {
            // Rows of the table fill up one by one.
            if place.row >= self.rows.len() {
                self.rows.push(Row::default()).ok()?;
            }
            self.rows.get_mut(place.row)?.restart(place.number, record.number.wrapping_sub(1));
        }
        Some(place)
    }

    /// Begins anew with the moves after this one, for one kind or with 0 for all; whether there is any such.
    fn restart(&mut self, kind: u32, after: u32) -> bool {
        let mut any = false;
        for row in self.rows.iter_mut().filter(|row| kind == 0 || kind == row.kind) {
            row.restart(row.kind, after);
            any = true;
        }
        any
    }

    /// Adds a move to its kind; none if that has begun anew since.
    fn weigh(&mut self, watch: &DriftSettings, waiting: &Waiting) -> Option<Weighed> {
        let row = self.rows.get_mut(usize::from(waiting.row))?;
        (waiting.number > row.after).then(|| row.weigh(watch, waiting))
    }

    /// The largest score of all kinds, its move and its kind.
    fn worst(&self) -> (u32, (u32, u32)) {
        let scores = self.rows.iter().map(|row| (row.score, (row.number, row.kind)));
        scores.fold((0, (0, 0)), |one, other| if other.0 > one.0 { other } else { one })
    }
}

impl<const AXES: usize, F: NorFlash, const LINES: usize, const LINE: usize, const KINDS: usize>
    App<AXES, F, LINES, LINE, KINDS>
{
    /// The kind of a move that is about to be told, 0 if none; a new kind is told here.
    pub(super) fn compare(&mut self, number: usize, record: &Record) -> u32 {
        while self.compared.len() <= number && self.compared.push(Compared::new()).is_ok() {}
        let (Some(watched), Some(compared)) = (self.watched.get(number), self.compared.get_mut(number))
        else {
            return 0;
        };
        let Some(place) = compared.place(&watched.asked.settings, record) else { return 0 };
        if place.arrival != Arrival::Known {
            self.met(number, record, &place);
        }
        if let Some(evidence) = Evidence::of(record) {
            if self.waiting.is_full() {
                self.idle();
            }
            let (axis, row, number) = (number as u8, place.row as u8, record.number);
            // There is room now.
            _ = self.waiting.push_back(Waiting { axis, row, number, evidence });
        }
        place.number
    }

    /// A kind is met for the first time; another may have had to go for it.
    fn met(&mut self, number: usize, record: &Record, place: &Assignment) {
        let (axis, at) = (number as u8, self.now);
        let (mut instead_of, mut moves) = (0, 0);
        if let Arrival::Replacing { number: gone, moves: had } = place.arrival {
            (instead_of, moves) = (gone, had);
            self.tell(&Message::Restart(Restart { axis, kind: gone, at, why: RestartReason::Dropped }));
            self.alarm_worst(number);
        }
        self.tell(&Message::Kind(Kind {
            axis,
            kind: place.number,
            at,
            forward: record.travel >= 0,
            distance: record.travel.unsigned_abs(),
            speed_distance: record.peak_speed.distance,
            speed_time: record.peak_speed.time,
            instead_of,
            moves,
        }));
    }

    /// The watch over one kind begins anew, with 0 that over all of an axis; whether there is any such.
    pub(super) fn restart(&mut self, number: usize, kind: u32, why: RestartReason) -> bool {
        let (Some(watched), Some(compared)) = (self.watched.get(number), self.compared.get_mut(number))
        else {
            return false;
        };
        let any = compared.restart(kind, watched.moves());
        if any {
            self.tell(&Message::Restart(Restart { axis: number as u8, kind, at: self.now, why }));
            self.alarm_worst(number);
        }
        any
    }

    fn alarm_worst(&mut self, number: usize) {
        let Some(compared) = self.compared.get(number) else { return };
        let (score, behind) = compared.worst();
        self.alarm_drift(number, score, behind);
    }

    /// Judges the oldest of the moves that wait for it, if any does: at most some 2,000 instructions and a frame.
    ///
    /// For a main loop with no tick to serve; [`App::say`] does the same.
    pub fn idle(&mut self) {
        let Some(waiting) = self.waiting.pop_front() else { return };
        let number = usize::from(waiting.axis);
        let (Some(watched), Some(compared)) = (self.watched.get(number), self.compared.get_mut(number))
        else {
            return;
        };
        let Some(weighed) = compared.weigh(&watched.asked.watch, &waiting) else { return };
        if let Some(baseline) = weighed.baseline {
            self.tell(&Message::Baseline(Baseline { at: self.now, ..baseline }));
        }
        if let Some(drift) = weighed.drift {
            self.tell(&Message::Drift(drift));
        }
        if weighed.found {
            self.alarm_worst(number);
        }
    }
}
