//! In: feedback, and a target. Out: feedback again, later; when it arrived at the target.

/// Time from the crossing of `edge`, by linear interpolation, to the second of two samples. Unit: 1/16 samples
pub(super) fn time_since_crossing(before: u32, after: u32, edge: u32) -> i32 {
    let (change, beyond) = (before.abs_diff(after), after.abs_diff(edge));
    let part = (u64::from(beyond.min(change)) * 16).checked_div(u64::from(change));
    i32::try_from(part.unwrap_or(0)).unwrap_or(0)
}

/// The last samples, numbered.
#[derive(Clone, Debug)]
pub(super) struct DelayLine<const SAMPLES: usize> {
    feedback: [i32; SAMPLES],
    newest: usize,
    filled: usize,
    number: u32,
}

impl<const SAMPLES: usize> DelayLine<SAMPLES> {
    pub(super) fn new() -> DelayLine<SAMPLES> {
        DelayLine { feedback: [0; SAMPLES], newest: 0, filled: 0, number: 0 }
    }

    /// Adds a sample and returns its number; a full line drops the oldest.
    pub(super) fn push(&mut self, feedback: i32) -> u32 {
        self.newest = if self.newest + 1 < SAMPLES { self.newest + 1 } else { 0 };
        if let Some(place) = self.feedback.get_mut(self.newest) {
            *place = feedback;
        }
        self.filled = SAMPLES.min(self.filled + 1);
        self.number = self.number.wrapping_add(1);
        self.number
    }

    /// Drops all samples; numbers continue.
    pub(super) fn clear(&mut self) {
        self.filled = 0;
    }

    /// Number of the oldest sample.
    fn first(&self) -> u32 {
        self.number.wrapping_sub(self.filled as u32).wrapping_add(1)
    }

    pub(super) fn get(&self, number: u32) -> Option<i32> {
        let age = self.number.wrapping_sub(number) as usize;
        let place =
            if age <= self.newest { self.newest - age } else { (self.newest + SAMPLES).checked_sub(age)? };
        self.feedback.get(place).copied().filter(|_| age < self.filled)
    }

    /// Number and feedback of the oldest sample, once the line is full.
    pub(super) fn oldest(&self) -> Option<(u32, i32)> {
        let first = self.first();
        self.get(first).filter(|_| self.filled == SAMPLES).map(|feedback| (first, feedback))
    }
}

/// Search through the line for the first samples near a target, a few at a time.
#[derive(Clone, Debug)]
pub(super) struct Arrival {
    target: i32,
    backward: bool,
    octave: usize,
    /// Since the first sample of the move; `None` if the crossing is not in the line. Unit: 1/16 samples
    times: [Option<i32>; 2],
    found: usize,
    first: u32,
    next: u32,
    before: Option<u32>,
}

impl Arrival {
    /// Searches for the first times within four and one times 2^`octave` counts, in a move that began at number
    /// `first`.
    pub(super) fn new(target: i32, backward: bool, octave: usize, first: u32) -> Arrival {
        Arrival { target, backward, octave, times: [None; 2], found: 0, first, next: first, before: None }
    }

    /// Searches this many samples more.
    pub(super) fn step<const SAMPLES: usize>(&mut self, line: &DelayLine<SAMPLES>, samples: u32) {
        if (self.next.wrapping_sub(line.first()) as i32) < 0 {
            (self.next, self.before) = (line.first(), None);
        }
        for _ in 0..samples {
            let Some(feedback) = line.get(self.next).filter(|_| self.found < self.times.len()) else {
                return;
            };
            let edge = (if self.found == 0 { 4_u32 } else { 1 }) << self.octave;
            let ahead = self.target.wrapping_sub(feedback);
            let distance = if self.backward { ahead.wrapping_neg() } else { ahead }.max(0).unsigned_abs();
            if distance > edge {
                self.before = Some(distance);
                self.next = self.next.wrapping_add(1);
                continue;
            }
            let now = self.next.wrapping_sub(self.first).min(1 << 26) as i32 * 16;
            if let Some(time) = self.times.get_mut(self.found) {
                *time = self.before.map(|before| now - time_since_crossing(before, distance, edge));
            }
            self.found += 1;
        }
    }

    /// Octave of the smaller distance.
    pub(super) fn octave(&self) -> usize {
        self.octave
    }

    /// Both times, if both were seen.
    pub(super) fn times(&self) -> Option<(i32, i32)> {
        let [wide, narrow] = self.times;
        Some((wide?, narrow?))
    }
}
