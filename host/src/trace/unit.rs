//! In: the text of a header cell. Out: the name without its unit, and the unit.

use stillpoint_core::Fraction;

/// Units of time, and the decimal places of a second in them.
const TIMES: [(&str, u32); 27] = [
    ("s", 0),
    ("sec", 0),
    ("secs", 0),
    ("second", 0),
    ("seconds", 0),
    ("sekunden", 0),
    ("segundos", 0),
    ("secondi", 0),
    ("secondes", 0),
    ("秒", 0),
    ("ms", 3),
    ("msec", 3),
    ("milliseconds", 3),
    ("millisekunden", 3),
    ("milisegundos", 3),
    ("millisecondi", 3),
    ("millisecondes", 3),
    ("ミリ秒", 3),
    ("毫秒", 3),
    ("us", 6),
    ("µs", 6),
    ("μs", 6), // Greek mu; the line above has the micro sign
    ("usec", 6),
    ("microseconds", 6),
    ("微秒", 6),
    ("ns", 9),
    ("nanoseconds", 9),
];

/// Units of position that are recognised without brackets. "in" is not one of them, because it is often a word.
const POSITIONS: [&str; 22] = [
    "m", "mm", "cm", "um", "µm", "μm", "nm", "inch", "mil", "deg", "degree", "degrees", "°", "rad", "mrad",
    "urad", "arcsec", "arcmin", "rev", "revs", "turn", "turns",
];

/// Units of analog signals that are recognised behind a name; capitals count, because `v` is often a speed.
const ANALOG: [&str; 3] = ["V", "mV", "mA"];

/// Other units, which are recognised in a row of units only; capitals count in those of one letter.
const OTHERS: [&str; 36] = [
    "A", "kA", "N", "kN", "mN", "W", "kW", "K", "Hz", "kHz", "MHz", "kg", "g", "J", "bar", "Pa", "kPa",
    "MPa", "%", "‰", "°C", "degC", "rpm", "RPM", "Volt", "Volts", "volt", "volts", "Ampere", "ampere",
    "Percent", "percent", "bit", "bits", "bool", "hex",
];

/// Spans of time that only occur below a fraction bar.
const PERIODS: [&str; 4] = ["min", "h", "ms", "s"];

/// Words that qualify a name and are no unit, even in brackets.
const QUALIFIERS: [&str; 24] = [
    "act",
    "actual",
    "abs",
    "cmd",
    "command",
    "demand",
    "feedback",
    "filtered",
    "ist",
    "measured",
    "raw",
    "ref",
    "reference",
    "rel",
    "set",
    "setpoint",
    "soll",
    "target",
    "real",
    "x",
    "y",
    "z",
    "axis",
    "value",
];

/// Lengths and angles of known size, each with the first of its kind: 1 unit is `.1 / .2` of that one.
const SIZES: [(&str, bool, u64, u64); 12] = [
    ("m", true, 1, 1),
    ("cm", true, 1, 100),
    ("mm", true, 1, 1000),
    ("µm", true, 1, 1_000_000),
    ("nm", true, 1, 1_000_000_000),
    ("inch", true, 127, 5000),
    ("mil", true, 127, 5_000_000),
    ("rev", false, 1, 1),
    ("turn", false, 1, 1),
    ("deg", false, 1, 360),
    ("arcmin", false, 1, 21_600),
    ("arcsec", false, 1, 1_296_000),
];

/// Names of encoder increments.
const COUNTS: [&str; 14] = [
    "count",
    "counts",
    "cnt",
    "cnts",
    "cts",
    "inc",
    "incs",
    "increment",
    "increments",
    "inkr",
    "pulse",
    "pulses",
    "step",
    "steps",
];

/// Name of the unit of encoder increments.
pub(crate) const COUNT: &str = "count";

/// Decimal places of a second in a unit of time; `None` for any other unit.
pub(crate) fn second_places(unit: &str) -> Option<u32> {
    let unit = unit.trim().to_lowercase();
    TIMES.iter().find(|(name, _)| *name == unit).map(|&(_, places)| places)
}

/// The standard spelling of a unit of position; an unknown unit is not changed.
pub(crate) fn position(unit: &str) -> String {
    let lower = unit.trim().to_lowercase();
    match lower.as_str() {
        name if COUNTS.contains(&name) => COUNT.to_string(),
        "um" | "μm" => "µm".to_string(),
        "°" | "degree" | "degrees" | "grad" => "deg".to_string(),
        "volt" | "volts" => "V".to_string(),
        name if POSITIONS.contains(&name) => lower,
        _ => unit.trim().to_string(),
    }
}

