//! Which moves are put together, as a table.

use std::vec::Vec;

use super::*;
use crate::record::fixture;
use crate::settings::Parameters;
use crate::settling::peaks::Speed;

fn settings() -> Settings {
    Settings::new(Parameters { window: 5, ..Parameters::at(1_000_000) }).unwrap()
}

fn record(travel: i32, speed: u32) -> Record {
    Record { travel, peak_speed: Speed { distance: speed, time: 8 }, ..fixture::settled() }
}

/// Number of the kind of each (travel, distance in eight ticks).
fn numbers(moves: &[(i32, u32)]) -> Vec<u32> {
    let (settings, mut kinds) = (settings(), Kinds::<4>::default());
    moves
        .iter()
        .map(|&(travel, speed)| kinds.step(&settings, &record(travel, speed)).unwrap().number)
        .collect()
}

#[test]
fn like_goes_with_like() {
    for (moves, expected) in [
        (&[(1000, 80), (-1000, 80), (1000, 80)][..], &[1, 2, 1][..]),
        (&[(1000, 80), (1110, 80), (1300, 80), (1000, 80)], &[1, 1, 2, 1]),
        (&[(1000, 80), (1000, 96), (1000, 160), (1000, 40)], &[1, 1, 2, 3]),
        (&[(2, 1), (4, 2), (1, 0)], &[1, 1, 1]),
    ] {
        assert_eq!(numbers(moves), expected, "{moves:?}");
    }
}

#[test]
fn a_slow_creep_splits_nothing_and_distances_30_percent_apart_never_mix() {
    let (settings, mut kinds) = (settings(), Kinds::<4>::default());
    for k in 0..4000 {
        // Both grow to four times their size, 5 % of scatter apart.
        let scatter = (k % 11 - 5) * 500;
        let short = (100_000 + 75 * k) / 100 * (10_000 + scatter / 5) / 100;
        let long = short / 10 * 13;
        for (travel, number) in [(short, 1), (long, 2)] {
            let place = kinds.step(&settings, &record(travel, 80)).unwrap();
            assert_eq!(place.number, number, "move {k} of {travel} counts");
        }
    }
    assert_eq!(kinds.kinds().map(|(_, kind)| kind.moves).collect::<Vec<_>>(), [4000, 4000]);
}

#[test]
fn the_kind_unseen_for_longest_goes_and_is_told() {
    let (settings, mut kinds) = (settings(), Kinds::<2>::default());
    let mut step = |travel| kinds.step(&settings, &record(travel, 80)).unwrap();
    assert_eq!(step(1000), Place { row: 0, number: 1, arrival: Arrival::New });
    assert_eq!(step(2000), Place { row: 1, number: 2, arrival: Arrival::New });
    assert_eq!(step(1000).arrival, Arrival::Known);
    assert_eq!(step(4000), Place { row: 1, number: 3, arrival: Arrival::InsteadOf { number: 2, moves: 1 } });
    assert_eq!(step(2000).arrival, Arrival::InsteadOf { number: 1, moves: 2 });
}

#[test]
fn a_travel_that_was_not_seen_has_no_kind() {
    let (settings, mut kinds) = (settings(), Kinds::<2>::default());
    let untrusted = Record { outcome: Outcome::Untrusted, ..record(1000, 80) };
    let joined = Record { reasons: Reasons::JOINED, ..record(1000, 80) };
    assert_eq!(kinds.step(&settings, &untrusted), None);
    assert_eq!(kinds.step(&settings, &joined), None);
    assert_eq!(Kinds::<0>::default().step(&settings, &record(1000, 80)), None);
}
