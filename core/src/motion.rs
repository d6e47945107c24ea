//! In: samples. Out: the phase of the move at each sample; after the command end, the move's command data.
//!
//! A move is one excursion of the command. It begins with the first change after a rest and ends
//! at the last change before the next rest. Which change was the last is known only after the rest
//! time, so the end is reported late and back-dated.
//!
//! A small change after a rest may be the late pulse of the move before, or the first of the next move; and a small
//! excursion may be the slow start of the move after it. So the part before such a change is set aside, undecided,
//! until the changes after it tell: then it joins the present excursion or stands alone.

use crate::sample::{Reading, Sample};
use crate::settings::Settings;

pub(crate) mod ending;
mod train;

use ending::{Changes, Ending};
use train::{Pulse, small};

/// Least number of samples for which a command at rest is unchanged.
const REST_SAMPLES: u32 = 3;

/// The part of a move that a sample belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Phase {
    /// No move has ended yet, or the last excursion was small.
    Idle,
    /// The command changed after a rest.
    Start {
        /// The part before is set aside: it may be of the same move.
        undecided: bool,
    },
    /// The command changed again.
    Moving,
    /// The command is unchanged, but not yet for long enough to be at rest.
    Holding,
    /// The command is at rest from this sample on: its last change was the command end.
    End,
    /// The rest that belongs to the last move.
    Resting,
}

/// What becomes of the part that was set aside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Aside {
    /// It is of the same move as the present excursion.
    Joins {
        /// The command has gone beyond the window since.
        beyond: bool,
    },
    /// It is a move, or a small excursion, of its own.
    StandsAlone,
}

/// The phase at one sample, after what the sample decides about the part set aside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Step {
    pub phase: Phase,
    pub aside: Option<Aside>,
}

impl From<Phase> for Step {
    fn from(phase: Phase) -> Step {
        Step { phase, aside: None }
    }
}

/// The rest before a change of the command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Rest {
    /// None, or its move is reported already.
    Over,
    /// The target has not been reached yet.
    Watched,
    /// The target has been reached.
    Reached,
}

/// Command data of a move.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MoveCommand {
    /// Last instant at the old command. Unit: ticks since the first reading
    pub start: u64,
    /// First instant at the final command. Unit: ticks since the first reading
    pub command_end: u64,
    /// Command at the end minus command at the start. Unit: feedback counts, wrapping
    pub travel: i32,
    /// Mean sample period from the command end until it was certain. Unit: ticks
    pub period: u32,
    /// The command was already changing when the readings began: `start` and `travel` leave out what came before.
    pub joined_late: bool,
    /// The command stood in between, for so short a time that it may have been turning or slowing down.
    pub paused: bool,
    /// When the command truly ended; at `command_end` if it shares a clock with the samples.
    pub ending: Ending,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum State {
    #[default]
    Idle,
    Changing,
    Resting,
}

/// A part set aside: what came before the present excursion.
#[derive(Clone, Copy, Debug)]
struct Part {
    command: MoveCommand,
    /// Furthest command position from its start. Unit: feedback counts
    excursion: u32,
    /// Shortest time between two of its changes, the pause after it included. Unit: samples
    shortest: u32,
    why: Why,
}

/// Why a part is set aside.
#[derive(Clone, Copy, Debug)]
enum Why {
    /// It is a stop that the present excursion may continue.
    Stop {
        /// Its last pulse.
        last: Pulse,
        /// The present excursion may go on with the same pulse train.
        train: bool,
    },
    /// It is small, a train of this many pulses: the present excursion may be the same slow start.
    Pulses(u32),
}

/// The stage.
#[derive(Clone, Debug, Default)]
pub(crate) struct Motion {
    state: State,
    move_command: MoveCommand,
    /// Instant of the last command change. Unit: ticks since the first reading
    changed: u64,
    last: Pulse,
    /// Samples at an unchanged command since the last change.
    held_samples: u32,
    /// Shortest time between two changes of the excursion; 0 if there were not two yet. Unit: samples
    shortest: u32,
    /// Furthest command position from the start of the excursion. Unit: feedback counts
    excursion: u32,
    /// Pulses of an excursion that is a regular train so far; 0 in any other.
    pulses: u32,
    aside: Option<Part>,
    /// Number of moves whose rest is over.
    pub(crate) moves: u32,
    /// Small excursions, which stayed within the window and are no moves.
    small: u32,
    /// Stops that could not be told from turning points of the command.
    turning_points: u32,
    changes: Changes,
    /// Time between the last change and the sample before it. Unit: ticks
    elapsed: u32,
}

