//! In: samples. Out: the phase of the move at each sample; after the command end, the move's command data.
//!
//! A move is one excursion of the command. It begins with the first change after a rest and ends
//! at the last change before the next rest. Which change was the last is known only after the rest
//! time, so the end is reported late and back-dated.

use crate::sample::{Reading, Sample};
use crate::settings::Settings;

pub(crate) mod ending;

use ending::{Changes, Ending};

/// Least number of samples for which a command at rest is unchanged.
const REST_SAMPLES: u32 = 3;

/// A slow pulse train is at rest when the command has been unchanged for this many times the pause before its last
/// pulse.
///
/// Under constant deceleration the time between two pulses is at most √2 + 1 = 2.4 times the one before; at the crest
/// of a quantised sine a count stands up to 4.8 times longer. Eight is more than both.
const PAUSES: u64 = 8;

/// Longest pause that counts before the first pulse of a move: a longer one was a rest. Unit: rest times
const LONGEST_PAUSE: u64 = 8;

/// Value of `held_samples_before` after the first pulse of a move.
const FIRST_PULSE: u32 = u32::MAX;

/// The part of a move that a sample belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Phase {
    /// No move has ended yet, or the last excursion was small.
    Idle,
    /// The command changed after a rest.
    Start,
    /// The command changed again.
    Moving,
    /// The command is unchanged, but not yet for long enough to be at rest.
    Holding,
    /// The command is at rest from this sample on: its last change was the command end.
    End,
    /// The rest that belongs to the last move.
    Resting,
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

/// The stage.
#[derive(Clone, Debug, Default)]
pub(crate) struct Motion {
    state: State,
    move_command: MoveCommand,
    /// Instant of the last command change. Unit: ticks since the first reading
    changed: u64,
    /// Time between the last two changes. Unit: ticks
    pause: u64,
    /// Size of the last change, signed. Unit: feedback counts
    change: i32,
    /// Samples at an unchanged command: since the last change, and between the last two changes.
    held_samples: u32,
    held_samples_before: u32,
    /// Furthest command position from the start of the excursion. Unit: feedback counts
    excursion: u32,
    /// Small excursions, which stayed within the window and are no moves.
    small: u32,
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

    /// Whether the command has started but not yet come to rest.
    pub(crate) fn under_way(&self) -> bool {
        self.state == State::Changing
    }

    /// The phase at one sample; `now` counts ticks since the first reading.
    pub(crate) fn step(&mut self, settings: &Settings, sample: Sample, now: u64) -> Phase {
        if sample.command_change != 0 {
            return self.changed(settings, sample, now);
        }
        match self.state {
            State::Resting => Phase::Resting,
            State::Idle => Phase::Idle,
            State::Changing => self.holding(settings, now - self.changed),
        }
    }

    /// Adds samples at an unchanged command that end no phase.
    pub(crate) fn hold(&mut self, samples: u32) {
        if self.state == State::Changing {
            self.held_samples = self.held_samples.saturating_add(samples);
        }
    }

