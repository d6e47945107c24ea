//! In: states of alarms and signals. Out: what lamp, buzzer and dry contact show.
//!
//! | shown | means | what to do |
//! |---|---|---|
//! | fast | an unacknowledged alarm | look at it and acknowledge it; that also stops the buzzer |
//! | slow | an unacknowledged alarm of low priority, or one that has already cleared | look what it was |
//! | steady | an acknowledged alarm that persists or is latched; or a signal near its limit | repair it, reset it |
//! | off | none of these; shelved, suppressed and out-of-service alarms are not shown | |
//!
//! The most urgent is shown. Fast and slow differ by a factor of eight, so that each is recognised alone. A dark lamp
//! may also have no power: the contact is closed only while the monitor runs and the lamp is off, so that a broken
//! wire shows as an alarm. Neither lamp, buzzer nor contact may lead to a drive or a safety circuit.

/// Conditions that light the lamp.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Conditions {
    /// Unacknowledged, of more than low priority.
    pub unacknowledged: bool,
    /// Unacknowledged: low priority, or already cleared, latched or not.
    pub low_or_cleared: bool,
    /// Acknowledged, and persisting or latched.
    pub acknowledged: bool,
    /// A signal is near its limit.
    pub near_limit: bool,
}

/// How the lamp is lit.
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
    /// Shows the most urgent condition.
    pub fn new(conditions: &Conditions) -> Lamp {
        if conditions.unacknowledged {
            Lamp::Fast
        } else if conditions.low_or_cleared {
            Lamp::Slow
        } else if conditions.acknowledged || conditions.near_limit {
            Lamp::Steady
        } else {
            Lamp::Off
        }
    }

    /// Whether the lamp is lit at this time. Unit: ticks, ticks/s
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
    pub fn sounds_buzzer(self) -> bool {
        self == Lamp::Fast
    }

    /// Whether the dry contact is closed: the monitor runs and the lamp is off.
    pub fn closes_contact(self) -> bool {
        self == Lamp::Off
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How often the lamp goes on within eight seconds.
    fn flashes(lamp: Lamp, ticks_per_second: u32) -> usize {
        let lit = |tick: u32| lamp.is_lit(tick.into(), ticks_per_second);
        (1..8 * ticks_per_second).filter(|&tick| lit(tick) && !lit(tick - 1)).count()
    }

    #[test]
    fn the_most_urgent_is_shown() {
        let none = Conditions::default();
        let cases = [
            (none, Lamp::Off, 0),
            (Conditions { near_limit: true, ..none }, Lamp::Steady, 0),
            (Conditions { acknowledged: true, near_limit: true, ..none }, Lamp::Steady, 0),
            (Conditions { low_or_cleared: true, acknowledged: true, ..none }, Lamp::Slow, 3),
            (
                Conditions { unacknowledged: true, low_or_cleared: true, near_limit: true, ..none },
                Lamp::Fast,
                31,
            ),
        ];
        for (conditions, expected, times) in cases {
            let lamp = Lamp::new(&conditions);
            assert_eq!((lamp, flashes(lamp, 1000)), (expected, times), "{conditions:?}");
            let (sounds, closes) = (lamp.sounds_buzzer(), lamp.closes_contact());
            assert_eq!((sounds, closes), (lamp == Lamp::Fast, conditions == none));
        }
    }
}
