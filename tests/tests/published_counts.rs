//! Distances in counts and the CiA 402 position factor: published group 06, exact.
//!
//! Sources: `06_counts_distance` (exact fractions), `06_cia402_position_factor`
//! (CiA 402 / IEC 61800-7-201 objects 0x608F, 0x6091, 0x6092). Tolerance: exact.

use stillpoint_core::{Fraction, PositionFactor};
use stillpoint_tests::published::rows;

/// A decimal or `a/b` figure as sign, upper and lower part.
fn exact(text: &str) -> (bool, u64, u64) {
    let (negative, digits) = text.strip_prefix('-').map_or((false, text), |digits| (true, digits));
    if let Some((upper, lower)) = digits.split_once('/') {
        return (negative, upper.parse().unwrap(), lower.parse().unwrap());
    }
    let (whole, decimals) = digits.split_once('.').unwrap_or((digits, ""));
    let upper = format!("{whole}{decimals}").parse().unwrap();
    (negative, upper, 10_u64.pow(decimals.len() as u32))
}

fn fraction(text: &str) -> (bool, Fraction) {
    let (negative, upper, lower) = exact(text);
    (negative, Fraction::new(upper, lower).unwrap())
}

#[test]
fn distances_become_the_published_counts() {
    let Some(table) = rows("published/06_counts_distance.csv") else { return };
    for row in &table {
        let (gear_motor, gear_shaft) = row.text("gear_motor:shaft").split_once(':').unwrap();
        let factor = PositionFactor {
            encoder_resolution: (row.text("counts_per_rev").parse().unwrap(), 1),
            gear_ratio: (gear_motor.parse().unwrap(), gear_shaft.parse().unwrap()),
            feed_constant: (row.text("feed_mm_per_rev").parse().unwrap(), 1),
        };
        let (negative, distance) = fraction(row.text("distance_mm"));
        let counts = factor.counts_per_unit().unwrap().times(distance).unwrap();
        assert_eq!((negative, counts), fraction(row.text("counts_exact_fraction")));
        // A window is rounded towards zero; below zero the published floor is one further.
        let floor: i64 = row.text("floor").parse().unwrap();
        let whole = counts.numerator().is_multiple_of(counts.denominator());
        let below_zero = i64::from(negative && !whole);
        assert_eq!(i64::from(counts.floor()), floor.abs() - below_zero);
        println!("ran 06 counts: {} mm on {} bits", row.text("distance_mm"), row.text("encoder_bits"));
    }
}

#[test]
fn position_factors_give_the_published_user_units() {
    let Some(table) = rows("published/06_cia402_position_factor.csv") else { return };
    for row in &table {
        let pair =
            |first: &str, second: &str| (row.text(first).parse().unwrap(), row.text(second).parse().unwrap());
        let factor = PositionFactor {
            encoder_resolution: pair("608Fh:1 encoder increments", "608Fh:2 motor revolutions"),
            gear_ratio: pair("6091h:1 motor revs", "6091h:2 shaft revs"),
            feed_constant: pair("6092h:1 feed (user units, um)", "6092h:2 shaft revs"),
        };
        let (negative, counts) = fraction(row.text("internal_counts"));
        let units = factor.units_per_count().unwrap().times(counts).unwrap();
        assert_eq!((negative, units), fraction(row.text("user_units_exact")));
        assert!((units.to_f64() / row.number("user_units_float").abs() - 1.0).abs() < 1e-15);
        println!("ran 06 position factor: {} counts", row.text("internal_counts"));
    }
}
