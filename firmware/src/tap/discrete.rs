//! In: one pin. Out: its debounced level, and when it changed.

use embedded_hal::digital::InputPin;

/// Which level means active.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Polarity {
    /// High is active.
    #[default]
    High,
    /// Low is active.
    Low,
}

/// A signal of the machine such as "move active" or "in position".
#[derive(Debug)]
pub struct Discrete<P> {
    pin: P,
    polarity: Polarity,
    /// A new level must be read this often in a row. Unit: samples
    hold: u8,
    active: bool,
    /// How often in a row the other level was read. Unit: samples
    other: u8,
    unread: u32,
}

/// A change of level that has held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// The new level.
    pub active: bool,
    /// When it was first read, counted back from this sample. Unit: samples
    pub ago: u8,
}

impl<P: InputPin> Discrete<P> {
    /// Starts inactive; `hold` of 0 or 1 does not debounce. Unit of `hold`: samples
    pub fn new(pin: P, polarity: Polarity, hold: u8) -> Discrete<P> {
        Discrete { pin, polarity, hold: hold.max(1), active: false, other: 0, unread: 0 }
    }

    /// Reads the pin once; returns a change when it has held. A pin that can't be read counts as unchanged.
    pub fn step(&mut self) -> Option<Change> {
        let Ok(high) = self.pin.is_high() else {
            self.unread = self.unread.saturating_add(1);
            return None;
        };
        let active = high == (self.polarity == Polarity::High);
        if active == self.active {
            self.other = 0;
            return None;
        }
        self.other += 1;
        if self.other < self.hold {
            return None;
        }
        self.active = active;
        self.other = 0;
        Some(Change { active, ago: self.hold - 1 })
    }

    /// The level that has held.
    pub fn is_active(&self) -> bool {
        self.active
    }

    /// How often the pin could not be read.
    pub fn unread(&self) -> u32 {
        self.unread
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_hal::digital::{Error, ErrorKind, ErrorType};
    use std::vec::Vec;

    /// High, low or unreadable.
    struct Levels(std::vec::IntoIter<char>);

    #[derive(Debug)]
    struct Unreadable;

    impl Error for Unreadable {
        fn kind(&self) -> ErrorKind {
            ErrorKind::Other
        }
    }

    impl ErrorType for Levels {
        type Error = Unreadable;
    }

    impl InputPin for Levels {
        fn is_high(&mut self) -> Result<bool, Unreadable> {
            match self.0.next() {
                Some('x') | None => Err(Unreadable),
                Some(level) => Ok(level == '#'),
            }
        }

        fn is_low(&mut self) -> Result<bool, Unreadable> {
            self.is_high().map(|high| !high)
        }
    }

    #[track_caller]
    fn check(levels: &str, polarity: Polarity, hold: u8, expected: &[(usize, bool)], unread: u32) {
        let pin = Levels(levels.chars().collect::<Vec<char>>().into_iter());
        let mut discrete = Discrete::new(pin, polarity, hold);
        let changes: Vec<(usize, bool)> = (0..levels.len())
            .filter_map(|at| discrete.step().map(|change| (at - usize::from(change.ago), change.active)))
            .collect();
        assert_eq!((changes.as_slice(), discrete.unread()), (expected, unread));
        assert_eq!(discrete.is_active(), expected.last().is_some_and(|change| change.1));
    }

    #[test]
    fn a_level_counts_once_it_has_held_and_from_when_it_came() {
        check("__###___", Polarity::High, 3, &[(2, true), (5, false)], 0);
        check("_#_##_#_", Polarity::High, 3, &[], 0);
        check("_#_", Polarity::High, 0, &[(1, true), (2, false)], 0);
        check("##__#_##", Polarity::Low, 2, &[(2, true), (6, false)], 0);
        check("_xx##x_#", Polarity::High, 2, &[(3, true)], 3);
    }
}
