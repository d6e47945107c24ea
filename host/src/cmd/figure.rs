//! In: a figure or a name as it was typed for an option. Out: it, or what is allowed; who parses names the option.

use std::str::FromStr;

/// A whole number that is not negative.
pub(super) fn whole<T: FromStr>(text: &str) -> Result<T, String> {
    let bits = 8 * size_of::<T>().clamp(1, 8) as u32;
    text.parse().map_err(|_| format!("give a whole number from 0 to {}", u64::MAX >> (u64::BITS - bits)))
}

/// A whole number from 1 on.
pub(super) fn counted(text: &str) -> Result<u32, String> {
    let number: Option<u32> = text.parse().ok().filter(|number| *number > 0);
    number.ok_or_else(|| format!("give a whole number from 1 to {}", u32::MAX))
}

/// A figure above zero.
pub(super) fn positive(text: &str) -> Result<f64, String> {
    let figure: Option<f64> = text.parse().ok().filter(|figure: &f64| figure.is_finite() && *figure > 0.0);
    figure.ok_or_else(|| "give a plain figure above 0, such as 0.5".to_owned())
}

/// A sign between or within figures.
pub(super) fn sign(text: &str) -> Result<char, String> {
    text.parse().map_err(|_| "give a single sign, such as ',' or ';'".to_owned())
}

/// The name of a person, in their own words.
pub(super) fn somebody(text: &str) -> Result<String, String> {
    Some(text.trim().to_owned())
        .filter(|name| !name.is_empty())
        .ok_or("say who, in words of your own".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_allowed_is_said() {
        assert_eq!((whole("255"), whole("0"), counted("1")), (Ok(255_u8), Ok(0_u64), Ok(1)));
        for wrong in ["256", "-1", "1.5", "", "one"] {
            assert_eq!(whole::<u8>(wrong), Err("give a whole number from 0 to 255".to_owned()), "{wrong}");
        }
        assert_eq!(whole::<u32>("x"), Err("give a whole number from 0 to 4294967295".to_owned()));
        assert_eq!(whole::<u64>("x"), Err(format!("give a whole number from 0 to {}", u64::MAX)));
        assert!(
            sign(";") == Ok(';') && sign("").is_err() && sign("tab").unwrap_err().contains("a single sign")
        );
        assert!(somebody(" \t").is_err() && somebody(" M. Ito ") == Ok("M. Ito".to_owned()));
        assert!(counted("0").is_err() && positive("0.25") == Ok(0.25));
        for wrong in ["0", "-1", "nan", "inf", "1e999", "x"] {
            assert!(positive(wrong).unwrap_err().contains("above 0"), "{wrong}");
        }
    }
}
