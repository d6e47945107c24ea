//! In: readings whose command is noisy. Out: the same readings; where the command stands, it is the mean of its noise.
//!
//! ```text
//! reading ► window: the latest readings, while they span no more than two dead bands
//!              │ spans the rest time, and all of it within ± one dead band of the mean of its later half
//!              ▼
//!           level: readings within ± one dead band of it have it as their command
//!              │ three readings in a row beyond, on one side
//!              ▼
//!           moving: readings pass unchanged
//! ```
//! The crest of a noisy sine is no rest: as for slow pulses in the core, the command must stand eight times as long as it
//! took for the last part of its way, of two dead bands. Memory is bounded by [`PAST`].

use std::collections::VecDeque;

use stillpoint_core::Reading;

/// Fewest readings of a rest.
const REST_READINGS: usize = 4;

/// A command is at rest when it stands this many times as long as its way from four to two dead bands before took.
///
/// At the crest of a sine a band is crossed in 4.8 times the time of the band before, under constant deceleration in
/// 2.4 times. Eight is more than both.
const PAUSES: u32 = 8;

/// Readings beyond the dead band, in a row and on one side, that end a rest: of normal noise with a dead band of 4.5 σ
/// not one in 10^16.
const LEAVING: usize = 3;

/// Readings of which the mean tells whether the command has arrived.
const ARRIVING: usize = 4;

/// Readings remembered of the way to a rest.
const PAST: usize = 8192;

/// Replaces the noise of a standing command by its mean.
#[derive(Clone, Debug)]
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
    /// Instants and commands before the window.
    past: VecDeque<(u32, i32)>,
    /// How long the window must be, once known for its first reading. Unit: ticks
    required: Option<u32>,
}

impl Quiet {
    /// Before the first reading; a rest lasts `rest_time` or longer. Unit: command counts, ticks
    pub(super) fn new(dead_band: u32, rest_time: u32) -> Quiet {
        Quiet {
            dead_band: i64::from(dead_band),
            rest_time,
            level: 0,
            is_standing: false,
            stood: 0,
            beyond: Vec::new(),
            window: VecDeque::new(),
            low: VecDeque::new(),
            high: VecDeque::new(),
            past: VecDeque::new(),
            required: None,
        }
    }

    /// Whether readings are changed at all.
    pub(super) fn is_active(&self) -> bool {
        self.dead_band > 0
    }

    /// Adds a reading; what is certain goes to `out`, in order.
    #[inline]
    pub(super) fn push(&mut self, reading: Reading, out: &mut Vec<Reading>) {
        if self.dead_band == 0 {
            out.push(reading);
        } else if self.is_standing {
            self.stand(reading, out);
        } else {
            self.widen(reading, out);
        }
    }

    /// No reading follows, or some are missing: those of the window go to `out`.
    pub(super) fn flush(&mut self, out: &mut Vec<Reading>) {
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
        while self.span() > 2 * self.dead_band || self.window.len() > PAUSES as usize * PAST {
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
        let mean = self.later_mean();
        let required = self.rest_time.max(self.approach(mean, first.tick).saturating_mul(PAUSES));
        self.required = Some(required);
        if length < required {
            return;
        }
        let distance = |edge: Option<&i32>| edge.map_or(0, |&edge| (i64::from(edge) - mean).abs());
        if distance(self.low.front()).max(distance(self.high.front())) > self.dead_band {
            // The first readings belong to the motion still.
            return out.extend(self.narrow());
        }
        self.settle(mean as i32, out);
    }

    /// Mean command of the later half of the window: the first half may hold the end of the motion. Unit: command counts
    fn later_mean(&self) -> i64 {
        mean(self.window.iter().skip(self.window.len() / 2))
    }

    /// How long the command was on its way from four dead bands before `mean` to the window, which begins at `tick`.
    fn approach(&self, mean: i64, tick: u32) -> u32 {
        let far = |&&(_, command): &&(u32, i32)| (i64::from(command) - mean).abs() > 4 * self.dead_band;
        let from = self.past.iter().rev().find(far).or(self.past.front());
        from.map_or(0, |&(from, _)| tick.wrapping_sub(from))
    }

    /// The command stands at `level` from the reading on by which it has arrived.
    fn settle(&mut self, level: i32, out: &mut Vec<Reading>) {
        let readings: Vec<Reading> = self.window.drain(..).collect();
        let near = |part: &[Reading]| 4 * (mean(part.iter()) - i64::from(level)).abs() <= self.dead_band;
        let arrived = readings.windows(ARRIVING).position(near).unwrap_or(0);
        let (moving, standing) = readings.split_at(arrived);
        self.stood = standing.last().map_or(0, |reading| reading.tick);
        out.extend(moving);
        out.extend(standing.iter().map(|reading| Reading { command: level, ..*reading }));
        (self.level, self.is_standing, self.required) = (level, true, None);
        self.low.clear();
        self.high.clear();
    }
}

/// Mean command, to the nearest count. Unit: command counts
fn mean<'a>(readings: impl ExactSizeIterator<Item = &'a Reading>) -> i64 {
    let count = readings.len().max(1) as i64;
    let sum: i64 = readings.map(|reading| i64::from(reading.command)).sum();
    (2 * sum + count).div_euclid(2 * count)
}
