//! In: published samples. Out: whether shifts, shares and ranks of limits are those of other libraries.
//!
//! The samples are those of group 04: Hollander & Wolfe 1973 p. 69 (permeability), scipy's documentation (ages), US EPA 1994
//! example 6.6 (TcCB). Shifts were made by scipy 1.17.1, tried at every difference: `mannwhitneyu(method="exact")` with
//! p > 0.05 for samples below eight, `brunnermunzel`'s statistic (its placements are the same) within
//! t(0.975, 2·min(m, n) − 2) above; `numpy.median` of all differences.

use stillpoint::analysis::shift_interval::{Shift, shift};
use stillpoint_tests::published::json;

fn numbers(case: &serde_json::Value, name: &str) -> Vec<f64> {
    let list = case[name].as_array().expect("a list");
    list.iter().map(|value| value.as_f64().expect("a number")).collect()
}

#[track_caller]
fn check(before: &[f64], after: &[f64], expected: (f64, f64, f64), is_exact: bool) {
    let found = shift(before, after, 0.95, (1.0, 1.0)).expect("enough values");
    let Shift { estimate, low, high, .. } = found;
    for (found, expected) in [(estimate, expected.0), (low, expected.1), (high, expected.2)] {
        assert!((found - expected).abs() < 1e-9, "{found}, by scipy {expected}");
    }
    assert_eq!(found.is_exact, is_exact);
}

#[test]
fn shifts_are_those_of_another_library() {
    let cases = json("published/04_rank_sum.json")["cases"].as_array().expect("cases").clone();
    let [permeability, ages, tccb] = cases.as_slice() else { panic!("{} cases", cases.len()) };
    let xy = |case| (numbers(case, "x"), numbers(case, "y"));
    let (x, y) = xy(permeability);
    check(&y, &x, (0.305, -0.15, 0.76), true);
    let (x, y) = xy(ages);
    check(&y, &x, (7.0, -1.0, 17.0), true);
    let (x, y) = xy(tccb);
    check(&x, &y, (0.07, -0.06, 0.18), false);
    check(
        &[3.0, 0.0, 0.0, 4.0, 3.0, 0.0, 5.0, 3.0],
        &[0.0, 0.0, 0.0, 3.0, 0.0, 0.0, 0.0, 3.0],
        (-1.5, -3.0, 0.0),
        false,
    );
}

/// Values that never came, which other libraries refuse, counted by hand: of 36 differences five are −∞, 25 lie between −142
/// and −115, one is 0 and five are +∞. For six and six values a rank sum of 5 or less has 4.1 % on both sides, so the sixth
/// from each end counts.
#[test]
fn values_that_never_came_are_the_latest() {
    const NEVER: f64 = f64::INFINITY;
    let before = [200.0, 190.0, 210.0, 205.0, NEVER, 198.0];
    let after = [70.0, 72.0, 68.0, 75.0, 71.0, NEVER];
    let found = shift(&before, &after, 0.95, (1.0, 1.0)).expect("enough values");
    assert_eq!((found.estimate, found.is_exact), (-129.5, true));
    assert_eq!((found.low, found.high), (-142.0, 0.0));
    let most = shift(&before, &after, 0.99, (1.0, 1.0)).expect("enough values");
    assert_eq!((most.low, most.high), (f64::NEG_INFINITY, NEVER));
}
