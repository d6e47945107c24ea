//! In: a measured value, with its uncertainty or resolution. Out: its text with as many digits as it deserves.

/// Decimals of a time beyond which nothing is measured; absurd uncertainties would make text long.
const MOST_DECIMALS: usize = 6;
/// Decimals of a length beyond which no axis is measured: nanometres written in metres.
const MOST_LENGTH_DECIMALS: usize = 9;

/// Decimals that show two significant digits of `uncertainty` (GUM, JCGM 100:2008, 7.2.6), in its unit.
pub fn decimals(uncertainty: f64) -> usize {
    if !uncertainty.is_finite() || uncertainty <= 0.0 {
        return 1;
    }
    let decimals = 1.0 - uncertainty.log10().floor();
    decimals.clamp(0.0, MOST_DECIMALS as f64) as usize
}

/// Decimals that resolve one feedback count of `counts_per_unit`.
pub fn count_decimals(counts_per_unit: f64) -> usize {
    if !counts_per_unit.is_finite() || counts_per_unit <= 0.0 {
        return 3;
    }
    // 1e-9: log10(1000) may come out a hair above 3.
    (counts_per_unit.log10() - 1e-9).ceil().clamp(0.0, MOST_LENGTH_DECIMALS as f64) as usize
}

/// A time in milliseconds; with a standard uncertainty as `83.21 ± 0.42`, the half-width being 2u. Unit: ms
pub fn milliseconds(time_s: f64, uncertainty_s: Option<f64>) -> String {
    match uncertainty_s.filter(|u| u.is_finite() && *u > 0.0) {
        Some(u) => {
            let places = decimals(2e3 * u);
            format!("{} ± {:.places$}", fixed(1e3 * time_s, places), 2e3 * u)
        }
        None => fixed(1e3 * time_s, 1),
    }
}

/// A time without its own uncertainty, with the decimals of one that has `uncertainty_s`. Unit: ms
pub fn milliseconds_beside(time_s: f64, uncertainty_s: Option<f64>) -> String {
    fixed(1e3 * time_s, uncertainty_s.map_or(1, |u| decimals(2e3 * u)))
}

/// `value` with `places` decimals, never `-0.0`, and empty when it is no number.
pub fn fixed(value: f64, places: usize) -> String {
    if !value.is_finite() {
        return String::new();
    }
    let text = format!("{value:.places$}");
    let is_zero = text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.'));
    if is_zero { text.trim_start_matches('-').to_owned() } else { text }
}

/// `value` with four significant digits, no trailing zeros, and empty when it is no number.
pub fn plain(value: f64) -> String {
    plain_to(value, 4)
}

/// `value` with `digits` significant digits, no trailing zeros, and empty when it is no number.
pub fn plain_to(value: f64, digits: u8) -> String {
    if !value.is_finite() {
        return String::new();
    }
    let size = value.abs();
    if size != 0.0 && !(1e-5..1e7).contains(&size) {
        return scientific(value);
    }
    let places =
        if size == 0.0 { 0.0 } else { (f64::from(digits) - 1.0 - size.log10().floor()).clamp(0.0, 9.0) };
    trimmed(fixed(value, places as usize))
}

/// The least number of four significant digits that is not below `value`, as [`plain`] writes it: what is promised of a limit
/// must hold for the limit that is read.
pub fn plain_up(value: f64) -> String {
    outwards(value, f64::ceil)
}

/// The same of the largest number that is not above `value`.
pub fn plain_down(value: f64) -> String {
    outwards(value, f64::floor)
}

fn outwards(value: f64, rounded: fn(f64) -> f64) -> String {
    if !value.is_finite() || value == 0.0 {
        return plain(value);
    }
    let decade = value.abs().log10().floor();
    let places =
        if (1e-5..1e7).contains(&value.abs()) { (3.0 - decade).clamp(0.0, 9.0) } else { 3.0 - decade };
    let steps = value * 10_f64.powf(places);
    // 1e-9: 40 ms may come out of seconds a hair above 40.
    let is_whole = (steps - steps.round()).abs() <= 1e-9 * steps.abs();
    plain(if is_whole { value } else { rounded(steps) / 10_f64.powf(places) })
}

