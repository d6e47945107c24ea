//! In: raw counter registers. Out: positions that go on where a register starts again.

/// Extends a 16-bit counter to 32 bits.
///
/// Right as long as fewer than 32,768 counts pass between two readings: at 10 kHz that is 327 million
/// counts per second, above what any quadrature input takes.
#[derive(Clone, Copy, Debug, Default)]
pub struct Extended {
    position: i32,
}

impl Extended {
    /// Starts from a position, of which the register holds the lower half.
    pub fn new(position: i32) -> Extended {
        Extended { position }
    }

    /// The position, after the register was read. Unit: counts, wrapping
    pub fn step(&mut self, register: u16) -> i32 {
        let change = register.wrapping_sub(self.position as u16) as i16;
        self.position = self.position.wrapping_add(i32::from(change));
        self.position
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(start: i32, positions: &[i32]) {
        let mut extended = Extended::new(start);
        for &position in positions {
            assert_eq!(extended.step(position as u16), position);
        }
    }

    #[test]
    fn positions_go_on_past_the_ends_of_the_register() {
        check(0, &[10, 32_000, 60_000, 70_000, 60_000, 30_000, -1, -30_000, -60_000]);
        check(i32::MAX - 5, &[i32::MAX, i32::MIN + 100, i32::MAX]);
        check(0, &[32_767, 0, -32_768, -1]);
    }
}