impl Motion {
    /// Command data of the move that the last [`Phase::End`] ended.
    pub(crate) fn move_command(&self) -> MoveCommand {
        self.move_command
    }

    /// Number of excursions that stayed within the window and were not measured.
    pub(crate) fn small(&self) -> u32 {
        self.small
    }

    /// Number of stops that could not be told from turning points of the command and were not measured.
    pub(crate) fn turning_points(&self) -> u32 {
        self.turning_points
    }

    /// Whether the command has started but not yet come to rest.
    pub(crate) fn under_way(&self) -> bool {
        self.state == State::Changing
    }

    /// Whether a part is set aside, so that each change may decide about it.
    pub(crate) fn is_undecided(&self) -> bool {
        self.aside.is_some()
    }

    /// Whether the command, at rest until `now`, may yet turn or go on as a slow pulse train does.
    pub(crate) fn may_go_on(&self, settings: &Settings, now: u64) -> bool {
        let pace = self.pace(self.move_command.period);
        self.pulses != 1 && self.last.may_go_on(settings, now - self.changed, pace)
    }

    /// Shortest time between two changes, at this sample period. Unit: ticks
    fn pace(&self, period: u32) -> u64 {
        let before = self.aside.map_or(0, |part| part.shortest);
        u64::from(period) * u64::from(shortest(self.shortest, before).max(1))
    }

    /// The phase at one sample; `now` counts ticks since the first reading, `rest` came before it.
    pub(crate) fn step(&mut self, settings: &Settings, sample: Sample, now: u64, rest: Rest) -> Step {
        if sample.command_change != 0 {
            return self.changed(settings, sample, now, rest);
        }
        self.hold(1);
        match self.state {
            State::Resting => Phase::Resting.into(),
            State::Idle => Phase::Idle.into(),
            State::Changing => self.holding(settings, now - self.changed),
        }
    }

    /// Adds samples at an unchanged command that end no phase.
    pub(crate) fn hold(&mut self, samples: u32) {
        self.held_samples = self.held_samples.saturating_add(samples);
    }

    /// Adds readings that each change the command, unscaled, as the one `before` them did; nothing is set aside.
    ///
    /// `end` has the last two of them all, the last one read at `now`. Unit: ticks since the first reading
    pub(crate) fn move_on(
        &mut self,
        before: Reading,
        readings: &[Reading],
        end: (Reading, Reading),
        now: u64,
    ) {
        let origin = before.command.wrapping_sub(self.move_command.travel);
        let distance = |reading: &Reading| reading.command.wrapping_sub(origin);
        let furthest = readings.iter().map(|reading| distance(reading).unsigned_abs()).max();
        let (last_but_one, last) = end;
        self.excursion = self.excursion.max(furthest.unwrap_or(0));
        self.move_command.travel = distance(&last);
        (self.changed, self.pulses, self.shortest) = (now, 0, 1);
        let pulse = |from: &Reading, to: &Reading| {
            let since = u64::from(to.tick.wrapping_sub(from.tick));
            Pulse::following(to.command.wrapping_sub(from.command), since)
        };
        let pulse_before = match readings {
            [] | [_] => self.last,
            [_, _] => pulse(&before, &last_but_one),
            [.., third_last, _, _] => pulse(third_last, &last_but_one),
        };
        self.last = pulse_before.then(pulse(&last_but_one, &last));
        // Earlier ones would be overwritten.
        let (earlier, stored) = readings.split_at(readings.len().saturating_sub(ending::CHANGES));
        let mut from = earlier.last().unwrap_or(&before);
        for reading in stored {
            self.changes.push(reading.tick, reading.command.wrapping_sub(from.command));
            from = reading;
        }
        self.elapsed = last.tick.wrapping_sub(last_but_one.tick);
    }

