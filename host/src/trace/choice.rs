//! In: the user's options for a recording. Out: the same, validated.

use crate::error::Error;
use crate::trace::ratio::Ratio;
use crate::trace::{decimal, number};
use stillpoint_core::Fraction;

/// Options for reading a recording; each option that is not given is detected from the file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Choice {
    /// Time column, by name or by number from 1, optionally with its unit: `t:ms`.
    pub time: Option<String>,
    /// Column of the commanded position, by name or by number from 1.
    pub command: Option<String>,
    /// Column of the measured position, by name or by number from 1.
    pub feedback: Option<String>,
    /// Column of the following error, command − feedback, instead of feedback; by name or by number from 1.
    pub following_error: Option<String>,
    /// Time column of the feedback, where it has a clock of its own; by name or by number from 1, optionally with its unit.
    pub feedback_time: Option<String>,
    /// Column of the number of the product, by name or by number from 1.
    pub job: Option<String>,
    /// Column of the effort, by name or by number from 1.
    pub effort: Option<String>,
    /// Whether no command is needed: where the recording has none, it is the feedback.
    pub without_command: bool,
    /// Rows per second, instead of a time column. Unit: Hz
    pub rate: Option<Fraction>,
    /// Name of the unit of position.
    pub unit: Option<String>,
    /// Counts per unit, for columns that hold whole counts. Unit: counts/unit
    pub counts_per_unit: Option<Fraction>,
    /// What the numbers of the command are multiplied with to be positions; negative if they count in the opposite
    /// direction. Unit: that of position, or counts with [`counts_per_unit`](Self::counts_per_unit), per column unit
    pub command_scale: Option<Ratio>,
    /// The same for the feedback.
    pub feedback_scale: Option<Ratio>,
    /// Column delimiter: `,` `;` `|`, a tab or a space.
    pub delimiter: Option<char>,
    /// Decimal sign: `.` or `,`.
    pub decimal: Option<char>,
}

impl Choice {
    /// Whether every column is chosen by its number, so that no header is needed.
    pub(crate) fn is_by_number(&self) -> bool {
        let is_number = |text: &Option<String>| {
            let name = text.as_deref().map(|text| text.split_once(':').map_or(text, |(name, _)| name));
            name.is_some_and(|name| name.trim().parse::<usize>().is_ok())
        };
        (self.rate.is_some() || is_number(&self.time))
            && is_number(&self.command)
            && is_number(&self.feedback)
    }
}

/// The exact value of `text`, such as `4000`, `2.5e3` or `1048576/375`; an error names `option`.
pub fn fraction(option: &str, text: &str) -> Result<Fraction, Error> {
    let wrong = |wrong: &str| Error::Option {
        option: option.to_string(),
        value: text.to_string(),
        wrong: wrong.to_string(),
        remedy: "give a number above 0 such as 4000, 0.25 or 1048576/375".to_string(),
    };
    let (upper, lower) = text.split_once('/').unwrap_or((text, "1"));
    let part = |part: &str| -> Result<Fraction, Error> {
        let figure = number::parse(part.as_bytes(), b'.')
            .ok_or_else(|| wrong("is not a number of up to 18 digits"))?;
        let upper = u64::try_from(figure.mantissa).map_err(|_| wrong("is below 0"))?;
        let lower = decimal::power(figure.decimals).ok_or_else(|| wrong("has too many decimals"))?;
        Fraction::new(upper, lower.unsigned_abs()).map_err(|unusable| wrong(&unusable.to_string()))
    };
    part(upper)?.times(part(lower)?.inverse()).map_err(|unusable| wrong(&unusable.to_string()))
}

/// The exact value of `text`, as for [`fraction`], but negative if it begins with a minus.
pub fn ratio(option: &str, text: &str) -> Result<Ratio, Error> {
    let (negative, digits) = text.strip_prefix('-').map_or((false, text), |digits| (true, digits));
    Ratio::new(negative, fraction(option, digits)?).ok_or_else(|| Error::Option {
        option: option.to_string(),
        value: text.to_string(),
        wrong: "needs more than 63 bits".to_string(),
        remedy: "give fewer digits, such as -0.25 or 1048576/375".to_string(),
    })
}

/// As [`ratio`], or 0.
pub fn position(option: &str, text: &str) -> Result<Ratio, Error> {
    let is_zero = number::parse(text.as_bytes(), b'.').is_some_and(|figure| figure.mantissa == 0);
    if is_zero { Ok(Ratio::ZERO) } else { ratio(option, text) }
}

/// The byte of the given delimiter; a letter is refused.
pub(crate) fn delimiter(choice: &Choice) -> Result<Option<u8>, Error> {
    byte("--delimiter", choice.delimiter, b",;\t| ", "one of , ; | a tab or a space")
}

/// The byte of the given decimal sign.
pub(crate) fn decimal(choice: &Choice) -> Result<Option<u8>, Error> {
    byte("--decimal", choice.decimal, b".,", "'.' or ','")
}

fn byte(option: &str, character: Option<char>, known: &[u8], remedy: &str) -> Result<Option<u8>, Error> {
    let Some(character) = character else { return Ok(None) };
    let found = known.iter().copied().find(|&byte| char::from(byte) == character);
    found.map(Some).ok_or_else(|| Error::Option {
        option: option.to_string(),
        value: format!("{character:?}"),
        wrong: "is not supported".to_string(),
        remedy: format!("use {remedy}"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, expected: Option<(u64, u64)>) {
        let found = fraction("--rate", text);
        match (found, expected) {
            (Ok(found), Some((upper, lower))) => assert_eq!(found, Fraction::new(upper, lower).unwrap()),
            (Err(error), None) => {
                assert!(error.to_string().starts_with(&format!("--rate {text}: ")), "{error}")
            }
            (found, _) => panic!("{text:?} gave {found:?}"),
        }
    }

    #[test]
    fn numbers_are_exact_fractions() {
        check("4000", Some((4000, 1)));
        check("2.5e3", Some((2500, 1)));
        check("0.25", Some((1, 4)));
        check("1048576/375", Some((1_048_576, 375)));
        check("1000/0.6", Some((5000, 3)));
        for text in ["", "0", "-1", "1/0", "a", "1e-30", "1e300"] {
            check(text, None);
        }
    }

    #[test]
    fn scales_have_a_sign() {
        let value = |text| ratio("--command-scale", text).map(Ratio::to_f64).ok();
        assert_eq!((value("-1/4"), value("2.5"), value("-0.5")), (Some(-0.25), Some(2.5), Some(-0.5)));
        assert_eq!((value("0"), value("--1"), value("1/-4")), (None, None, None));
        let value = |text| position("--from", text).map(Ratio::to_f64).ok();
        assert_eq!(
            (value("0"), value("-0.0"), value("-12.5"), value("x")),
            (Some(0.0), Some(0.0), Some(-12.5), None)
        );
    }

    #[test]
    fn delimiters_are_known() {
        let choice = Choice { delimiter: Some('\t'), decimal: Some(','), ..Choice::default() };
        assert_eq!((delimiter(&choice).unwrap(), decimal(&choice).unwrap()), (Some(b'\t'), Some(b',')));
        let choice = Choice { delimiter: Some('x'), ..Choice::default() };
        assert!(delimiter(&choice).unwrap_err().to_string().contains("--delimiter 'x'"));
    }
}
