//! In: a position as written. Out: counts.
//!
//! Columns in a unit become counts of 10^-n units, with n large enough for every decimal and small enough for the whole
//! travel in 32 bits. Columns in counts are not changed.

use crate::trace::decimal::{Decimal, power};
use crate::trace::survey::Survey;
use stillpoint_core::Fraction;

/// Largest number of decimals: more are finer than any encoder and reduce the range.
const MAX_PLACES: i32 = 9;

/// Largest number of trailing zeros that count as resolution of an axis at rest. More zeros are likely a program's fixed
/// format, and would reduce the range.
const MAX_ZEROS: u32 = 4;

/// Conversion of positions to counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Scale {
    /// Counts are the number × 10 to this power.
    pub(crate) places: i32,
    /// Whether counts beyond 32 bits wrap, like the counters of a drive.
    pub(crate) wraps: bool,
    /// Whether a number with a fraction is a fault.
    pub(crate) whole: bool,
    /// Whether a number was rounded.
    pub(crate) rounded: bool,
    /// Whether a count wrapped.
    pub(crate) wrapped: bool,
    /// Lowest and highest count before wrapping.
    pub(crate) span: (i64, i64),
}

/// Why a number is not a count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Misfit {
    /// It exceeds 32 bits.
    TooLarge,
    /// It has a fraction.
    NotWhole,
}

impl Scale {
    /// For columns in counts.
    pub(crate) fn counts() -> Scale {
        let span = (i64::MAX, i64::MIN);
        Scale { places: 0, wraps: true, whole: true, rounded: false, wrapped: false, span }
    }

    /// For columns in a unit, from the surveyed rows.
    pub(crate) fn units(survey: &Survey, known: bool) -> Scale {
        let written = if survey.whole { 0 } else { survey.written().min(MAX_ZEROS) };
        let needed = survey.decimals().max(written) as i32;
        if needed == 0 && !known {
            // Whole numbers of an unknown unit are most likely counts.
            return Scale { whole: false, ..Scale::counts() };
        }
        // Twice the reach, because the travel from end to end must fit; more if later rows may reach further.
        let (room, spare) = if survey.whole { (2.0, 0) } else { (8.0, 1) };
        let reach = survey.reach().max(1.0) * room;
        let largest = (f64::from(i32::MAX) / reach).log10().floor().clamp(-9.0, f64::from(MAX_PLACES)) as i32;
        let places = (needed + spare).min(largest);
        Scale { places, wraps: false, whole: false, ..Scale::counts() }
    }

    /// Counts in one unit.
    pub(crate) fn counts_per_unit(self) -> Fraction {
        let size = power(self.places.unsigned_abs()).map_or(1, i64::unsigned_abs);
        let (upper, lower) = if self.places < 0 { (1, size) } else { (size, 1) };
        Fraction::new(upper, lower).unwrap_or(Fraction::ONE)
    }

    /// Whether a move may exceed the range of its travel.
    pub(crate) fn overspans(&self) -> bool {
        self.span.1.saturating_sub(self.span.0) > i64::from(i32::MAX)
    }

    /// The counts of a number; records whether it was rounded or wrapped.
    #[inline]
    pub(crate) fn apply(&mut self, figure: Decimal) -> Result<i32, Misfit> {
        let (count, exact) = figure.scaled(self.places).ok_or(Misfit::TooLarge)?;
        if !exact {
            if self.whole {
                return Err(Misfit::NotWhole);
            }
            self.rounded = true;
        }
        if self.wraps {
            self.span = (self.span.0.min(count), self.span.1.max(count));
        }
        match i32::try_from(count) {
            Ok(count) => Ok(count),
            Err(_) if self.wraps => {
                self.wrapped = true;
                Ok(count as i32)
            }
            Err(_) => Err(Misfit::TooLarge),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::number::parse;

    fn figure(text: &str) -> Decimal {
        parse(text.as_bytes(), b'.').unwrap()
    }

    #[track_caller]
    fn check(values: &[&str], whole: bool, known: bool, places: i32, wraps: bool) {
        let rows = values.iter().map(|text| [Decimal::default(), figure(text), Decimal::default()]).collect();
        let scale = Scale::units(&Survey { pieces: vec![rows], lines: vec![], whole }, known);
        assert_eq!((scale.places, scale.wraps), (places, wraps), "{values:?}");
    }

    #[test]
    fn every_decimal_is_used_while_the_travel_fits() {
        check(&["0.0", "87.89"], true, true, 2, false);
        check(&["0.0", "87.89"], false, true, 3, false);
        check(&["0.0000", "0"], true, true, 0, false);
        check(&["0.0000", "0"], false, false, 5, false);
        check(&["0.000000000000", "0"], false, true, 5, false);
        check(&["0", "0"], false, false, 0, true);
        check(&["0", "100000"], true, true, 0, false);
        check(&["0", "100000"], true, false, 0, true);
        check(&["0.955336489125606"], true, true, 9, false);
        check(&["95.5336489125606"], true, true, 7, false);
        check(&["95.5336489125606"], false, true, 6, false);
        check(&["1e12"], true, true, -3, false);
        check(&[], true, true, 0, false);
    }

    #[test]
    fn counts_wrap_and_units_do_not() {
        let mut counts = Scale::counts();
        assert_eq!(counts.apply(figure("12.0")), Ok(12));
        assert_eq!(counts.apply(figure("12.5")), Err(Misfit::NotWhole));
        assert!(!counts.wrapped);
        assert_eq!(counts.apply(figure("2147483648")), Ok(i32::MIN));
        assert!(counts.wrapped && !counts.overspans());
        assert_eq!(counts.apply(figure("-1")), Ok(-1));
        assert!(counts.overspans());
        let mut units = Scale { places: 2, wraps: false, whole: false, ..Scale::counts() };
        assert_eq!(units.apply(figure("-1.25")), Ok(-125));
        assert!(!units.rounded);
        assert_eq!(units.apply(figure("1.256")), Ok(126));
        assert!(units.rounded);
        assert_eq!(units.apply(figure("21474836.48")), Err(Misfit::TooLarge));
        assert_eq!(units.counts_per_unit(), Fraction::new(100, 1).unwrap());
        assert_eq!(Scale { places: -3, ..units }.counts_per_unit(), Fraction::new(1, 1000).unwrap());
    }
}
