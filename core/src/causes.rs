//! In: when the moves of an axis were made, and on which job. Out: by how much that explains their settling times.
//!
//! Three causes move the settling time while nothing is wrong: the hour of the day, the minutes since a pause, and the
//! job. Each has a [`Profile`](profile::Profile), learnt from what the others leave unexplained; a value is compared with
//! the baseline after what is explained is divided out. All kinds of an axis share them, relative to their baselines.

mod pauses;
mod profile;

use crate::baseline::Evidence;
use crate::drift::{Drift, DriftSettings, Finding, Moment};
use pauses::{Pause, Pauses};
use profile::{Place, Profile};

/// Unit: s
const MINUTE: u32 = 60;
const HOUR: u32 = 3600;
const DAY: u32 = 24 * HOUR;

/// Nodes of the day.
pub const HOURS: usize = 12;
/// Nodes after a pause, the last being the warm machine.
const WARMING: usize = 7;
/// Instants of the nodes after a pause. Unit: minutes
pub const AFTER: [u32; WARMING] = [0, 3, 8, 15, 30, 60, 120];
/// How long a machine warms up that was never seen to. Unit: minutes
const WARM: u32 = 60;
/// The first of so many parts of the baseline's time is taken for a warm-up.
const SHARE: u32 = 8;
/// Passes from which effects are learnt: once a day for a week, and four times as often after short pauses.
const WEEK: u8 = 7;
/// Factor by which an effect that is not known may make a move slower. Unit: per cent
const DOUBT: f32 = 125.0;
/// Passes after a pause until its effect is known.
const FEWEST: u8 = 2;
/// Jobs that can be told apart.
pub const JOBS: usize = 8;
/// Moves of a new job after which its level is known.
const KNOWN: f32 = 128.0;
/// How many moves the level of the known jobs follows.
const LEVEL: f32 = 512.0;

/// Circumstances of a move.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Circumstances {
    /// When it was made.
    pub moment: Moment,
    /// Factor of its settling time that is explained.
    pub factor: f32,
    /// The machine is warm for the first time: baselines from before are of a machine that warms up.
    pub warm_now: bool,
}

/// What explains the settling times of one axis.
#[derive(Clone, Debug)]
pub struct Causes {
    pauses: Pauses,
    /// The present pass after a pause is put in force, or not to be.
    warmed: bool,
    day: u32,
    hours: Profile<HOURS>,
    hours_of_baseline: [u16; HOURS],
    short: Profile<WARMING>,
    long: Profile<WARMING>,
    jobs: Profile<JOBS>,
    jobs_of_baseline: [u16; JOBS],
    numbers: [u32; JOBS],
    /// Number of jobs met; more than [`JOBS`]: too many to be told apart, they explain nothing.
    met: u8,
    /// One bit for each job whose level is known.
    known: u8,
    /// There were moves without a job.
    jobless: bool,
    /// What is unexplained of the known jobs of late.
    level: f32,
    /// Places of the present move.
    at: At,
    /// What was put in force and not yet reported.
    news: News,
}

/// A cause that explains a part of the settling times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// Hour of the day; nodes every second hour, counted from the first reading.
    HourOfDay,
    /// Time since a pause of less than an hour; nodes at [`AFTER`].
    ShortPause,
    /// Time since a pause of an hour or more; nodes at [`AFTER`].
    LongPause,
    /// The job of this number; one node.
    Job(u32),
}

/// By how much a cause moves the settling times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effect {
    /// The cause.
    pub cause: Cause,
    /// Effect at each node; what is beyond the last node is 0. Unit: 1 (relative to the baseline)
    pub nodes: [f32; HOURS],
}

impl Effect {
    fn of(cause: Cause, node: impl Fn(usize) -> f32) -> Effect {
        Effect { cause, nodes: core::array::from_fn(node) }
    }
}

/// What was put in force and not yet reported.
#[derive(Clone, Copy, Debug, Default)]
struct News {
    hours: bool,
    short: bool,
    long: bool,
    /// One bit for each job.
    jobs: u8,
}

/// Where a move lies in the profiles.
#[derive(Clone, Copy, Debug, Default)]
struct At {
    hour: Place,
    /// After a pause that is not over.
    pause: Option<Place>,
    /// Place of the job, if it can be told apart.
    job: Option<u8>,
    /// The first hour of all.
    fresh: bool,
}

impl Default for Causes {
    fn default() -> Causes {
        Causes::new()
    }
}

impl Causes {
    /// Nothing is explained yet.
    pub const fn new() -> Causes {
        Causes {
            pauses: Pauses::new(),
            warmed: false,
            day: 0,
            hours: Profile::new(WEEK),
            hours_of_baseline: [0; HOURS],
            short: Profile::new(4 * WEEK),
            long: Profile::new(WEEK),
            jobs: Profile::new(WEEK),
            jobs_of_baseline: [0; JOBS],
            numbers: [0; JOBS],
            met: 0,
            known: 0,
            jobless: false,
            level: 0.0,
            at: At { hour: Place::node(0), pause: None, job: None, fresh: false },
            news: News { hours: false, short: false, long: false, jobs: 0 },
        }
    }

