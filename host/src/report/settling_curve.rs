//! In: a settling curve as the core reports it, and its move. Out: the curve with the set window among its points.

use stillpoint_core::{CurvePoint, Record};

use super::axis_context::AxisContext;
use super::field::WindowSettling;

/// Points in the recording's units, widest window first; the set window has the time from command end to last entry.
pub fn with_set_window(
    axis: &AxisContext,
    curve: impl IntoIterator<Item = CurvePoint>,
    record: &Record,
) -> Vec<WindowSettling> {
    let window = axis.settings.window;
    let mut points: Vec<CurvePoint> = curve.into_iter().filter(|point| point.window != window).collect();
    let place = points.iter().position(|point| point.window < window).unwrap_or(points.len());
    // A curve ends with the first window that did not settle.
    let ended = place > 0 && points[place - 1].settling.is_none();
    if points.is_empty() || ended {
        return points.into_iter().map(|point| axis.window_settling(point)).collect();
    }
    let settling = record.confirmation.map(|held| held.saturating_sub(axis.settings.window_time));
    points.insert(place, CurvePoint { window, settling });
    let mut curve: Vec<WindowSettling> =
        points.into_iter().map(|point| axis.window_settling(point)).collect();
    curve[place].0 = axis.window;
    curve
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[track_caller]
    fn check(curve: &[(u32, Option<u32>)], confirmation: Option<u32>, expected: &[(f64, Option<f64>)]) {
        let axis = fixture::axis();
        let record = Record { confirmation, ..fixture::record(1, Some(0.05)) };
        let curve = curve.iter().map(|&(window, settling)| CurvePoint { window, settling });
        assert_eq!(with_set_window(&axis, curve, &record), expected);
    }

    #[test]
    fn the_set_window_is_one_of_the_points() {
        let window = fixture::axis().window;
        let length =
            |counts: u32| fixture::axis().window_settling(CurvePoint { window: counts, settling: None }).0;
        check(
            &[(20, Some(1000)), (9, Some(5000)), (8, None)],
            Some(4500 + 10_000),
            &[(length(20), Some(0.001)), (window, Some(0.0045)), (length(9), Some(0.005)), (length(8), None)],
        );
        check(&[(20, Some(1000)), (10, None)], None, &[(length(20), Some(0.001)), (window, None)]);
        check(&[(20, None)], None, &[(length(20), None)]);
        check(&[], None, &[]);
    }
}
