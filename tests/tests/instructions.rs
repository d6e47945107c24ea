//! Instructions on a Cortex-M4F, counted under emulation; more than here is a regression.
//!
//! Bars of the design: 90 per sample on average, 200 at most outside a move's end, 2000 at a move's end, 2 KiB
//! of memory per axis. A move's end is where its command end becomes certain and where it is told. What is above a
//! bar is written down here as it is, and must only get less.
//! Limits hold for rustc 1.95 and for 1.96, which makes up to 240 more of the same source.
//! The recordings are those of `count`: the usual one, and others that are worse in one way each.
//!
//! The monitor around the core has no bar; what it takes with three axes at once is in BOARDS.md, and must only get
//! less. Its limits are a quarter above what rustc 1.96 makes: how a compiler inlines moves them by a tenth, and 1.95 was
//! not measured.

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

/// Of the monitor, the core included: name, and what it must not exceed. Per axis, but lamp and turn per device.
const OF_MONITOR: [(&str, f64); 26] = [
    ("app_usual_instructions_usual", 490.0),
    ("app_ended_instructions_usual", 1850.0),
    ("app_event_instructions_usual", 43_240.0),
    ("transmit_instructions_usual", 44_300.0),
    ("idle_instructions_usual", 350.0),
    ("lamp_instructions_usual", 47.0),
    ("turn_instructions_usual", 220.0),
    ("worst_app_usual_instructions_usual", 1730.0),
    ("worst_app_usual_instructions_step", 750.0),
    ("worst_app_usual_instructions_short", 1800.0),
    ("worst_app_usual_instructions_edge", 1800.0),
    ("worst_app_usual_instructions_pulses", 750.0),
    ("worst_app_usual_instructions_scaled", 1990.0),
    ("worst_app_usual_instructions_fine", 2130.0),
    ("worst_app_usual_instructions_following", 1730.0),
    ("worst_app_usual_instructions_faults", 12_540.0),
    ("worst_transmit_instructions_fine", 96_090.0),
    ("worst_app_event_instructions_usual", 51_910.0),
    ("worst_app_event_instructions_step", 32_930.0),
    ("worst_app_event_instructions_short", 218_090.0),
    ("worst_app_event_instructions_edge", 185_510.0),
    ("worst_app_event_instructions_pulses", 51_910.0),
    ("worst_app_event_instructions_scaled", 51_910.0),
    ("worst_app_event_instructions_fine", 234_260.0),
    ("worst_app_event_instructions_following", 51_910.0),
    ("worst_app_event_instructions_faults", 200_860.0),
];

/// The number after a name in what an image has printed.
fn find(text: &str, name: &str) -> f64 {
    let found = text.lines().filter_map(|line| line.split_once(' ')).find(|found| found.0 == name);
    let number = found.and_then(|(_, rest)| rest.split_whitespace().next()?.parse().ok());
    number.unwrap_or_else(|| panic!("{name} is not told: {text}"))
}

#[test]
fn no_more_instructions_than_before() {
    let Some(image) = image("count") else { return };
    let text = printed(&image);
    for (name, limit, bar) in LIMITS {
        let found = find(&text, name);
        let above = if found > bar { ": above the bar" } else { "" };
        println!("{name} {found}, limit {limit}, bar {bar}{above}");
        assert!(found <= limit, "{name}: {found} is more than {limit}");
    }
    println!("{}", text.lines().find(|line| line.starts_with("bare")).unwrap_or_default());
}

#[test]
fn the_monitor_takes_no_more_instructions_than_before() {
    let Some(image) = image("count_app") else { return };
    let text = printed(&image);
    for (name, limit) in OF_MONITOR {
        let found = find(&text, name);
        println!("ran {name} {found}, limit {limit}");
        assert!(found <= limit, "{name}: {found} is more than {limit}");
    }
    // The monitor speaks of a move where the core tells one, and at no other sample.
    let of = |name: &str| text.lines().find(|line| line.starts_with(name))?.split_once(" of ").map(|of| of.1);
    let told = of("core_event_instructions_usual");
    assert_eq!((of("transmit_instructions_usual"), told), (told, Some("15")));
}