    /// The circumstances of a move of job `job`; 0: no job. Unit of `second`: seconds since the first reading
    pub fn step(&mut self, settings: &DriftSettings, second: u32, job: u32) -> Circumstances {
        let was_fresh = self.at.fresh;
        if self.pauses.step(second) {
            self.finish_pass();
            self.warmed = false;
        }
        if second / DAY != self.day {
            self.finish_day(second / DAY);
        }
        let minutes = self.pauses.running() / MINUTE;
        if !self.warmed && minutes >= AFTER[WARMING - 1] {
            self.finish_pass();
        }
        let fresh =
            self.pauses.before() == Pause::Unknown && minutes < WARM.min(settings.baseline_minutes / SHARE);
        if was_fresh && !fresh {
            // Baselines begin now, with the present job.
            (self.met, self.known, self.jobless) = (0, 0, false);
        }
        self.at = At {
            hour: hour(second),
            pause: self.pause(),
            job: if fresh { None } else { self.place_of(job) },
            fresh,
        };
        let factor = 1.0 + self.effect();
        let known = fresh || self.is_known(settings, minutes);
        // What is explained may as well be wrong.
        let doubt = if known { 0 } else { (DOUBT * factor.max(1.0 / factor)) as u32 };
        Circumstances {
            moment: Moment { minute: second / MINUTE, running: minutes, doubt },
            factor,
            warm_now: was_fresh && !fresh,
        }
    }

    /// Compares the value of the present move with the baseline of its kind, what is explained divided out, and learns
    /// from what is not.
    pub fn judge(
        &mut self,
        circumstances: &Circumstances,
        drift: &mut Drift,
        settings: &DriftSettings,
        evidence: Evidence,
    ) -> Option<Finding> {
        let evidence = evidence.without(circumstances.factor);
        let stands = drift.stands().is_some();
        let in_baseline = drift.is_learning() && !stands;
        if let Some(residual) = drift.residual(settings, evidence).filter(|_| !self.at.fresh) {
            self.learn(residual, (circumstances.moment.doubt == 0, stands), in_baseline);
        }
        drift.step(settings, evidence, &circumstances.moment)
    }

    /// Learns from the present move: by how much it differs from the baseline with what is explained divided out, whether
    /// all effects on it are known and a drift stands, and whether it belongs to the baseline. While a drift stands, only
    /// what was never met is learnt: the drift may depend on the cause, and goes away with its repair.
    fn learn(&mut self, residual: f32, (known, stands): (bool, bool), in_baseline: bool) {
        let At { hour, pause, job, .. } = self.at;
        if let Some((place, (profile, _))) = pause.zip(self.after_pause_mut())
            && (!stands || profile.passes() == 0)
        {
            profile.step(place, residual);
        }
        if let Some(job) = job.filter(|job| !stands || self.known >> job & 1 == 0) {
            self.jobs.step(Place::node(job), residual);
            self.learn_job(usize::from(job), residual, in_baseline);
        }
        if known && (!stands || self.hours.passes() == 0) {
            self.hours.step(hour, residual);
            if in_baseline {
                count(&mut self.hours_of_baseline, hour.nodes.0);
            }
        }
    }

    /// A job is known after its first moves: its level is that of the jobs before, plus its effect.
    fn learn_job(&mut self, job: usize, residual: f32, in_baseline: bool) {
        if self.known >> job & 1 == 1 {
            self.level += (residual - self.level) / LEVEL;
            if in_baseline {
                count(&mut self.jobs_of_baseline, job as u8);
            }
            return;
        }
        let (mean, moves) = self.jobs.unexplained(job);
        if moves >= KNOWN {
            self.jobs.move_node(job, mean - self.level);
            self.jobs.forget(job);
            self.known |= 1 << job;
            self.news.jobs |= 1 << job;
        }
    }

    /// What was put in force since, one effect a call.
    pub fn next_effect(&mut self) -> Option<Effect> {
        let Causes { hours, short, long, jobs, news, numbers, .. } = self;
        if core::mem::take(&mut news.hours) {
            Some(Effect::of(Cause::HourOfDay, |node| hours.node(node)))
        } else if core::mem::take(&mut news.short) {
            Some(Effect::of(Cause::ShortPause, |node| short.node(node)))
        } else if core::mem::take(&mut news.long) {
            Some(Effect::of(Cause::LongPause, |node| long.node(node)))
        } else if news.jobs > 0 {
            let job = news.jobs.trailing_zeros() as usize;
            news.jobs &= news.jobs - 1;
            let effect = |node| if node == 0 { jobs.node(job) } else { 0.0 };
            numbers.get(job).map(|number| Effect::of(Cause::Job(*number), effect))
        } else {
            None
        }
    }

