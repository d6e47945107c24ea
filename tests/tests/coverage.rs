//! How often the true settling time lies in the stated 95 % interval: 93 to 97 of 100, by simulation.
//!
//! Source of the terms: JCGM 100:2008 (GUM) 4.3.7, 5.1 and Annex G. The truth is continuous: the instant at which the
//! noise-free error crosses the window's edge, less the instant at which the command's profile ends. All settled moves
//! count, those with a caution included. Above 97 of 100 is allowed where bounded errors prevail and the mean width is at
//! most 1.25 times that of the shortest honest interval.

use stillpoint_core::Reasons;
use stillpoint_tests::chance::Chance;
use stillpoint_tests::coverage::Coverage;
use stillpoint_tests::rounds::{rounds, seed};
use stillpoint_tests::stop_families::families;
use stillpoint_tests::stops::Family;

/// Moves of a short test in each family.
const MOVES: u64 = 1000;

/// What a family misses of the bars, in words; none if it meets all.
fn misses(family: &Family, found: &Coverage) -> Option<String> {
    // Two and a half standard deviations of a share of about 94 of 100.
    let chance = 250.0 * (0.94 * 0.06 / found.moves).sqrt();
    let widest = family.widest * (1.0 + 2.0 / found.moves.sqrt());
    let cautioned = found.fragile * found.moves / 100.0;
    let bars = [
        (found.settled < 0.9, "settled less than 90 of 100"),
        (found.held < 93.0 - chance, "held less than 93 of 100"),
        (found.held > 97.0 + chance && found.width > widest, "held more than 97 of 100, in wide intervals"),
        (found.fragile > 10.0 + chance && !family.grazes(), "cautioned more than 10 of 100"),
        (
            cautioned >= 20.0 && found.fragile_held < 85.0 - chance,
            "held less than 85 of 100 of the cautioned",
        ),
    ];
    let missed = bars.into_iter().find(|bar| bar.0).map(|bar| bar.1)?;
    Some(format!("{}: {missed}", family.name))
}

#[test]
fn the_interval_holds_the_truth_in_95_of_100_moves() {
    let (moves, seed) = (rounds(MOVES), seed(0x9E37_79B9_7F4A_7C15));
    println!("seed {seed}, {moves} moves of each family");
    println!(" held %  cautioned %  of them held %  width  mean 95 % (ticks)");
    let mut missed = vec![];
    for family in families() {
        let fragile = |reasons: Reasons| reasons.has(Reasons::FRAGILE);
        let found = Coverage::of(&family, moves, fragile, &mut Chance::new(seed));
        println!(
            "{:7.1} {:12.1} {:15.1} {:6.2} {:18.0}: {}",
            found.held, found.fragile, found.fragile_held, found.width, found.mean_half_width, family.name
        );
        missed.extend(misses(&family, &found));
    }
    assert!(missed.is_empty(), "{missed:#?}");
}
