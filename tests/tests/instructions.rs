//! Instructions on a Cortex-M4F, counted under emulation; more than here is a regression.
//!
//! Bars of the design: the whole monitor takes at most 15 % of 144 MHz with three axes at 4 kHz and two moves a second on
//! each; its worst tick is absorbed by the queue of samples with half its room unused; an `Axis` takes at most 3 KiB, an
//! axis of the monitor with its kinds, alarms and captures 8 KiB. One instruction is counted as one cycle: the wait
//! states of the flash are not.
//!
//! The other limits have no bar. They are a quarter above what rustc 1.96 made: how a compiler inlines moves them by a
//! tenth, and 1.95 was not measured. The recordings are those of `count`: the usual one, and others, each worse in one
//! respect. A move's end is where its command end becomes certain and where it is reported.

use stillpoint_tests::emulator::{image, printed};

/// Of the core: name and limit.
const OF_CORE: [(&str, f64); 20] = [
    ("axis_bytes", 3072.0),
    ("core_instructions_per_sample", 520.0),
    ("worst_usual_instructions_usual", 850.0),
    ("worst_usual_instructions_step", 850.0),
    ("worst_usual_instructions_short", 850.0),
    ("worst_usual_instructions_edge", 6600.0),
    ("worst_usual_instructions_pulses", 850.0),
    ("worst_usual_instructions_scaled", 850.0),
    ("worst_usual_instructions_fine", 12_650.0),
    ("worst_usual_instructions_following", 850.0),
    ("worst_usual_instructions_faults", 850.0),
    ("worst_ending_instructions_usual", 10_150.0),
    ("worst_ending_instructions_step", 7800.0),
    ("worst_ending_instructions_short", 7350.0),
    ("worst_ending_instructions_edge", 6250.0),
    ("worst_ending_instructions_pulses", 10_200.0),
    ("worst_ending_instructions_scaled", 10_200.0),
    ("worst_ending_instructions_fine", 6200.0),
    ("worst_ending_instructions_following", 10_150.0),
    ("worst_ending_instructions_faults", 8050.0),
];

/// Of the monitor, the core included: name and limit. Per axis, but lamp and turn per device.
const OF_MONITOR: [(&str, f64); 28] = [
    ("monitor_bytes_per_axis", 9216.0),
    ("app_usual_instructions_usual", 1110.0),
    ("app_ended_instructions_usual", 6580.0),
    ("app_event_instructions_usual", 58_480.0),
    ("transmit_instructions_usual", 71_130.0),
    ("idle_instructions_usual", 1_260.0),
    ("lamp_instructions_usual", 60.0),
    ("turn_instructions_usual", 470.0),
    ("worst_app_usual_instructions_usual", 10_520.0),
    ("worst_app_usual_instructions_step", 10_720.0),
    ("worst_app_usual_instructions_short", 10_790.0),
    ("worst_app_usual_instructions_edge", 9800.0),
    ("worst_app_usual_instructions_pulses", 10_520.0),
    ("worst_app_usual_instructions_scaled", 10_520.0),
    ("worst_app_usual_instructions_fine", 13_100.0),
    ("worst_app_usual_instructions_following", 10_520.0),
    ("worst_app_usual_instructions_faults", 20_240.0),
    ("worst_transmit_instructions_fine", 148_700.0),
    ("worst_app_event_instructions_usual", 66_740.0),
    ("worst_app_event_instructions_step", 42_240.0),
    ("worst_app_event_instructions_short", 210_800.0),
    ("worst_app_event_instructions_edge", 178_290.0),
    ("worst_app_event_instructions_pulses", 66_720.0),
    ("worst_app_event_instructions_scaled", 66_720.0),
    ("worst_app_event_instructions_fine", 220_140.0),
    ("worst_app_event_instructions_following", 66_740.0),
    ("worst_app_event_instructions_faults", 192_540.0),
    ("transmit_instructions_usual", 71_130.0),
];

/// Cycles of the board's processor. Unit: 1/s
const CLOCK: f64 = 144e6;
/// Samples of each axis. Unit: 1/s
const RATE: f64 = 4000.0;
const AXES: f64 = 3.0;
/// Moves of each axis. Unit: 1/s
const MOVES: f64 = 2.0;
/// Places in the queue of samples on the NUCLEO-G474RE.
const QUEUE: f64 = 1600.0;

/// The number after a name in what an image has printed.
fn find(text: &str, name: &str) -> f64 {
    let found = text.lines().filter_map(|line| line.split_once(' ')).find(|found| found.0 == name);
    let number = found.and_then(|(_, rest)| rest.split_whitespace().next()?.parse().ok());
    number.unwrap_or_else(|| panic!("{name} is not printed: {text}"))
}

fn check(text: &str, limits: &[(&str, f64)]) {
    for (name, limit) in limits {
        let found = find(text, name);
        println!("ran {name} {found}, limit {limit}");
        assert!(found <= *limit, "{name}: {found} is more than {limit}");
    }
}

#[test]
fn the_core_stays_within_its_instruction_limits() {
    let Some(image) = image("count") else { return };
    let text = printed(&image);
    check(&text, &OF_CORE);
    println!("{}", text.lines().find(|line| line.starts_with("bare")).unwrap_or_default());
}

#[test]
fn the_monitor_stays_within_its_instruction_limits() {
    let Some(image) = image("count_app") else { return };
    let text = printed(&image);
    check(&text, &OF_MONITOR);
    load(&text);
    worst_tick(&text);
    // The monitor sends a move where the core reports one, and at no other sample.
    let count =
        |name: &str| text.lines().find(|line| line.starts_with(name))?.split_once(" of ").map(|of| of.1);
    let moves = count("core_event_instructions_usual");
    assert_eq!((count("transmit_instructions_usual"), moves), (moves, Some("15")));
}

/// The monitor's share of the processor; the bar is 15 %.
fn load(text: &str) {
    let of = |name: &str| find(text, &format!("{name}_instructions_usual"));
    let at_each_sample = AXES * of("app_usual") + of("lamp") + of("turn");
    let of_a_move = of("app_ended") + of("app_event") + of("transmit") + of("idle");
    let load = (RATE * at_each_sample + AXES * MOVES * of_a_move) / CLOCK;
    println!("ran the whole monitor, three axes at 4 kHz, two moves a second on each: {:.1} %", 100.0 * load);
    assert!(load <= 0.15, "{load}");
}

/// Samples that wait while three stops are reported at once in the recording worst for that; the bar is half the queue.
fn worst_tick(text: &str) {
    let worst = |name: &str| {
        let values = ["usual", "step", "short", "edge", "pulses", "scaled", "fine", "following", "faults"]
            .map(|recording| find(text, &format!("worst_{name}_instructions_{recording}")));
        values.into_iter().fold(0.0, f64::max)
    };
    let waiting = AXES * (worst("app_event") + worst("transmit")) / (CLOCK / RATE);
    println!("ran the worst tick: {waiting:.0} of {QUEUE} places of the queue");
    assert!(waiting <= QUEUE / 2.0, "{waiting}");
}
