//! In: what a fit found in a stop, its settling curve. Out: the ringing and the tail in its report.

use stillpoint_core::Signature;
use stillpoint_core::ringing::{Answer, Refusal, Ringing};

use super::move_report::MoveReport;
use crate::analysis::two_modes::TwoModes;
use crate::decode::StopRinging;

/// Why an oscillation of the capture is not stated where all samples turn quicker.
const FOLDED: &str =
    "the stop turns more than twice as often as the oscillation that was found: it may be folded";
/// Turning points from which on their spacing counts.
const FEWEST_TURNS: u32 = 4;
/// Most by which the two halves of a tail may differ.
const TAIL_RATIO: f64 = 1.5;

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
            StopRinging::Evaluated(Answer::Ringing(found)) if self.turns_quicker(&found) => {
                MoveReport { tail_s, ringing_reason: reason(FOLDED), ..self }
            }
            StopRinging::Evaluated(Answer::Ringing(found)) => self.with_oscillation(&found),
        }
    }

    /// Whether the error turns more than twice as often as at this frequency. A swing that begins late, after the points of a
    /// capture have grown long, can be folded by them; the turning points are those of all samples.
    fn turns_quicker(&self, found: &Ringing) -> bool {
        let turns = self.turning_points.filter(|turns| *turns >= FEWEST_TURNS).and(self.turning_spacing_s);
        turns.is_some_and(|spacing| 1.0 > 4.0 * spacing * f64::from(found.frequency))
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

    /// Time constant of the tail of a stop that lags or creeps: the time between entering about four windows and the window
    /// itself, over the logarithm of that ratio. None if the two halves of it differ: then the tail is no exponential, or it
    /// ends at a rest error. Unit: s
    fn tail_of_curve(&self) -> Option<f64> {
        let has_tail = [Signature::Lag, Signature::Creep].map(Signature::word);
        self.signature.as_deref().filter(|signature| has_tail.contains(signature))?;
        let entry = |windows: std::ops::Range<f64>| {
            let inside = self.settling_curve.iter().rev().find(|point| windows.contains(&point.0))?;
            Some((inside.0, inside.1.filter(|settling| *settling > 0.0)?))
        };
        let middle = entry(1.4 * self.window..2.8 * self.window)?;
        let wide = entry(1.9 * middle.0..2.1 * middle.0)?;
        let narrow = (self.window, self.last_entry_s().0?);
        let tail =
            |(wide, early): (f64, f64), (narrow, late): (f64, f64)| (late - early) / (wide / narrow).ln();
        let (first, second) = (tail(wide, middle), tail(middle, narrow));
        let alike = first > 0.0 && second <= TAIL_RATIO * first && first <= TAIL_RATIO * second;
        alike.then(|| tail(wide, narrow))
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

#[cfg(test)]
mod tests {
    use super::super::fixture::{self, WINDOW};
    use super::*;

    /// The tail of a stop whose error at these times is `error`. Unit: s, mm
    fn tail(error: impl Fn(f64) -> f64) -> Option<f64> {
        let entry = |window: f64| (0..100_000).map(|at| 1e-5 * f64::from(at)).find(|at| error(*at) <= window);
        let curve = [8.0, 4.0, 2.0, 1.0, 0.5].map(|times| (times * WINDOW, entry(times * WINDOW)));
        let report = MoveReport {
            signature: Some(Signature::Creep.word().to_owned()),
            settling_s: entry(WINDOW),
            settling_curve: curve.to_vec(),
            ..fixture::report(1, Some(0.05))
        };
        report.with_ringing(StopRinging::Unknown).tail_s
    }

    #[test]
    fn a_tail_that_ends_at_a_rest_error_or_is_a_line_has_no_time_constant() {
        let exponential = tail(|at| 20.0 * WINDOW * (-at / 0.05).exp()).expect("a tail");
        assert!((exponential / 0.05 - 1.0).abs() < 0.01, "{exponential}");
        assert_eq!(tail(|at| 0.9 * WINDOW + 20.0 * WINDOW * (-at / 0.05).exp()), None);
        assert_eq!(tail(|at| 20.0 * WINDOW * (1.0 - at / 0.5)), None);
    }

    #[test]
    fn an_oscillation_below_half_the_turning_frequency_is_not_stated() {
        let found =
            Ringing { frequency: 45.26, frequency_u: 0.27, damping: None, tail: None, amplitude: 80.0 };
        let stated = |spacing: f64, turns: u32| {
            let report = MoveReport {
                turning_points: Some(turns),
                turning_spacing_s: Some(spacing),
                ringing_hz: None,
                ..fixture::report(1, None)
            };
            report.with_ringing(StopRinging::Evaluated(Answer::Ringing(found))).ringing_hz
        };
        assert_eq!(stated(0.0011, 700), None);
        assert!(stated(0.5 / 45.26, 9).is_some() && stated(0.0011, 3).is_some());
    }
}