    /// Adds readings that each change the command, unscaled, as the one `before` them did.
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
        self.changed = now;
        self.pause = u64::from(last.tick.wrapping_sub(last_but_one.tick));
        self.change = last.command.wrapping_sub(last_but_one.command);
        self.held_samples_before = 0;
        for reading in readings.iter().skip(readings.len().saturating_sub(ending::CHANGES)) {
            self.changes.push(reading.tick, distance(reading));
        }
        self.elapsed = last.tick.wrapping_sub(last_but_one.tick);
    }

    /// How long after `now` an unchanged command is still not at rest, if it is not yet. Unit: ticks
    pub(crate) fn ticks_to_rest(&self, settings: &Settings, now: u64) -> Option<u64> {
        let held = now - self.changed;
        (self.state == State::Changing).then(|| self.time_to_rest(settings).saturating_sub(held + 1))
    }

    fn changed(&mut self, settings: &Settings, sample: Sample, now: u64) -> Phase {
        self.pause = now - self.changed;
        self.changed = now;
        self.change = sample.command_change;
        self.elapsed = sample.elapsed;
        let held_samples = core::mem::take(&mut self.held_samples);
        if self.state != State::Changing {
            self.start(settings, sample.command_change, sample.elapsed, now);
            self.changes.restart(sample.tick);
            self.changes.push(sample.tick, sample.command_change);
            return Phase::Start;
        }
        self.held_samples_before = held_samples;
        self.move_command.travel = self.move_command.travel.wrapping_add(sample.command_change);
        self.excursion = self.excursion.max(self.move_command.travel.unsigned_abs());
        self.changes.push(sample.tick, self.move_command.travel);
        Phase::Moving
    }

    fn start(&mut self, settings: &Settings, travel: i32, elapsed: u32, now: u64) {
        // The change came at any time since the last sample, so that sample period does not count as pause.
        let rested = self.pause >= u64::from(settings.rest_time) + u64::from(elapsed);
        self.move_command.start = now - u64::from(elapsed);
        self.move_command.travel = travel;
        self.move_command.joined_late = self.state == State::Idle && !rested;
        self.excursion = travel.unsigned_abs();
        self.state = State::Changing;
        self.held_samples_before = FIRST_PULSE;
    }

    /// The command has been unchanged for `held` ticks.
    fn holding(&mut self, settings: &Settings, held: u64) -> Phase {
        self.held_samples = self.held_samples.saturating_add(1);
        if self.held_samples < REST_SAMPLES || held < self.time_to_rest(settings) {
            return Phase::Holding;
        }
        self.end(settings, held)
    }

    /// How long the command must be unchanged to be at rest. Unit: ticks
    fn time_to_rest(&self, settings: &Settings) -> u64 {
        // A change within the window after a pause belongs to a slow pulse train: the next pulse may still come.
        let slow_pulses =
            self.change.unsigned_abs() <= settings.window.max(1) && self.held_samples_before > 0;
        let rest_time = u64::from(settings.rest_time);
        let first = self.held_samples_before == FIRST_PULSE;
        let pause = if first { self.pause.min(rest_time * LONGEST_PAUSE) } else { self.pause };
        let pauses = if slow_pulses { pause.saturating_mul(PAUSES) } else { 0 };
        pauses.max(rest_time)
    }

    /// The excursion has ended: it was a move or a small excursion.
    fn end(&mut self, settings: &Settings, held: u64) -> Phase {
        if self.excursion <= settings.window {
            self.small = self.small.saturating_add(1);
            self.state = State::Idle;
            return Phase::Idle;
        }
        self.move_command.command_end = self.changed;
        self.move_command.ending =
            if settings.synchronous { Ending::default() } else { self.changes.ending(self.elapsed) };
        self.move_command.period = (held / u64::from(self.held_samples.max(1))) as u32;
        self.state = State::Resting;
        Phase::End
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::{Reading, Sampler};
    use crate::settings::Parameters;

    const REST: u32 = 20;

    /// Start, command end, travel and `joined_late` of each move.
    fn moves(window: u32, commands: impl IntoIterator<Item = i32>) -> std::vec::Vec<(u64, u64, i32, bool)> {
        let parameters = Parameters { window, rest_time: REST, ..Parameters::at(1000) };
        let settings = Settings::new(parameters).unwrap();
        let (mut sampler, mut motion) = (Sampler::default(), Motion::default());
        let mut found = std::vec![];
        for (tick, command) in (0..).zip(commands) {
            let reading = Reading { tick, command, feedback: 0 };
            if tick == 0 {
                sampler.begin(&settings, reading);
                continue;
            }
            let sample = sampler.step(&settings, reading);
            if motion.step(&settings, sample, sampler.now()) == Phase::End {
                let move_command = motion.move_command();
                found.push((
                    move_command.start,
                    move_command.command_end,
                    move_command.travel,
                    move_command.joined_late,
                ));
            }
        }
        found
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
