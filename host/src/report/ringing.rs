//! In: what a fit found in a stop, its settling curve. Out: the ringing and the tail in its report.

use stillpoint_core::Signature;
use stillpoint_core::ringing::{Answer, Refusal, Ringing};

use super::field::WindowSettling;
use super::move_report::MoveReport;
use crate::analysis::two_modes::TwoModes;
use crate::decode::StopRinging;

impl MoveReport {
    /// The report with what is known of the ringing of its stop, and with its tail.
    pub fn with_ringing(self, ringing: StopRinging) -> MoveReport {
        let tail_s = self.tail_of_curve();
        let reason = |reason: &str| Some(reason.to_owned());
        match ringing {
            StopRinging::Unknown => MoveReport { tail_s, ..self },
            StopRinging::NotEvaluated => {
                MoveReport { tail_s, ringing_reason: reason("not evaluated"), ..self }
            }
            StopRinging::Evaluated(Answer::Refused(why)) => {
                MoveReport { tail_s, ringing_reason: reason(refusal(why)), ..self }
            }
            StopRinging::Evaluated(Answer::Ringing(found)) => self.with_oscillation(&found),
        }
    }

    fn with_oscillation(self, found: &Ringing) -> MoveReport {
        let no_damping = "the decay is not exponential, as with dry friction: no damping ratio";
        MoveReport {
            ringing_hz: Some(decimal(found.frequency)),
            ringing_u_hz: Some(decimal(found.frequency_u)),
            damping_ratio: found.damping.map(|damping| decimal(damping.ratio)),
            damping_u: found.damping.map(|damping| decimal(damping.u)),
            tail_s: found.tail.map(decimal),
            ringing_amplitude: Some(decimal(found.amplitude) / self.counts_per_unit),
            ringing_reason: found.damping.is_none().then(|| no_damping.to_owned()),
            ..self
        }
    }

    /// The report with the two oscillations of its stop, if two are shown.
    pub fn with_two_modes(self, found: Option<TwoModes>) -> MoveReport {
        let Some(TwoModes { first, second }) = found else { return self };
        let counts = self.counts_per_unit;
        MoveReport {
            first_mode_hz: Some(first.frequency),
            first_mode_u_hz: Some(first.frequency_u),
            first_mode_damping: Some(first.damping),
            first_mode_damping_u: Some(first.damping_u),
            first_mode_amplitude: Some(first.amplitude / counts),
            second_mode_hz: Some(second.frequency),
            second_mode_u_hz: Some(second.frequency_u),
            second_mode_damping: Some(second.damping),
            second_mode_damping_u: Some(second.damping_u),
            second_mode_amplitude: Some(second.amplitude / counts),
            ..self
        }
    }

    /// Time constant of the tail of a stop that lags or creeps: the time between entering four windows, or two, and the
    /// window itself, over the logarithm of that ratio. Unit: s
    fn tail_of_curve(&self) -> Option<f64> {
        let has_tail = [Signature::Lag, Signature::Creep].map(Signature::word);
        let named = self.signature.as_deref().is_some_and(|signature| has_tail.contains(&signature));
        let settled = |point: &&WindowSettling| point.1.is_some_and(|settling| settling > 0.0);
        let within = |times: f64| {
            let largest = times * self.window;
            self.settling_curve
                .iter()
                .filter(settled)
                .find(|point| point.0 <= largest && point.0 > self.window)
        };
        let (window, from) = within(4.0).copied().filter(|_| named)?;
        let (time, ratio) = (self.last_entry_s().0? - from?, window / self.window);
        (ratio >= 1.9 && time > 0.0).then(|| time / ratio.ln())
    }
}

/// A number in as few digits as it was sent with.
fn decimal(number: f32) -> f64 {
    number.to_string().parse().unwrap_or(f64::from(number))
}

/// Why no ringing is stated, in words.
pub fn refusal(why: Refusal) -> &'static str {
    match why {
        Refusal::TooShort => "fewer than 16 samples after the command end",
        Refusal::Uneven => "the samples are not even",
        Refusal::TooLarge => "the error is too large",
        Refusal::Still => "the error hardly changes",
        Refusal::NoOscillation => "nothing oscillates",
        Refusal::TooFast => "too fast for the samples",
        Refusal::NotBeyondDecay => "a plain decay describes it as well",
        Refusal::NotExponential => "several oscillations, or one that does not decay exponentially",
        Refusal::Damping => "it grows, or hardly rings",
        Refusal::TooFewPeriods => "fewer than one and a half periods are visible",
        Refusal::UncertainFrequency => "its frequency is uncertain by more than a tenth",
        Refusal::UncertainDamping => "its damping is too uncertain",
    }
}
