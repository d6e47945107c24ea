//! No scale is assumed: a move is printed with the settings by which it was measured, or not at all.

use stillpoint_core::Parameters;
use stillpoint_core::wire::header::{Header, Priority};
use stillpoint_core::wire::record::{Move, flag};
use stillpoint_core::wire::settings::Settings;

use super::*;

/// A move of axis 1 that settled within this many ticks.
fn settled(number: u32, settling: u32) -> Message<'static> {
    let flags = flag::SETTLING;
    Message::Move(Move { axis: 1, number, settling, flags, start: 100, ..Move::default() })
}

fn in_force(ticks_per_second: u32, pending: bool) -> Message<'static> {
    let parameters = (&Parameters { window: 50, ..Parameters::at(ticks_per_second) }).into();
    Message::Settings(Settings { axis: 1, pending, parameters, ..Settings::default() })
}

/// Settling times and notes of what is watched. Each frame is given with its number.
#[track_caller]
fn check(name: &str, frames: &[(u32, Message)], settling: &[f64], note: Option<&str>) {
    let bytes = frames.iter().flat_map(|(sequence, message)| {
        let header =
            Header { version: 2, priority: message.priority(), sequence: *sequence, ..Header::default() };
        let mut buffer = [0; LONGEST_FRAME];
        encode::<SmallTable>(&header, message, &mut buffer).expect("it fits").to_vec()
    });
    let watched = watched_bytes(name, &bytes.collect::<Vec<u8>>());
    let found: Vec<f64> = text(&watched.stdout)
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).expect("JSON"))
        .map(|line| line["settling_s"].as_f64().expect("a time"))
        .collect();
    let notes = text(&watched.stderr);
    assert_eq!(found, settling, "{name}: {notes}");
    let not_printed = notes.lines().find(|line| line.contains("not printed"));
    assert_eq!(not_printed, note, "{name}");
    assert!(watched.status.success());
    assert_eq!(Priority::Move, settled(1, 1).priority());
}

#[test]
fn a_move_waits_for_the_settings_of_its_axis() {
    let unknown = |count: u32| {
        format!(
            "{count} moves are not printed, because the settings by which they were measured are not known"
        )
    };
    // At ten million ticks a second; the default would be a million.
    let rate = 10_000_000;
    let [one, two, three] = [1, 2, 3].map(|number| settled(number, number * 20_000));
    let settings = in_force(rate, false);
    check("before", &[(4, settings), (5, one), (6, two)], &[0.002, 0.004], None);
    check("after", &[(4, one), (5, two), (6, settings), (7, three)], &[0.002, 0.004, 0.006], None);
    check("never", &[(4, one), (5, two)], &[], Some(&unknown(2)));
    // Frame 5 may have been a change.
    check("hole", &[(4, one), (6, settings), (7, two)], &[0.004], Some(&unknown(1)));
    // The settings in force at first were not heard.
    let change = [(4, one), (5, in_force(rate, true)), (6, settings), (7, two)];
    check("change", &change, &[0.004], Some(&unknown(1)));
}

#[test]
fn times_of_a_monitor_that_names_no_rate_are_ticks() {
    let begin = drift::Drift { axis: 1, kind: 2, number: 9, moves: 9, score: 256, ..Default::default() };
    let watched = watched("no-rate", &[Message::Drift(begin)]);
    assert!(text(&watched.stderr).contains("dibble, kind 2: a drift begins\n"), "{}", text(&watched.stderr));
}
