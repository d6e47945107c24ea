//! In: subjects of alarms. Out: limit, delays and priority of each, until a host sends others.
//!
//! | subject | figure | abnormal from | normal again | off-delay | re-alarm | longest shelving |
//! |---|---|---|---|---|---|---|
//! | Signal | index of the finding, −1 for none | 0 | −1 | none | 8 h | 8 h |
//! | Unsettled | stops in a row that did not settle | 3 | 0 | 60 s | 8 h | 8 h |
//! | FollowingError | counts beyond its window | 1 | 0 | 60 s | 8 h | 8 h |
//! | Drift | the detector's figure, in 1/256 of its limit | 256 | 128 | none | never | 7 days |
//! | Gap | samples and frames of moves lost since the last tick | 1 | 0 | 60 s | never | 8 h |
//!
//! No alarm has an on-delay or a latch by default: three stops, three moves, the time-out 0x6066 and the drift
//! detector are delays already. Three stops, because one may be disturbed and two may be disturbed alike. An alarm
//! that may come with every move has an off-delay of a minute: the same alarm three times within a minute is
//! chattering. Eight hours is a shift: the next shift sees what persists. Wear persists for days, until a spare part
//! has come.
//!
//! | subject | priority | NE 107 | because |
//! |---|---|---|---|
//! | Signal | High | F, failure | no figure of the axis can be right until it is repaired |
//! | Unsettled | Medium | S, out of specification | the process may begin on an axis that does not stand still |
//! | FollowingError | Medium | S, out of specification | the axis does not follow its command |
//! | Drift | Low | M, maintenance required | every stop is still good; something wears |
//! | Gap | Low | C, function check | moves of that time are marked untrusted; all others hold |
//!
//! Gaps belong to the device, not to an axis: their alarm is published as one of axis 0.

use stillpoint_core::alarm::LONGEST_TIME;
use stillpoint_core::alarm::{Category, Parameters, Priority, Settings};
use stillpoint_core::drift::LIMIT;
use stillpoint_core::wire::alarm::Subject;

/// A minute, a shift and a week. Unit: s
const MINUTE: u32 = 60;
const SHIFT: u32 = 8 * 3600;
const WEEK: u32 = 7 * 24 * 3600;

/// How the alarm of one subject behaves.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rule {
    pub(super) subject: Subject,
    /// The smallest figure that is abnormal.
    first: i16,
    /// Deadband: figures this far below `first` do not return to normal yet.
    band: i16,
    /// Unit: s
    off_delay: u32,
    /// 0 is never. Unit: s
    re_alarm_time: u32,
    /// Unit: s
    longest_shelving: u32,
    priority: Priority,
    category: Category,
}

/// Of each axis.
pub(super) const OF_AXIS: [Rule; 4] = [
    Rule {
        subject: Subject::Signal,
        first: 0,
        band: 0,
        off_delay: 0,
        re_alarm_time: SHIFT,
        longest_shelving: SHIFT,
        priority: Priority::High,
        category: Category::Failure,
    },
    Rule {
        subject: Subject::Unsettled,
        first: 3,
        band: 2,
        off_delay: MINUTE,
        re_alarm_time: SHIFT,
        longest_shelving: SHIFT,
        priority: Priority::Medium,
        category: Category::OutOfSpecification,
    },
    Rule {
        subject: Subject::FollowingError,
        first: 1,
        band: 0,
        off_delay: MINUTE,
        re_alarm_time: SHIFT,
        longest_shelving: SHIFT,
        priority: Priority::Medium,
        category: Category::OutOfSpecification,
    },
    Rule {
        subject: Subject::Drift,
        first: LIMIT as i16,
        band: (LIMIT / 2 - 1) as i16,
        off_delay: 0,
        re_alarm_time: 0,
        longest_shelving: WEEK,
        priority: Priority::Low,
        category: Category::MaintenanceRequired,
    },
];

/// Of the device.
pub(super) const OF_DEVICE: Rule = Rule {
    subject: Subject::Gap,
    first: 1,
    band: 0,
    off_delay: MINUTE,
    re_alarm_time: 0,
    longest_shelving: SHIFT,
    priority: Priority::Low,
    category: Category::FunctionCheck,
};

/// A figure as the core's alarm evaluates it.
///
/// In the core a number on the limit is neither abnormal nor normal again. Figures are whole numbers, so they are
/// doubled: the limit then lies between two of them.
pub(super) fn doubled(figure: i64) -> i64 {
    figure.saturating_mul(2)
}

/// The figure before it was [`doubled`], and the smallest figure that is abnormal.
pub(super) fn halved(value: Option<i64>, limit: i64) -> (i64, i64) {
    (value.unwrap_or_default() >> 1, (limit + 1) >> 1)
}

impl Rule {
    /// Settings of the core's alarm, with every figure [`doubled`].
    pub(super) fn settings(&self, ticks_per_second: u32) -> Settings {
        let ticks = |seconds: u32| (u64::from(seconds) * u64::from(ticks_per_second)).min(LONGEST_TIME);
        let parameters = Parameters {
            limit: doubled(self.first.into()) - 1,
            deadband: doubled(self.band.into()),
            off_delay: ticks(self.off_delay),
            re_alarm_time: ticks(self.re_alarm_time),
            longest_shelving: ticks(self.longest_shelving),
            priority: self.priority,
            category: self.category,
            ..Parameters::default()
        };
        // The rules above are valid at every rate.
        Settings::new(parameters).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_is_sound_and_switches_at_its_limits() {
        let back = [-1, 0, 0, 128, 0];
        for (rule, back) in OF_AXIS.iter().chain([&OF_DEVICE]).zip(back) {
            for rate in [1, 1_000_000, u32::MAX] {
                let settings = rule.settings(rate);
                assert_eq!(settings.priority, rule.priority, "{rule:?} is used");
                let first = i64::from(rule.first);
                assert_eq!((settings.beyond(first * 2), settings.beyond(first * 2 - 2)), (true, false));
                assert_eq!((settings.clear(back * 2), settings.clear(back * 2 + 2)), (true, false));
            }
        }
        // The longest at ten million ticks in a second, exactly.
        let drift = OF_AXIS.iter().find(|rule| rule.subject == Subject::Drift);
        assert_eq!(drift.map(|rule| rule.settings(10_000_000).longest_shelving), Some(6_048_000_000_000));
    }
}
