//! In: readings whose command is noisy. Out: the same readings; where the command stands, it is the mean of its noise.
//!
//! ```text
//! reading ► window: the latest readings, while they span no more than two dead bands
//!              │ lasts for the rest time, all of it within ± one dead band of the mean of its later half
//!              ▼
//!           average: up to sixteen times as long, or to the next motion
//!              ▼
//!           level: readings within ± one dead band of it have it as their command
//!              │ three readings in a row beyond, on one side
//!              ▼
//!           moving: readings pass unchanged
//! ```
//! The crest of a noisy sine is no rest: as for slow pulses in the core, the command must stand eight times as long as it
//! took for the last part of its way, from four dead bands to two. Memory is bounded by [`PAST`] and [`WINDOW`].

use std::collections::VecDeque;

use stillpoint_core::Reading;

use super::arrival;

/// Fewest readings of a rest.
const REST_READINGS: usize = 4;

/// A command is at rest when it stands this many times as long as its way from four to two dead bands before took.
///
/// At the crest of a sine a band is crossed in 4.8 times the time of the band before, under constant deceleration in
/// 2.4 times. Eight is more than both.
const PAUSES: u32 = 8;

/// The mean is taken over up to this many times what makes a rest, so that it is four times as certain. No source
const AVERAGED: u32 = 16;

/// Readings beyond the dead band, in a row and on one side, that end a rest: of normal noise with a dead band of 4.5 σ
/// not one in 10^16.
const LEAVING: usize = 3;

/// The way that is fitted to find the arrival. Unit: dead bands
const WAY: i64 = 8;

/// Fewest readings on the way that are fitted.
const FITTED: usize = 3;

/// Arrivals remembered until their move is reported.
const ARRIVALS: usize = 16;

/// Readings remembered of the way to a rest.
const PAST: usize = 8192;

/// Longest window. Unit: readings
const WINDOW: usize = PAUSES as usize * PAST;

/// Replaces the noise of a standing command by its mean.
#[derive(Clone, Debug, Default)]
pub(super) struct Quiet {
    /// Half-width; 0 passes all readings unchanged. Unit: command counts
    dead_band: i64,
    /// Unit: ticks
    rest_time: u32,
    /// Where the command stands, or stood last. Unit: command counts
    level: i32,
    is_standing: bool,
    /// Instant at which it was there last. Unit: ticks
    stood: u32,
    /// Readings beyond the dead band of a command that stands, fewer than [`LEAVING`].
    beyond: Vec<Reading>,
    /// Readings that may be the beginning of a rest.
    window: VecDeque<Reading>,
    /// Candidates for the lowest and the highest command of the window, as in a sliding minimum.
    low: VecDeque<i32>,
    high: VecDeque<i32>,
    /// Sum and number of the commands that are averaged, if the window is a rest. Unit: command counts, 1
    average: Option<(i64, i64)>,
    /// How long the window must be, once known for its first reading. Unit: ticks
    required: Option<u32>,
    /// Instants and commands before the window.
    past: VecDeque<(u32, i32)>,
    /// Where the command arrived lately.
    arrivals: VecDeque<Arrived>,
}

/// An arrival of the command.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Arrived {
    /// Instant of the first reading at the level. Unit: ticks
    pub(super) tick: u32,
    /// Half-width of the 95 % interval of that instant. Unit: ticks
    pub(super) half_width: u32,
    /// Number of readings whose mean is the level.
    pub(super) averaged: u32,
}

impl Quiet {
    /// Before the first reading; a rest lasts `rest_time` or longer. Unit: command counts, ticks
    pub(super) fn new(dead_band: u32, rest_time: u32) -> Quiet {
        Quiet { dead_band: i64::from(dead_band), rest_time, ..Quiet::default() }
    }

    /// Whether readings are changed at all.
    pub(super) fn is_active(&self) -> bool {
        self.dead_band > 0
    }

    /// Half-width. Unit: command counts
    pub(super) fn dead_band(&self) -> f64 {
        self.dead_band as f64
    }

