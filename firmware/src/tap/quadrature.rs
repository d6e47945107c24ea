//! In: levels of lines A and B. Out: the position they count, four counts a cycle, and illegal transitions.
//!
//! Signals faster than one change of level per reading need a hardware counter: this decoder takes two changes at
//! once for an illegal transition, and three for one in the opposite direction.

/// Change of position by old A, old B, new A, new B; A leads when counting up.
const CHANGES: [i8; 16] = [
    0, -1, 1, ILLEGAL, //
    1, 0, ILLEGAL, -1, //
    -1, ILLEGAL, 0, 1, //
    ILLEGAL, 1, -1, 0,
];

/// Both lines changed at once: one change was missed, or there is interference.
const ILLEGAL: i8 = i8::MIN;

/// Decodes both edges of both lines.
#[derive(Clone, Copy, Debug, Default)]
pub struct Quadrature {
    lines: Option<u8>,
    position: i32,
    illegal: u32,
}

impl Quadrature {
    /// Starts at a position; the first reading fixes the lines and counts nothing.
    pub fn new(position: i32) -> Quadrature {
        Quadrature { position, ..Quadrature::default() }
    }

    /// The position, after both lines were read. An illegal transition leaves it as it was.
    /// Unit: counts, wrapping
    pub fn step(&mut self, a: bool, b: bool) -> i32 {
        let lines = u8::from(a) << 1 | u8::from(b);
        let before = self.lines.replace(lines).unwrap_or(lines);
        match CHANGES[usize::from(before << 2 | lines) & 15] {
            ILLEGAL => self.illegal = self.illegal.saturating_add(1),
            change => self.position = self.position.wrapping_add(i32::from(change)),
        }
        self.position
    }

    /// Transitions that no valid quadrature signal makes, since the start.
    pub fn illegal(&self) -> u32 {
        self.illegal
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The lines at a position.
    fn lines(position: i32) -> (bool, bool) {
        (matches!(position & 3, 1 | 2), matches!(position & 3, 2 | 3))
    }

    #[track_caller]
    fn check(positions: impl IntoIterator<Item = i32>, expected: i32, illegal: u32) {
        let mut quadrature = Quadrature::new(0);
        for position in positions {
            let (a, b) = lines(position);
            quadrature.step(a, b);
        }
        assert_eq!((quadrature.position, quadrature.illegal()), (expected, illegal));
    }

    #[test]
    fn every_edge_counts_and_a_missed_one_is_illegal() {
        check(0..=1000, 1000, 0);
        check((-1000..=0).rev(), -1000, 0);
        check([0, 1, 0, 1, 1, 2, 1], 1, 0);
        check([0, 2, 3, 5], 1, 2);
        check([3, 4], 1, 0);
    }

    #[test]
    fn the_position_wraps() {
        let mut quadrature = Quadrature::new(i32::MAX);
        quadrature.step(false, false);
        assert_eq!(quadrature.step(true, false), i32::MIN);
    }
}
