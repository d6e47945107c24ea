//! In: readings whose command is noisy. Out: the same readings; where the command stands, it is the mean of its noise.
//!
//! ```text
//! reading ► window: the latest readings, while they span no more than two dead bands
//!              │ lasts for the rest time without a drift, within ± one dead band of the mean of its later half
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

/// A rest whose halves have means further apart than the dead band over this is a slow motion. No source
const DRIFT: i64 = 6;

/// The mean is taken over up to this many times what makes a rest, so that it is four times as certain. No source
const AVERAGED: u32 = 16;

/// Readings beyond the dead band, in a row and on one side, that end a rest: of normal noise with a dead band of 4.5 σ
/// not one in 10^16.
const LEAVING: usize = 3;

/// The way that is fitted to find the arrival. Unit: dead bands
const WAY: i64 = 8;

/// Time to go at one dead band over the time from eight of them, at constant deceleration: 1/(√8 − 1).
const TO_GO: f64 = 0.547;

/// The profile is no pure power, and its power is known in halves: the interval of the fit is widened. By simulation
const WIDER: f64 = 1.25;

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
    /// Instant of the last reading there, and of the last ones on either side of the level. Unit: ticks
    stood: u32,
    sides: [u32; 2],
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
    /// From the expected arrival to that reading. Unit: ticks
    pub(super) late: i32,
    /// Half-width of the 95 % interval of the arrival. Unit: ticks
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
            self.sides[usize::from(reading.command > level)] = reading.tick;
            return out.push(at_level(reading));
        }
        if self.beyond.last().is_some_and(|last| distance(last).signum() != distance(&reading).signum()) {
            out.extend(self.beyond.drain(..).map(at_level));
        }
        self.beyond.push(reading);
        if self.beyond.len() == LEAVING {
            self.is_standing = false;
            self.past.clear();
            // A slow motion left the level when noise crossed it last, long before it left the dead band.
            self.past.push_back((self.sides[usize::from(reading.command < level)], level));
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
        let half = self.window.len() / 2;
        let sum = |readings: &mut dyn Iterator<Item = &Reading>| -> i64 {
            readings.map(|reading| i64::from(reading.command)).sum()
        };
        let earlier = rounded(sum(&mut self.window.iter().take(half)), half as i64);
        let (sum, count) = (sum(&mut self.window.iter().skip(half)), (self.window.len() - half) as i64);
        let mean = rounded(sum, count);
        let required = self.rest_time.max(self.approach(mean, first.tick).saturating_mul(PAUSES));
        self.required = Some(required);
        let distance = |edge: Option<&i32>| edge.map_or(0, |&edge| (i64::from(edge) - mean).abs());
        if length < required || DRIFT * (earlier - mean).abs() > self.dead_band {
            // The motion may still go on; a drift shows the better the longer the window.
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
        let (arrived, late, half_width) = self.arrival(&readings, level);
        let (moving, standing) = readings.split_at(arrived);
        out.extend(moving);
        out.extend(standing.iter().map(|reading| Reading { command: level, ..*reading }));
        if self.arrivals.len() == ARRIVALS {
            self.arrivals.pop_front();
        }
        let tick = standing.first().map_or(0, |reading| reading.tick);
        self.arrivals.push_back(Arrived { tick, late, half_width, averaged: count as u32 });
        self.stood = standing.last().map_or(0, |reading| reading.tick);
        self.sides = [self.stood; 2];
        (self.level, self.is_standing, self.required) = (level, true, None);
        self.low.clear();
        self.high.clear();
    }

    /// Index of the first reading at which the command has arrived, how much earlier it is expected to have arrived, and
    /// half-width of the interval. Unit: 1, ticks, ticks
    fn arrival(&self, readings: &[Reading], level: i32) -> (usize, i32, u32) {
        let distance = |command: i32| i64::from(command) - i64::from(level);
        let first = readings.first().map_or(0, |reading| reading.tick);
        let instant = |tick: u32| f64::from(tick.wrapping_sub(first) as i32);
        let is_near = |&&(_, command): &&(u32, i32)| distance(command).abs() <= WAY * self.dead_band;
        let way = self.past.iter().rev().take_while(is_near).count();
        // A jump has no way, and a reading or two can't be fitted: it came at any time since the reading before, or it is a
        // hard deceleration that still has as long to go as one from eight dead bands to one shows.
        let period = f64::from(self.past.back().map_or(0, |&(before, _)| first.wrapping_sub(before)));
        let to_go = TO_GO * (way + 1) as f64 * period;
        let jump = (0, ((period - to_go) / 2.0) as i32, (0.475 * (period + to_go)).round() as u32);
        if way < FITTED {
            return jump;
        }
        let half = f64::from(self.required.unwrap_or(self.rest_time)) / 2.0;
        let before = self.past.range(self.past.len() - way..).copied();
        let after = readings.iter().map(|reading| (reading.tick, reading.command));
        let after = after.take_while(|&(tick, _)| instant(tick) <= half);
        let points = before.chain(after).map(|(tick, command)| (instant(tick), distance(command) as f64));
        let Some(arrival) = arrival::fit(&points.collect::<Vec<_>>()) else { return jump };
        let arrived = readings.iter().position(|reading| instant(reading.tick) >= arrival.at).unwrap_or(0);
        let late = readings.get(arrived).map_or(0.0, |reading| instant(reading.tick) - arrival.at);
        (arrived, late.clamp(0.0, period).round() as i32, (WIDER * arrival.half_width).round() as u32)
    }
}