    /// How long after `now` an unchanged command is still not at rest, if it is not yet. Unit: ticks
    pub(crate) fn ticks_to_rest(&self, settings: &Settings, now: u64) -> Option<u64> {
        let held = now - self.changed;
        (self.state == State::Changing).then(|| u64::from(settings.rest_time).saturating_sub(held + 1))
    }

    fn changed(&mut self, settings: &Settings, sample: Sample, now: u64, rest: Rest) -> Step {
        let moving = self.state == State::Changing;
        let held_samples = core::mem::take(&mut self.held_samples);
        let (change, pause) = (sample.command_change, now - self.changed);
        let mut next = Pulse { follows: moving, ..Pulse::following(change, pause) };
        next.stood = moving && held_samples > 0 && !self.last.reverses(next);
        next.coarse = next.stood && self.last.equals(next);
        (self.changed, self.elapsed) = (now, sample.elapsed);
        if !moving {
            return self.start(settings, sample, next, rest, held_samples);
        }
        self.changes.push(sample.tick, next.change);
        self.move_command.travel = self.move_command.travel.wrapping_add(next.change);
        self.excursion = self.excursion.max(self.move_command.travel.unsigned_abs());
        self.shortest = shortest(self.shortest, held_samples.saturating_add(1));
        let pace = self.pace(sample.elapsed);
        let aside = self.aside.and_then(|part| self.decide(settings, part, next, pace));
        let first = self.pulses == 1;
        let regular = first && self.last.is_like(next) || self.last.continues(next, self.last.pause, pace);
        let aside = self.settle_aside(aside);
        self.pulses =
            if regular && self.pulses > 0 && held_samples > 0 { self.pulses.saturating_add(1) } else { 0 };
        self.last = self.last.then(next);
        Step { phase: Phase::Moving, aside }
    }

    /// The command changes after a rest, or for the first time; it was `held` before. Unit: samples
    fn start(&mut self, settings: &Settings, sample: Sample, next: Pulse, rest: Rest, held: u32) -> Step {
        let pace = self.pace(sample.elapsed);
        let decided = self.aside.and_then(|part| self.decide(settings, part, next, pace));
        let aside = self.settle_aside(decided);
        let pace = self.pace(sample.elapsed);
        let why = self.may_continue(settings, next, pace, rest);
        self.aside = why.map(|why| Part {
            command: self.move_command,
            excursion: self.excursion,
            shortest: shortest(self.shortest, held.saturating_add(1)),
            why,
        });
        // The change came at any time since the last sample, so that sample period does not count as pause.
        let rested =
            held >= REST_SAMPLES && next.pause >= u64::from(settings.rest_time) + u64::from(sample.elapsed);
        self.move_command = MoveCommand {
            start: self.changed - u64::from(sample.elapsed),
            travel: next.change,
            joined_late: self.state == State::Idle && !rested,
            paused: false,
            ..self.move_command
        };
        (self.excursion, self.shortest) = (next.change.unsigned_abs(), 0);
        let continues = matches!(why, Some(Why::Stop { .. }));
        self.changes.begin(sample.tick, continues);
        self.changes.push(sample.tick, next.change);
        let last = if continues { self.last.then(next) } else { next };
        // The pause before the first change of all is at least as long as what was seen of it.
        let joined_late = self.move_command.joined_late;
        let stood = joined_late && held > 0;
        self.last = Pulse { follows: continues || joined_late, stood, ..last };
        (self.state, self.pulses) = (State::Changing, 1);
        Step { phase: Phase::Start { undecided: self.aside.is_some() }, aside }
    }

    /// Why the part before this change may be of the same move, if it may.
    fn may_continue(&self, settings: &Settings, next: Pulse, pace: u64, rest: Rest) -> Option<Why> {
        let train = self.last.may_precede(settings, next, pace);
        let is_small = next.is_small(settings, 1);
        let late = self.last.may_precede_late(settings, next, pace);
        let continues = train || late || is_small && rest == Rest::Watched;
        match (self.state, rest) {
            (State::Resting, Rest::Watched | Rest::Reached) if continues => {
                Some(Why::Stop { last: self.last, train })
            }
            (State::Idle, _) if self.may_begin(settings, next, pace) => Some(Why::Pulses(self.pulses)),
            _ => None,
        }
    }

