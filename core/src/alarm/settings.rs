//! In: the parameters of one alarm. Out: [`Settings`], which hold checked parameters, or [`Invalid`].

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

/// Category of the axis's condition. Source: the four categories of NAMUR NE 107.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Category {
    /// F: the signal is invalid because of a failure.
    Failure,
    /// C: the signal is invalid for a time because of work on the axis.
    FunctionCheck,
    /// S: the axis runs outside its specification, or the signal is uncertain.
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

/// Side of the limit on which the condition is abnormal; the limit itself is normal.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Side {
    /// A value greater than the limit.
    #[default]
    Above,
    /// A value less than the limit.
    Below,
}

/// Parameters of one alarm; [`Settings::new`] checks them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parameters {
    /// Limit that the value is compared with. Unit: that of the value
    pub limit: i64,
    /// Side of the limit that is abnormal.
    pub side: Side,
    /// How far back across the limit the value must come to be normal again. Unit: that of the limit
    pub deadband: i64,
    /// How long the value must be beyond the limit to raise the alarm. Unit: ticks
    pub on_delay: u64,
    /// How long the value must be normal again to clear the alarm. Unit: ticks
    pub off_delay: u64,
    /// Whether a latch holds an alarm that has cleared until a person resets it.
    pub latching: bool,
    /// Time from the acknowledgement until an alarm that is still abnormal is raised again; 0 is never. Unit: ticks
    pub re_alarm_time: u64,
    /// Longest time an alarm may be shelved; 0 forbids shelving. Unit: ticks
    pub longest_shelving: u64,
    /// How soon a person must answer.
    pub priority: Priority,
    /// Category of the axis's condition.
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

/// Longest time that can be set, nine years in microseconds; no sum of times wraps. Unit: ticks
pub const LONGEST_TIME: u64 = 1 << 48;

/// Checked [`Parameters`]; this type dereferences to them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    parameters: Parameters,
    /// The limit less the deadband; beyond it the value is normal again.
    clear: i64,
}

impl Settings {
    /// Checks every parameter; the error names the first that breaks its rule.
    pub const fn new(parameters: Parameters) -> Result<Settings, Invalid> {
        let p = &parameters;
        // The limit less the deadband saturates where no value could clear the alarm.
        let (farthest, clear, unreachable) = match p.side {
            Side::Above => (i64::MAX, p.limit.saturating_sub(p.deadband), i64::MIN),
            Side::Below => (i64::MIN, p.limit.saturating_add(p.deadband), i64::MAX),
        };
        let broken = if p.limit == farthest {
            Some(("limit", "one that a value can be beyond"))
        } else if p.deadband < 0 {
            Some(("deadband", "0 or more"))
        } else if clear == unreachable {
            Some(("deadband", "so small that a value can clear the alarm"))
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

    /// Whether a value is beyond the limit.
    pub const fn beyond(&self, value: i64) -> bool {
        match self.parameters.side {
            Side::Above => value > self.parameters.limit,
            Side::Below => value < self.parameters.limit,
        }
    }

    /// Whether a value is back across the limit by more than the deadband.
    pub const fn clear(&self, value: i64) -> bool {
        match self.parameters.side {
            Side::Above => value < self.clear,
            Side::Below => value > self.clear,
        }
    }
}

impl Default for Settings {
    /// Settings with [`Parameters::default`].
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
