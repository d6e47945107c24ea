//! In: what the user asks of one alarm. Out: the same, checked once and never changed.

use crate::settings::Invalid;
use core::ops::Deref;

/// How soon a person must answer. Source: the four of ANSI/ISA-18.2 and IEC 62682.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Priority {
    /// About 80 % of all alarms.
    #[default]
    Low,
    /// About 15 %.
    Medium,
    /// About 5 %.
    High,
    /// Fewer than 1 %.
    Highest,
}

/// What the alarm says of the axis. Source: the four categories of NAMUR NE 107.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Category {
    /// F: the signal is invalid, something is broken.
    Failure,
    /// C: the signal is invalid for a time, somebody works on it.
    FunctionCheck,
    /// S: run outside of what was specified, or uncertain.
    OutOfSpecification,
    /// M: the signal is valid, but wear is nearly used up.
    #[default]
    MaintenanceRequired,
}

impl Category {
    /// The letter on a display.
    pub const fn letter(self) -> char {
        match self {
            Category::Failure => 'F',
            Category::FunctionCheck => 'C',
            Category::OutOfSpecification => 'S',
            Category::MaintenanceRequired => 'M',
        }
    }
}

/// On which side of the limit the condition is abnormal; the limit itself is normal.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Side {
    /// A number greater than the limit.
    #[default]
    Above,
    /// A number less than the limit.
    Below,
}

/// What can be asked of one alarm; [`Settings::new`] checks it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parameters {
    /// Unit: that of the number watched
    pub limit: i64,
    /// Where it is abnormal.
    pub side: Side,
    /// How far back across the limit the number must come to be normal again. Unit: that of the limit
    pub deadband: i64,
    /// How long the number must stay beyond the limit to raise the alarm. Unit: ticks
    pub on_delay: u64,
    /// How long it must stay back to clear the alarm. Unit: ticks
    pub off_delay: u64,
    /// Whether an alarm that has cleared is held until a person resets it.
    pub latching: bool,
    /// How long after the acknowledgement a standing alarm is raised again; 0 is never. Unit: ticks
    pub re_alarm_time: u64,
    /// Longest time an alarm may be shelved; 0 forbids shelving. Unit: ticks
    pub longest_shelving: u64,
    /// How soon a person must answer.
    pub priority: Priority,
    /// What it says of the axis.
    pub category: Category,
}

impl Default for Parameters {
    fn default() -> Parameters {
        Parameters {
            limit: 0,
            side: Side::Above,
            deadband: 0,
            on_delay: 0,
            off_delay: 0,
            latching: false,
            re_alarm_time: 0,
            longest_shelving: 0,
            priority: Priority::Low,
            category: Category::MaintenanceRequired,
        }
    }
}

/// Longest time a setting may name: nine years of microseconds, so that no sum wraps. Unit: ticks
pub const LONGEST_TIME: u64 = 1 << 48;

/// Checked [`Parameters`]; read them through it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    parameters: Parameters,
    /// The limit with the deadband taken off.
    clear: i64,
}

impl Settings {
    /// Checks every parameter; the error names the first that breaks its rule.
    pub const fn new(parameters: Parameters) -> Result<Settings, Invalid> {
        let p = &parameters;
        // Overflow ends where a number can't clear the alarm either.
        let (farthest, clear, unclear) = match p.side {
            Side::Above => (i64::MAX, p.limit.saturating_sub(p.deadband), i64::MIN),
            Side::Below => (i64::MIN, p.limit.saturating_add(p.deadband), i64::MAX),
        };
        let broken = if p.limit == farthest {
            Some(("limit", "one that some number lies beyond"))
        } else if p.deadband < 0 {
            Some(("deadband", "0 or more"))
        } else if clear == unclear {
            Some(("deadband", "so small that some number clears the alarm"))
        } else if p.on_delay > LONGEST_TIME {
            Some(("on_delay", "at most 2^48 ticks"))
        } else if p.off_delay > LONGEST_TIME {
            Some(("off_delay", "at most 2^48 ticks"))
        } else if p.re_alarm_time > LONGEST_TIME {
            Some(("re_alarm_time", "at most 2^48 ticks"))
        } else if p.longest_shelving > LONGEST_TIME {
            Some(("longest_shelving", "at most 2^48 ticks"))
        } else {
            None
        };
        match broken {
            Some((parameter, rule)) => Err(Invalid { parameter, rule }),
            None => Ok(Settings { parameters, clear }),
        }
    }

    /// Whether a number lies beyond the limit.
    pub const fn beyond(&self, value: i64) -> bool {
        match self.parameters.side {
            Side::Above => value > self.parameters.limit,
            Side::Below => value < self.parameters.limit,
        }
    }

    /// Whether a number lies back across the limit by more than the deadband.
    pub const fn clear(&self, value: i64) -> bool {
        match self.parameters.side {
            Side::Above => value < self.clear,
            Side::Below => value > self.clear,
        }
    }
}

impl Default for Settings {
    /// Those of [`Parameters::default`].
    fn default() -> Settings {
        let parameters = Parameters::default();
        Settings { parameters, clear: parameters.limit }
    }
}

impl Deref for Settings {
    type Target = Parameters;

    fn deref(&self) -> &Parameters {
        &self.parameters
    }
}
