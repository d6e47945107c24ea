//! In: subjects of alarms. Out: limit, delays and priority of each, until a host sends others.
//!
//! | subject | figure | abnormal from | normal again | off-delay | re-alarm | longest shelving |
//! |---|---|---|---|---|---|---|
//! | Signal | index of the finding, −1 for none | 0 | −1 | none | 8 h | 8 h |
//! | SettlingLimit | share of moves that settle later than the limit, as far as it is shown, in per mille | what a person gives | shown to be below | none; 8 h if it has returned | 8 h | 7 days |
//! | UnsettledLimit | share of moves that do not settle, the same way | what a person gives | shown to be below | none; 8 h if it has returned | 8 h | 8 h |
//! | Unsettled | stops in a row that did not settle | 3 | 0 | 60 s | 8 h | 8 h |
//! | FollowingError | counts beyond its window | 1 | 0 | 60 s | 8 h | 8 h |
//! | Drift | the detector's figure, in 1/256 of its limit | 256 | 255 | none; 8 h if it has returned | never | 7 days |
//! | Gap | samples and frames of moves lost since the last tick | 1 | 0 | 60 s | never | 8 h |
//!
//! The order is that in which alarms are named: nothing else holds while the signals are wrong, and a limit that a
//! person gives comes before what the monitor finds by itself.
//!
//! No alarm has an on-delay or a latch by default: three stops, three moves, the time-out 0x6066 and the evidence of a
//! drift or of a share are delays already. Three stops, because one may be disturbed and two may be disturbed alike. An
//! alarm that may come with every move has an off-delay of a minute: the same alarm three times within a minute is
//! chattering. A drift and a share have neither delay nor deadband: they begin when the moves show it, and end when the
//! moves show that they are back, which takes a test of its own, as sound as the first. But a level that swings truly
//! comes and goes with every swing: a drift or a share that returns within a shift then stays until a shift has passed
//! without it, so that it calls a person at most twice in a shift. Eight hours is a shift: the next shift sees what
//! persists. Wear persists for days, until a spare part has come.
//!
//! | subject | priority | NE 107 | because |
//! |---|---|---|---|
//! | Signal | High | F, failure | no figure of the axis can be right until it is repaired |
//! | SettlingLimit | Medium | S, out of specification | the axis takes longer than a person allows |
//! | UnsettledLimit | High | S, out of specification | a person has said how often the axis may not stand still |
//! | Unsettled | Medium | S, out of specification | the process may begin on an axis that does not stand still |
//! | FollowingError | Medium | S, out of specification | the axis does not follow its command |
//! | Drift | Low | M, maintenance required | every stop is still good; something wears |
//! | Gap | Low | C, function check | moves of that time are marked untrusted; all others hold |
//!
//! Gaps belong to the device, not to an axis: their alarm is published as one of axis 0.

use stillpoint_core::Invalid;
use stillpoint_core::alarm::LONGEST_TIME;
use stillpoint_core::alarm::{Category, Parameters, Priority, Settings, Side};
use stillpoint_core::drift::LIMIT;
use stillpoint_core::wire::alarm::{Arrangement, Subject};

/// A minute, a shift and a week. Unit: s
const MINUTE: u32 = 60;
pub(super) const SHIFT: u32 = 8 * 3600;
const WEEK: u32 = 7 * 24 * 3600;

/// Limit of a share that a person does not limit: no share is so large. Unit: per mille
const UNLIMITED: i16 = 1001;

/// How the alarm of one subject behaves.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rule {
    pub(super) subject: Subject,
    /// The smallest figure that is abnormal, until a person gives a limit.
    pub(super) first: i16,
    /// Deadband: figures this far below `first` do not return to normal yet.
    band: i16,
    /// Unit: s
    off_delay: u32,
    /// Once it has returned within a shift, it stays until a shift has passed without it.
    pub(super) stays: bool,
    /// 0 is never. Unit: s
    re_alarm_time: u32,
    /// Unit: s
    longest_shelving: u32,
    priority: Priority,
    pub(super) category: Category,
}

/// Of each axis.
pub(super) static OF_AXIS: [Rule; 6] = [
    Rule {
        subject: Subject::Signal,
        first: 0,
        band: 0,
        off_delay: 0,
        stays: false,
        re_alarm_time: SHIFT,
        longest_shelving: SHIFT,
        priority: Priority::High,
        category: Category::Failure,
    },
    Rule {
        subject: Subject::SettlingLimit,
        first: UNLIMITED,
        band: 0,
        off_delay: 0,
        stays: true,
        re_alarm_time: SHIFT,
        longest_shelving: WEEK,
        priority: Priority::Medium,
        category: Category::OutOfSpecification,
    },
    Rule {
        subject: Subject::UnsettledLimit,
        first: UNLIMITED,
        band: 0,
        off_delay: 0,
        stays: true,
        re_alarm_time: SHIFT,
        longest_shelving: SHIFT,
        priority: Priority::High,
        category: Category::OutOfSpecification,
    },
    Rule {
        subject: Subject::Unsettled,
        first: 3,
        band: 2,
        off_delay: MINUTE,
        stays: false,
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
        stays: false,
        re_alarm_time: SHIFT,
        longest_shelving: SHIFT,
        priority: Priority::Medium,
        category: Category::OutOfSpecification,
    },
    Rule {
        subject: Subject::Drift,
        first: LIMIT as i16,
        band: 0,
        off_delay: 0,
        stays: true,
        re_alarm_time: 0,
        longest_shelving: WEEK,
        priority: Priority::Low,
        category: Category::MaintenanceRequired,
    },
];

