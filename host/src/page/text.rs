//! In: text of a page. Out: the same, safe to show, with no line break between a number and its unit.

use crate::report::printable::printable;

/// Units and signs that stand behind a number.
const UNITS: [&str; 12] = ["%", "ms", "s", "min", "h", "mm", "µm", "m", "°", "deg", "rad", "Hz"];

/// As every writer shows it.
pub(super) fn shown(text: &str) -> String {
    let text = printable(text).replace("± ", "±\u{A0}");
    let mut words = text.split(' ');
    let mut joined = words.next().unwrap_or_default().to_owned();
    for word in words {
        let is_unit =
            word.starts_with('±') || UNITS.contains(&word.trim_end_matches(['.', ',', ';', ':', ')']));
        let is_behind = joined.ends_with(|letter: char| letter.is_ascii_digit());
        joined.push(if is_unit && is_behind { '\u{A0}' } else { ' ' });
        joined += word;
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_and_its_unit_stay_together() {
        for (text, expected) in [
            ("within 40 ms, at ± 0.05 mm", "within 40_ms, at ±_0.05_mm"),
            ("99 % sure (95 %)", "99_% sure (95_%)"),
            ("3 moves s 5", "3 moves s 5"),
            ("8.3 ± 0.1 ms", "8.3_±_0.1_ms"),
            ("", ""),
            ("two  blanks", "two  blanks"),
        ] {
            assert_eq!(shown(text), expected.replace('_', "\u{A0}"));
        }
    }
}
