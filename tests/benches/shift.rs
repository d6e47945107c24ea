//! In: nothing, or how many seeds. Out: how alike the model of moves and full rehearsals of eight hours are.
//!
//! `cargo bench -p stillpoint-tests --bench shift` rehearses three shifts of eight hours through firmware and frames
//! and compares every half hour of every kind. About a minute for a shift. The test of the same name does that with
//! shifts of an hour.

use std::time::Instant;

use stillpoint::source::rehearsal::transplanter;
use stillpoint_tests::shift::full::rehearse;
use stillpoint_tests::shift::library::{Library, Size};
use stillpoint_tests::shift::likeness::compare;

fn main() {
    let seeds = std::env::args().find_map(|argument| argument.parse().ok()).unwrap_or(3);
    let libraries = Library::all(Size { sound: 12_000, worn: 1200 });
    let shifts: Vec<_> = (1..=seeds)
        .map(|seed| {
            let clock = Instant::now();
            let records = rehearse(transplanter::axes(), seed, 8.0);
            let moves: usize = records.iter().map(Vec::len).sum();
            println!("shift {seed}: {moves} moves in {:.1} s", clock.elapsed().as_secs_f64());
            records
        })
        .collect();
    for (axis, library) in libraries.iter().enumerate() {
        let full: Vec<_> = shifts.iter().map(|records| records[axis].clone()).collect();
        let found = compare(library, &full, 8.0, libraries.len());
        let (name, compared, furthest) = (library.known.name, found.compared, found.furthest);
        println!("{name}: {compared} figures, furthest off {furthest:.2} of what is allowed");
        found.differ.iter().for_each(|differ| println!("DIFFERS: {differ}"));
    }
}
