//! In: a time since the start. Out: whether the machine works then.

/// Unit: s
pub const MINUTE: f64 = 60.0;
/// Unit: s
pub const HOUR: f64 = 3600.0;
/// Unit: s
pub const DAY: f64 = 24.0 * HOUR;
/// Unit: s
pub const WEEK: f64 = 7.0 * DAY;
/// Two shifts from the start of each day. Unit: s
const WORKING_DAY: f64 = 16.0 * HOUR;
/// Work, then a break. Unit: s
const ROUND: [f64; 2] = [2.0 * HOUR, 0.25 * HOUR];

/// When a machine works.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Calendar {
    /// At all times.
    Always,
    /// Two shifts a day with breaks.
    Days,
    /// The same on five days of seven, the first five.
    Weeks,
}

impl Calendar {
    /// Whether the machine works at a time. Unit: s
    pub fn works(self, at: f64) -> bool {
        let [work, pause] = ROUND;
        let in_a_day = at % DAY < WORKING_DAY && at % DAY % (work + pause) < work;
        match self {
            Calendar::Always => true,
            Calendar::Days => in_a_day,
            Calendar::Weeks => in_a_day && at % WEEK < 5.0 * DAY,
        }
    }

    /// Work in a week. Unit: h
    pub fn hours_a_week(self) -> f64 {
        let minutes = (0..7 * 1440).map(|minute| f64::from(minute) * MINUTE);
        minutes.filter(|at| self.works(*at)).count() as f64 / 60.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(calendar: Calendar, hours: f64) {
        assert_eq!(calendar.hours_a_week(), hours, "{calendar:?}");
    }

    /// Sixteen hours hold seven rounds of 2.25 h and a quarter of an hour of work.
    #[test]
    fn a_week_has_its_hours_of_work() {
        check(Calendar::Always, 168.0);
        check(Calendar::Days, 7.0 * 14.25);
        check(Calendar::Weeks, 5.0 * 14.25);
    }
}
