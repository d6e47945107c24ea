//! In: the values of one kind, once its first values are known. Out: a finding after every subgroup.
//!
//! A subgroup becomes part of the baseline only if neither sum is near its limit. This work is spread over the next
//! moves, one part a move, so that no move takes long.

use crate::baseline::{Distribution, Evidence, First, Place, Scores, UNIT, sqrt};
use crate::drift::back::Back;
use crate::drift::cusum::Cusum;
use crate::drift::settings::DriftSettings;
use crate::drift::side::{Ground, Side, Sides};
use crate::drift::spread::Spread;
use crate::drift::wander::Wander;
use crate::drift::{Direction, Finding, LIMIT, Moment, Promise, SUBGROUP};

/// Part of a limit from which a subgroup is not learnt, because it may belong to a change. Sums of good moves are
/// hardly ever that large.
const SUSPECT: f32 = 0.8;
/// Deviation from which a subgroup is not learnt, unless the smallest change is more. Unit: scatter of a subgroup's mean
const OUTLYING: f32 = 4.0;
/// Least number of moves learnt for that test.
const OUTLYING_MOVES: u32 = 64;
/// Until the baseline is complete, the smallest change is so many times that of the settings: the level of a part of a
/// shift is not that of the shift.
const PROVISIONAL: f32 = 2.0;
/// How far a value of the baseline is spread to either side for its rank. Unit: smallest changes
const SPREAD: f32 = 1.5;
/// Share of the baseline below which a stretch is empty.
const EMPTY: f32 = 0.05;

/// Eight moves, whose mean score is one step of the sums.
#[derive(Clone, Copy, Debug, Default)]
struct Subgroup {
    places: [Place; SUBGROUP as usize],
    count: u8,
    /// The effect of the circumstances of one of them is not known.
    doubtful: bool,
}

/// Work that the last subgroup still needs; each of the next moves does one part.
#[derive(Clone, Copy, Debug, Default)]
enum Pending {
    #[default]
    Nothing,
    /// Add the subgroup to the baseline.
    Learning,
    /// Compute the scores of all places.
    Scores,
    /// Compute the limits.
    Limits,
}

/// Compares one value of a kind with its baseline: distribution, scatter, limits and sums.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Judge {
    distribution: Distribution,
    scores: Scores,
    spread: Spread,
    wander: Wander,
    subgroup: Subgroup,
    pending: Pending,
    /// Whether the baseline is complete, the minute in which it or its last part began, and its moves before that.
    complete: bool,
    begun: u32,
    before: u32,
    /// The moves to come were declared good: all of them are learnt.
    taught: bool,
    sides: Sides,
    promise: Promise,
    up: Cusum,
    down: Cusum,
    /// The drift that stands.
    stands: Option<Direction>,
    back: Back,
}

impl Judge {
    /// From the first values; `None` if half of them are unsettled.
    pub(crate) fn new(settings: &DriftSettings, first: &First, at: &Moment) -> Option<Judge> {
        let smallest = settings.smallest(first.mean());
        let distribution = Distribution::around(first, smallest)?;
        Some(Judge {
            distribution,
            scores: distribution.scores(SPREAD * smallest),
            spread: Spread::default(),
            wander: Wander::default(),
            subgroup: Subgroup::default(),
            pending: Pending::Nothing,
            complete: false,
            begun: at.minute,
            before: 0,
            taught: false,
            sides: Sides::default(),
            promise: Promise::Learning,
            up: Cusum::default(),
            down: Cusum::default(),
            stands: None,
            back: Back::default(),
        })
    }

    /// Adds the value of a move; `moves` is its number within the kind.
    pub(crate) fn step(
        &mut self,
        settings: &DriftSettings,
        evidence: Evidence,
        at: &Moment,
        moves: u32,
    ) -> Option<Finding> {
        // One part of the work a move: all of it is done before the next subgroup is full.
        match core::mem::take(&mut self.pending) {
            Pending::Nothing => (),
            Pending::Learning => self.learn(settings, at),
            Pending::Scores => self.set_scores(settings),
            Pending::Limits => self.set_limits(settings),
        }
        // The first limits can't wait for causes, which are learnt by comparison with them.
        let doubtful = at.doubt > 0 && self.has_limits();
        let place = if doubtful {
            self.without_doubt(evidence, at.doubt as f32 / 100.0)
        } else {
            self.distribution.place(evidence)
        };
        if !self.subgroup.step(place, doubtful) {
            return None;
        }
        if !self.has_limits() {
            self.pending = Pending::Learning;
            return None;
        }
        Some(self.judge(settings, at, moves))
    }

