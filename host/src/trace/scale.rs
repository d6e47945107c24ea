//! In: a position as written. Out: counts.
//!
//! Columns in a unit become counts of 10^-n units, with n large enough for every decimal and small enough for the whole
//! travel in 32 bits. Columns in counts are not changed. Where command or feedback has a scale of its own, a unit has as many
//! counts as hold every number of both columns exactly, or, where 32 bits are too few, 10^n.

use crate::trace::decimal::{Decimal, power};
use crate::trace::ratio::{Ratio, common, finest};
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
    /// Scales of the columns, if there are any.
    pub(crate) columns: Option<Scales>,
}

/// Scales of the two columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Scales {
    /// Counts per column unit, of command and feedback.
    factors: [Ratio; 2],
    /// Unit: counts/unit
    counts_per_unit: Fraction,
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
        Scale { places: 0, wraps: true, whole: true, rounded: false, wrapped: false, span, columns: None }
    }

    /// For columns in a unit, from the surveyed rows.
    pub(crate) fn units(survey: &Survey, known: bool) -> Scale {
        let written = if survey.whole { 0 } else { survey.written().min(MAX_ZEROS) };
        let needed = survey.decimals().max(written) as i32;
        if needed == 0 && !known {
            // Whole numbers of an unknown unit are most likely counts.
            return Scale { whole: false, ..Scale::counts() };
        }
        let (most, spare) = most(survey, [1.0; 2]);
        let places = (needed + spare).min(places_below(most));
        Scale { places, wraps: false, whole: false, ..Scale::counts() }
    }

    /// For columns of which at least one has a scale; the results are counts if `are_counts`. `None` if a scale is so long
    /// that no count holds it.
    pub(crate) fn columns(survey: &Survey, scales: [Ratio; 2], are_counts: bool) -> Option<Scale> {
        let scale = Scale { whole: false, wraps: are_counts, ..Scale::counts() };
        let counts_per_unit = if are_counts { Fraction::ONE } else { counts_for(survey, scales) };
        let [command, feedback] = scales.map(|scale| scale.times(counts_per_unit));
        let columns = Scales { factors: [command?, feedback?], counts_per_unit };
        Some(Scale { columns: Some(columns), ..scale })
    }

    /// Counts in one unit.
    pub(crate) fn counts_per_unit(self) -> Fraction {
        if let Some(columns) = self.columns {
            return columns.counts_per_unit;
        }
        tens(self.places)
    }

    /// Counts before wrapping, and whether they are exact; `at` is 0 for the command and 1 for the feedback.
    #[inline]
    pub(crate) fn count(&self, figure: Decimal, at: usize) -> Option<(i64, bool)> {
        match &self.columns {
            None => figure.scaled(self.places),
            Some(columns) => columns.factors[at].of(figure),
        }
    }

    /// Counts in one unit of the column of the command (`at` 0) or the feedback (1); negative if it is inverted.
    pub(crate) fn factor(&self, at: usize) -> f64 {
        self.columns.map_or_else(|| 10f64.powi(self.places), |columns| columns.factors[at].to_f64())
    }

    /// Whether a move may exceed the range of its travel.
    pub(crate) fn overspans(&self) -> bool {
        self.span.1.saturating_sub(self.span.0) > i64::from(i32::MAX)
    }

    /// The counts of a command (`at` 0) or a feedback (1); records whether they were rounded or wrapped.
    #[inline]
    pub(crate) fn apply(&mut self, figure: Decimal, at: usize) -> Result<i32, Misfit> {
        let (count, exact) = self.count(figure, at).ok_or(Misfit::TooLarge)?;
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

/// Most counts in a unit for which the travel of the surveyed rows fits 32 bits, and decimals that later rows may have more.
fn most(survey: &Survey, scales: [f64; 2]) -> (f64, i32) {
    // Twice the reach, because the travel from end to end must fit; more if later rows may reach further.
    let (room, spare) = if survey.whole { (2.0, 0) } else { (8.0, 1) };
    (f64::from(i32::MAX) / (survey.reach(scales).max(1.0) * room), spare)
}

/// The largest power of ten not above `most`.
fn places_below(most: f64) -> i32 {
    most.log10().floor().clamp(-9.0, f64::from(MAX_PLACES)) as i32
}

/// 10^places.
fn tens(places: i32) -> Fraction {
    let size = power(places.unsigned_abs()).map_or(1, i64::unsigned_abs);
    let (upper, lower) = if places < 0 { (1, size) } else { (size, 1) };
    Fraction::new(upper, lower).unwrap_or(Fraction::ONE)
}

/// Counts in a unit that hold every number of both columns exactly, or as many tens as 32 bits allow.
fn counts_for(survey: &Survey, scales: [Ratio; 2]) -> Fraction {
    let (most, spare) = most(survey, scales.map(Ratio::to_f64));
    let [command, feedback] = survey.decimals_of_each();
    let both = finest(scales[0], command).zip(finest(scales[1], feedback));
    let exact = both.and_then(|(command, feedback)| common(command, feedback));
    let finer = exact.and_then(|exact| exact.checked_mul(10u64.pow(spare as u32)));
    let fits = |counts: &u64| *counts as f64 <= most;
    let counts = finer.filter(fits).or(exact.filter(fits)).and_then(|counts| Fraction::new(counts, 1).ok());
    counts.unwrap_or_else(|| tens(places_below(most)))
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

    #[track_caller]
    fn check_scales(values: &[&str], scales: [&str; 2], whole: bool, counts: (u64, u64), first: [i32; 2]) {
        let rows = values.iter().map(|text| [Decimal::default(), figure(text), figure(text)]).collect();
        let scales = scales.map(|text| crate::trace::choice::ratio("", text).unwrap());
        let survey = Survey { pieces: vec![rows], lines: vec![], whole };
        let mut scale = Scale::columns(&survey, scales, false).unwrap();
        assert_eq!(scale.counts_per_unit(), Fraction::new(counts.0, counts.1).unwrap(), "{values:?}");
        let found = [0, 1].map(|at| scale.apply(figure(values[0]), at).unwrap());
        assert_eq!(found, first, "{values:?}");
    }

    #[test]
    fn scales_are_exact_while_the_travel_fits() {
        check_scales(&["0.5", "1.25"], ["1/3", "1"], true, (300, 1), [50, 150]);
        check_scales(&["0.5", "1.25"], ["1/3", "1"], false, (3000, 1), [500, 1500]);
        check_scales(&["4", "8"], ["-2.5", "1/7"], true, (14, 1), [-140, 8]);
        check_scales(&["7", "8"], ["1000", "1000"], true, (1, 1), [7000, 7000]);
        check_scales(
            &["0.123456789012", "8", "8"],
            ["10/3", "1"],
            true,
            (10_000_000, 1),
            [4_115_226, 1_234_568],
        );
        check_scales(&["7e9", "8e9", "8e9"], ["10", "1"], true, (1, 100), [700_000_000, 70_000_000]);
        let survey = Survey::default();
        let half = crate::trace::choice::ratio("", "0.5").unwrap();
        let mut counts = Scale::columns(&survey, [half, Ratio::ONE], true).unwrap();
        assert_eq!((counts.apply(figure("9"), 0), counts.apply(figure("9"), 1)), (Ok(5), Ok(9)));
        assert_eq!((counts.counts_per_unit(), counts.rounded), (Fraction::ONE, true));
    }

    #[test]
    fn counts_wrap_and_units_do_not() {
        let mut counts = Scale::counts();
        assert_eq!(counts.apply(figure("12.0"), 0), Ok(12));
        assert_eq!(counts.apply(figure("12.5"), 0), Err(Misfit::NotWhole));
        assert!(!counts.wrapped);
        assert_eq!(counts.apply(figure("2147483648"), 0), Ok(i32::MIN));
        assert!(counts.wrapped && !counts.overspans());
        assert_eq!(counts.apply(figure("-1"), 0), Ok(-1));
        assert!(counts.overspans());
        let mut units = Scale { places: 2, wraps: false, whole: false, ..Scale::counts() };
        assert_eq!(units.apply(figure("-1.25"), 0), Ok(-125));
        assert!(!units.rounded);
        assert_eq!(units.apply(figure("1.256"), 0), Ok(126));
        assert!(units.rounded);
        assert_eq!(units.apply(figure("21474836.48"), 0), Err(Misfit::TooLarge));
        assert_eq!(units.counts_per_unit(), Fraction::new(100, 1).unwrap());
        assert_eq!(Scale { places: -3, ..units }.counts_per_unit(), Fraction::new(1, 1000).unwrap());
    }
}
