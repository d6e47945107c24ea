//! In: command, feedback and effort at every sample of a move. Out: speed and effort over time, as strips of a picture.
//!
//! One sample to the next, feedback changes by a few encoder steps or none: such speeds are noise. Speed is the distance over a
//! stretch of time in which one step is a fiftieth of the way at the peak speed, four points at the least; the label says how long.

use crate::plot::decimate::POINTS;
use crate::plot::strips::{Line, Strip};

/// Encoder steps in the way of a stretch at the peak speed.
const STEPS: f64 = 50.0;
/// Longest stretch that steps may ask for. Unit: s
const LONGEST_S: f64 = 0.02;
/// Fewest points of a stretch.
const FEWEST: f64 = 4.0;

/// What a picture shows below the error.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Pictures {
    /// Whether samples are recorded for pictures at all.
    pub stops: bool,
    /// Whether speed is shown.
    pub speed: bool,
    /// Whether effort is shown.
    pub effort: bool,
}

impl From<bool> for Pictures {
    fn from(stops: bool) -> Pictures {
        Pictures { stops, ..Pictures::default() }
    }
}

impl Pictures {
    pub(super) fn has_strips(self) -> bool {
        self.speed || self.effort
    }
}

/// Sums over the samples of a point.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    samples: f64,
    second: f64,
    command: f64,
    feedback: f64,
    /// Samples with an effort, and their sum.
    efforts: f64,
    effort: f64,
}

impl Sums {
    fn and(self, other: &Sums) -> Sums {
        Sums {
            samples: self.samples + other.samples,
            second: self.second + other.second,
            command: self.command + other.command,
            feedback: self.feedback + other.feedback,
            efforts: self.efforts + other.efforts,
            effort: self.effort + other.effort,
        }
    }

    fn mean(&self, sum: f64) -> f64 {
        sum / self.samples
    }
}

/// Where the axis is told to be and where it is. Unit: that of position
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) command: f64,
    pub(super) feedback: f64,
}

/// The move under way, in bounded memory: when the points are full, pairs become one.
#[derive(Clone, Debug)]
pub(crate) struct MotionRecorder {
    points: Vec<Sums>,
    /// Samples of a point.
    each: usize,
    open: Sums,
}

impl Default for MotionRecorder {
    fn default() -> Self {
        MotionRecorder { points: Vec::new(), each: 1, open: Sums::default() }
    }
}

/// What the strips of a move need beside its samples.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shown<'a> {
    /// Unit: s
    pub(super) command_end_s: f64,
    /// Unit: s
    pub(super) sample_period_s: f64,
    /// Unit: unit
    pub(super) encoder_step: f64,
    /// Unit: unit/s
    pub(super) peak_speed: Option<f64>,
    /// Name of the unit of position.
    pub(super) unit: &'a str,
    /// Name of the effort.
    pub(super) effort: &'a str,
}

impl MotionRecorder {
    /// Adds one sample, on the recording's clock. Unit: s
    pub(super) fn push(&mut self, second: f64, place: Place, effort: Option<f64>) {
        let one = Sums {
            samples: 1.0,
            second,
            command: place.command,
            feedback: place.feedback,
            efforts: if effort.is_some() { 1.0 } else { 0.0 },
            effort: effort.unwrap_or(0.0),
        };
        self.open = self.open.and(&one);
        if self.open.samples < self.each as f64 {
            return;
        }
        if self.points.len() == POINTS {
            let pair = |pair: &[Sums]| pair[1..].iter().fold(pair[0], |sum, other| sum.and(other));
            self.points = self.points.chunks(2).map(pair).collect();
            self.each *= 2;
        }
        self.points.push(std::mem::take(&mut self.open));
    }

    /// The strips that are wanted.
    pub(super) fn strips(&self, pictures: Pictures, shown: Shown) -> Vec<Strip> {
        let speed = pictures.speed.then(|| self.speed(shown));
        let effort = pictures.effort.then(|| self.effort(shown));
        speed.into_iter().chain(effort).collect()
    }

    /// Effort where it is recorded; a gap where more points are without it than usual.
    fn effort(&self, shown: Shown) -> Strip {
        let places: Vec<usize> = (0..self.points.len()).filter(|at| self.points[*at].efforts > 0.0).collect();
        let second = |at: usize| self.points[at].mean(self.points[at].second) - shown.command_end_s;
        let point = |at: &usize| (second(*at), self.points[*at].effort / self.points[*at].efforts);
        let mut usual: Vec<usize> = places.windows(2).map(|pair| pair[1] - pair[0]).collect();
        usual.sort_unstable();
        let most = usual.get(usual.len() / 2).map_or(0, |median| median + median / 2);
        let gaps = places.windows(2).filter(|pair| pair[1] - pair[0] > most);
        let gaps = gaps.map(|pair| (second(pair[0]), second(pair[1]))).collect();
        Strip {
            label: format!("effort: {}", shown.effort),
            lines: vec![Line { name: "", points: places.iter().map(point).collect(), gaps }],
        }
    }

