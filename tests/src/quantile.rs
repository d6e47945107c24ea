//! In: values, one at a time. Out: one of their quantiles, without keeping them.
//!
//! P²: five markers that are moved along a parabola through their neighbours. Source: R. Jain, I. Chlamtac,
//! "The P² algorithm for dynamic calculation of quantiles and histograms without storing observations",
//! Communications of the ACM 28(10), 1985, 1076–1085.

/// Estimate of one quantile.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantile {
    part: f64,
    heights: [f64; 5],
    /// Of the first four; the last stands at the count.
    places: [u32; 5],
    wanted: [f64; 5],
    count: u32,
}

impl Quantile {
    /// The value below which `part` of the values lie; `part` is clamped to 0 to 1.
    pub fn new(part: f64) -> Quantile {
        let part = part.clamp(0.0, 1.0);
        Quantile {
            part,
            heights: [0.0; 5],
            places: [1, 2, 3, 4, 5],
            wanted: [1.0, 1.0 + 2.0 * part, 1.0 + 4.0 * part, 3.0 + 2.0 * part, 5.0],
            count: 0,
        }
    }

    /// Adds one value; ignores it if it is not finite.
    pub fn step(&mut self, value: f64) {
        if !value.is_finite() || self.count == u32::MAX {
            return;
        }
        self.count += 1;
        if self.count <= 5 {
            return self.insert(value);
        }
        self.make_room(value);
        self.adjust::<1>();
        self.adjust::<2>();
        self.adjust::<3>();
    }

    /// The estimate; exact (the nearest rank) for the first five values.
    pub fn value(&self) -> Option<f64> {
        if self.count > 5 {
            return Some(self.heights[2]);
        }
        let last = self.count.checked_sub(1)?;
        let rank = (f64::from(last) * self.part + 0.5) as usize;
        self.heights.get(rank).copied()
    }

    /// Heights of the five markers, lowest first.
    pub fn heights(&self) -> [f64; 5] {
        self.heights
    }

    /// Ranks of the five markers, from 1.
    pub fn places(&self) -> [u32; 5] {
        self.places
    }

    /// The first five are simply stored in order.
    fn insert(&mut self, mut value: f64) {
        let before = self.count.saturating_sub(1) as usize;
        for height in self.heights.iter_mut().take(before) {
            if value < *height {
                core::mem::swap(&mut value, height);
            }
        }
        if let Some(height) = self.heights.get_mut(before) {
            *height = value;
        }
    }

    /// Markers above the value stand one rank further; the outer two are the extremes.
    fn make_room(&mut self, value: f64) {
        self.heights[0] = self.heights[0].min(value);
        self.heights[4] = self.heights[4].max(value);
        for (place, height) in self.places.iter_mut().zip(&self.heights).skip(1).take(3) {
            *place += u32::from(value < *height);
        }
        self.places[4] += 1;
        let steps = [0.0, self.part / 2.0, self.part, (1.0 + self.part) / 2.0, 1.0];
        for (wanted, step) in self.wanted.iter_mut().zip(steps) {
            *wanted += step;
        }
    }

    /// Moves an inner marker by one rank if it stands a whole rank away from where it should.
    fn adjust<const I: usize>(&mut self) {
        let [below, here, above] = [self.places[I - 1], self.places[I], self.places[I + 1]];
        let off = self.wanted[I] - f64::from(here);
        let up = off >= 1.0 && above - here > 1;
        let down = off <= -1.0 && here - below > 1;
        if !up && !down {
            return;
        }
        let [lower, height, upper] = [self.heights[I - 1], self.heights[I], self.heights[I + 1]];
        let (left, right) = (f64::from(here - below), f64::from(above - here));
        let step = if up { 1.0 } else { -1.0 };
        let slopes = (left + step) * (upper - height) / right + (right - step) * (height - lower) / left;
        let parabolic = height + step / (left + right) * slopes;
        let linear = if up { height + (upper - height) / right } else { height - (height - lower) / left };
        self.heights[I] = if lower < parabolic && parabolic < upper { parabolic } else { linear };
        self.places[I] = if up { here + 1 } else { here - 1 };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(part: f64, values: &[f64], expected: Option<f64>) {
        let mut quantile = Quantile::new(part);
        values.iter().for_each(|&value| quantile.step(value));
        assert_eq!(quantile.value(), expected, "{part} of {values:?}");
    }

    #[test]
    fn a_few_values_are_ranked() {
        check(0.5, &[], None);
        check(0.5, &[3.0], Some(3.0));
        check(0.5, &[3.0, 1.0, 2.0], Some(2.0));
        check(0.95, &[5.0, 1.0, 4.0, 2.0, 3.0], Some(5.0));
        check(0.5, &[f64::NAN, 2.0, f64::INFINITY], Some(2.0));
        check(0.5, &[4.0; 100], Some(4.0));
    }
}
