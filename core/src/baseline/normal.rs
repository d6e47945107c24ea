//! In: numbers. Out: square root, logarithm and normal score, with the same bits on every processor.

/// Square root to about the last bit, by Newton's method in single precision.
#[inline(never)]
pub(crate) fn sqrt(square: f32) -> f32 {
    if square <= 0.0 {
        return 0.0;
    }
    let guess = f32::from_bits((square.to_bits() >> 1) + (127 << 22));
    (0..4).fold(guess, |root, _| 0.5 * (root + square / root))
}

/// Natural logarithm of a positive normal number, to 3 units in the last place: exponent · ln 2, plus
/// 2 artanh((m − 1)/(m + 1)) of the mantissa m as a series.
#[inline(never)]
pub(crate) fn ln(value: f32) -> f32 {
    let bits = value.max(f32::MIN_POSITIVE).to_bits();
    // Mantissas from √½ to √2.
    let exponent = (bits.wrapping_sub(0x3F35_04F3) as i32) >> 23;
    let mantissa = f32::from_bits(bits.wrapping_sub((exponent << 23) as u32));
    let t = (mantissa - 1.0) / (mantissa + 1.0);
    let square = t * t;
    let series = 1.0 + square * (1.0 / 3.0 + square * (0.2 + square * (1.0 / 7.0)));
    exponent as f32 * core::f32::consts::LN_2 + 2.0 * t * series
}

/// Value below which a normal deviate lies with probability `rank`, within 0.00045; ±5 at the ends.
///
/// Source: M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 1964, 26.2.23.
pub(crate) fn normal_score(rank: f32) -> f32 {
    let tail = rank.min(1.0 - rank).max(3e-7);
    let t = sqrt(-2.0 * ln(tail));
    let above = 2.515_517 + t * (0.802_853 + t * 0.010_328);
    let below = 1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308));
    let score = t - above / below;
    if rank < 0.5 { -score } else { score }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logarithms_agree_with_the_library() {
        for k in 1..200_000 {
            let value = k as f32 * 0.37 + 1e-6;
            let exact = f64::from(value).ln();
            assert!((f64::from(ln(value)) - exact).abs() <= 4e-7 * exact.abs().max(0.3), "{value}");
        }
    }

    /// Quantiles of the normal distribution. Source: NIST/SEMATECH e-Handbook, 1.3.6.7.1.
    #[test]
    fn normal_scores_are_those_of_the_tables() {
        for (rank, score) in [
            (0.5, 0.0),
            (0.691_46, 0.5),
            (0.841_34, 1.0),
            (0.975_00, 1.959_96),
            (0.993_79, 2.5),
            (0.998_65, 3.0),
        ] {
            assert!((normal_score(rank) - score).abs() < 6e-4, "{rank}: {}", normal_score(rank));
            assert!((normal_score(1.0 - rank) + score).abs() < 6e-4, "{rank}");
        }
    }
}
