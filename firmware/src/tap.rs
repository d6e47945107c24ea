//! In: raw counter registers and levels of lines. Out: 32-bit positions that continue where a register wraps.
//!
//! Hardware counters decode fast signals: a timer in encoder mode counts a quadrature feedback or command, a timer
//! in clock-and-direction mode counts step pulses; both are read as a [`Register`]. [`quadrature`] and [`pulse`]
//! decode the same signals from levels, for slow lines; [`discrete`] reads a level such as "move active".

use embedded_hal::digital::InputPin;

pub mod discrete;
pub mod pulse;
pub mod quadrature;

/// A counter as the hardware holds it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Register {
    /// 16 bits, wrapping every 65,536 counts.
    Half(u16),
    /// 32 bits, a position as it is.
    Whole(u32),
}

/// Extends a 16-bit counter to 32 bits.
///
/// Correct while fewer than 32,768 counts pass between two readings: at 10 kHz that is 327 million
/// counts per second, faster than any quadrature input.
#[derive(Clone, Copy, Debug, Default)]
pub struct Extended {
    position: i32,
}

impl Extended {
    /// Starts at a position whose lower half is in the register.
    pub fn new(position: i32) -> Extended {
        Extended { position }
    }

    /// The position, after the register was read. Unit: counts, wrapping
    pub fn step(&mut self, register: u16) -> i32 {
        let change = register.wrapping_sub(self.position as u16) as i16;
        self.position = self.position.wrapping_add(i32::from(change));
        self.position
    }

    /// The position, after a register of either width was read. Unit: counts, wrapping
    pub fn extend(&mut self, register: Register) -> i32 {
        match register {
            Register::Half(register) => self.step(register),
            Register::Whole(register) => {
                self.position = register as i32;
                self.position
            }
        }
    }
}

/// Two lines that are read together; their pins are high-impedance inputs.
#[derive(Debug)]
pub struct Pair<A, B> {
    a: A,
    b: B,
    unread: u32,
}

impl<A: InputPin, B: InputPin> Pair<A, B> {
    /// Owns the two pins.
    pub fn new(a: A, b: B) -> Pair<A, B> {
        Pair { a, b, unread: 0 }
    }

    /// Levels of A and B, high is `true`; `None` if a pin can't be read, which is counted.
    pub fn levels(&mut self) -> Option<(bool, bool)> {
        match (self.a.is_high(), self.b.is_high()) {
            (Ok(a), Ok(b)) => Some((a, b)),
            _ => {
                self.unread = self.unread.saturating_add(1);
                None
            }
        }
    }

    /// How often a pin could not be read.
    pub fn unread(&self) -> u32 {
        self.unread
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
    fn positions_continue_past_the_ends_of_the_register() {
        check(0, &[10, 32_000, 60_000, 70_000, 60_000, 30_000, -1, -30_000, -60_000]);
        check(i32::MAX - 5, &[i32::MAX, i32::MIN + 100, i32::MAX]);
        check(0, &[32_767, 0, -32_768, -1]);
    }

    #[test]
    fn a_wide_register_passes_through() {
        let mut extended = Extended::default();
        for position in [0, 5, i32::MAX, i32::MIN, -1] {
            assert_eq!(extended.extend(Register::Whole(position as u32)), position);
        }
        assert_eq!(extended.extend(Register::Half(3)), 3, "a half continues from the last whole");
    }
}
