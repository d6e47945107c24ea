//! In: points. Out: modes that a search may begin with.
//!
//! Steiglitz & McBride 1965 (from memory): the points are taken as the response of a filter to an impulse. Its recursive
//! part is found by linear least squares after filtering both with that of the iteration before. Degree 3 is an
//! oscillation with an offset or a tail, 4 one with both. Least squares without that filtering (Prony's) are biased
//! so much by noise that they can't even serve as a beginning.

use heapless::Vec;

use crate::ringing::elementary::{angle, ln};
use crate::ringing::mode::Mode;
use crate::ringing::poles::{Complex, DEGREE, Roots};
use crate::ringing::search::STARTS;
use crate::ringing::triangle::{Block, RIGHT, Triangle};

/// Degrees that are tried.
const DEGREES: (usize, usize) = (3, 4);
const ITERATIONS: u8 = 3;

/// Modes are collected here, slice by slice.
#[derive(Clone, Debug, Default)]
pub(crate) struct Seeds {
    found: Vec<Mode, STARTS>,
    degree: usize,
    iteration: u8,
    /// Recursive part of the filter, a₁ and up.
    filter: [f32; DEGREE],
    /// The last outputs for the points and for the impulse, the newest first.
    past: ([f32; DEGREE], [f32; DEGREE]),
    at: usize,
    roots: Roots,
    mean: f32,
}

impl Seeds {
    /// Begins with these points. The mean of the last eighth is where they end.
    pub(crate) fn begin(&mut self, points: &[f32], triangle: &mut Triangle) {
        let last = points.get(points.len() - points.len() / 8..).unwrap_or(&[]);
        self.mean = last.iter().sum::<f32>() / last.len().max(1) as f32;
        self.found.clear();
        (self.degree, self.iteration, self.filter) = (DEGREES.0, 0, [0.0; DEGREE]);
        self.filter_anew(triangle);
    }

    /// The modes that were found.
    pub(crate) fn found(&self) -> impl Iterator<Item = Mode> {
        self.found.iter().copied()
    }

    /// Goes on by a slice; whether all degrees are done.
    pub(crate) fn step(&mut self, points: &[f32], triangle: &mut Triangle) -> bool {
        if self.at < points.len() {
            triangle.add(&mut self.block(points));
            return false;
        }
        let all: [f32; 2 * DEGREE] = triangle.solve();
        if !self.roots.step(&core::array::from_fn(|k| all[k])) {
            return false;
        }
        self.filter = self.roots.polynomial();
        self.iteration += 1;
        if self.iteration >= ITERATIONS {
            self.collect();
            (self.degree, self.iteration, self.filter) = (self.degree + 1, 0, [0.0; DEGREE]);
        }
        self.filter_anew(triangle);
        self.degree > DEGREES.1
    }

    fn filter_anew(&mut self, triangle: &mut Triangle) {
        (self.past, self.at) = Default::default();
        self.roots = Roots::new(self.degree);
        *triangle = Triangle::default();
    }

    /// The next rows: outputs for the points are predicted by those before them and by those for the impulse.
    fn block(&mut self, points: &[f32]) -> Block {
        let mut block = Block::default();
        for row in block.iter_mut() {
            let Some(point) = points.get(self.at) else { break };
            let impulse = if self.at == 0 { 1.0 } else { 0.0 };
            let of_point = self.filtered(point - self.mean, &self.past.0);
            let of_impulse = self.filtered(impulse, &self.past.1);
            let earlier = self.past.0;
            self.past.0 = pushed(&self.past.0, of_point);
            self.past.1 = pushed(&self.past.1, of_impulse);
            for k in 0..self.degree.min(DEGREE) {
                (row[k], row[DEGREE + k]) = (-earlier[k], self.past.1[k]);
            }
            row[RIGHT] = of_point;
            self.at += 1;
        }
        block
    }

    fn filtered(&self, input: f32, past: &[f32; DEGREE]) -> f32 {
        input - self.filter.iter().zip(past).map(|(a, output)| a * output).sum::<f32>()
    }

    /// Each oscillation among the roots, with the quickest tail among them.
    fn collect(&mut self) {
        let tail = self.roots.inside().filter(is_tail).map(|root| -ln(root.re)).fold(0.0, f32::max);
        for root in self.roots.inside().filter(|root| root.im > 1e-4) {
            let mode = Mode { frequency: angle(root.im, root.re), decay: -ln(root.square()) / 2.0, tail };
            let _full = self.found.push(mode);
        }
    }
}

fn is_tail(root: &Complex) -> bool {
    root.im.abs() < 1e-4 && root.re > 0.1
}

fn pushed(past: &[f32; DEGREE], newest: f32) -> [f32; DEGREE] {
    core::array::from_fn(|k| if k == 0 { newest } else { past[k - 1] })
}
