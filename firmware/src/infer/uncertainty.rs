//! In: a record whose command was inferred, and its curve. Out: its settling time with a wider uncertainty.

use stillpoint_core::{CurvePoint, Record};

/// Adds the standard uncertainty `end` of the command end, and the effect of an error of the target: the difference
/// of settling between the next narrower and the next wider window of the curve. Unit: ticks, counts
pub(super) fn widen(record: &mut Record, end: u32, window: u32, curve: impl Iterator<Item = CurvePoint>) {
    let Some(settling) = record.settling else { return };
    let (mut narrower, mut wider) = ((0, settling), (u32::MAX, settling));
    for point in curve {
        let time = point.settling.unwrap_or(u32::try_from(record.held).unwrap_or(u32::MAX));
        if point.window < window && point.window >= narrower.0 {
            narrower = (point.window, time);
        } else if point.window > window && point.window <= wider.0 {
            wider = (point.window, time);
        }
    }
    let apart = narrower.1.abs_diff(settling).max(wider.1.abs_diff(settling));
    record.settling_u = root_sum_square([record.settling_u, end, apart / 2]);
    record.settling_95 = root_sum_square([record.settling_95, end.saturating_mul(2), apart]);
}

/// Root of the sum of squares.
fn root_sum_square(parts: [u32; 3]) -> u32 {
    let square = |part: u32| u64::from(part) * u64::from(part);
    let squares = parts.into_iter().fold(0, |sum: u64, part| sum.saturating_add(square(part)));
    u32::try_from(squares.isqrt()).unwrap_or(u32::MAX)
}