    /// The effect of all causes on the present move.
    fn effect(&self) -> f32 {
        let At { hour, job, .. } = self.at;
        let job = job.map_or(0.0, |job| self.jobs.at(Place::node(job)));
        (self.hours.at(hour) + self.pause_effect() + job).max(-0.75)
    }

    /// The effect of the pause before on the present move.
    fn pause_effect(&self) -> f32 {
        self.at.pause.zip(self.after_pause()).map_or(0.0, |(place, profile)| profile.at(place))
    }

    /// The profile of the sort of pause before; `None` if that is not known.
    fn after_pause(&self) -> Option<&Profile<WARMING>> {
        match self.pauses.before() {
            Pause::Unknown => None,
            Pause::Short => Some(&self.short),
            Pause::Long => Some(&self.long),
        }
    }

    /// The same to be changed, with whether it is news.
    fn after_pause_mut(&mut self) -> Option<(&mut Profile<WARMING>, &mut bool)> {
        match self.pauses.before() {
            Pause::Unknown => None,
            Pause::Short => Some((&mut self.short, &mut self.news.short)),
            Pause::Long => Some((&mut self.long, &mut self.news.long)),
        }
    }

    /// Whether the effects on the present move are known. Unit: minutes since the pause
    fn is_known(&self, settings: &DriftSettings, minutes: u32) -> bool {
        let passes = self.after_pause().map_or(FEWEST, Profile::passes);
        let job = self.at.job.is_none_or(|job| self.known >> job & 1 == 1);
        // A machine that is cold may scatter otherwise, too.
        let cold = self.pause_effect().abs() * 2000.0 > settings.smallest_change_permille as f32;
        job && !cold && (passes >= FEWEST || minutes >= WARM)
    }

    /// Place of the present move after a pause.
    fn pause(&self) -> Option<Place> {
        if self.warmed || self.pauses.before() == Pause::Unknown {
            return None;
        }
        let seconds = self.pauses.running();
        let next = AFTER.iter().position(|after| after * MINUTE > seconds)?;
        let from = AFTER.get(next.checked_sub(1)?)? * MINUTE;
        let part = (seconds - from) as f32 / (AFTER.get(next)? * MINUTE - from) as f32;
        Some(Place { nodes: (next as u8 - 1, next as u8), part })
    }

    /// Place of a job; a new job gets one.
    fn place_of(&mut self, job: u32) -> Option<u8> {
        self.jobless |= job == 0;
        if job == 0 || usize::from(self.met) > JOBS {
            return None;
        }
        let met = usize::from(self.met);
        if let Some(place) = self.numbers.iter().take(met).position(|number| *number == job) {
            return Some(place as u8);
        }
        if let Some(number) = self.numbers.get_mut(met) {
            *number = job;
            // The first job is what the others are compared with, unless there were moves without one.
            self.known |= u8::from(met == 0 && !self.jobless) << met;
        }
        self.met += 1;
        (met < JOBS).then_some(met as u8)
    }

    /// The pass after a pause ends; the machine is warm at its last node, or at the last that was met.
    fn finish_pass(&mut self) {
        self.warmed = true;
        let Some((profile, news)) = self.after_pause_mut() else { return };
        let warm = (0..WARMING).rev().find(|node| profile.unexplained(*node).1 >= 1.0);
        *news |= profile.finish(|_| true, |node| f32::from(u8::from(Some(node) == warm)));
    }

    fn finish_day(&mut self, day: u32) {
        self.day = day;
        let (hours, jobs, known) = (self.hours_of_baseline, self.jobs_of_baseline, self.known);
        let moves = |of: &[u16], node: usize| of.get(node).map_or(0.0, |moves| f32::from(*moves));
        self.news.hours |= self.hours.finish(|_| true, |node| moves(&hours, node));
        // What a job was met with is kept until its level is known.
        if self.jobs.finish(|node| known >> node & 1 == 1, |node| moves(&jobs, node)) {
            self.news.jobs |= known;
        }
    }

    /// The machine was declared good as it is: effects are learnt again, from what they are.
    pub fn learn_again(&mut self) {
        self.hours.learn_again();
        self.short.learn_again();
        self.long.learn_again();
        self.jobs.learn_again();
    }
}

/// Place of an instant in the day. Unit: s
fn hour(second: u32) -> Place {
    let node = DAY / HOURS as u32;
    let at = second % DAY;
    let first = (at / node) as u8;
    Place { nodes: (first, (first + 1) % HOURS as u8), part: (at % node) as f32 / node as f32 }
}

/// Counts a move at a node; all halve when one is full.
fn count<const NODES: usize>(moves: &mut [u16; NODES], node: u8) {
    let Some(count) = moves.get_mut(usize::from(node)) else { return };
    *count += 1;
    if *count == u16::MAX {
        moves.iter_mut().for_each(|count| *count /= 2);
    }
}
