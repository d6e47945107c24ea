//! Quadrature decoding: published group 06, exact.
//!
//! Sources: `06_quadrature_x4` (all sixteen transitions of two lines), `06_quadrature_sequence`
//! (a walk with reversals). Tolerance: exact.

use stillpoint_firmware::tap::quadrature::Quadrature;
use stillpoint_tests::published::rows;

#[test]
fn each_transition_counts_as_published() {
    let table = rows("published/06_quadrature_x4.csv");
    assert_eq!(table.len(), 16, "all transitions");
    for row in &table {
        let [old, new] = ["old_AB", "new_AB"].map(|column| {
            let mut lines = row.text(column).chars().map(|level| level == '1');
            (lines.next().unwrap(), lines.next().unwrap())
        });
        let mut quadrature = Quadrature::new(100);
        quadrature.step(old.0, old.1);
        let change = quadrature.step(new.0, new.1) - 100;
        let expected = match row.text("delta") {
            "ERROR" => (0, 1),
            delta => (delta.parse::<i32>().unwrap(), 0),
        };
        assert_eq!((change, quadrature.illegal()), expected, "{old:?} to {new:?}");
        println!("ran 06 quadrature x4: {} to {}", row.text("old_AB"), row.text("new_AB"));
    }
}

#[test]
fn a_walk_ends_where_published() {
    let table = rows("published/06_quadrature_sequence.csv");
    let mut quadrature = Quadrature::default();
    for row in &table {
        let position = quadrature.step(row.text("A") == "1", row.text("B") == "1");
        assert_eq!(position, row.text("position").parse::<i32>().unwrap());
        println!("ran 06 quadrature sequence: position {position}");
    }
    assert_eq!(quadrature.illegal(), 0);
    assert!(table.len() > 20);
}
