//! In: a finding. Out: its wire message; and the finding again.

use stillpoint_core::wire::finding;
use stillpoint_core::wire::finding::Which;

use super::{Finding, Severity, Signal};

/// Names the signal that is near its limit.
const fn near(signal: Signal) -> Which {
    match signal {
        Signal::Command => Which::CommandNearLimit,
        Signal::Feedback => Which::FeedbackNearLimit,
    }
}

impl Finding {
    /// The message that carries the finding. Unit of `at`: ticks since the first reading
    pub fn to_wire(&self, axis: u8, at: u64) -> finding::Finding {
        let (which, figure, proposed) = match *self {
            Finding::FeedbackMissing => (Which::FeedbackMissing, 0, None),
            Finding::CommandDead => (Which::CommandDead, 0, None),
            Finding::Swapped => (Which::Swapped, 0, None),
            Finding::WrongSign { proposed } => (Which::WrongSign, 0, proposed),
            Finding::WrongRatio { proposed } => (Which::WrongRatio, 0, Some(proposed)),
            Finding::RateNearLimit { signal, change } => (near(signal), change, None),
            Finding::IllegalTransitions { count } => (Which::IllegalTransitions, count, None),
        };
        let severity = match self.severity() {
            Severity::Warning => finding::Severity::Warning,
            Severity::Fault => finding::Severity::Fault,
        };
        finding::Finding { axis, which, severity, figure, proposed, at }
    }
}

impl From<&finding::Finding> for Finding {
    fn from(message: &finding::Finding) -> Finding {
        let finding::Finding { figure, proposed, .. } = *message;
        let near = |signal| Finding::RateNearLimit { signal, change: figure };
        match message.which {
            Which::FeedbackMissing => Finding::FeedbackMissing,
            Which::CommandDead => Finding::CommandDead,
            Which::Swapped => Finding::Swapped,
            Which::WrongSign => Finding::WrongSign { proposed },
            // A message without a ratio gets one that can't be set.
            Which::WrongRatio => Finding::WrongRatio { proposed: proposed.unwrap_or((0, 0)) },
            Which::CommandNearLimit => near(Signal::Command),
            Which::FeedbackNearLimit => near(Signal::Feedback),
            Which::IllegalTransitions => Finding::IllegalTransitions { count: figure },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_finding_comes_back() {
        for finding in [
            Finding::FeedbackMissing,
            Finding::CommandDead,
            Finding::Swapped,
            Finding::WrongSign { proposed: Some((-5, 3)) },
            Finding::WrongSign { proposed: None },
            Finding::WrongRatio { proposed: (73, 72) },
            Finding::RateNearLimit { signal: Signal::Command, change: 7 },
            Finding::RateNearLimit { signal: Signal::Feedback, change: u32::MAX },
            Finding::IllegalTransitions { count: 4 },
        ] {
            assert_eq!(Finding::from(&finding.to_wire(3, 9)), finding);
        }
    }
}