    /// Whether the pulses of a small excursion may be the slow start of the present one.
    fn may_begin(&self, settings: &Settings, next: Pulse, pace: u64) -> bool {
        let regular = || self.pulses == 1 || self.last.continues(next, self.last.pause, pace);
        self.pulses > 0 && self.last.may_begin(settings, next, pace) && regular()
    }

    /// What the change `next` decides about the part set aside, if it does.
    fn decide(&mut self, settings: &Settings, mut part: Part, next: Pulse, pace: u64) -> Option<Aside> {
        let second = self.pulses == 1;
        match &mut part.why {
            Why::Stop { last, train } => {
                let first = self.last;
                let goes_on = || first.continues(next, last.pause, pace) || first.turns(settings, next, pace);
                *train &= !second || goes_on();
                let train = *train;
                self.aside = Some(part);
                let beyond = self.excursion > small(settings);
                beyond.then_some(if train { Aside::Joins { beyond } } else { Aside::StandsAlone })
            }
            Why::Pulses(_) if self.last.continues(next, self.last.pause, pace) => {
                Some(Aside::Joins { beyond: false })
            }
            Why::Pulses(_) => Some(Aside::StandsAlone),
        }
    }

    /// Puts the part set aside where it belongs.
    fn settle_aside(&mut self, decision: Option<Aside>) -> Option<Aside> {
        let decision = decision?;
        let Some(part) = self.aside.take() else { return Some(decision) };
        let Aside::Joins { beyond } = decision else {
            // The first change of an excursion of its own follows no other.
            self.last.follows &= self.pulses != 1;
            self.changes.stand_alone();
            return Some(decision);
        };
        let travel = self.move_command.travel.wrapping_add(part.command.travel);
        self.move_command = MoveCommand {
            start: part.command.start,
            travel,
            joined_late: part.command.joined_late,
            paused: part.command.paused || self.move_command.paused,
            ..self.move_command
        };
        self.excursion = self.excursion.max(part.excursion).max(travel.unsigned_abs());
        self.shortest = shortest(self.shortest, part.shortest);
        self.last.follows = true;
        match part.why {
            Why::Stop { last, train } => {
                let turned = train && (beyond || last.reverses(self.last));
                self.turning_points = self.turning_points.saturating_add(u32::from(turned));
                self.move_command.paused |= turned;
                self.pulses = 0;
            }
            Why::Pulses(pulses) => {
                self.small = self.small.saturating_sub(1);
                self.pulses = self.pulses.saturating_add(pulses);
            }
        }
        Some(decision)
    }

    /// The command has been unchanged for `held` ticks.
    fn holding(&mut self, settings: &Settings, held: u64) -> Step {
        if self.held_samples < REST_SAMPLES || held < u64::from(settings.rest_time) {
            return Phase::Holding.into();
        }
        self.end(settings, held)
    }

    /// The excursion has ended: it was a move or a small excursion.
    fn end(&mut self, settings: &Settings, held: u64) -> Step {
        let aside = self.settle_aside(self.aside.and_then(|part| match part.why {
            Why::Stop { .. } => Some(Aside::Joins { beyond: self.excursion > small(settings) }),
            // Three pulses are a train, two may be two of anything.
            Why::Pulses(pulses) => (pulses > 1).then_some(Aside::Joins { beyond: false }),
        }));
        if self.excursion <= small(settings) {
            self.small = self.small.saturating_add(1);
            self.state = State::Idle;
            return Step { phase: Phase::Idle, aside };
        }
        self.move_command.command_end = self.changed;
        self.move_command.ending =
            if settings.synchronous { Ending::default() } else { self.changes.ending(self.elapsed) };
        self.move_command.period = (held / u64::from(self.held_samples.max(1))) as u32;
        self.state = State::Resting;
        Step { phase: Phase::End, aside }
    }
}

