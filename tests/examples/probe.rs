use stillpoint_core::baseline::Evidence;
use stillpoint_core::drift::{Drift, DriftSettings, Moment};
use stillpoint_tests::scatter::*;
fn main() {
    let s = DriftSettings::at(1_000_000);
    let mut d = Drift::default();
    let mut sc = Scatter::new(Shape::Normal(0.1), 0.0, 3);
    for i in 0..200_000u32 {
        d.step(&s, Evidence::Value(sc.time() as u32), &Moment { minute: i / 120, running: i / 120 });
    }
    println!("{d:#?}");
}