/// Whether a unit is of an analog signal, which is no position until it has a scale.
pub(crate) fn is_analog(unit: &str) -> bool {
    ANALOG.contains(&position(unit).as_str()) || matches!(unit.trim(), "A" | "%")
}

/// How many `to` one `from` is, if both are lengths or both are angles.
pub(crate) fn conversion(from: &str, to: &str) -> Option<Fraction> {
    let size = |unit: &str| SIZES.iter().find(|size| size.0 == position(unit));
    let (from, to) = (size(from)?, size(to)?);
    let (one, other) = (Fraction::new(from.2, from.3).ok()?, Fraction::new(to.2, to.3).ok()?);
    (from.1 == to.1).then(|| one.times(other.inverse()).ok())?
}

/// Whether a word behind a name is a unit.
fn is_known(unit: &str) -> bool {
    let lower = unit.to_lowercase();
    second_places(unit).is_some()
        || POSITIONS.contains(&&*lower)
        || COUNTS.contains(&&*lower)
        || ANALOG.contains(&unit)
}

/// Whether a cell in a row of units is a unit of any quantity: `mm/s`, `1/min`, `m/s²`, `Nm`, `%`.
fn is_any(unit: &str) -> bool {
    let simple = |unit: &str| is_known(unit) || OTHERS.contains(&unit);
    let power = |unit: &str| simple(unit.trim_end_matches(['²', '³', '2', '3', '^', '*']));
    match unit.split_once('/') {
        Some((upper, lower)) => {
            let upper = upper.trim();
            let lower = lower.trim().trim_matches(['(', ')']);
            let below = lower.trim_end_matches(['²', '³', '2', '3', '^']);
            (matches!(upper, "1" | "U" | "Umdr") || power(upper))
                && (PERIODS.contains(&below) || power(lower))
        }
        None => simple(unit) || unit.len() > 1 && power(unit),
    }
}

/// The text in brackets, if it can be a unit: not a number, as in `X[5]`, nor a word such as `actual`.
fn in_brackets(text: &str) -> Option<&str> {
    let text = text.trim();
    let is_number = !text.is_empty() && text != "-" && !text.chars().any(is_sign_of_a_unit);
    let is_name = is_object(text) || QUALIFIERS.contains(&&*text.to_lowercase());
    (text.chars().count() <= 12 && !is_number && !is_name).then_some(if text == "-" { "" } else { text })
}

/// Whether the text is the number of an object of a drive, such as `6064h` or `0x60FC:00`.
fn is_object(text: &str) -> bool {
    let digits = text.chars().filter(char::is_ascii_hexdigit).count();
    let fits = |letter: char| letter.is_ascii_hexdigit() || matches!(letter, 'x' | 'h' | ':' | '.');
    text.starts_with(|first: char| first.is_ascii_digit()) && digits > 3 && text.chars().all(fits)
}

fn is_sign_of_a_unit(character: char) -> bool {
    character.is_alphabetic() || matches!(character, '%' | '‰' | '°' | '"' | '\'' | '″' | '′')
}

/// Splits `Position [mm]`, `t (ms)`, `pos/mm`, `time_ms` or `ms` into name and unit.
pub(crate) fn split(cell: &str) -> (String, Option<String>) {
    let cell = cell.trim();
    let alone =
        bracketed(cell).or_else(|| is_known(cell).then_some(cell)).filter(|_| !ANALOG.contains(&cell));
    if let Some(unit) = alone {
        return (String::new(), Some(unit.to_string()));
    }
    for (open, close) in BRACKETS {
        let inner = cell.strip_suffix(close).and_then(|rest| rest.rsplit_once(open));
        let inner = inner.filter(|(name, _)| !name.trim().is_empty());
        if let Some((name, unit)) = inner.and_then(|(name, unit)| Some((name, in_brackets(unit)?))) {
            return (name.trim().to_string(), (!unit.is_empty()).then(|| unit.to_string()));
        }
    }
    let at = cell.rfind(['_', ' ', '/', '-', '.', ',']);
    match at.map(|at| (&cell[..at], &cell[at + 1..])) {
        Some((name, unit)) if is_known(unit) && !name.trim().is_empty() => {
            let name = name.trim_end_matches([' ', '_', ',', '/', '-']).trim_end_matches(" in");
            (name.to_string(), Some(unit.to_string()))
        }
        _ => (cell.to_string(), None),
    }
}

/// Pairs of brackets around units.
const BRACKETS: [(char, char); 3] = [('[', ']'), ('(', ')'), ('{', '}')];

