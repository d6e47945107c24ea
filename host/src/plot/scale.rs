//! In: the range of a quantity. Out: where a value lies in it, and round tick values with their text.

use crate::report::number;

/// How a range is laid along an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Scale {
    Linear { low: f64, high: f64 },
    Log { low: f64, high: f64 },
}

/// A tick: its value, and its text unless it is a minor one.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Tick {
    pub(super) value: f64,
    pub(super) text: Option<String>,
}

impl Scale {
    /// From `low` to `high`, widened when empty.
    pub(super) fn linear(low: f64, high: f64) -> Self {
        let room = 1e-9 * low.abs().max(high.abs()).max(1e-3);
        if high - low > room { Self::Linear { low, high } } else { Self::Linear { low, high: low + 1.0 } }
    }

    /// From `low` to `high` by ratio, at least a factor of ten; values at or below 0 are replaced.
    pub(super) fn log(low: f64, high: f64) -> Self {
        let high = if high > 0.0 && high.is_finite() { high } else { 1.0 };
        let low = if low > 0.0 { low.min(high / 10.0).max(high * 1e-12) } else { high / 1e3 };
        Self::Log { low, high }
    }

    pub(super) fn ends(&self) -> (f64, f64) {
        match *self {
            Self::Linear { low, high } | Self::Log { low, high } => (low, high),
        }
    }

    /// Place of `value`: 0 at the low end, 1 at the high end, beyond them outside.
    pub(super) fn place(&self, value: f64) -> f64 {
        match *self {
            Self::Linear { low, high } => (value - low) / (high - low),
            Self::Log { low, high } => (value.max(low * 1e-3) / low).ln() / (high / low).ln(),
        }
    }

    /// Round ticks, about `count` of them with text.
    pub(super) fn ticks(&self, count: usize) -> Vec<Tick> {
        match *self {
            Self::Linear { low, high } => linear_ticks(low, high, count.max(2)),
            Self::Log { low, high } => log_ticks(low, high, count.max(2)),
        }
    }
}

/// Decimals, or digits before the point, beyond which a tick is written with a power of ten: more would
/// run into the name of the axis.
const LONGEST: usize = 5;

fn linear_ticks(low: f64, high: f64, count: usize) -> Vec<Tick> {
    let rough = (high - low) / count as f64;
    let decade = 10f64.powf(rough.log10().floor());
    // The nearest of the round steps by ratio; the bounds are their geometric means.
    let step = match rough / decade {
        r if r < 1.42 => decade,
        r if r < 3.17 => 2.0 * decade,
        r if r < 7.08 => 5.0 * decade,
        _ => 10.0 * decade,
    };
    let places = (-step.log10().floor()).clamp(0.0, 9.0) as usize;
    let (first, last) = ((low / step - 1e-6).ceil(), (high / step + 1e-6).floor());
    let count = (last - first).clamp(-1.0, 100.0) as i64;
    let is_long = places > LONGEST || low.abs().max(high.abs()) >= 10f64.powi(LONGEST as i32);
    let text = |value| if is_long { number::scientific(value) } else { number::fixed(value, places) };
    (0..=count)
        .map(|i| (first + i as f64) * step)
        // A rounding error beside the step is zero.
        .map(|value| if value.abs() < 1e-6 * step { 0.0 } else { value })
        .map(|value| Tick { value, text: Some(signed(text(value))) })
        .collect()
}

fn log_ticks(low: f64, high: f64, count: usize) -> Vec<Tick> {
    let (first, last) = (low.log10().floor() as i32, high.log10().ceil() as i32);
    let decades = (high / low).log10();
    let every = (decades / count as f64).ceil().max(1.0) as i32;
    // Where there is room, 2 and 5 get text too.
    let labelled: &[u8] = if 3.0 * decades <= count as f64 { &[1, 2, 5] } else { &[1] };
    let mut ticks = Vec::new();
    for decade in first..=last {
        for digit in 1..=9u8 {
            let value = f64::from(digit) * 10f64.powi(decade);
            if value < low * 0.999 || value > high * 1.001 {
                continue;
            }
            let has_text = labelled.contains(&digit) && decade.rem_euclid(every) == 0;
            ticks.push(Tick { value, text: has_text.then(|| signed(number::plain(value))) });
        }
    }
    ticks
}

/// The text of a number with a proper minus sign.
pub(super) fn signed(text: String) -> String {
    text.replace('-', "−")
}

/// Milliseconds below one second, seconds above: the factor from seconds and the name.
pub(super) fn time_unit(longest_s: f64) -> (f64, &'static str) {
    if longest_s < 1.0 { (1e3, "ms") } else { (1.0, "s") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round() {
        let check = |scale: Scale, count, expected: &[&str]| {
            let found: Vec<String> = scale.ticks(count).into_iter().filter_map(|tick| tick.text).collect();
            assert_eq!(found, expected, "{scale:?}");
        };
        check(Scale::linear(-0.02, 0.04), 6, &["−0.02", "−0.01", "0.00", "0.01", "0.02", "0.03", "0.04"]);
        check(Scale::linear(0.0, 250.0), 5, &["0", "50", "100", "150", "200", "250"]);
        check(Scale::linear(5.0, 5.0), 2, &["5.0", "5.5", "6.0"]);
        check(Scale::linear(-2e-7, 4e-7), 3, &["−2e−7", "0", "2e−7", "4e−7"]);
        check(Scale::linear(0.0, 400_000.0), 4, &["0", "1e5", "2e5", "3e5", "4e5"]);
        check(Scale::log(0.001, 1.0), 4, &["0.001", "0.01", "0.1", "1"]);
        check(Scale::log(1e-6, 1e2), 4, &["1e−6", "0.0001", "0.01", "1", "100"]);
        check(Scale::log(0.004, 0.05), 6, &["0.005", "0.01", "0.02", "0.05"]);
    }

    #[test]
    fn no_range_is_without_ends() {
        for scale in [
            Scale::linear(0.0, 0.0),
            Scale::linear(1e9, 1e9 + 1e-3),
            Scale::log(0.0, 0.0),
            Scale::log(f64::NAN, f64::INFINITY),
            Scale::log(5.0, 1.0),
        ] {
            let (low, high) = scale.ends();
            assert!(low < high, "{scale:?}");
            assert!(scale.place(0.0).is_finite() && scale.place(-1e300).is_finite(), "{scale:?}");
            assert!(scale.ticks(5).len() < 200, "{scale:?}");
        }
    }
}
