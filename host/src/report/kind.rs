//! In: what a kind of moves is. Out: its one wording, wherever kinds are told.

use super::number::plain_to;

/// Direction, distance and peak speed of a kind. Unit: that of the axis, and that per second
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Typical {
    /// Towards larger counts.
    pub forward: bool,
    /// Unit: that of the axis
    pub distance: f64,
    /// Unit: that of the axis per second
    pub speed: f64,
}

/// `+60 mm at 600 mm/s (kind 1)`; without what was lost or never told, `kind 1`; and `none` for number 0. The minus is
/// that of a keyboard, so that it can be typed, searched and read by other tools.
pub fn words(number: u32, typical: Option<Typical>, unit: &str) -> String {
    match (number, typical) {
        (0, _) => "none".to_owned(),
        (number, None) => format!("kind {number}"),
        (number, Some(Typical { forward, distance, speed })) => {
            let sign = if forward { '+' } else { '-' };
            let (distance, speed) = (plain_to(distance, 3), plain_to(speed, 2));
            format!("{sign}{distance} {unit} at {speed} {unit}/s (kind {number})")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds_in_words() {
        let typical = |forward, distance, speed| Some(Typical { forward, distance, speed });
        assert_eq!(words(1, typical(true, 60.02, 599.7), "mm"), "+60 mm at 600 mm/s (kind 1)");
        assert_eq!(words(12, typical(false, 0.5, 1234.0), "mm"), "-0.5 mm at 1234 mm/s (kind 12)");
        assert_eq!([words(3, None, "mm"), words(0, typical(true, 1.0, 1.0), "mm")], ["kind 3", "none"]);
    }
}
