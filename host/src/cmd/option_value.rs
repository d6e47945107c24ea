//! In: the text of an option's value. Out: the value, or what is allowed; clap adds the name of the option.

use std::str::FromStr;
use std::time::Duration;

/// A whole number that is not negative.
pub(super) fn whole<T: FromStr>(text: &str) -> Result<T, String> {
    let bits = 8 * size_of::<T>().clamp(1, 8) as u32;
    text.parse().map_err(|_| format!("give a whole number from 0 to {}", u64::MAX >> (u64::BITS - bits)))
}

/// Largest number of days to keep, a hundred years: keeping all days needs no command. Unit: days
const MAX_DAYS: u32 = 36_500;

/// A number of days to keep.
pub(super) fn days(text: &str) -> Result<u32, String> {
    let days: Option<u32> = text.parse().ok().filter(|days| *days <= MAX_DAYS);
    days.ok_or_else(|| format!("give a whole number from 0 to {MAX_DAYS}"))
}

/// A whole number of at least 1.
pub(super) fn whole_from_1(text: &str) -> Result<u32, String> {
    let number: Option<u32> = text.parse().ok().filter(|number| *number > 0);
    number.ok_or_else(|| format!("give a whole number from 1 to {}", u32::MAX))
}

/// A number above 0.
pub(super) fn positive(text: &str) -> Result<f64, String> {
    let number: Option<f64> = text.parse().ok().filter(|number: &f64| number.is_finite() && *number > 0.0);
    number.ok_or_else(|| "give a plain number above 0, such as 0.5".to_owned())
}

/// A length of time above 0, given in seconds.
pub(super) fn seconds(text: &str) -> Result<Duration, String> {
    let number = positive(text)?;
    let time =
        Duration::try_from_secs_f64(number).ok().filter(|time| !time.is_zero() && number <= MOST_SECONDS);
    time.ok_or_else(|| format!("give a number of seconds above 0, up to {MOST_SECONDS}"))
}

/// Longest length of time, a day. Unit: s
const MOST_SECONDS: f64 = 86_400.0;

/// A probability worth stating.
pub(super) fn probability(text: &str) -> Result<f64, String> {
    let number: Option<f64> = text.parse().ok().filter(|number| (0.5..=0.999).contains(number));
    number.ok_or_else(|| "give a number from 0.5 to 0.999, such as 0.95".to_owned())
}

/// A single character, such as a delimiter or a decimal sign.
pub(super) fn character(text: &str) -> Result<char, String> {
    text.parse().map_err(|_| "give a single character, such as ',' or ';'".to_owned())
}

/// The name of a person.
pub(super) fn person(text: &str) -> Result<String, String> {
    Some(text.trim().to_owned()).filter(|name| !name.is_empty()).ok_or("give the name of a person".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_name_what_is_allowed() {
        assert_eq!((whole("255"), whole("0"), whole_from_1("1")), (Ok(255_u8), Ok(0_u64), Ok(1)));
        for wrong in ["256", "-1", "1.5", "", "one"] {
            assert_eq!(whole::<u8>(wrong), Err("give a whole number from 0 to 255".to_owned()), "{wrong}");
        }
        assert_eq!(whole::<u32>("x"), Err("give a whole number from 0 to 4294967295".to_owned()));
        assert_eq!(whole::<u64>("x"), Err(format!("give a whole number from 0 to {}", u64::MAX)));
        assert!(character(";") == Ok(';') && character("").is_err());
        assert!(character("tab").unwrap_err().contains("a single character"));
        assert!(person(" \t").is_err() && person(" M. Ito ") == Ok("M. Ito".to_owned()));
        assert!(probability("0.95") == Ok(0.95) && probability("95").unwrap_err().contains("0.95"));
        assert!(whole_from_1("0").is_err() && positive("0.25") == Ok(0.25));
        assert_eq!(seconds("0.25"), Ok(Duration::from_millis(250)));
        assert!(["0", "-1", "1e-12", "90000", "1e300", "x"].iter().all(|wrong| seconds(wrong).is_err()));
        for wrong in ["0", "-1", "nan", "inf", "1e999", "x"] {
            assert!(positive(wrong).unwrap_err().contains("above 0"), "{wrong}");
        }
    }
}
