//! In: a whole recording at once. Out: every number of METHOD.md, straight from its definition.
//!
//! The slow, obvious twin of the core. It shares no code with it and looks at whole arrays.

use stillpoint_core::Reading;

/// Settings of the twin.
#[derive(Clone, Copy, Debug)]
pub struct TwinSettings {
    /// Unit: counts
    pub window: i64,
    /// Unit: ticks
    pub window_time: i64,
}

/// One move by definition. Instants are sample numbers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Move {
    /// Last sample at the old command.
    pub start: usize,
    /// First sample at the final command.
    pub command_end: usize,
    /// Last sample of the rest.
    pub rest_end: usize,
    /// Unit: counts
    pub travel: i64,
    /// `settled`, `unsettled` or `interrupted`.
    pub outcome: &'static str,
    /// First sample of the stay that lasts to the end of the rest.
    pub last_entry: Option<usize>,
    /// First sample inside.
    pub first_entry: Option<usize>,
    /// Sample that began the first stay as long as the window time.
    pub reached: Option<usize>,
    /// Number of stays.
    pub entries: usize,
    /// Unit: counts
    pub overshoot: i64,
    /// Unit: counts
    pub peak: i64,
}

/// The recording made of 64-bit numbers that never wrap.
pub struct Whole {
    tick: Vec<i64>,
    command: Vec<i64>,
    error: Vec<i64>,
    feedback: Vec<i64>,
}

impl Whole {
    /// Unwraps counters and time stamps.
    pub fn new(readings: &[Reading]) -> Whole {
        let unwrap = |get: &dyn Fn(&Reading) -> i32| {
            let mut total = readings.first().map_or(0, |first| i64::from(get(first)));
            let mut last = readings.first().map_or(0, get);
            let next = |reading: &Reading| {
                total += i64::from(get(reading).wrapping_sub(last));
                last = get(reading);
                total
            };
            readings.iter().map(next).collect::<Vec<i64>>()
        };
        let command = unwrap(&|reading| reading.command);
        let feedback = unwrap(&|reading| reading.feedback);
        let error = command.iter().zip(&feedback).map(|(command, feedback)| command - feedback).collect();
        Whole { tick: unwrap(&|reading| reading.tick as i32), command, error, feedback }
    }

    /// Moves between rests of at least `rest` samples.
    pub fn moves(&self, settings: TwinSettings, rest: usize) -> Vec<Move> {
        let changes: Vec<usize> =
            (1..self.command.len()).filter(|&k| self.command[k] != self.command[k - 1]).collect();
        let mut moves = vec![];
        let mut first = 0;
        for (index, &change) in changes.iter().enumerate() {
            let next = changes.get(index + 1).copied().unwrap_or(self.command.len());
            if next - 1 - change < rest {
                continue;
            }
            let excursion = (changes[first]..=change)
                .map(|k| (self.command[k] - self.command[changes[first] - 1]).abs())
                .max();
            if excursion.is_some_and(|excursion| excursion > settings.window) {
                moves.push(self.one(settings, changes[first] - 1, change, next - 1));
            }
            first = index + 1;
        }
        moves
    }

    fn one(&self, settings: TwinSettings, start: usize, command_end: usize, rest_end: usize) -> Move {
        let inside = |k: usize| self.error[k].abs() <= settings.window;
        let stays = self.stays(command_end, rest_end, &inside);
        let long = |stay: &&(usize, usize)| self.tick[stay.1] - self.tick[stay.0] >= settings.window_time;
        let last = stays.last().filter(|stay| stay.1 == rest_end);
        let travel = self.command[command_end] - self.command[start];
        let beyond = |k: usize| (self.feedback[k] - self.command[command_end]) * travel.signum();
        let sign = if travel == 0 { 1 } else { 0 };
        let beyond_or_up = |k: usize| beyond(k) + sign * (self.feedback[k] - self.command[command_end]);
        Move {
            start,
            command_end,
            rest_end,
            travel,
            outcome: match last {
                None => "unsettled",
                Some(stay) if long(&stay) => "settled",
                Some(_) => "interrupted",
            },
            last_entry: last.map(|stay| stay.0),
            first_entry: stays.first().map(|stay| stay.0),
            reached: stays.iter().find(long).map(|stay| stay.0),
            entries: stays.len(),
            overshoot: (start..=rest_end).map(beyond_or_up).max().unwrap_or(0).max(0),
            peak: (start..=rest_end).map(|k| self.error[k].abs()).max().unwrap_or(0),
        }
    }

