//! In: settling times, one at a time. Out: their median and p95, in so few bytes that every kind has its own.
//!
//! Extended P²: seven markers at 0, ¼, ½, 0.725, 0.95, 0.975 and 1, moved along a parabola through their neighbours,
//! in single precision. Source: K. E. E. Raatikainen, "Simultaneous estimation of several percentiles", Simulation 49(4),
//! 1987, 159–163.

/// Part of the values below each marker.
const PARTS: [f32; 7] = [0.0, 0.25, 0.5, 0.725, 0.95, 0.975, 1.0];

/// A value, and how many of all are at most as large.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Marker {
    height: f32,
    place: u32,
}

/// Median and p95 of what was added.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Quantiles {
    markers: [Marker; PARTS.len()],
    count: u32,
}

impl Quantiles {
    /// Adds one value. Unit: ticks
    pub fn step(&mut self, value: u32) {
        let mut seen = Marker { height: value as f32, place: self.count.saturating_add(1) };
        let first = (self.count as usize) < PARTS.len();
        self.count = seen.place;
        if !first {
            return self.move_markers(seen.height);
        }
        // The first seven are simply kept in order.
        for (place, marker) in (1..).zip(&mut self.markers) {
            if marker.place == 0 || seen.height < marker.height {
                core::mem::swap(&mut seen, marker);
            }
            marker.place = if marker.place == 0 { 0 } else { place };
            if seen.place == 0 {
                return;
            }
        }
    }

    /// Values added.
    pub fn count(&self) -> u32 {
        self.count
    }

    /// Half of the values are at most this; none before there are seven. Unit: ticks
    pub fn median(&self) -> Option<u32> {
        self.at(2)
    }

    /// 95 of 100 values are at most this; none before there are seven. Unit: ticks
    pub fn p95(&self) -> Option<u32> {
        self.at(4)
    }

    fn at(&self, marker: usize) -> Option<u32> {
        let full = self.count as usize >= PARTS.len();
        self.markers.get(marker).filter(|_| full).map(|marker| (marker.height + 0.5) as u32)
    }

    /// Markers above the value stand one place further; the outer two are the extremes.
    fn move_markers(&mut self, height: f32) {
        let last = (self.count - 1) as f32;
        let [lowest, .., highest] = &mut self.markers;
        lowest.height = lowest.height.min(height);
        highest.height = highest.height.max(height);
        highest.place = self.count;
        for marker in self.markers.iter_mut().take(PARTS.len() - 1).skip(1) {
            marker.place += u32::from(height < marker.height);
        }
        for (inner, part) in PARTS.iter().enumerate().skip(1) {
            if let Some([below, here, above]) = self.markers.get_mut(inner - 1..inner + 2) {
                adjust(below, here, above, 1.0 + last * part);
            }
        }
    }
}

/// Moves a marker by one place if it stands a whole place away from where it should.
fn adjust(below: &Marker, here: &mut Marker, above: &Marker, wanted: f32) {
    let off = wanted - here.place as f32;
    let (left, right) = (here.place.wrapping_sub(below.place), above.place.wrapping_sub(here.place));
    let (up, down) = (off >= 1.0 && right > 1, off <= -1.0 && left > 1);
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
    here.place = if up { here.place + 1 } else { here.place - 1 };
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
    fn a_few_values_are_kept_in_order() {
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
