//! In: the text of a header cell. Out: the name without its unit, and the unit.

/// Units of time, and the decimal places of a second in them.
const TIMES: [(&str, u32); 15] = [
    ("s", 0),
    ("sec", 0),
    ("secs", 0),
    ("second", 0),
    ("seconds", 0),
    ("ms", 3),
    ("msec", 3),
    ("milliseconds", 3),
    ("us", 6),
    ("µs", 6),
    ("μs", 6), // Greek mu; the line above has the micro sign
    ("usec", 6),
    ("microseconds", 6),
    ("ns", 9),
    ("nanoseconds", 9),
];

/// Units of position that are recognised without brackets. "in" is not one of them, because it is often a word.
const POSITIONS: [&str; 20] = [
    "m", "mm", "cm", "um", "µm", "μm", "nm", "inch", "mil", "deg", "°", "rad", "mrad", "urad", "arcsec",
    "arcmin", "rev", "revs", "turn", "turns",
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
        name if POSITIONS.contains(&name) => lower,
        _ => unit.trim().to_string(),
    }
}

fn is_known(unit: &str) -> bool {
    let lower = unit.to_lowercase();
    second_places(unit).is_some() || POSITIONS.contains(&&*lower) || COUNTS.contains(&&*lower)
}

/// Splits `Position [mm]`, `t (ms)`, `pos/mm`, `time_ms` or `ms` into name and unit.
pub(crate) fn split(cell: &str) -> (String, Option<String>) {
    let cell = cell.trim();
    if let Some(unit) = bare(cell) {
        return (String::new(), Some(unit));
    }
    for (open, close) in [('[', ']'), ('(', ')'), ('{', '}')] {
        let inner = cell.strip_suffix(close).and_then(|rest| rest.rsplit_once(open));
        if let Some((name, unit)) =
            inner.filter(|(name, unit)| !name.trim().is_empty() && unit.chars().count() <= 12)
        {
            let unit = unit.trim();
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

/// The unit in a cell without a name, as in a row of units: `[mm]`, `ms`.
pub(crate) fn bare(cell: &str) -> Option<String> {
    let cell = cell.trim();
    for (open, close) in [('[', ']'), ('(', ')'), ('{', '}')] {
        let inner = cell.strip_prefix(open).and_then(|rest| rest.strip_suffix(close));
        if let Some(unit) = inner.filter(|unit| unit.chars().count() <= 12) {
            return Some(unit.trim().to_string());
        }
    }
    is_known(cell).then(|| cell.to_string())
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
        assert_eq!(bare("[mm]").as_deref(), Some("mm"));
        assert_eq!(bare("mm"), Some("mm".to_string()));
        assert_eq!(bare("position"), None);
    }
}
