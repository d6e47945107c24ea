//! In: levels of two command lines. Out: the commanded position they count.
//!
//! Fast pulses need a hardware counter: a pulse that begins and ends between two readings is missed here and not
//! noticed. Quadrature commands are read by [`super::quadrature`].

/// What the two lines carry.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kind {
    /// A rising edge of the first counts up while the second is high, else down.
    #[default]
    StepDirection,
    /// A rising edge of the first counts up, one of the second down.
    UpDown,
}

/// Counts rising edges.
#[derive(Clone, Copy, Debug, Default)]
pub struct Pulse {
    kind: Kind,
    /// Levels of the last reading; none before the first.
    lines: Option<(bool, bool)>,
    position: i32,
}

impl Pulse {
    /// Starts at zero; a line that is high at the first reading counts nothing.
    pub fn new(kind: Kind) -> Pulse {
        Pulse { kind, ..Pulse::default() }
    }

    /// The position, after both lines were read. Unit: pulses, wrapping
    ///
    /// The direction is that of the reading that sees the edge: drives require it stable around the edge.
    pub fn step(&mut self, first: bool, second: bool) -> i32 {
        let (first_before, second_before) = self.lines.replace((first, second)).unwrap_or((first, second));
        let rises = |before: bool, now: bool| i32::from(!before && now);
        let change = match self.kind {
            Kind::StepDirection => rises(first_before, first) * if second { 1 } else { -1 },
            Kind::UpDown => rises(first_before, first) - rises(second_before, second),
        };
        self.position = self.position.wrapping_add(change);
        self.position
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(kind: Kind, levels: &[(u8, u8)], expected: &[i32]) {
        let mut pulse = Pulse::new(kind);
        let found: std::vec::Vec<i32> =
            levels.iter().map(|&(first, second)| pulse.step(first == 1, second == 1)).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn rising_edges_count() {
        let pulses = [(1, 1), (0, 1), (1, 1), (1, 0), (0, 0), (1, 0), (0, 0), (1, 0)];
        check(Kind::StepDirection, &pulses, &[0, 0, 1, 1, 1, 0, 0, -1]);
        let trains = [(0, 1), (1, 1), (0, 0), (1, 0), (0, 0), (0, 1), (0, 0), (1, 1)];
        check(Kind::UpDown, &trains, &[0, 1, 1, 2, 2, 1, 1, 1]);
    }

    #[test]
    fn the_position_wraps() {
        let mut pulse = Pulse { position: i32::MIN, ..Pulse::new(Kind::StepDirection) };
        pulse.step(false, false);
        assert_eq!(pulse.step(true, false), i32::MAX);
    }
}