/// The shorter of two times, of which 0 is none.
fn shortest(one: u32, other: u32) -> u32 {
    if one.min(other) == 0 { one.max(other) } else { one.min(other) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{Reading, Sampler};
    use crate::settings::Parameters;

    const REST: u32 = 20;

    /// Start, command end, travel and `joined_late` of each move, whose feedback reaches each target at once.
    fn moves(window: u32, commands: impl IntoIterator<Item = i32>) -> std::vec::Vec<(u64, u64, i32, bool)> {
        let parameters = Parameters { window, rest_time: REST, ..Parameters::at(1000) };
        let settings = Settings::new(parameters).unwrap();
        let (mut sampler, mut motion) = (Sampler::default(), Motion::default());
        let (mut found, mut pending, mut held, mut rest) = (std::vec![], None, None, Rest::Over);
        for (tick, command) in (0..).zip(commands) {
            let reading = Reading { tick, command, feedback: 0 };
            if tick == 0 {
                sampler.begin(&settings, reading);
                continue;
            }
            let sample = sampler.step(&settings, reading);
            let step = motion.step(&settings, sample, sampler.now(), rest);
            match step.aside {
                Some(Aside::Joins { .. }) => held = None,
                Some(Aside::StandsAlone) => found.extend(held.take()),
                None => (),
            }
            match step.phase {
                Phase::Start { undecided: true } => held = pending.take(),
                Phase::Start { undecided: false } => found.extend(pending.take()),
                Phase::End => pending = Some(motion.move_command()),
                _ => (),
            }
            rest = if pending.is_some() { Rest::Reached } else { Rest::Over };
        }
        if !pending.is_some_and(|_| motion.may_go_on(&settings, sampler.now())) {
            found.extend(pending);
        }
        let shown = |of: MoveCommand| (of.start, of.command_end, of.travel, of.joined_late);
        found.into_iter().map(shown).collect()
    }

    /// Commands that are at each level for this number of samples.
    fn stairs(levels: &[(i32, usize)]) -> std::vec::Vec<i32> {
        levels.iter().flat_map(|&(level, samples)| std::iter::repeat_n(level, samples)).collect()
    }

    #[track_caller]
    fn check(levels: &[(i32, usize)], expected: &[(u64, u64, i32, bool)]) {
        assert_eq!(moves(5, stairs(levels)), expected);
    }

    #[test]
    fn the_end_is_the_last_change_before_a_rest() {
        check(&[(0, 30), (100, 21)], &[(29, 30, 100, false)]);
        check(&[(0, 30), (100, 20)], &[]);
        check(&[(0, 30), (50, 1), (100, 1), (150, 40)], &[(29, 32, 150, false)]);
        check(&[(0, 30), (100, 30), (0, 30)], &[(29, 30, 100, false), (59, 60, -100, false)]);
        check(&[(0, 30), (100, 10), (0, 30)], &[(29, 40, 0, false)]);
    }

    #[test]
    fn a_move_that_began_before_the_samples_is_marked() {
        check(&[(0, 1), (50, 1), (100, 40)], &[(0, 2, 100, true)]);
        check(&[(0, 19), (100, 40)], &[(18, 19, 100, true)]);
    }

    #[test]
    fn an_excursion_within_the_window_is_no_move() {
        check(&[(0, 30), (5, 40), (0, 40)], &[]);
        check(&[(0, 30), (6, 40)], &[(29, 30, 6, false)]);
        check(&[(0, 30), (4, 2000), (8, 2000), (0, 60)], &[(4029, 4030, -8, false)]);
    }

    #[test]
    fn slow_pulse_trains_do_not_split_a_move() {
        // Pulses of a constant deceleration: 100 of them, ever slower, the last pauses beyond the rest time.
        let distance = |k: i32| (f64::from(100 - k)).sqrt();
        let mut levels = std::vec![(0, 50)];
        levels.extend((1..100).map(|k| (k, ((distance(k) - distance(k + 1)) * 60.0) as usize + 1)));
        levels.push((100, 2000));
        let found = moves(5, stairs(&levels));
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].2, 100);
    }

    #[test]
    fn a_command_that_never_rests_gives_no_move() {
        for amplitude in [3.0, 40.0, 1000.0, 1e6] {
            for period in [50.0, 400.0, 3000.0, 20_000.0] {
                let sine =
                    (0..200_000).map(|k| (f64::from(k) * core::f64::consts::TAU / period).sin() * amplitude);
                assert_eq!(
                    moves(0, sine.map(|level| level.round() as i32)),
                    [],
                    "{amplitude} counts, {period} ms"
                );
            }
        }
    }
}