    /// command − feedback at a sample. Unit: counts
    pub fn error(&self, sample: usize) -> i64 {
        self.error[sample]
    }

    /// Whether feedback stands at the end of the rest, for an encoder step of one count. Unit: counts, ticks/s
    pub fn stands(&self, window: i64, ticks_per_second: i64, of: &Move) -> bool {
        let errors = &self.error[of.command_end..=of.rest_end];
        let length = (0..).map(|power| 1_usize << power).find(|length| errors.len() <= 12 * length);
        let blocks: Vec<&[i64]> = errors.chunks(length.expect("a power of two")).collect();
        let spread = (window / 4).max(2);
        let shift = last_shift(&blocks, errors.len());
        if shift > 0.5 && shift * 6.0 > spread as f64 {
            return false;
        }
        let milliseconds = (self.tick[of.rest_end] - self.tick[of.command_end]) * 1000 / ticks_per_second;
        (0..blocks.len()).any(|first| {
            let stretch = blocks[first..].concat();
            let samples = stretch.len() as i64;
            let all = errors.len() as i64;
            let seen = (milliseconds * (samples - 1) / (all - 1).max(1)).min(500);
            // A swing of 1 Hz that reaches the target, seen for so long: amplitude (2 T)².
            let amplitude = window.max(2).max(self.error[of.rest_end].abs() / 2);
            let swing = amplitude * seen * seen;
            4 * samples >= all && range(&stretch) <= spread && (range(&stretch) + 1) * 250_000 <= swing
        })
    }

    /// Stretches inside, from the command end to the end of the rest.
    fn stays(&self, from: usize, to: usize, inside: &dyn Fn(usize) -> bool) -> Vec<(usize, usize)> {
        let mut stays: Vec<(usize, usize)> = vec![];
        for k in (from..=to).filter(|&k| inside(k)) {
            match stays.last_mut() {
                Some(stay) if stay.1 + 1 == k => stay.1 = k,
                _ => stays.push((k, k)),
            }
        }
        stays
    }

    /// First sample from which |error| ≤ `window` up to the end of the rest.
    pub fn settles(&self, settings: TwinSettings, of: &Move) -> Option<usize> {
        let outside = (of.command_end..=of.rest_end).rev().find(|&k| self.error[k].abs() > settings.window);
        let entry = outside.map_or(of.command_end, |k| k + 1);
        (entry <= of.rest_end && self.tick[of.rest_end] - self.tick[entry] >= settings.window_time)
            .then_some(entry)
    }

    /// Mean error and rms about it from `entry` to the end of the rest. Unit: counts
    pub fn rest(&self, entry: usize, rest_end: usize) -> (f64, f64) {
        let errors = &self.error[entry..=rest_end];
        let count = errors.len() as f64;
        let mean = errors.iter().map(|error| *error as f64).sum::<f64>() / count;
        let square = errors.iter().map(|error| (*error as f64 - mean).powi(2)).sum::<f64>() / count;
        (mean, square.sqrt())
    }
}

/// Largest error less the smallest.
fn range(errors: &[i64]) -> i64 {
    errors.iter().max().unwrap_or(&0) - errors.iter().min().unwrap_or(&0)
}

/// Distance of the middles of the errors of the last two sixths of these blocks, to half a block. Unit: counts
fn last_shift(blocks: &[&[i64]], errors: usize) -> f64 {
    let length = blocks[0].len() as f64;
    let nearest = |part: usize| ((errors * part / 6) as f64 / length + 0.5).floor() as usize;
    let middle = |from: usize, to: usize| {
        let from = from.min(blocks.len() - 1);
        let part = blocks[from..to.clamp(from + 1, blocks.len())].concat();
        (part.iter().max().unwrap_or(&0) + part.iter().min().unwrap_or(&0)) as f64 / 2.0
    };
    (middle(nearest(4), nearest(5)) - middle(nearest(5), nearest(6))).abs()
}
