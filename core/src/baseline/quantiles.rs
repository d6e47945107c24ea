//! In: settling times, one at a time. Out: their median and p95, in 60 bytes.
//!
//! Extended P²: seven markers at 0, ¼, ½, 0.725, 0.95, 0.975 and 1, moved along a parabola through their neighbours,
//! in single precision. Source: K. E. E. Raatikainen, "Simultaneous estimation of several percentiles", Simulation
//! 49(4), 1987, 159–163.

/// Part of the values that each marker should have below it.
const PARTS: [f32; 7] = [0.0, 0.25, 0.5, 0.725, 0.95, 0.975, 1.0];

/// An estimated quantile and its rank.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Marker {
    /// Unit: ticks
    height: f32,
    /// Number of values that are at most `height`; 0 for a marker without a value.
    rank: u32,
}

/// Median and p95 of the values added.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Quantiles {
    markers: [Marker; PARTS.len()],
    count: u32,
}

impl Quantiles {
    /// Adds one value. Unit: ticks
    pub fn step(&mut self, value: u32) {
        let mut new = Marker { height: value as f32, rank: self.count.saturating_add(1) };
        let first = (self.count as usize) < PARTS.len();
        self.count = new.rank;
        if !first {
            return self.move_markers(new.height);
        }
        // The first seven values are stored in order of size.
        for (rank, marker) in (1..).zip(&mut self.markers) {
            if marker.rank == 0 || new.height < marker.height {
                core::mem::swap(&mut new, marker);
            }
            marker.rank = if marker.rank == 0 { 0 } else { rank };
            if new.rank == 0 {
                return;
            }
        }
    }

    /// Number of values added.
    pub fn count(&self) -> u32 {
        self.count
    }

    /// The median; `None` below seven values. Unit: ticks
    pub fn median(&self) -> Option<u32> {
        self.at(2)
    }

    /// The 95 % quantile; `None` below seven values. Unit: ticks
    pub fn p95(&self) -> Option<u32> {
        self.at(4)
    }

    fn at(&self, marker: usize) -> Option<u32> {
        let full = self.count as usize >= PARTS.len();
        self.markers.get(marker).filter(|_| full).map(|marker| (marker.height + 0.5) as u32)
    }

    /// Adds a value to the ranks, and moves the markers to their quantiles; the outer two are the extremes.
    fn move_markers(&mut self, height: f32) {
        let last = (self.count - 1) as f32;
        let [lowest, .., highest] = &mut self.markers;
        lowest.height = lowest.height.min(height);
        highest.height = highest.height.max(height);
        highest.rank = self.count;
        for marker in self.markers.iter_mut().take(PARTS.len() - 1).skip(1) {
            marker.rank += u32::from(height < marker.height);
        }
        for (inner, part) in PARTS.iter().enumerate().skip(1) {
            if let Some([below, here, above]) = self.markers.get_mut(inner - 1..inner + 2) {
                adjust(below, here, above, 1.0 + last * part);
            }
        }
    }
}

/// Moves a marker by one rank if it is at least one rank away from `wanted`, the rank that it should have.
fn adjust(below: &Marker, here: &mut Marker, above: &Marker, wanted: f32) {
    let difference = wanted - here.rank as f32;
    let (left, right) = (here.rank.wrapping_sub(below.rank), above.rank.wrapping_sub(here.rank));
    let (up, down) = (difference >= 1.0 && right > 1, difference <= -1.0 && left > 1);
    if !up && !down {
        return;
    }
    let step = if up { 1.0 } else { -1.0 };
    let (left, right) = (left as f32, right as f32);
    let (rise, fall) = ((above.height - here.height) / right, (here.height - below.height) / left);
    let parabolic = here.height + step / (left + right) * ((left + step) * rise + (right - step) * fall);
    let straight = here.height + if up { rise } else { -fall };
    let between = below.height < parabolic && parabolic < above.height;
    here.height = if between { parabolic } else { straight };
    here.rank = if up { here.rank + 1 } else { here.rank - 1 };
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(values: impl Iterator<Item = u32>) -> Quantiles {
        let mut quantiles = Quantiles::default();
        values.for_each(|value| quantiles.step(value));
        quantiles
    }

    #[test]
    fn the_first_values_are_stored_in_order() {
        let check = |values: &[u32], median, p95| {
            let found = of(values.iter().copied());
            assert_eq!((found.median(), found.p95(), found.count()), (median, p95, values.len() as u32));
        };
        check(&[3, 1, 2, 9, 5, 4], None, None);
        check(&[7, 6, 5, 4, 3, 2, 1], Some(3), Some(5));
        check(&[4, 1, 7, 2, 6, 3, 5], Some(3), Some(5));
        check(&[5; 100], Some(5), Some(5));
        check(&[u32::MAX; 9], Some(u32::MAX), Some(u32::MAX));
    }
}