    /// The moves to come are as good as those of the baseline, which grows by them.
    pub(crate) fn teach(&mut self, at: &Moment, moves: u32) {
        self.rearm(moves);
        (self.complete, self.taught) = (false, true);
        (self.begun, self.before) = (at.minute, self.distribution.count());
        self.promise = Promise::Learning;
    }

    /// Where a value lies if its circumstances made it as much slower as they may have; neutral if that is no longer slow.
    fn without_doubt(&self, evidence: Evidence, doubt: f32) -> Place {
        let Evidence::Value(value) = evidence else { return self.distribution.place(evidence) };
        let place = self.distribution.place(Evidence::Value((value as f32 / doubt) as u32));
        let centre = (self.sides.centre * UNIT as f32) as i32;
        if self.scores.of(place) > centre { place } else { Place::NEUTRAL }
    }

    /// Sets all sums to zero from this move on; no drift stands.
    pub(crate) fn rearm(&mut self, moves: u32) {
        (self.up, self.down, self.stands) = (Cusum::from(moves), Cusum::from(moves), None);
    }

    pub(crate) fn quantile(&self, share: f32) -> Option<u32> {
        self.distribution.quantile(share)
    }

    pub(crate) fn is_empty_at(&self, settings: &DriftSettings, value: u32) -> bool {
        let near = settings.smallest(self.distribution.mean()) / 2.0;
        self.distribution.share_near(value, near) < EMPTY
    }

    pub(crate) fn has_limits(&self) -> bool {
        self.sides.up.limit > 0.0
    }

    pub(crate) fn is_complete(&self) -> bool {
        self.complete
    }

    pub(crate) fn stands(&self) -> Option<Direction> {
        self.stands
    }

    pub(crate) fn promise(&self) -> Promise {
        self.promise
    }

    /// By how much a value differs from the baseline, relative to its mean; bounded. `None` before there are limits.
    pub(crate) fn residual(&self, settings: &DriftSettings, evidence: Evidence) -> Option<f32> {
        let score = self.scores.of(self.distribution.place(evidence)) as f32 / UNIT as f32;
        let change = self.sides.change(score - self.sides.centre);
        let mean = self.distribution.mean();
        self.has_limits().then(|| change / (mean + settings.smallest(mean)))
    }

    /// Adds the full subgroup to the sums.
    fn judge(&mut self, settings: &DriftSettings, at: &Moment, moves: u32) -> Finding {
        let deviation = self.subgroup.deviation(&self.scores, self.sides.centre);
        let Sides { up, down, .. } = self.sides;
        self.up.step(deviation, up.allowance, up.limit, moves);
        self.down.step(-deviation, down.allowance, down.limit, moves);
        let returned = self.returns(deviation, at, moves);
        self.begin();
        let direction = self.stands.unwrap_or(self.nearer());
        let (side, cusum) = self.side(direction);
        let full = self.sides.deviation(settings.smallest(self.distribution.mean()));
        if self.stands.is_some() {
            self.wander.restart_block();
        } else if !self.subgroup.doubtful && self.wander.step(deviation, self.sides.variance, full, at) {
            self.pending = Pending::Limits;
        }
        if self.is_to_be_learnt(deviation, full, cusum.sum() / side.limit) {
            self.pending = Pending::Learning;
        }
        let score = (cusum.sum() / side.limit * LIMIT as f32).min((2 * LIMIT) as f32) as u32;
        let change = self.sides.change(cusum.deviation(side.allowance));
        Finding {
            direction,
            score: if self.stands.is_some() { score.max(LIMIT) } else { score.min(LIMIT - 1) },
            change: if direction == Direction::Up { change as i32 } else { -change as i32 },
            since: cusum.since(),
            since_within: cusum.since_within(side.allowance, side.limit),
            middle: self.distribution.mean() as u32,
            smallest: side.smallest as u32,
            promise: self.promise,
            returned,
        }
    }

    /// A drift begins, or turns into one of the other direction.
    fn begin(&mut self) {
        let direction = self.nearer();
        let (side, cusum) = self.side(direction);
        if cusum.sum() >= side.limit && !self.taught && self.stands != Some(direction) {
            (self.stands, self.back) = (Some(direction), Back::default());
        }
    }

    /// Whether the drift that stands ends with a subgroup: the moves are shown to be nearer to the baseline than to the
    /// change that nobody is called for.
    fn returns(&mut self, deviation: f32, at: &Moment, moves: u32) -> bool {
        let Some(direction) = self.stands.filter(|_| !self.subgroup.doubtful) else { return false };
        let (side, cusum) = self.side(direction);
        let away = if direction == Direction::Up { deviation } else { -deviation };
        if !self.back.step(away, &side, self.sides.variance, at) {
            return false;
        }
        // Moves from before a pause may share a subgroup with the first ones after it.
        let took = at.minute.wrapping_sub(self.back.since);
        let running = at.running > took + took / 4 + 1;
        self.wander.returns(cusum.deviation(side.allowance), running);
        self.rearm(moves);
        self.pending = Pending::Limits;
        true
    }