    fn speed(&self, shown: Shown) -> Strip {
        let least = FEWEST * self.each as f64 * shown.sample_period_s;
        let of_steps = shown.peak_speed.map_or(0.0, |speed| STEPS * shown.encoder_step / speed.abs());
        let stretch = of_steps.min(LONGEST_S).max(least);
        let line = |name, value: fn(&Sums) -> f64| Line {
            name,
            points: self.slopes(stretch, shown, value),
            gaps: Vec::new(),
        };
        let milliseconds = crate::report::number::plain_to(1e3 * stretch, 2);
        Strip {
            label: format!("speed over {milliseconds} ms ({}/s)", shown.unit),
            lines: vec![line("measured", |sums| sums.feedback), line("commanded", |sums| sums.command)],
        }
    }

    /// Differences of a quantity over this stretch at least, at its middle; none over missing samples. Unit: s
    fn slopes(&self, stretch: f64, shown: Shown, value: fn(&Sums) -> f64) -> Vec<(f64, f64)> {
        let at = |sums: &Sums| (sums.mean(sums.second), sums.mean(value(sums)));
        let (mut to, mut slopes) = (0, Vec::new());
        for from in self.points.iter().map(at) {
            // Times of a recording are decimals: a stretch may come out a hair short.
            let is_short = |sums: &Sums| at(sums).0 - from.0 < stretch * (1.0 - 1e-6);
            while self.points.get(to).is_some_and(is_short) {
                to += 1;
            }
            let Some(end) = self.points.get(to).map(at) else { break };
            if end.0 - from.0 <= 2.0 * stretch {
                let middle = (from.0 + end.0) / 2.0 - shown.command_end_s;
                slopes.push((middle, (end.1 - from.1) / (end.0 - from.0)));
            }
        }
        slopes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHOWN: Shown = Shown {
        command_end_s: 10.0,
        sample_period_s: 1e-3,
        encoder_step: 0.01,
        peak_speed: Some(100.0),
        unit: "mm",
        effort: "force (N)",
    };

    fn strips(samples: u32, missing: std::ops::Range<u32>) -> Vec<Strip> {
        let mut recorder = MotionRecorder::default();
        for k in (0..samples).filter(|k| !missing.contains(k)) {
            // 100 mm/s, which the encoder reads in steps.
            let command = 0.1 * f64::from(k);
            let feedback = (command / 0.03).floor() * 0.03;
            let effort = (k % 7 != 3).then(|| f64::from(k));
            recorder.push(9.0 + 1e-3 * f64::from(k), Place { command, feedback }, effort);
        }
        let pictures = Pictures { stops: true, speed: true, effort: true };
        recorder.strips(pictures, SHOWN)
    }

    #[test]
    fn speed_is_taken_over_a_stretch_that_the_label_names() {
        let [speed, effort] = &strips(1000, 0..0)[..] else { panic!("two strips") };
        assert_eq!(speed.label, "speed over 5 ms (mm/s)");
        let [measured, commanded] = &speed.lines[..] else { panic!("two lines") };
        assert!(commanded.points.iter().all(|point| (point.1 - 100.0).abs() < 1e-6));
        assert!(measured.points.iter().all(|point| (point.1 - 100.0).abs() <= 6.0 + 1e-6), "one step");
        assert!((measured.points[0].0 + 0.9975).abs() < 1e-9, "{:?}", measured.points[0]);
        assert!(effort.label == "effort: force (N)" && effort.lines[0].points.len() == 857);
        assert_eq!(effort.lines[0].points[1], (9.001 - 10.0, 1.0));
    }

    #[test]
    fn nothing_is_said_of_missing_samples_and_long_moves_need_little_room() {
        let points = |strips: &[Strip]| strips[0].lines[0].points.clone();
        let found = points(&strips(1000, 500..600));
        assert!(!found.iter().any(|point| (-0.5 + 0.003..-0.4 - 0.004).contains(&point.0)));
        let long = strips(100_000, 0..0);
        assert!(points(&long).len() <= POINTS && points(&long).len() > POINTS / 3);
        assert_eq!(long[0].label, "speed over 256 ms (mm/s)");
        assert!(points(&long).iter().all(|point| (point.1 - 100.0).abs() < 1.0));
    }

    #[test]
    fn effort_has_gaps_where_more_is_missing_than_usual() {
        let gaps = |has_effort: fn(u32) -> bool| {
            let mut recorder = MotionRecorder::default();
            for k in 0..100 {
                // Uneven samples have an effort each.
                let second = 10.0 + 1e-3 * f64::from(k + k / 10);
                recorder.push(second, Place { command: 0.0, feedback: 0.0 }, has_effort(k).then_some(1.0));
            }
            let [effort] = &recorder.strips(Pictures { stops: true, speed: false, effort: true }, SHOWN)[..]
            else {
                panic!("one strip")
            };
            let row = |t: f64| (1e3 * t).round() as u32;
            effort.lines[0].gaps.iter().map(|gap| (row(gap.0), row(gap.1))).collect::<Vec<_>>()
        };
        assert_eq!(gaps(|_| true), []);
        assert_eq!(gaps(|_| false), []);
        assert_eq!(gaps(|k| !(4..8).contains(&k)), [(3, 8)]);
        assert_eq!(gaps(|k| k % 4 == 0), [], "an effort that is recorded more seldom");
        assert_eq!(gaps(|k| k % 4 == 0 && k != 8), [(4, 13)]);
    }
}
