//! In: a fault of the signals. Out: its description in plain words, and its severity.

use core::fmt;

/// What a finding means for the measured numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The numbers are valid; a signal is near its limit.
    Warning,
    /// The numbers can't be right until this is repaired.
    Fault,
}

/// One of the two signals of an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signal {
    /// Commanded position.
    Command,
    /// Measured position.
    Feedback,
}

impl Signal {
    /// The word used everywhere.
    pub const fn word(self) -> &'static str {
        match self {
            Signal::Command => "command",
            Signal::Feedback => "feedback",
        }
    }
}

/// A fault of the signals of an axis; each kind is reported once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finding {
    /// The command made three moves in a row, and feedback never left its rest.
    ///
    /// Three, because one move may be lost to a brake or an enable that comes late.
    FeedbackMissing,
    /// Feedback made three moves in a row, each of sixteen bands or more, and the command never left its rest.
    ///
    /// Three, because a hand may move an axis once or twice.
    CommandDead,
    /// Three moves in a row with two of these signs: the command followed feedback by a quarter of a sample period or
    /// more, averaged over the move; the command changed in the rest and feedback did not; feedback left its rest
    /// first, or the ratio is the inverse of the command scale.
    ///
    /// Two, because each sign alone may have another cause: too much feedforward leads on average, a coarse encoder is
    /// quiet beside a command that flickers, a disturbance moves feedback first.
    Swapped,
    /// In three moves in a row feedback moved against the sign of the command scale.
    ///
    /// Three, because one may be cut short by a fault of the drive.
    WrongSign {
        /// Feedback counts per command count, if three moves agree.
        proposed: Option<(i32, i32)>,
    },
    /// Three moves or more agree on a ratio that deviates from the command scale by more than 1/64.
    ///
    /// 1/64, because friction and a rest error that depends on the direction shorten all travels a little; a wrong
    /// gear ratio or count setting is usually further off.
    WrongRatio {
        /// Feedback counts per command count.
        proposed: (i32, i32),
    },
    /// A signal changed in one sample by more than half of the largest change whose direction is certain, or faster
    /// than its input can count.
    ///
    /// Half, so that the warning comes before the first wrong position.
    RateNearLimit {
        /// Which signal.
        signal: Signal,
        /// Its change. Unit: counts
        change: u32,
    },
    /// Four transitions or more that no quadrature signal makes.
    ///
    /// Four, because switching on may cause one on each of two lines of two signals.
    IllegalTransitions {
        /// Number of illegal transitions.
        count: u32,
    },
}

impl Finding {
    /// Severity of the finding.
    pub const fn severity(&self) -> Severity {
        match self {
            Finding::RateNearLimit { .. } => Severity::Warning,
            Finding::FeedbackMissing
            | Finding::CommandDead
            | Finding::Swapped
            | Finding::WrongSign { .. }
            | Finding::WrongRatio { .. }
            | Finding::IllegalTransitions { .. } => Severity::Fault,
        }
    }

    /// A bit for each kind.
    pub(super) const fn bit(&self) -> u8 {
        match self {
            Finding::FeedbackMissing => 1,
            Finding::CommandDead => 1 << 1,
            Finding::Swapped => 1 << 2,
            Finding::WrongSign { .. } => 1 << 3,
            Finding::WrongRatio { .. } => 1 << 4,
            Finding::RateNearLimit { signal: Signal::Command, .. } => 1 << 5,
            Finding::RateNearLimit { signal: Signal::Feedback, .. } => 1 << 6,
            Finding::IllegalTransitions { .. } => 1 << 7,
        }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Finding::FeedbackMissing => {
                out.write_str("the command moves but feedback stands still: check the wires and supply of the feedback tap")
            }
            Finding::CommandDead => out.write_str(
                "feedback moves but the command stands still: check the wires of the command tap, or is the axis moved by hand?",
            ),
            Finding::Swapped => out.write_str("the command comes after the feedback: the two taps seem to be swapped"),
            Finding::WrongSign { proposed: Some((upper, lower)) } => {
                write!(out, "feedback goes the other way than the command: set the command scale to {upper}/{lower}")
            }
            Finding::WrongSign { proposed: None } => {
                out.write_str("feedback goes the other way than the command: turn the sign of the command scale")
            }
            Finding::WrongRatio { proposed: (upper, lower) } => write!(
                out,
                "finished moves don't fit the command scale: set it to {upper}/{lower} feedback counts per command count"
            ),
            Finding::RateNearLimit { signal, change } => write!(
                out,
                "the {} changed by {change} counts in one sample, near the limit of its counter or input",
                signal.word()
            ),
            Finding::IllegalTransitions { count } => write!(
                out,
                "{count} illegal quadrature transitions: check shielding, termination and the speed of the lines"
            ),
        }
    }
}