    /// The direction whose sum is larger relative to its limit.
    fn nearer(&self) -> Direction {
        let [up, down] = [(self.sides.up, self.up), (self.sides.down, self.down)];
        if up.1.sum() * down.0.limit >= down.1.sum() * up.0.limit { Direction::Up } else { Direction::Down }
    }

    fn side(&self, direction: Direction) -> (Side, Cusum) {
        match direction {
            Direction::Up => (self.sides.up, self.up),
            Direction::Down => (self.sides.down, self.down),
        }
    }

    /// Whether the last subgroup is one of the baseline; `full` is the deviation of the smallest change. Unit of `sum`:
    /// limits
    fn is_to_be_learnt(&self, deviation: f32, full: f32, sum: f32) -> bool {
        let largest = full.max(OUTLYING * sqrt(self.sides.variance));
        let outlying = self.distribution.count() >= OUTLYING_MOVES && deviation.abs() > largest;
        let learnt = self.complete && self.spread.is_learnt();
        !learnt
            && !self.subgroup.doubtful
            && self.stands.is_none()
            && (self.taught || sum < SUSPECT && !outlying)
    }

    /// Adds the last subgroup to the baseline and to its scatter.
    fn learn(&mut self, settings: &DriftSettings, at: &Moment) {
        let places = self.subgroup.places;
        if !self.spread.is_learnt() {
            self.spread.step(places.iter().map(|place| self.scores.of(*place)));
        }
        if self.complete {
            self.pending = Pending::Limits;
            return;
        }
        places.iter().for_each(|place| self.distribution.step(*place));
        let count = self.distribution.count();
        let (moves, minutes) = (count.saturating_sub(self.before), at.minute.wrapping_sub(self.begun));
        self.complete = moves >= settings.baseline && minutes >= settings.baseline_minutes;
        self.taught &= !self.complete;
        if !self.has_limits() || self.complete || has_grown(count) {
            self.pending = Pending::Scores;
        }
    }

    fn set_scores(&mut self, settings: &DriftSettings) {
        self.scores = self.distribution.scores(SPREAD * settings.smallest(self.distribution.mean()));
        self.pending = Pending::Limits;
    }

    /// Computes the limits, which narrow as the baseline grows, and the state of the guarantee.
    fn set_limits(&mut self, settings: &DriftSettings) {
        let smallest = settings.smallest(self.distribution.mean());
        let widest = if self.complete { 1.0 } else { PROVISIONAL };
        let wandering = self.sides.change(self.wander.reach()).max(0.0);
        let ground = Ground {
            settings,
            distribution: &self.distribution,
            scores: &self.scores,
            dependence: self.spread.dependence(),
            smallest,
            found: wandering.max(smallest * widest),
        };
        self.sides = ground.sides();
        self.promise = if !self.sides.wide_enough || !self.complete {
            Promise::Learning
        } else if self.sides.dependent || wandering > smallest {
            Promise::Dependent
        } else if self.sides.short {
            Promise::Short
        } else {
            Promise::Held
        };
    }
}

/// Whether a baseline of this length has grown by about an eighth: with this subgroup, its first four binary digits change.
fn has_grown(count: u32) -> bool {
    let eighths = |count: u32| count >> 28_u32.saturating_sub(count.leading_zeros());
    eighths(count) != eighths(count.saturating_sub(SUBGROUP)) || count < 16 * SUBGROUP
}

impl Subgroup {
    /// Adds a value; returns whether it is the eighth.
    fn step(&mut self, place: Place, doubtful: bool) -> bool {
        if self.count == SUBGROUP as u8 {
            (self.count, self.doubtful) = (0, false);
        }
        self.doubtful |= doubtful;
        if let Some(empty) = self.places.get_mut(usize::from(self.count)) {
            *empty = place;
        }
        self.count += 1;
        self.count == SUBGROUP as u8
    }

    /// Mean score beyond the mean score of the baseline, which a neutral value has. Unit: score units
    fn deviation(&self, scores: &Scores, centre: f32) -> f32 {
        let counted = self.places.iter().filter(|place| **place != Place::NEUTRAL);
        let (count, sum) = counted.fold((0, 0), |(count, sum), place| (count + 1, sum + scores.of(*place)));
        (sum as f32 / UNIT as f32 - centre * count as f32) / SUBGROUP as f32
    }
}
