//! In: whole numbers: encoder resolution, gear ratio, feed constant. Out: exact fractions, such as counts per unit.
//!
//! Nothing here rounds before the last step: 0.01 mm on a 24-bit encoder with 60 mm per
//! revolution is 1048576/375 counts, and becomes 2796 only when a window is set.

use core::fmt;

/// An exact positive fraction in lowest terms. Unit: that of the ratio it represents
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fraction {
    numerator: u64,
    denominator: u64,
}

/// Why a scale can't be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unusable {
    /// The numerator or the denominator is zero.
    Zero,
    /// The exact fraction needs more than 64 bits.
    TooLarge,
}

impl core::error::Error for Unusable {}

impl fmt::Display for Unusable {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self {
            Unusable::Zero => "a scale can't have a zero in it",
            Unusable::TooLarge => "the exact fraction needs more than 64 bits",
        })
    }
}

impl Fraction {
    /// One to one.
    pub const ONE: Fraction = Fraction { numerator: 1, denominator: 1 };

    /// `numerator / denominator`, reduced.
    pub const fn new(numerator: u64, denominator: u64) -> Result<Fraction, Unusable> {
        reduced(numerator as u128, denominator as u128)
    }

    /// The numerator in lowest terms.
    pub const fn numerator(self) -> u64 {
        self.numerator
    }

    /// The denominator in lowest terms.
    pub const fn denominator(self) -> u64 {
        self.denominator
    }

    /// The product, exact.
    pub const fn times(self, other: Fraction) -> Result<Fraction, Unusable> {
        reduced(
            self.numerator as u128 * other.numerator as u128,
            self.denominator as u128 * other.denominator as u128,
        )
    }

    /// One over this.
    pub const fn inverse(self) -> Fraction {
        Fraction { numerator: self.denominator, denominator: self.numerator }
    }

    /// The largest whole number not above the fraction, at most `u32::MAX`.
    ///
    /// Rounded down, so that a window in counts is never wider than the window in units that was set.
    pub const fn floor(self) -> u32 {
        let whole = self.numerator / self.denominator;
        if whole > u32::MAX as u64 { u32::MAX } else { whole as u32 }
    }

    /// What [`Fraction::floor`] rounds off, rounded down. Unit: 1/256
    pub const fn fraction(self) -> u8 {
        let rest = (self.numerator % self.denominator) as u128;
        (rest * 256 / self.denominator as u128) as u8
    }

    /// The nearest double, for printing.
    pub fn to_f64(self) -> f64 {
        self.numerator as f64 / self.denominator as f64
    }
}

impl fmt::Display for Fraction {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}/{}", self.numerator, self.denominator)
    }
}

const fn reduced(numerator: u128, denominator: u128) -> Result<Fraction, Unusable> {
    if numerator == 0 || denominator == 0 {
        return Err(Unusable::Zero);
    }
    let common = greatest_common_divisor(numerator, denominator);
    let (numerator, denominator) = (numerator / common, denominator / common);
    if numerator > u64::MAX as u128 || denominator > u64::MAX as u128 {
        return Err(Unusable::TooLarge);
    }
    Ok(Fraction { numerator: numerator as u64, denominator: denominator as u64 })
}

const fn greatest_common_divisor(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// The CiA 402 / IEC 61800-7-201 scaling objects of one axis.
///
/// Source: object dictionary of CiA 402-2; position = increments × feed / (resolution × gear).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PositionFactor {
    /// 0x608F: encoder increments, per motor revolutions.
    pub encoder_resolution: (u32, u32),
    /// 0x6091: motor revolutions, per shaft revolutions.
    pub gear_ratio: (u32, u32),
    /// 0x6092: feed in user units, per shaft revolutions.
    pub feed_constant: (u32, u32),
}

impl PositionFactor {
    /// User units per encoder increment, exact. Unit: user units/count
    pub const fn units_per_count(self) -> Result<Fraction, Unusable> {
        let (increments, motor) = self.encoder_resolution;
        let (gear_motor, gear_shaft) = self.gear_ratio;
        let (feed, feed_shaft) = self.feed_constant;
        reduced(
            feed as u128 * motor as u128 * gear_shaft as u128,
            feed_shaft as u128 * increments as u128 * gear_motor as u128,
        )
    }

    /// Encoder increments per user unit, exact. Unit: counts/user unit
    pub const fn counts_per_unit(self) -> Result<Fraction, Unusable> {
        match self.units_per_count() {
            Ok(fraction) => Ok(fraction.inverse()),
            Err(unusable) => Err(unusable),
        }
    }
}
