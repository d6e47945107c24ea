//! In: nothing. Out: the words of the answer: ringing with its numbers, or why there is none.

/// What a fit found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// An oscillation that decays.
    Ringing(Ringing),
    /// None that could be stated.
    Refused(Refusal),
}

/// A decaying oscillation of the error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ringing {
    /// Damped frequency. Unit: Hz
    pub frequency: f32,
    /// Its standard uncertainty. Unit: Hz
    pub frequency_u: f32,
    /// None if the decay is not exponential, as that of dry friction.
    pub damping: Option<Damping>,
    /// Time constant of the tail beside the oscillation; none if none was seen. Unit: s
    pub tail: Option<f32>,
    /// Amplitude at the first point. Unit: counts
    pub amplitude: f32,
}

/// How quickly an oscillation decays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Damping {
    /// Damping ratio: 1 is critical. Unit: 1
    pub ratio: f32,
    /// Its standard uncertainty. Unit: 1
    pub u: f32,
}

/// Why no ringing is stated; the numbers are codes for frames and records.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Refusal {
    /// Fewer than 16 samples.
    TooShort = 1,
    /// Intervals between samples differ by half.
    Uneven = 2,
    /// The error is too large for the sums of a capture.
    TooLarge = 3,
    /// The error changes by less than two encoder steps.
    Still = 4,
    /// Nothing oscillates.
    NoOscillation = 5,
    /// The frequency is above 0.4 of the rate of the points.
    TooFast = 6,
    /// Two exponentials describe the stop about as well.
    NotBeyondDecay = 7,
    /// More than one oscillation, or none that decays exponentially.
    NotExponential = 8,
    /// It grows, or is damped so much that it hardly rings.
    Damping = 9,
    /// Less than one and a half periods are visible.
    TooFewPeriods = 10,
    /// The frequency is uncertain by more than a tenth.
    UncertainFrequency = 11,
    /// The damping is uncertain by more than three tenths of itself and by more than 0.03.
    UncertainDamping = 12,
}

impl Refusal {
    /// All of them, in order.
    pub const ALL: [Refusal; 12] = [
        Refusal::TooShort,
        Refusal::Uneven,
        Refusal::TooLarge,
        Refusal::Still,
        Refusal::NoOscillation,
        Refusal::TooFast,
        Refusal::NotBeyondDecay,
        Refusal::NotExponential,
        Refusal::Damping,
        Refusal::TooFewPeriods,
        Refusal::UncertainFrequency,
        Refusal::UncertainDamping,
    ];
}