/// `text` of a decimal number without trailing zeros.
pub fn trimmed(text: String) -> String {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// `value` as mantissa and power of ten, `0` when it is zero, and empty when it is no number.
pub fn scientific(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return fixed(value, 0);
    }
    let text = format!("{value:.3e}");
    match text.split_once('e') {
        Some((mantissa, exponent)) => format!("{}e{exponent}", trimmed(mantissa.to_owned())),
        None => text,
    }
}

/// How many of something there are: `1 move`, `2 moves`, `2 axes`.
pub fn count<N: Copy + PartialEq + From<u8> + std::fmt::Display>(count: N, what: &str) -> String {
    match what.strip_suffix("is") {
        _ if count == N::from(1) => format!("{count} {what}"),
        Some(stem) => format!("{count} {stem}es"),
        None => format!("{count} {what}s"),
    }
}

/// The same before a predicate: `1 move is`, `2 moves are`.
pub fn count_are<N: Copy + PartialEq + From<u8> + std::fmt::Display>(number: N, what: &str) -> String {
    format!("{} {}", count(number, what), if number == N::from(1) { "is" } else { "are" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_rounded_outwards() {
        let ends = |value: f64| [plain_down(value), plain_up(value)];
        assert_eq!(ends(0.049_371_2), ["0.04937", "0.04938"]);
        assert_eq!(ends(9.999_91), ["9.999", "10"]);
        assert_eq!(ends(1e3 * 0.040_12), ["40.12", "40.12"]);
        assert_eq!(ends(12_345.6), ["12345", "12346"]);
        assert_eq!(ends(-1.234_56), ["-1.235", "-1.234"]);
        assert_eq!(ends(0.0), ["0", "0"]);
        for value in [1.234_56e-7, 3.456_789e-5, 0.1 + 0.2, 7.654_321e8] {
            let [low, high] = ends(value).map(|text| text.parse::<f64>().unwrap());
            assert!(low <= value * (1.0 + 1e-9) && value <= high * (1.0 + 1e-9), "{low} {value} {high}");
        }
    }

    #[test]
    fn nouns_follow_their_number() {
        assert_eq!(
            [count(1_usize, "move"), count(0_u64, "move"), count(2_u32, "axis")],
            ["1 move", "0 moves", "2 axes"]
        );
        assert_eq!(
            [count(1_u8, "axis"), count_are(1_u64, "frame"), count_are(3_u64, "frame")],
            ["1 axis", "1 frame is", "3 frames are"]
        );
    }

    #[test]
    fn settling_digits_follow_the_uncertainty() {
        let check = |time_s, u: f64, expected: &str| {
            assert_eq!(milliseconds(time_s, Some(u)), expected, "{time_s} s, u {u} s");
        };
        check(0.083_214, 0.000_21, "83.21 ± 0.42");
        check(0.083_214, 0.006, "83 ± 12");
        check(0.083_214, 0.000_002, "83.2140 ± 0.0040");
        check(0.0, 0.000_05, "0.00 ± 0.10");
        check(0.083_214, 0.0, "83.2");
        check(0.083_214, f64::NAN, "83.2");
        assert_eq!(milliseconds_beside(0.083_214, Some(0.000_21)), "83.21");
        assert_eq!(milliseconds_beside(0.083_214, None), "83.2");
    }

    #[test]
    fn lengths_resolve_one_count() {
        for (counts_per_unit, expected) in
            [(1000.0, 3), (2000.0, 4), (1.0, 0), (0.01, 0), (1e12, 9), (0.0, 3), (f64::NAN, 3)]
        {
            assert_eq!(count_decimals(counts_per_unit), expected, "{counts_per_unit}");
        }
    }

    #[test]
    fn plain_numbers_are_short() {
        for (value, expected) in [
            (0.01, "0.01"),
            (-60.0, "-60"),
            (0.000_012_34, "0.00001234"),
            (1234.56, "1235"),
            (1e9, "1e9"),
            (-0.0, "0"),
            (1.25e-7, "1.25e-7"),
            (f64::INFINITY, ""),
        ] {
            assert_eq!(plain(value), expected);
        }
        assert_eq!(fixed(-0.000_1, 2), "0.00");
        assert_eq!(scientific(0.0), "0");
    }
}
