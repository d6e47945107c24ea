//! In: a capture. Out: the ringing it shows, or the reason why none is stated; slice by slice.
//!
//! One workspace serves all axes: [`Fit::start`] copies the points, and the capture is free again. [`Fit::step`] does at most
//! a few hundred multiplications. All arithmetic is f32 with sums, products and quotients only, so the answer is the same
//! to the bit wherever it is found.

use heapless::Vec;

use crate::ringing::answer::{Answer, Refusal, Ringing};
use crate::ringing::capture::{Capture, POINTS};
use crate::ringing::judge::{Evidence, Scale};
use crate::ringing::mode::Mode;
use crate::ringing::rounding::Rounding;
use crate::ringing::search::Search;
use crate::ringing::seeds::Seeds;
use crate::ringing::triangle::Triangle;

/// Fewest points that are tried.
const FEWEST: usize = 16;
/// Smallest change that is tried. Unit: encoder steps
const LEAST: f32 = 2.0;

/// The workspace of a fit, one and a half kibibytes.
#[derive(Clone, Debug, Default)]
pub struct Fit {
    /// Largest size 1, the first is 0.
    points: Vec<f32, POINTS>,
    scale: Scale,
    stage: Stage,
    /// Of the seeds and of the search in turn.
    triangle: Triangle,
    seeds: Seeds,
    search: Search,
    evidence: Evidence,
    rounding: Rounding,
}

/// What is under way.
#[derive(Clone, Copy, Debug, Default)]
enum Stage {
    #[default]
    Nothing,
    Refuse(Refusal),
    /// Modes to begin with.
    Seeds,
    /// An oscillation alone.
    Plain,
    /// An oscillation and a tail.
    Tailed,
    /// Two exponentials.
    Null,
    Judge,
    /// The mode of the points without what rounding adds.
    Unround,
}

impl Fit {
    /// Begins with this capture; what was under way is dropped. Unit: ticks/s
    pub fn start(&mut self, capture: &Capture, ticks_per_second: u32) {
        let first = capture.points().first().copied().unwrap_or(0);
        let from_first = |point: &i32| point.saturating_sub(first) as f32;
        let mut largest = 0.0;
        for size in capture.points().iter().map(|point| from_first(point).abs()) {
            largest = if size > largest { size } else { largest };
        }
        let unit = if largest > 0.0 { 1.0 / largest } else { 0.0 };
        self.points.clear();
        for point in capture.points() {
            let _full = self.points.push(from_first(point) * unit);
        }
        let counts = largest / capture.samples() as f32;
        self.scale = Scale {
            counts,
            seconds: capture.period() / ticks_per_second.max(1) as f32,
            step: capture.encoder_step() as f32 * unit * capture.samples() as f32,
            phase: capture.phase(),
        };
        self.seeds.begin(&self.points, &mut self.triangle);
        self.stage = match () {
            () if self.points.len() < FEWEST => Stage::Refuse(Refusal::TooShort),
            () if capture.is_uneven() => Stage::Refuse(Refusal::Uneven),
            () if capture.is_overflown() => Stage::Refuse(Refusal::TooLarge),
            () if counts < LEAST * capture.encoder_step() as f32 => Stage::Refuse(Refusal::Still),
            () => Stage::Seeds,
        };
    }

    /// Whether there is nothing to do: [`Fit::step`] would return `None` for ever.
    pub fn is_idle(&self) -> bool {
        matches!(self.stage, Stage::Nothing)
    }

    /// Goes on by a slice; returns the answer once, when it is found.
    pub fn step(&mut self) -> Option<Answer> {
        let Fit { points, triangle, seeds, search, evidence, .. } = self;
        let count = points.len();
        match self.stage {
            Stage::Nothing => None,
            Stage::Refuse(refusal) => self.end(Answer::Refused(refusal)),
            Stage::Seeds => {
                if seeds.step(points, triangle) {
                    let plain = seeds.found().map(|mode| Mode { tail: 0.0, ..mode });
                    search.begin(plain, triangle, count);
                    let none = seeds.found().next().is_none();
                    self.stage = if none { Stage::Refuse(Refusal::NoOscillation) } else { Stage::Plain };
                }
                None
            }
            Stage::Plain => {
                let found = search.step(points, triangle)?;
                *evidence = Evidence::new(&found, count);
                search.begin(with_tails(seeds, found.mode, count), triangle, count);
                self.stage = Stage::Tailed;
                None
            }
            Stage::Tailed => {
                evidence.with_tail(&search.step(points, triangle)?);
                search.begin(exponentials(count), triangle, count);
                self.stage = Stage::Null;
                None
            }
            Stage::Null => {
                evidence.beside(&search.step(points, triangle)?);
                self.stage = Stage::Judge;
                None
            }
            Stage::Judge => self.judge(),
            Stage::Unround => self.unround(),
        }
    }

    /// Goes on to the end, where there is time for it; none if there is nothing to do.
    pub fn finish(&mut self) -> Option<Answer> {
        while !self.is_idle() {
            if let Some(answer) = self.step() {
                return Some(answer);
            }
        }
        None
    }

    /// An answer with damping may be bettered, any other stands.
    fn judge(&mut self) -> Option<Answer> {
        let answer = self.evidence.step(&self.points, &self.scale)?;
        match (answer, self.evidence.roundable(&self.scale)) {
            (Answer::Ringing(Ringing { damping: Some(_), .. }), Some(found)) => {
                self.rounding.begin(found, &self.scale);
                self.stage = Stage::Unround;
                None
            }
            _ => self.end(answer),
        }
    }

    fn unround(&mut self) -> Option<Answer> {
        let Fit { points, triangle, search, rounding, scale, .. } = self;
        let found = rounding.step(points, scale, search, triangle)?;
        if self.evidence.without_rounding(&found) {
            points.clone_from(rounding.corrected());
        }
        self.stage = Stage::Judge;
        None
    }

    fn end(&mut self, answer: Answer) -> Option<Answer> {
        self.stage = Stage::Nothing;
        Some(answer)
    }
}

/// Rates of tails that a search begins with. Unit: 1/all points
const TAILS: [f32; 2] = [1.5, 6.0];

/// Oscillations with tails: those of the seeds with their own or the slowest, that of the plain search with each.
fn with_tails(seeds: &Seeds, plain: Mode, points: usize) -> impl Iterator<Item = Mode> {
    let rate = move |turns: f32| turns / points as f32;
    let own =
        move |mode: Mode| Mode { tail: if mode.tail > 0.0 { mode.tail } else { rate(TAILS[0]) }, ..mode };
    seeds.found().map(own).chain(TAILS.into_iter().map(move |turns| Mode { tail: rate(turns), ..plain }))
}

/// Pairs of exponentials that a search begins with, a slow and a quick one. Unit: 1/all points
const PAIRS: [(f32, f32); 4] = [(1.0, 4.0), (2.0, 12.0), (8.0, 30.0), (0.5, 20.0)];

fn exponentials(points: usize) -> impl Iterator<Item = Mode> {
    let count = points as f32;
    let mode = move |(slow, quick)| Mode { frequency: 0.0, decay: quick / count, tail: slow / count };
    PAIRS.into_iter().map(mode)
}
