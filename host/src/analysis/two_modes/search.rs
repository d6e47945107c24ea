//! In: points, and shapes to begin with. Out: the shape nearest to the points by least squares, and what is known of it.
//!
//! Variable projection (Golub & Pereyra 1973; Kaufman 1975; from memory) as in the core, for two modes: the top of the
//! triangle solves the linear parameters; what lies below is the problem that stays for the others. Steps are damped by
//! Levenberg and Marquardt's rule.

use super::shape::{OTHERS, SIZES, Shape, WIDTH};
use super::triangle::Products;

/// Most passes over the points after the first of each start, and starts that are followed to their end.
const PASSES: usize = 24;
const FOLLOWED: usize = 3;
/// The damping at the beginning, and the one that ends a search.
const DAMPING: f64 = 1e-2;
const STUCK: f64 = 1e6;
/// A step that would take less from the sum of squares than this share of a point's variance is none.
const NOTHING: f64 = 1e-5;

/// A shape, its linear parameters, and the problem that stays.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fit {
    pub shape: Shape,
    pub sizes: [f64; SIZES],
    /// Sum of the squares that stay.
    pub squares: f64,
    /// Products of what small changes of the other parameters add, and of what they should add up to.
    problem: Products<{ OTHERS + 1 }>,
}

impl Fit {
    /// One pass over the points.
    pub(super) fn new(shape: Shape, points: &[f64]) -> Fit {
        let mut products = Products::<WIDTH>::default();
        shape.rows(points, |row| products.add(row));
        let triangle = products.triangle();
        let sizes = triangle.solve();
        let changes = shape.changes(&sizes);
        let mut problem = Products::default();
        let mut squares = triangle.at(WIDTH - 1, WIDTH - 1).powi(2);
        for row in SIZES..WIDTH - 1 {
            let mut terms = [0.0; OTHERS + 1];
            for (term, change) in terms.iter_mut().zip(&changes) {
                *term = change.iter().enumerate().map(|(k, share)| share * triangle.at(row, SIZES + k)).sum();
            }
            terms[OTHERS] = triangle.at(row, WIDTH - 1);
            squares += terms[OTHERS] * terms[OTHERS];
            problem.add(&terms);
        }
        Fit { shape, sizes, squares, problem }
    }

    /// The best shape near this one.
    pub(super) fn refined(self, points: &[f64]) -> Fit {
        let (mut best, mut damping) = (self, DAMPING);
        for _ in 0..PASSES {
            let change = best.step(damping);
            if damping > STUCK || best.gain(&change) <= NOTHING * best.squares / points.len() as f64 {
                break;
            }
            let next = Fit::new(best.shape.changed(&change, points.len()), points);
            if next.squares < best.squares {
                (best, damping) = (next, damping / 8.0);
            } else {
                damping *= 6.0;
            }
        }
        best
    }

    /// The change that solves the problem, each parameter damped by this share of its own square.
    fn step(&self, damping: f64) -> [f64; OTHERS] {
        let mut damped = self.problem;
        (0..OTHERS).for_each(|k| damped.0[k][k] *= 1.0 + damping);
        damped.triangle().solve()
    }

    /// How much a change would take from the sum of squares, if all were linear.
    fn gain(&self, change: &[f64; OTHERS]) -> f64 {
        let cell = |a: usize, b: usize| self.problem.0[a.min(b)][a.max(b)];
        let of = |a: usize| -> f64 { (0..OTHERS).map(|b| cell(a, b) * change[b]).sum() };
        (0..OTHERS).map(|a| change[a] * (2.0 * cell(a, OTHERS) - of(a))).sum()
    }

    /// Variances of the other parameters, for points whose variance is 1; infinite if the points don't show one.
    pub(super) fn variances(&self) -> [f64; OTHERS] {
        std::array::from_fn(|k| {
            // The column of the inverse: the products times it are a column of the unit matrix.
            let mut asked = self.problem;
            (0..OTHERS).for_each(|row| asked.0[row][OTHERS] = if row == k { 1.0 } else { 0.0 });
            let column: [f64; OTHERS] = asked.triangle().solve();
            if column[k] > 0.0 { column[k] } else { f64::INFINITY }
        })
    }

    /// What the shape leaves of each point.
    pub(super) fn rest(&self, points: &[f64]) -> Vec<f64> {
        let mut rest = Vec::with_capacity(points.len());
        self.shape.rows(points, |row| {
            let model: f64 = row.iter().zip(&self.sizes).map(|(column, size)| column * size).sum();
            rest.push(row[WIDTH - 1] - model);
        });
        rest
    }
}

/// The best shape that is found from these; none without any.
pub(super) fn search(starts: impl Iterator<Item = Shape>, points: &[f64]) -> Option<Fit> {
    let mut begun: Vec<Fit> = starts.map(|start| Fit::new(start.bounded(points.len()), points)).collect();
    begun.sort_by(|one, other| one.squares.total_cmp(&other.squares));
    let followed = begun.into_iter().take(FOLLOWED).map(|fit| fit.refined(points));
    followed.min_by(|one, other| one.squares.total_cmp(&other.squares))
}
