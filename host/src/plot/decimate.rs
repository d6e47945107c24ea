//! In: one error sample at a time, without end. Out: at most N points with every extreme, in order of time.

/// A point: time from command end (s), error (unit of the axis).
type Point = (f64, f64);

/// Points for one move: two for each pixel column of its picture.
pub const POINTS: usize = 2_048;

/// The smallest and largest error among some consecutive samples.
#[derive(Clone, Copy, Debug)]
struct Pair {
    low: Point,
    high: Point,
}

impl Pair {
    fn of(point: Point) -> Self {
        Self { low: point, high: point }
    }

    /// Both pairs as one; `later` comes after `self`.
    fn with(self, later: Self) -> Self {
        Self {
            low: if later.low.1 < self.low.1 { later.low } else { self.low },
            high: if later.high.1 > self.high.1 { later.high } else { self.high },
        }
    }

    /// Its one or two points in order of time.
    fn points(self) -> impl Iterator<Item = Point> {
        let (first, second) =
            if self.low.0 <= self.high.0 { (self.low, self.high) } else { (self.high, self.low) };
        std::iter::once(first).chain((second != first).then_some(second))
    }
}

/// Holds the shape of a stream in bounded memory: pairs of extremes over `stride` samples each. When it is
/// full, neighbouring pairs merge and the stride doubles, so no extreme is ever lost.
#[derive(Clone, Debug)]
pub struct Decimator {
    most_pairs: usize,
    stride: u64,
    pairs: Vec<Pair>,
    open: Option<(Pair, u64)>,
    first: Option<Point>,
    last: Option<Point>,
}

impl Decimator {
    /// At most `most` points; fewer than 8 become 8.
    pub fn new(most: usize) -> Self {
        // Four points are set aside: the open pair, the first and the last sample.
        let most_pairs = (most.max(8) - 4) / 2;
        Self { most_pairs, stride: 1, pairs: Vec::new(), open: None, first: None, last: None }
    }

    /// Adds one sample: time from command end (s) and error. What is not a number is ignored.
    pub fn push(&mut self, t_s: f64, error: f64) {
        if !t_s.is_finite() || !error.is_finite() {
            return;
        }
        let point = (t_s, error);
        self.first.get_or_insert(point);
        self.last = Some(point);
        let (pair, count) = match self.open.take() {
            Some((pair, count)) => (pair.with(Pair::of(point)), count + 1),
            None => (Pair::of(point), 1),
        };
        if count < self.stride {
            self.open = Some((pair, count));
        } else {
            self.close(pair);
        }
    }

    fn close(&mut self, pair: Pair) {
        if self.pairs.len() == self.most_pairs {
            self.pairs = self.pairs.chunks(2).map(merged).collect();
            self.stride *= 2;
            // A last pair without a neighbour, and the pair at hand, are shorter than the new stride: harmless.
        }
        self.pairs.push(pair);
    }

    /// The points so far, in order of time.
    pub fn points(&self) -> Vec<Point> {
        let pairs = self.pairs.iter().copied().chain(self.open.map(|(pair, _)| pair));
        let mut points: Vec<Point> = self.first.into_iter().chain(pairs.flat_map(Pair::points)).collect();
        points.extend(self.last);
        points.dedup();
        points
    }
}

/// One or two neighbours as one pair.
fn merged(pairs: &[Pair]) -> Pair {
    pairs[1..].iter().fold(pairs[0], |whole, later| whole.with(*later))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever the length: bounded, in order, with both ends and both extremes.
    #[test]
    fn extremes_ends_and_order_survive() {
        let check = |length: u32, most: usize| {
            let mut decimator = Decimator::new(most);
            let error = |i: u32| match i {
                77 => 5.0,
                1_234 => -7.0,
                _ => f64::from(i % 997).sin(),
            };
            for i in 0..length {
                decimator.push(f64::from(i) * 1e-3, error(i));
            }
            let points = decimator.points();
            let errors = || (0..length).map(error);
            let case = format!("{length} samples into {most}");
            assert!(points.len() <= most, "{case}: {}", points.len());
            assert!(points.is_sorted_by(|a, b| a.0 < b.0), "{case}");
            assert_eq!(points.first(), (length > 0).then_some(&(0.0, error(0))), "{case}");
            assert_eq!(points.last().map(|p| p.1), length.checked_sub(1).map(error), "{case}");
            let of =
                |choose: fn(f64, f64) -> f64, values: &mut dyn Iterator<Item = f64>| values.reduce(choose);
            for choose in [f64::min, f64::max] {
                let found = of(choose, &mut points.iter().map(|p| p.1));
                assert_eq!(found, of(choose, &mut errors()), "{case}");
            }
        };
        for length in [0, 1, 2, 3, 7, 8, 9, 2_044, 2_045, 4_097, 100_000] {
            check(length, 2_048);
            check(length, 64);
        }
        check(1_000, 8);
        // Short recordings stay whole.
        let mut decimator = Decimator::new(2_048);
        (0..2_044).for_each(|i| decimator.push(f64::from(i), f64::from(i).sin()));
        assert_eq!(decimator.points().len(), 2_044);
    }

    #[test]
    fn what_is_no_number_is_ignored() {
        let mut decimator = Decimator::new(16);
        for (t, error) in [(0.0, f64::NAN), (f64::INFINITY, 1.0), (1.0, 2.0)] {
            decimator.push(t, error);
        }
        assert_eq!(decimator.points(), [(1.0, 2.0)]);
    }

    /// Every part of the stream has its own extremes, not just the stream as a whole.
    #[test]
    fn a_spike_anywhere_survives() {
        for spike in (0..5_000).step_by(313) {
            let mut decimator = Decimator::new(128);
            (0..5_000).for_each(|i| decimator.push(f64::from(i), if i == spike { 9.0 } else { 0.0 }));
            assert!(decimator.points().contains(&(f64::from(spike), 9.0)), "{spike}");
        }
    }
}