    /// The arrival at this instant, if it is remembered. Unit: ticks
    pub(super) fn arrived(&self, tick: u32) -> Option<Arrived> {
        self.arrivals.iter().rev().find(|arrived| arrived.tick == tick).copied()
    }

    /// Adds a reading; what is certain goes to `out`, in order.
    #[inline]
    pub(super) fn push(&mut self, reading: Reading, out: &mut Vec<Reading>) {
        if self.dead_band == 0 {
            out.push(reading);
        } else if self.is_standing {
            self.stand(reading, out);
        } else if let Some(average) = self.average {
            self.lengthen(reading, average, out);
        } else {
            self.widen(reading, out);
        }
    }

    /// No reading follows, or some are missing: all readings go to `out`.
    pub(super) fn flush(&mut self, out: &mut Vec<Reading>) {
        self.settle(out);
        out.extend(self.beyond.drain(..).map(|reading| Reading { command: self.level, ..reading }));
        while let Some(first) = self.narrow() {
            out.push(first);
        }
    }

    /// The command stands: a reading within the dead band, or beyond it.
    fn stand(&mut self, reading: Reading, out: &mut Vec<Reading>) {
        let level = self.level;
        let at_level = |reading| Reading { command: level, ..reading };
        let distance = |reading: &Reading| i64::from(reading.command) - i64::from(level);
        if distance(&reading).abs() <= self.dead_band {
            out.extend(self.beyond.drain(..).map(at_level));
            self.stood = reading.tick;
            return out.push(at_level(reading));
        }
        if self.beyond.last().is_some_and(|last| distance(last).signum() != distance(&reading).signum()) {
            out.extend(self.beyond.drain(..).map(at_level));
        }
        self.beyond.push(reading);
        if self.beyond.len() == LEAVING {
            self.is_standing = false;
            self.past.clear();
            self.past.push_back((self.stood, level));
            for reading in std::mem::take(&mut self.beyond) {
                self.widen(reading, out);
            }
        }
    }

    /// Adds a reading to the window, which may then be a rest.
    fn widen(&mut self, reading: Reading, out: &mut Vec<Reading>) {
        while self.low.back().is_some_and(|&low| low > reading.command) {
            self.low.pop_back();
        }
        while self.high.back().is_some_and(|&high| high < reading.command) {
            self.high.pop_back();
        }
        self.low.push_back(reading.command);
        self.high.push_back(reading.command);
        self.window.push_back(reading);
        while self.span() > 2 * self.dead_band || self.window.len() > WINDOW {
            out.extend(self.narrow());
        }
        self.rest(out);
    }

    /// Highest minus lowest command of the window. Unit: command counts
    fn span(&self) -> i64 {
        let (low, high) = (self.low.front().copied(), self.high.front().copied());
        low.zip(high).map_or(0, |(low, high)| i64::from(high) - i64::from(low))
    }

    /// Removes the first reading of the window, which belongs to the motion.
    fn narrow(&mut self) -> Option<Reading> {
        let first = self.window.pop_front()?;
        if self.low.front() == Some(&first.command) {
            self.low.pop_front();
        }
        if self.high.front() == Some(&first.command) {
            self.high.pop_front();
        }
        if self.past.len() == PAST {
            self.past.pop_front();
        }
        self.past.push_back((first.tick, first.command));
        self.required = None;
        Some(first)
    }

    /// Ends the motion if the window is a rest.
    fn rest(&mut self, out: &mut Vec<Reading>) {
        let (Some(first), Some(last)) = (self.window.front(), self.window.back()) else { return };
        let length = last.tick.wrapping_sub(first.tick);
        if self.window.len() < REST_READINGS || length < self.required.unwrap_or(self.rest_time) {
            return;
        }
        // The first half may hold the end of the motion.
        let later = self.window.iter().skip(self.window.len() / 2);
        let count = later.len() as i64;
        let sum: i64 = later.map(|reading| i64::from(reading.command)).sum();
        let mean = rounded(sum, count);
        let required = self.rest_time.max(self.approach(mean, first.tick).saturating_mul(PAUSES));
        self.required = Some(required);
        let distance = |edge: Option<&i32>| edge.map_or(0, |&edge| (i64::from(edge) - mean).abs());
        if length < required {
            // The motion may still go on.
        } else if distance(self.low.front()).max(distance(self.high.front())) > self.dead_band {
            out.extend(self.narrow());
        } else {
            self.average = Some((sum, count));
        }
    }