/// A mean, to the nearest count.
fn rounded(sum: i64, count: i64) -> i64 {
    let count = count.max(1);
    (2 * sum + count).div_euclid(2 * count)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sums of twelve uniform numbers: close to normal ones of variance 1.
    struct Normal(u64);

    impl Normal {
        fn next(&mut self) -> f64 {
            let uniform = (0..12).map(|_| {
                self.0 =
                    self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (self.0 >> 33) as f64 / f64::from(1u32 << 31)
            });
            uniform.sum::<f64>() - 6.0
        }
    }

    /// Rms of the noise, dead band and rest time. Unit: counts, counts, ticks
    const NOISE: (f64, u32, u32) = (10.0, 45, 20);

    fn noisy(commands: impl Iterator<Item = f64>, seed: u64) -> Vec<Reading> {
        let mut normal = Normal(seed);
        let reading = |(tick, command): (u32, f64)| {
            let command = (command + NOISE.0 * normal.next()).round() as i32;
            Reading { tick, command, feedback: tick as i32 }
        };
        (0..).zip(commands).map(reading).collect()
    }

    /// What comes out, whole.
    fn quiet(readings: &[Reading]) -> Vec<Reading> {
        let (mut quiet, mut out) = (Quiet::new(NOISE.1, NOISE.2), Vec::new());
        readings.iter().for_each(|reading| quiet.push(*reading, &mut out));
        quiet.flush(&mut out);
        let order = |readings: &[Reading]| {
            readings.iter().map(|reading| (reading.tick, reading.feedback)).collect::<Vec<_>>()
        };
        assert_eq!(order(&out), order(readings), "every reading comes once, in order");
        out
    }

    /// Rests of at least the rest time, as first and last tick and level: the slow and plain way.
    fn rests(readings: &[Reading]) -> Vec<(u32, u32, i32)> {
        let runs = readings.chunk_by(|one, other| one.command == other.command);
        let runs = runs.map(|run| (run[0].tick, run[run.len() - 1].tick, run[0].command));
        runs.filter(|run| run.1 - run.0 >= NOISE.2).collect()
    }

    #[test]
    fn a_standing_command_is_the_mean_of_its_noise() {
        for seed in 0..20 {
            // Steps, and a deceleration of 0.1 counts/ms² into 20,000.
            let way = |row: i32| 20_000.0 - 0.05 * f64::from((row - 1400).min(0)).powi(2);
            let command = (0..2200).map(|row| match row {
                0..400 => 0.0,
                400..800 => 3000.0,
                _ => way(row),
            });
            let found = rests(&quiet(&noisy(command, seed)));
            let [first, second, third] = found[..] else { panic!("seed {seed}: {found:?}") };
            assert_eq!((first.0, first.1, second.0, second.1, third.1), (0, 399, 400, 799, 2199), "{seed}");
            for (rest, level) in [(first, 0), (second, 3000), (third, 20_000)] {
                assert!((rest.2 - level).abs() <= 3, "seed {seed}: {found:?}");
            }
            assert!((1385..=1425).contains(&third.0), "seed {seed}: {found:?}");
        }
    }

    #[test]
    fn a_noisy_sine_never_stands() {
        for (seed, amplitude) in [100.0, 1000.0, 30_000.0].into_iter().enumerate() {
            for period in [40.0, 300.0, 2000.0, 10_000.0] {
                let sine = |row: i32| amplitude * (f64::from(row) * core::f64::consts::TAU / period).cos();
                // The beginning is not known to be the crest of a sine.
                let found = rests(&quiet(&noisy((0..60_000).map(sine), seed as u64)));
                assert!(
                    found.len() <= 1 && found.iter().all(|rest| rest.0 == 0),
                    "{amplitude}, {period}: {found:?}"
                );
            }
        }
    }

    #[test]
    fn a_slow_start_or_ramp_is_no_rest() {
        for seed in 0..20 {
            for slope in [0.02, 0.1, 0.5] {
                let start = |row: i32| 0.5 * slope * f64::from((row - 300).max(0)).powi(2);
                let found = rests(&quiet(&noisy((0..800).map(start), seed)));
                assert!(found.len() == 1 && found[0].1 < 400, "seed {seed}, {slope}: {found:?}");
            }
            let ramp = |row: i32| f64::from((row - 300).clamp(0, 1000)) * 1.5;
            let found = rests(&quiet(&noisy((0..2400).map(ramp), seed)));
            let [first, second] = found[..] else { panic!("seed {seed}: {found:?}") };
            assert!(first.1 < 340 && (1290..1320).contains(&second.0), "seed {seed}: {found:?}");
        }
    }

    #[test]
    fn two_wild_readings_end_no_rest_and_a_gap_loses_none() {
        let mut readings = noisy((0..500).map(|_| 0.0), 5);
        (readings[300].command, readings[301].command) = (900, 900);
        assert_eq!(rests(&quiet(&readings)).len(), 1);
        let (mut quiet, mut out) = (Quiet::new(NOISE.1, NOISE.2), Vec::new());
        for reading in &readings {
            quiet.push(*reading, &mut out);
            if reading.tick % 50 == 7 {
                quiet.flush(&mut out);
                assert_eq!(out.last(), out.iter().max_by_key(|reading| reading.tick));
                assert_eq!(out.len() as u32, reading.tick + 1);
            }
        }
    }

    #[test]
    fn without_a_dead_band_nothing_changes() {
        let readings = noisy((0..500).map(f64::from), 5);
        let (mut quiet, mut out) = (Quiet::new(0, NOISE.2), Vec::new());
        readings.iter().for_each(|reading| quiet.push(*reading, &mut out));
        assert_eq!(out, readings);
    }
}
