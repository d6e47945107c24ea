//! Instructions on a Cortex-M4F, counted under emulation; more than here is a regression.
//!
//! Bars of the design: 90 per sample on average, 200 at most outside a move's end, 2000 at a move's end, 2 KiB
//! of memory per axis. A move's end is where its command end becomes certain and where it is told. What is above a
//! bar is written down here as it is, and must only get less.
//! The recordings are those of `count`: the usual one, and others that are worse in one way each. Compilers differ: limits
//! allow what Rust 1.95 and Debian's 1.96 make.

use stillpoint_tests::emulator::{image, printed};

/// Name, what it must not exceed, and the bar.
const LIMITS: [(&str, f64, f64); 20] = [
    ("core_instructions_per_sample", 90.0, 90.0),
    ("axis_bytes", 2016.0, 2048.0),
    ("worst_usual_instructions_usual", 200.0, 200.0),
    ("worst_usual_instructions_step", 280.0, 200.0),
    ("worst_usual_instructions_short", 200.0, 200.0),
    ("worst_usual_instructions_edge", 240.0, 200.0),
    ("worst_usual_instructions_pulses", 280.0, 200.0),
    ("worst_usual_instructions_scaled", 200.0, 200.0),
    ("worst_usual_instructions_fine", 240.0, 200.0),
    ("worst_usual_instructions_following", 320.0, 200.0),
    ("worst_usual_instructions_faults", 440.0, 200.0),
    ("worst_ending_instructions_usual", 1840.0, 2000.0),
    ("worst_ending_instructions_step", 1000.0, 2000.0),
    ("worst_ending_instructions_short", 2160.0, 2000.0),
    ("worst_ending_instructions_edge", 2120.0, 2000.0),
    ("worst_ending_instructions_pulses", 1840.0, 2000.0),
    ("worst_ending_instructions_scaled", 1840.0, 2000.0),
    ("worst_ending_instructions_fine", 3040.0, 2000.0),
    ("worst_ending_instructions_following", 1840.0, 2000.0),
    ("worst_ending_instructions_faults", 1760.0, 2000.0),
];

#[test]
fn no_more_instructions_than_before() {
    let Some(image) = image("count") else { return };
    let (text, mut more) = (printed(&image), vec![]);
    for (name, limit, bar) in LIMITS {
        let found = text
            .lines()
            .find_map(|line| line.strip_prefix(name)?.split_whitespace().next()?.parse::<f64>().ok());
        let found = found.unwrap_or_else(|| panic!("{name} is not told: {text}"));
        println!(
            "{name} {found}, limit {limit}, bar {bar}{}",
            if found > bar { ": above the bar" } else { "" }
        );
        more.extend((found > limit).then(|| format!("{name}: {found} is more than {limit}")));
    }
    println!("{}", text.lines().find(|line| line.starts_with("bare")).unwrap_or_default());
    assert!(more.is_empty(), "{more:#?}");
}