    /// How long the command was on its way from four dead bands before `mean` to the window, which begins at `tick`.
    fn approach(&self, mean: i64, tick: u32) -> u32 {
        let far = |&&(_, command): &&(u32, i32)| (i64::from(command) - mean).abs() > 4 * self.dead_band;
        let from = self.past.iter().rev().find(far).or(self.past.front());
        from.map_or(0, |&(from, _)| tick.wrapping_sub(from))
    }

    /// Adds a reading to a rest; the average ends if the reading is beyond the dead band, or it is long enough.
    fn lengthen(&mut self, reading: Reading, (sum, count): (i64, i64), out: &mut Vec<Reading>) {
        let is_near = (i64::from(reading.command) - rounded(sum, count)).abs() <= self.dead_band;
        if !is_near {
            self.settle(out);
            return self.stand(reading, out);
        }
        self.window.push_back(reading);
        self.average = Some((sum + i64::from(reading.command), count + 1));
        let length = self.window.front().map_or(0, |first| reading.tick.wrapping_sub(first.tick));
        let longest = self.required.unwrap_or(self.rest_time).saturating_mul(AVERAGED);
        if length >= longest || self.window.len() > WINDOW {
            self.settle(out);
        }
    }

    /// The command of a rest stands at its mean, from the reading on at which it has arrived.
    fn settle(&mut self, out: &mut Vec<Reading>) {
        let Some((sum, count)) = self.average.take() else { return };
        let level = rounded(sum, count) as i32;
        let readings: Vec<Reading> = self.window.drain(..).collect();
        let (arrived, half_width) = self.arrival(&readings, level);
        let (moving, standing) = readings.split_at(arrived);
        out.extend(moving);
        out.extend(standing.iter().map(|reading| Reading { command: level, ..*reading }));
        if self.arrivals.len() == ARRIVALS {
            self.arrivals.pop_front();
        }
        let tick = standing.first().map_or(0, |reading| reading.tick);
        self.arrivals.push_back(Arrived { tick, half_width, averaged: count as u32 });
        self.stood = standing.last().map_or(0, |reading| reading.tick);
        (self.level, self.is_standing, self.required) = (level, true, None);
        self.low.clear();
        self.high.clear();
    }

    /// Index of the first reading at which the command has arrived, and half-width of its interval. Unit: 1, ticks
    fn arrival(&self, readings: &[Reading], level: i32) -> (usize, u32) {
        let distance = |command: i32| i64::from(command) - i64::from(level);
        let first = readings.first().map_or(0, |reading| reading.tick);
        let instant = |tick: u32| f64::from(tick.wrapping_sub(first) as i32);
        let is_near = |&&(_, command): &&(u32, i32)| distance(command).abs() <= WAY * self.dead_band;
        let way = self.past.iter().rev().take_while(is_near).count();
        // A jump has no way, and a reading or two can't be fitted.
        if way < FITTED {
            return (0, 0);
        }
        let half = f64::from(self.required.unwrap_or(self.rest_time)) / 2.0;
        let before = self.past.range(self.past.len() - way..).copied();
        let after = readings.iter().map(|reading| (reading.tick, reading.command));
        let after = after.take_while(|&(tick, _)| instant(tick) <= half);
        let points = before.chain(after).map(|(tick, command)| (instant(tick), distance(command) as f64));
        let Some(arrival) = arrival::fit(&points.collect::<Vec<_>>()) else { return (0, 0) };
        let arrived = readings.iter().position(|reading| instant(reading.tick) >= arrival.at);
        (arrived.unwrap_or(0), arrival.half_width.round() as u32)
    }
}

/// A mean, to the nearest count.
fn rounded(sum: i64, count: i64) -> i64 {
    let count = count.max(1);
    (2 * sum + count).div_euclid(2 * count)
}
