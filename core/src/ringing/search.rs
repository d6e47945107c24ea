//! In: points, and modes to begin with. Out: the mode nearest to the points by least squares, and what is known of it.
//!
//! Variable projection (Golub & Pereyra 1973; Kaufman 1975): one triangle holds the linear columns, the columns of the
//! derivatives, and the points. Its top solves the linear parameters; what lies below is the problem that stays for the
//! others, with two or three unknowns. Steps are damped by Levenberg and Marquardt's rule.

use heapless::Vec;

use crate::ringing::elementary::root;
use crate::ringing::mode::{Columns, DERIVATIVES, Mode, Sizes};
use crate::ringing::triangle::{Block, RIGHT, ROWS, Triangle};

/// Most modes to begin with.
pub(crate) const STARTS: usize = 6;
/// Most passes over the points after the first of each start.
const PASSES: u8 = 16;
/// The damping at the beginning, and the one that ends the search.
const DAMPING: f32 = 1e-2;
const STUCK: f32 = 1e5;
/// A step that would take less from the sum of squares than this share of a point's variance is none: it is shorter than
/// a fiftieth of the uncertainty.
const NOTHING: f32 = 4e-4;

/// A mode, its linear parameters, and the problem that stays.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Found {
    pub mode: Mode,
    pub sizes: Sizes,
    /// Sum of the squares that stay.
    pub squares: f32,
    /// Changes of the three parameters, and what they should add up to.
    rows: [[f32; 4]; 3],
}

impl Found {
    fn new(mode: Mode, triangle: &Triangle) -> Found {
        let sizes = Sizes::new(triangle.solve());
        let changes = mode.changes(&sizes);
        let mut rows = [[0.0; 4]; 3];
        let mut squares = triangle.at(RIGHT, RIGHT) * triangle.at(RIGHT, RIGHT);
        for (k, row) in rows.iter_mut().enumerate() {
            let below = |column: usize| triangle.at(DERIVATIVES + k, DERIVATIVES + column);
            for (cell, change) in row.iter_mut().zip(&changes) {
                *cell = change.iter().enumerate().map(|(j, share)| below(j) * share).sum();
            }
            row[3] = triangle.at(DERIVATIVES + k, RIGHT);
            squares += row[3] * row[3];
        }
        Found { mode, sizes, squares, rows }
    }

    /// The problem that stays, each parameter damped by this share of its column.
    fn damped(&self, damping: f32) -> Triangle {
        let (mut problem, mut damps) = (Block::default(), Block::default());
        for (k, row) in self.rows.iter().enumerate() {
            problem[k][..3].copy_from_slice(&row[..3]);
            problem[k][RIGHT] = row[3];
            let square: f32 = self.rows.iter().map(|row| row[k] * row[k]).sum();
            damps[k][k] = root(square * damping);
        }
        let mut triangle = Triangle::default();
        triangle.add(&mut problem);
        triangle.add(&mut damps);
        triangle
    }

    /// How much a change would take from the sum of squares, if all were linear.
    fn gain(&self, change: &[f32; 3]) -> f32 {
        self.rows
            .iter()
            .map(|row| {
                let share: f32 = row.iter().zip(change).map(|(cell, change)| cell * change).sum();
                share * (2.0 * row[3] - share)
            })
            .sum()
    }

    /// Variances of the parameters, for points whose variance is 1; infinite if the points don't show one.
    pub(crate) fn variances(&self) -> [f32; 3] {
        let triangle = self.damped(0.0);
        // Row by row of the inverse.
        let mut variances = [0.0; 3];
        for (k, variance) in variances.iter_mut().enumerate() {
            let mut row = [0.0; 3];
            for j in 0..3 {
                let unit = if j == k { 1.0 } else { 0.0 };
                let known: f32 =
                    row.iter().enumerate().take(j).map(|(i, cell)| cell * triangle.at(i, j)).sum();
                let pivot = triangle.at(j, j);
                row[j] = if pivot != 0.0 { (unit - known) / pivot } else { 0.0 };
            }
            *variance = row.iter().map(|cell| cell * cell).sum();
        }
        variances
    }
}

/// A search that goes on slice by slice.
#[derive(Clone, Debug, Default)]
pub(crate) struct Search {
    /// Modes to begin with that were not tried yet.
    starts: Vec<Mode, STARTS>,
    best: Option<Found>,
    /// What the last pass found, before it is judged.
    fresh: Option<Found>,
    damping: f32,
    /// Passes that are left.
    passes: u8,
    /// The pass under way, and the points it has seen.
    mode: Mode,
    columns: Columns,
    at: usize,
}

impl Search {
    /// Begins at the best of these modes.
    pub(crate) fn begin(
        &mut self,
        starts: impl Iterator<Item = Mode>,
        triangle: &mut Triangle,
        points: usize,
    ) {
        self.starts.clear();
        for mode in starts {
            let _full = self.starts.push(mode);
        }
        self.restart(triangle, points);
    }

    /// Begins at this mode.
    pub(crate) fn begin_at(&mut self, mode: &Mode, triangle: &mut Triangle, points: usize) {
        let _room = self.starts.push(*mode);
        self.restart(triangle, points);
    }

    #[inline(never)]
    fn restart(&mut self, triangle: &mut Triangle, points: usize) {
        (self.best, self.fresh, self.damping, self.passes) = (None, None, DAMPING, PASSES);
        self.next_start(triangle, points);
    }

    /// Goes on by four points, or by one step of the mode; returns the mode when it is found.
    pub(crate) fn step(&mut self, points: &[f32], triangle: &mut Triangle) -> Option<Found> {
        let block = points.get(self.at..).and_then(|left| left.chunks(ROWS).next()).unwrap_or(&[]);
        if !block.is_empty() {
            triangle.add(&mut self.columns.block(block));
            self.at += block.len();
            return None;
        }
        let Some(found) = self.fresh.take() else {
            self.fresh = Some(Found::new(self.mode, triangle));
            return None;
        };
        let better = self.best.is_none_or(|best| found.squares < best.squares);
        if better {
            self.best = Some(found);
        }
        if self.next_start(triangle, points.len()) {
            None
        } else {
            self.propose(better, triangle, points.len())
        }
    }

    /// Whether there is another start.
    fn next_start(&mut self, triangle: &mut Triangle, points: usize) -> bool {
        let next = self.starts.pop();
        if let Some(mode) = next {
            self.pass(mode.bounded(points as f32), triangle);
        }
        next.is_some()
    }

    /// Begins a pass over the points.
    fn pass(&mut self, mode: Mode, triangle: &mut Triangle) {
        (self.mode, self.columns, self.at) = (mode, Columns::new(&mode), 0);
        *triangle = Triangle::default();
    }

    /// The next mode to try, from the best one; or the best one, if it can't be bettered.
    fn propose(&mut self, better: bool, triangle: &mut Triangle, points: usize) -> Option<Found> {
        let best = self.best.as_ref()?;
        self.damping = if better { self.damping / 8.0 } else { self.damping * 6.0 };
        let change = best.damped(self.damping).solve();
        let nothing = best.gain(&change) <= NOTHING * best.squares / points as f32;
        if self.passes == 0 || nothing || self.damping > STUCK {
            return self.best;
        }
        self.passes -= 1;
        self.pass(best.mode.changed(change, points as f32), triangle);
        None
    }
}
