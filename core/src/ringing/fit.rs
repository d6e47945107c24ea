//! In: a capture. Out: the ringing it shows, or the reason why none is stated; slice by slice.
//!
//! One workspace serves all axes: [`Fit::start`] copies the points, and the capture is free again. [`Fit::step`] does at most
//! a few hundred multiplications. All arithmetic is f32 with sums, products and quotients only, so the answer is the same
//! to the bit wherever it is found.

use heapless::Vec;

use crate::ringing::capture::{Capture, POINTS};
use crate::ringing::judge::{Evidence, Scale};
use crate::ringing::mode::Mode;
use crate::ringing::search::{Found, STARTS, Search};
use crate::ringing::seeds::Seeds;
use crate::ringing::{Answer, Refusal};

/// Fewest points that are tried.
const FEWEST: usize = 16;
/// Smallest change that is tried. Unit: encoder steps
const LEAST: f32 = 2.0;

/// The workspace of a fit.
#[derive(Clone, Debug, Default)]
pub struct Fit {
    /// Largest size 1, the first is 0.
    points: Vec<f32, POINTS>,
    scale: Scale,
    task: Task,
    plain: Found,
    tailed: Found,
}

/// What is under way.
#[derive(Clone, Debug, Default)]
enum Task {
    #[default]
    Nothing,
    Refuse(Refusal),
    Seeds(Seeds),
    /// An oscillation alone; the modes that it began with.
    Plain(Search, Vec<Mode, STARTS>),
    /// An oscillation and a tail.
    Tailed(Search),
    /// Two exponentials.
    Null(Search),
    Judge(Evidence),
}

impl Fit {
    /// Begins with this capture; what was under way is dropped. Unit: ticks/s
    pub fn start(&mut self, capture: &Capture, ticks_per_second: u32) {
        let first = capture.points().first().copied().unwrap_or(0);
        let from_first = |point: &i32| (i64::from(*point) - i64::from(first)) as f32;
        let largest = capture.points().iter().map(|point| from_first(point).abs()).fold(0.0, f32::max);
        let unit = if largest > 0.0 { 1.0 / largest } else { 0.0 };
        self.points = capture.points().iter().map(|point| from_first(point) * unit).collect();
        let counts = largest / capture.samples() as f32;
        self.scale = Scale {
            counts,
            seconds: capture.period() / ticks_per_second.max(1) as f32,
            step: capture.encoder_step() as f32 * unit * capture.samples() as f32,
        };
        self.task = match () {
            () if self.points.len() < FEWEST => Task::Refuse(Refusal::TooShort),
            () if capture.is_uneven() => Task::Refuse(Refusal::Uneven),
            () if capture.is_overflown() => Task::Refuse(Refusal::TooLarge),
            () if counts < LEAST * capture.encoder_step() as f32 => Task::Refuse(Refusal::Still),
            () => Task::Seeds(Seeds::new(&self.points)),
        };
    }

    /// Whether there is nothing to do: [`Fit::step`] would return `None` for ever.
    pub fn is_idle(&self) -> bool {
        matches!(self.task, Task::Nothing)
    }

    /// Goes on by a slice; returns the answer once, when it is found.
    pub fn step(&mut self) -> Option<Answer> {
        let points = self.points.as_slice();
        let count = points.len();
        self.task = match &mut self.task {
            Task::Nothing => return None,
            Task::Refuse(refusal) => {
                let answer = Answer::Refused(*refusal);
                return self.end(answer);
            }
            Task::Seeds(seeds) => {
                let modes = seeds.step(points)?;
                let plain = modes.iter().map(|mode| Mode { tail: 0.0, ..*mode }).collect();
                let none = modes.is_empty();
                if none {
                    Task::Refuse(Refusal::NoOscillation)
                } else {
                    Task::Plain(Search::new(plain, count), modes)
                }
            }
            Task::Plain(search, modes) => {
                self.plain = search.step(points)?;
                Task::Tailed(Search::new(with_tails(modes, &self.plain.mode, count), count))
            }
            Task::Tailed(search) => {
                self.tailed = search.step(points)?;
                Task::Null(Search::new(exponentials(count), count))
            }
            Task::Null(search) => {
                let null = search.step(points)?;
                Task::Judge(Evidence::new(points, &self.plain, &self.tailed, &null))
            }
            Task::Judge(evidence) => {
                let answer = evidence.answer(points, &self.scale);
                return self.end(answer);
            }
        };
        None
    }

    fn end(&mut self, answer: Answer) -> Option<Answer> {
        self.task = Task::Nothing;
        Some(answer)
    }
}

/// Rates of tails that a search begins with. Unit: 1/all points
const TAILS: [f32; 2] = [1.5, 6.0];

/// Oscillations with tails: those of the seeds with their own or the slowest, that of the plain search with each.
fn with_tails(seeds: &[Mode], plain: &Mode, points: usize) -> Vec<Mode, STARTS> {
    let rate = |turns: f32| turns / points as f32;
    let own = |mode: &Mode| Mode { tail: if mode.tail > 0.0 { mode.tail } else { rate(TAILS[0]) }, ..*mode };
    let given = TAILS.iter().map(|turns| Mode { tail: rate(*turns), ..*plain });
    seeds.iter().map(own).chain(given).take(STARTS).collect()
}

/// Pairs of exponentials that a search begins with, a slow and a quick one. Unit: 1/all points
const PAIRS: [(f32, f32); 4] = [(1.0, 4.0), (2.0, 12.0), (8.0, 30.0), (0.5, 20.0)];

fn exponentials(points: usize) -> Vec<Mode, STARTS> {
    let count = points as f32;
    PAIRS
        .iter()
        .map(|(slow, quick)| Mode { frequency: 0.0, decay: quick / count, tail: slow / count })
        .collect()
}
