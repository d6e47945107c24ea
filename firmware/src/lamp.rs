//! In: what the monitor knows to be wrong. Out: what its lamp, buzzer and dry contact show.
//!
//! | shown | means | what to do |
//! |---|---|---|
//! | fast | an alarm that nobody has acknowledged | look at it, acknowledge it; the buzzer is silent then |
//! | slow | the same, of low priority; or an alarm that came and went unseen | look what it was |
//! | steady | an acknowledged alarm that holds, if only by its latch; or a signal near its limit | put it right, reset it |
//! | off | nothing of the kind; what is shelved, suppressed or out of service is not shown | |
//!
//! The more urgent is shown. Fast and slow differ by a factor of four, so that one alone can be told. A lamp
//! that stays dark may also be one without power: the contact is closed only while the monitor runs
//! and shows nothing, so that a broken wire is seen too. None of it may lead to a drive or a safety circuit.

/// What is wrong, as far as the monitor knows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Wrong {
    /// An alarm of more than low priority holds and is not acknowledged.
    pub unacknowledged: bool,
    /// An alarm is not acknowledged that is of low priority or has gone by itself, held by its latch or not.
    pub unseen: bool,
    /// An alarm holds, if only by its latch, and is acknowledged.
    pub acknowledged: bool,
    /// A signal is near its limit.
    pub warning: bool,
}

/// What is shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Lamp {
    /// Dark.
    #[default]
    Off,
    /// Lit.
    Steady,
    /// Lit every other second.
    Slow,
    /// Lit every other eighth of a second, four times in one.
    Fast,
}

impl Lamp {
    /// The most urgent of what is wrong.
    pub fn new(wrong: &Wrong) -> Lamp {
        if wrong.unacknowledged {
            Lamp::Fast
        } else if wrong.unseen {
            Lamp::Slow
        } else if wrong.acknowledged || wrong.warning {
            Lamp::Steady
        } else {
            Lamp::Off
        }
    }

    /// Whether it is lit at this time. Unit: ticks, ticks/s
    pub fn is_lit(self, now: u64, ticks_per_second: u32) -> bool {
        let half = |part: u32| (now / u64::from((ticks_per_second / part).max(1))).is_multiple_of(2);
        match self {
            Lamp::Off => false,
            Lamp::Steady => true,
            Lamp::Slow => half(1),
            Lamp::Fast => half(8),
        }
    }

    /// Whether the buzzer sounds: until the alarm is acknowledged.
    pub fn sounds(self) -> bool {
        self == Lamp::Fast
    }

    /// Whether the dry contact is closed: nothing is wrong.
    pub fn closes(self) -> bool {
        self == Lamp::Off
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Times it is lit anew within eight seconds.
    fn flashes(lamp: Lamp, ticks_per_second: u32) -> usize {
        let lit = |tick: u32| lamp.is_lit(tick.into(), ticks_per_second);
        (1..8 * ticks_per_second).filter(|&tick| lit(tick) && !lit(tick - 1)).count()
    }

    #[test]
    fn the_most_urgent_is_shown() {
        let wrong = Wrong::default();
        let cases = [
            (wrong, Lamp::Off, 0),
            (Wrong { warning: true, ..wrong }, Lamp::Steady, 0),
            (Wrong { acknowledged: true, warning: true, ..wrong }, Lamp::Steady, 0),
            (Wrong { unseen: true, acknowledged: true, ..wrong }, Lamp::Slow, 3),
            (Wrong { unacknowledged: true, unseen: true, warning: true, ..wrong }, Lamp::Fast, 31),
        ];
        for (wrong, expected, times) in cases {
            let lamp = Lamp::new(&wrong);
            assert_eq!((lamp, flashes(lamp, 1000)), (expected, times), "{wrong:?}");
            assert_eq!((lamp.sounds(), lamp.closes()), (lamp == Lamp::Fast, wrong == Wrong::default()));
        }
    }
}
