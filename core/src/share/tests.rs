//! In: moves that are late or not. Out: what is shown, beside a slow and obvious twin.

use super::*;
use std::vec::Vec;

/// Unit: 2^-20 bits
fn exact_allowance(share: u32) -> f64 {
    (1.0 + f64::from(share) / 1000.0).log2() * f64::from(1 << PLACES)
}

#[test]
fn the_allowance_is_rounded_up_at_every_share() {
    for share in 1..=999 {
        let (exact, rounded) = (exact_allowance(share), f64::from(allowance(share)));
        assert!(exact < rounded && rounded <= exact + 1.0, "{share}: {exact} {rounded}");
    }
}

/// All moves since the last change of what is shown; the evidence is sought anew from every possible start.
#[derive(Default)]
struct Twin {
    above: bool,
    late: Vec<bool>,
}

impl Twin {
    fn step(&mut self, limit: u32, late: bool) -> Option<Shown> {
        self.late.push(late);
        let share = if self.above { 1000 - limit } else { limit };
        let cost = exact_allowance(share).ceil() as i64;
        let evidence = |start: usize| -> i64 {
            let one = |late: &bool| if *late != self.above { (1 << PLACES) - cost } else { -cost };
            self.late[start..].iter().map(one).sum()
        };
        // Of equal ones the latest start.
        let start = (0..self.late.len()).max_by_key(|start| evidence(*start))?;
        if evidence(start) < i64::from(BITS) << PLACES {
            return None;
        }
        let moves = (self.late.len() - start) as u32;
        let late = self.late[start..].iter().filter(|late| **late).count() as u32;
        *self = Twin { above: !self.above, late: Vec::new() };
        Some(Shown { above: self.above, moves, late })
    }
}

/// A sequence of numbers without an order (Marsaglia's xorshift), the same at every run.
struct Chance(u64);

impl Chance {
    /// True in so many of a thousand cases.
    fn permille(&mut self, share: u32) -> bool {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        ((self.0 >> 32) * 1000) >> 32 < u64::from(share)
    }
}

#[test]
fn the_slow_twin_shows_the_same() {
    let mut shown = 0;
    for (seed, limit) in (1..).zip([1, 20, 50, 100, 300, 500, 900, 999]) {
        let (mut share, mut twin, mut chance) = (Share::default(), Twin::default(), Chance(seed * 7919));
        for number in 0..800 {
            // Long stretches, some of one kind only.
            let of = [limit, 2 * limit, 1000, limit / 2, 0][number / 80 % 5];
            let late = chance.permille(of);
            let found = share.step(limit, late);
            assert_eq!(found, twin.step(limit, late), "limit {limit}, move {number}");
            shown += u32::from(found.is_some());
        }
    }
    assert!(shown >= 12, "{shown}");
}

/// Moves of one kind until something is shown.
fn until_shown(share: &mut Share, limit: u32, late: bool) -> Shown {
    (0..1_000_000).find_map(|_| share.step(limit, late)).expect("shown")
}

/// Worked by hand: n late moves less n allowances must reach 23 bits; 23 / (1 − log2 1.1) = 26.7, and so on. Back, with
/// no late move: 23 / (1 − log2(2 − limit)); for a limit of one per mille 31,877, and a little more as allowances are
/// rounded up.
#[test]
fn a_few_late_moves_show_nothing_and_a_row_of_them_does() {
    let cases =
        [(1, 24, 31_902), (10, 24, 3181), (100, 27, 311), (500, 56, 56), (900, 311, 27), (999, 31_902, 24)];
    for (limit, late, back) in cases {
        let mut share = Share::default();
        let shown = until_shown(&mut share, limit, true);
        assert_eq!(shown, Shown { above: true, moves: late, late }, "limit {limit}");
        assert_eq!(shown.permille(), 1000);
        let shown = until_shown(&mut share, limit, false);
        assert_eq!(shown, Shown { above: false, moves: back, late: 0 }, "limit {limit}");
    }
}

#[test]
fn the_figure_lies_on_the_side_that_is_shown() {
    let third = |above| Shown { above, moves: 3, late: 1 }.permille();
    assert_eq!((third(true), third(false)), (334, 333));
    for limit in 1..=999 {
        let (mut share, mut chance) = (Share::default(), Chance(u64::from(limit)));
        for above in [true, false] {
            let of = if above { (2 * limit).min(1000) } else { limit / 2 };
            let shown = (0..1_000_000).find_map(|_| share.step(limit, chance.permille(of)));
            let shown = shown.expect("shown");
            assert_eq!((shown.above, shown.permille() > limit), (above, above), "{limit}: {shown:?}");
            assert_ne!(shown.permille(), limit);
        }
    }
}

/// A share that stays where it is gives one alarm at most, at the limit and everywhere around it, in shifts of eight
/// hours at two moves a second.
#[test]
fn a_share_that_hovers_gives_one_alarm() {
    for limit in [20, 100, 300] {
        for part in [0, 50, 80, 90, 100, 110, 120, 150, 200] {
            let (of, mut chance) = (limit * part / 100, Chance(u64::from(limit * 1000 + part)));
            for _ in 0..6 {
                let mut share = Share::default();
                let moves = (0..57_600).filter_map(|_| share.step(limit, chance.permille(of)));
                let raised = moves.filter(|shown| shown.above).count();
                let (least, most) = (usize::from(part >= 150), usize::from(part > 100));
                assert!((least..=most).contains(&raised), "limit {limit}, share {of}: {raised} alarms");
            }
        }
    }
}