/// Of the device.
pub(super) static OF_DEVICE: Rule = Rule {
    subject: Subject::Gap,
    first: 1,
    band: 0,
    off_delay: MINUTE,
    stays: false,
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

/// The figure before it was [`doubled`].
pub(super) fn halved(value: i64) -> i64 {
    value >> 1
}

/// The smallest share that is abnormal, by the limit that a person gives; 0 is none. Unit: per mille
pub(super) fn first_of_share(limit: u32) -> i16 {
    i16::try_from(limit).ok().filter(|limit| *limit > 0).unwrap_or(UNLIMITED)
}

/// Whether an alarm with this first abnormal figure has no meaning while the signals are wrong. An alarm about a share
/// that nobody limits can't occur at all.
pub(super) fn is_suppressed_by_fault(subject: Subject, first: i16) -> bool {
    match subject {
        Subject::Unsettled | Subject::Drift => true,
        Subject::SettlingLimit | Subject::UnsettledLimit => first != UNLIMITED,
        Subject::Signal | Subject::FollowingError | Subject::Gap => false,
    }
}

/// The rule of a subject.
pub(super) fn of(subject: Subject) -> &'static Rule {
    OF_AXIS.iter().find(|rule| rule.subject == subject).unwrap_or(&OF_DEVICE)
}

/// A time in ticks. Unit: s, ticks/s
pub(super) fn ticks(seconds: u32, ticks_per_second: u32) -> u64 {
    (u64::from(seconds) * u64::from(ticks_per_second)).min(LONGEST_TIME)
}

impl Rule {
    /// What people may change later, as it is at the start.
    pub(super) fn arrangement(&self, axis: u8, ticks_per_second: u32) -> Arrangement {
        let ticks = |seconds| ticks(seconds, ticks_per_second);
        Arrangement {
            axis,
            subject: self.subject,
            latching: false,
            on_delay: 0,
            off_delay: ticks(self.off_delay),
            re_alarm_time: ticks(self.re_alarm_time),
            longest_shelving: ticks(self.longest_shelving),
            priority: self.priority.into(),
        }
    }

    /// Settings of the core's alarm, with every figure [`doubled`]; `first` is the smallest that is abnormal.
    pub(super) fn settings(&self, first: i16, arrangement: &Arrangement) -> Result<Settings, Invalid> {
        let Arrangement { latching, on_delay, off_delay, re_alarm_time, longest_shelving, .. } = *arrangement;
        Settings::new(Parameters {
            limit: doubled(first.into()) - 1,
            side: Side::Above,
            deadband: doubled(self.band.into()),
            on_delay,
            off_delay,
            latching,
            re_alarm_time,
            longest_shelving,
            priority: arrangement.priority.into(),
            category: self.category,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_is_sound_and_switches_at_its_limits() {
        let back = [-1, 1000, 1000, 0, 0, 255, 0];
        for (rule, back) in OF_AXIS.iter().chain([&OF_DEVICE]).zip(back) {
            for rate in [1, 1_000_000, u32::MAX] {
                let settings = rule.settings(rule.first, &rule.arrangement(0, rate)).expect("a sound rule");
                assert_eq!(settings.priority, rule.priority, "{rule:?} is used");
                let first = i64::from(rule.first);
                assert_eq!((settings.beyond(first * 2), settings.beyond(first * 2 - 2)), (true, false));
                assert_eq!((settings.clear(back * 2), settings.clear(back * 2 + 2)), (true, false));
            }
            assert_eq!(of(rule.subject).subject, rule.subject);
        }
        // The longest at ten million ticks in a second, exactly.
        let drift = of(Subject::Drift).arrangement(0, 10_000_000);
        assert_eq!(drift.longest_shelving, 6_048_000_000_000);
    }

    #[test]
    fn a_share_without_a_limit_is_never_abnormal() {
        assert_eq!([0, 1, 50, 999].map(first_of_share), [UNLIMITED, 1, 50, 999]);
        assert!(i64::from(UNLIMITED) > 1000);
        assert!(!is_suppressed_by_fault(Subject::SettlingLimit, UNLIMITED));
        assert!(is_suppressed_by_fault(Subject::SettlingLimit, 50));
    }
}
