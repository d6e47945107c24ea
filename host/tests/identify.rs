//! `identify` through the binary: a made-up axis, its JSON, and what is refused.

mod program;

use std::f64::consts::PI;
use std::path::PathBuf;

use program::{done, stillpoint};
use serde_json::Value;

/// A recording that is deleted at the end of the test.
struct Scratch(PathBuf);

impl Drop for Scratch {
    fn drop(&mut self) {
        std::fs::remove_file(&self.0).ok();
    }
}

/// An axis of 12 kg with 30 N·s/m, 8 N and −5 N; speeds of several sines, in one direction with the bias. Unit: mm, A
fn record(name: &str, bias: f64) -> Scratch {
    let speed = |t: f64| 0.3 * (2.0 * PI * 0.9 * t).sin() + 0.2 * (2.0 * PI * 2.3 * t).sin() + bias;
    let (mut text, mut position) = ("t_s,position_mm,current\n".to_owned(), 0.0);
    for row in 0..6000 {
        let t = f64::from(row) / 1000.0;
        let (v, a) = (speed(t), (speed(t + 1e-5) - speed(t - 1e-5)) / 2e-5);
        let force = 12.0 * a + 30.0 * v + 8.0 * v.signum() - 5.0;
        text.push_str(&format!("{t:.3},{:.4},{:.5}\n", 1000.0 * position, force / 40.0));
        position += 0.001 * (v + speed(t + 0.001)) / 2.0;
    }
    let path = std::env::temp_dir().join(format!("stillpoint-{}-{name}.csv", std::process::id()));
    std::fs::write(&path, text).expect("written");
    Scratch(path)
}

fn identified(scratch: &Scratch, more: &[&str]) -> Value {
    let file = scratch.0.display().to_string();
    let arguments = [&["identify", &file, "--effort", "current", "--format", "json"], more].concat();
    serde_json::from_str(&done(&arguments)).expect("one object")
}

#[test]
fn a_made_up_axis_is_identified_in_the_unit_of_its_recording() {
    let scratch = record("both", 0.0);
    let found = identified(&scratch, &["--effort-scale", "40"]);
    // mm: a kilogram is 0.001 N/(mm/s²).
    for (name, expected) in [("mass", 0.012), ("viscous", 0.030), ("coulomb", 8.0), ("offset", -5.0)] {
        let (value, u) = (found[name].as_f64(), found[format!("{name}_u")].as_f64());
        let (value, u) = value.zip(u).unwrap_or_else(|| panic!("{name}: {found}"));
        assert!((value - expected).abs() < 2.0 * u && u < 0.05 * expected.abs(), "{name}: {found}");
    }
    assert_eq!(found["refused"], serde_json::json!({}));
    assert_eq!(identified(&scratch, &["--effort-scale", "-40"])["mass"], Value::Null);
}

#[test]
fn one_direction_states_neither_friction_nor_offset() {
    let found = identified(&record("one", 0.6), &["--effort-scale", "40"]);
    for name in ["coulomb", "coulomb_u", "offset", "offset_u"] {
        assert_eq!(found[name], Value::Null, "{name}: {found}");
    }
    let reason = found["refused"]["coulomb"].as_str().expect("a reason");
    assert!(reason.contains("one direction") && reason.contains("both ways"), "{reason}");
    let both = found["friction_and_offset"].as_f64().expect("their sum");
    assert!((both - 3.0).abs() < 0.1, "{found}");
    assert!((found["mass"].as_f64().expect("mass") - 0.012).abs() < 0.000_36, "{found}");
}

#[test]
fn what_cannot_be_used_is_refused_in_words() {
    let scratch = record("words", 0.0);
    let file = scratch.0.display().to_string();
    for (column, words) in
        [("torque", "there is no column 'torque'"), ("t_s", "is the time or the position already")]
    {
        let output = stillpoint(&["identify", &file, "--effort", column]);
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{text}");
        assert!(text.contains(&file) && text.contains(words) && text.contains("give --effort"), "{text}");
    }
    let table = done(&[
        "identify",
        &file,
        "--effort",
        "current",
        "--effort-scale",
        "40",
        "--effort-unit",
        "N",
        "--rotor",
        "0.004",
    ]);
    assert!(table.contains("mass or inertia") && table.contains(" N/(mm/s²)"), "{table}");
    assert!(table.contains("load / motor      2.00 ± "), "{table}");
}