/// The unit in a cell that is all in brackets.
fn bracketed(cell: &str) -> Option<&str> {
    let inner = |(open, close)| cell.strip_prefix(open).and_then(|rest: &str| rest.strip_suffix(close));
    BRACKETS.into_iter().find_map(inner).and_then(in_brackets)
}

/// A cell in a row of units: its unit, or none where it is empty; `None` if it holds anything else.
pub(crate) fn in_row(cell: &str) -> Option<Option<String>> {
    let cell = cell.trim();
    let unit = match cell {
        "" | "-" | "--" | "1" => "",
        _ => bracketed(cell).or_else(|| is_any(cell).then_some(cell))?,
    };
    Some((!unit.is_empty()).then(|| unit.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(cell: &str, name: &str, unit: Option<&str>) {
        assert_eq!(split(cell), (name.to_string(), unit.map(str::to_string)), "{cell:?}");
    }

    #[test]
    fn units_are_found_in_every_notation() {
        check("Position [mm]", "Position", Some("mm"));
        check("t (ms)", "t", Some("ms"));
        check("time_ms", "time", Some("ms"));
        check("pos/mm", "pos", Some("mm"));
        check("Time, s", "Time", Some("s"));
        check("Weg in mm", "Weg", Some("mm"));
        check("t_s", "t", Some("s"));
        check("cmd_counts", "cmd", Some("counts"));
        check("ms", "", Some("ms"));
        check("Winkel [°]", "Winkel", Some("°"));
        check("cmd_in", "cmd_in", None);
        check("Position []", "Position", None);
        check("feedback", "feedback", None);
        check("x (a very long explanation)", "x (a very long explanation)", None);
        check("v [mm/s]", "v", Some("mm/s"));
        check("", "", None);
        check("cmd_V", "cmd", Some("V"));
        check("Kanal 1 mV", "Kanal 1", Some("mV"));
    }

    #[test]
    fn a_number_or_a_word_in_brackets_is_no_unit() {
        for name in [
            "ActPos[5]",
            "cmd (3)",
            "X[0]",
            "Position (set)",
            "Position [Actual]",
            "Pos (6064h)",
            "Pos (60FCh)",
            "Pos [0x607A:00]",
            "v",
            "A",
        ] {
            check(name, name, None);
        }
        check("Position [10^-3 mm]", "Position", Some("10^-3 mm"));
        check("Position (actual) [mm]", "Position (actual)", Some("mm"));
        check("Pos[5] [mm]", "Pos[5]", Some("mm"));
        check("ratio [-]", "ratio", None);
    }

    #[test]
    fn a_row_of_units_may_have_any_quantity() {
        for unit in [
            "ms",
            "[mm]",
            "(V)",
            "V",
            "mV",
            "A",
            "%",
            "mm/s",
            "mm/s²",
            "m/s^2",
            "m/s2",
            "deg",
            "°/s",
            "rpm",
            "1/min",
            "U/min",
            "counts",
            "inc/s",
            "Nm",
            "N",
            "Hz",
            "°C",
            "rev/min",
            "[furlong]",
            "Volt",
            "mm/(s)",
        ] {
            assert!(matches!(in_row(unit), Some(Some(_))), "{unit:?}");
        }
        for empty in ["", "-", "[-]", "[]", " "] {
            assert_eq!(in_row(empty), Some(None), "{empty:?}");
        }
        for other in ["position", "t", "c", "f", "speed", "[5]", "12", "a/b", "set", "x"] {
            assert_eq!(in_row(other), None, "{other:?}");
        }
    }

    #[test]
    fn lengths_and_angles_are_converted_exactly() {
        let ratio = |from, to| conversion(from, to).map(|ratio| (ratio.numerator(), ratio.denominator()));
        assert_eq!(ratio("um", "mm"), Some((1, 1000)));
        assert_eq!(ratio("m", "µm"), Some((1_000_000, 1)));
        assert_eq!(ratio("inch", "mm"), Some((127, 5)));
        assert_eq!(ratio("rev", "deg"), Some((360, 1)));
        assert_eq!((ratio("deg", "mm"), ratio("V", "mm"), ratio("rad", "deg")), (None, None, None));
    }

    #[test]
    fn spellings_are_standardised() {
        assert_eq!(second_places("µs"), Some(6));
        assert_eq!(second_places("\u{3bc}s"), Some(6));
        assert_eq!(second_places("MS"), Some(3));
        assert_eq!(second_places("min"), None);
        assert_eq!(position("Counts"), "count");
        assert_eq!(position("um"), "µm");
        assert_eq!(position("furlong"), "furlong");
        assert_eq!(position("Volts"), "V");
    }
}
