//! In: made settling times before and after a change of known size. Out: how often a comparison is right.
//!
//! Each side has a latent normal value per move, AR(1) if moves depend on each other: the lowest share settles at 0, the
//! highest not at all, the others are lognormal, on a grid if there is one. Where the true shift is one of the steps of a
//! grid, an interval may hold it in more than 97 of 100 cases: it can't end between steps.

use statrs::distribution::{ContinuousCDF, Normal};
use stillpoint::analysis::comparison::{Comparison, Margin, Terms, Verdict};
use stillpoint::analysis::differences::Differences;
use stillpoint::analysis::stop_curves::{self, Curve};
use stillpoint::analysis::window_limit::Wish;
use stillpoint_tests::chance::Chance;
use stillpoint_tests::rounds::{rounds, seed};

const TERMS: Terms = Terms { confidence: 0.95, margin: Margin::Time(0.0) };

/// How one side settles.
#[derive(Clone, Copy)]
struct Side {
    /// Unit: ms
    median: f64,
    spread: f64,
    /// Unit: ms
    step: f64,
    zeros: f64,
    unsettled: f64,
}

const PLAIN: Side = Side { median: 100.0, spread: 0.15, step: 0.0, zeros: 0.0, unsettled: 0.0 };

impl Side {
    /// The settling time of a latent normal value.
    fn value(&self, latent: f64) -> f64 {
        let rank = Normal::standard().cdf(latent);
        if rank < self.zeros {
            return 0.0;
        }
        if rank >= 1.0 - self.unsettled {
            return f64::INFINITY;
        }
        let inner = (rank - self.zeros) / (1.0 - self.zeros - self.unsettled);
        let time = self.median * (self.spread * quantile(inner.clamp(1e-9, 1.0 - 1e-9))).exp();
        if self.step > 0.0 { (time / self.step).round() * self.step } else { time }
    }

    fn moves(&self, chance: &mut Chance, count: usize, correlation: f64) -> Vec<f64> {
        let mut latent = chance.normal();
        (0..count)
            .map(|_| {
                let value = self.value(latent);
                latent = correlation * latent + (1.0 - correlation * correlation).sqrt() * chance.normal();
                value
            })
            .collect()
    }

    /// Values at even ranks, for the true shift.
    fn population(&self) -> Vec<f64> {
        (0..1000).map(|rank| self.value(quantile((f64::from(rank) + 0.5) / 1000.0))).collect()
    }
}

fn quantile(rank: f64) -> f64 {
    Normal::standard().inverse_cdf(rank)
}

/// Families of changes: name, before, after, and whether the true shift is a step of a grid.
fn families() -> Vec<(&'static str, Side, Side, bool)> {
    let of = |name, before, after| (name, before, after, false);
    let on_grid = |name, before, after| (name, before, after, true);
    let zeros = |share| Side { zeros: share, ..PLAIN };
    let unsettled = |share| Side { unsettled: share, ..PLAIN };
    vec![
        of("a third", Side { median: 200.0, ..PLAIN }, Side { median: 69.0, ..PLAIN }),
        of("equal", PLAIN, PLAIN),
        of(
            "spread 20 % to 3 %",
            Side { median: 200.0, spread: 0.2, ..PLAIN },
            Side { median: 190.0, spread: 0.03, ..PLAIN },
        ),
        of(
            "0.25 ms steps, zeros",
            Side { median: 60.0, spread: 0.3, step: 0.25, zeros: 0.1, ..PLAIN },
            Side { median: 2.6, spread: 0.3, step: 0.25, zeros: 0.4, ..PLAIN },
        ),
        of("10 % unsettled to none", unsettled(0.1), Side { median: 90.0, ..PLAIN }),
        of("40 % unsettled to 5 %", unsettled(0.4), Side { median: 80.0, ..unsettled(0.05) }),
        on_grid(
            "4 to 3 ms, 1 ms steps",
            Side { median: 4.0, spread: 0.2, step: 1.0, zeros: 0.3, ..PLAIN },
            Side { median: 3.0, spread: 0.2, step: 1.0, zeros: 0.45, ..PLAIN },
        ),
        on_grid("45 % zeros, equal", zeros(0.45), zeros(0.45)),
        on_grid("40 % unsettled, equal", unsettled(0.4), unsettled(0.4)),
    ]
}

/// Of `count` comparisons: share with an interval that holds the true shift, and share without an interval.
fn coverage((before, after): (&Side, &Side), (moves, correlation): (usize, f64), count: u64) -> (f64, f64) {
    let truth = Differences::new(&before.population(), &after.population()).expect("values").median();
    let mut chance = Chance::new(seed(0) + moves as u64 * 7919 + (correlation * 10.0) as u64 + 1);
    let (mut held, mut with) = (0, 0);
    for _ in 0..count {
        let one = before.moves(&mut chance, moves, correlation);
        let other = after.moves(&mut chance, moves, correlation);
        let Some(shift) = Comparison::of(&one, &other, &TERMS).shift else { continue };
        with += 1;
        held += u64::from(shift.low <= truth && truth <= shift.high);
    }
    (held as f64 / with.max(1) as f64, 1.0 - with as f64 / count as f64)
}

/// Three standard deviations of a simulated share.
fn chance_of(count: u64) -> f64 {
    3.0 * (0.05 * 0.95 / count as f64).sqrt()
}

/// 93 to 97 of 100, chance aside; on a grid, more.
#[test]
fn intervals_hold_the_true_shift() {
    println!("family | moves | held | without an interval");
    let mut wrong = Vec::new();
    for (name, before, after, is_on_grid) in families() {
        for (moves, short) in [(20, 500), (50, 250), (200, 80)] {
            let count = rounds(short);
            let (held, without) = coverage((&before, &after), (moves, 0.0), count);
            println!("{name:22} | {moves:4} | {held:.3} | {without:.3}");
            let chance = chance_of(count);
            let most = if is_on_grid { 1.0 } else { 0.97 + chance };
            if !(0.93 - chance..=most).contains(&held) || without > 0.1 {
                wrong.push(format!("{name}, {moves} moves: {held} held, {without} without"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Up to a correlation of 0.6 intervals hold from 50 moves on, beyond there is none.
#[test]
fn moves_that_follow_each_other_widen_the_interval_or_refuse_it() {
    println!("family | correlation | moves | held | without an interval");
    let mut wrong = Vec::new();
    for (name, before, after, _) in families().into_iter().filter(|family| !family.3) {
        for (correlation, moves, short) in [(0.3, 50, 150), (0.6, 50, 200), (0.6, 200, 50), (0.9, 50, 80)] {
            let count = rounds(short);
            let (held, without) = coverage((&before, &after), (moves, correlation), count);
            println!("{name:22} | {correlation} | {moves:4} | {held:.3} | {without:.3}");
            let chance = chance_of(count);
            let is_wrong = if correlation > 0.75 { without < 0.95 } else { held < 0.92 - chance };
            if is_wrong {
                wrong.push(format!("{name}, {correlation}, {moves} moves: {held} held, {without} without"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Verdicts where nothing changed, a fifth of the moves unsettled: both the time and the share may be wrong by chance.
#[test]
fn where_nothing_changed_a_verdict_is_rare() {
    for unsettled in [0.0, 0.2] {
        let (side, count) = (Side { unsettled, ..PLAIN }, rounds(250));
        let mut chance = Chance::new(seed(0) + 77);
        let claims = (0..count).filter(|_| {
            let (one, other) = (side.moves(&mut chance, 60, 0.0), side.moves(&mut chance, 60, 0.0));
            Comparison::of(&one, &other, &TERMS).verdict != Verdict::NotShown
        });
        let share = claims.count() as f64 / count as f64;
        println!("{unsettled} unsettled: {share} of verdicts wrong");
        assert!(share <= 0.05 + chance_of(count) + if unsettled > 0.0 { 0.03 } else { 0.0 });
    }
}

/// Three settings, of which the second and the third are alike or not: every pair is judged right.
#[test]
fn three_settings_are_judged_right_pair_by_pair() {
    for third in [51.0, 43.0] {
        let medians = [60.0, 51.0, third];
        let count = rounds(100);
        let right = (0..count).filter(|round| {
            let mut chance = Chance::new(seed(0) + 31 * round + 5);
            let groups =
                medians.map(|median| Side { median, unsettled: 0.02, ..PLAIN }.moves(&mut chance, 60, 0.0));
            [(0, 1), (0, 2), (1, 2)].into_iter().all(|(one, other)| {
                let alike = medians[one] == medians[other];
                let expected = if alike { Verdict::NotShown } else { Verdict::Faster };
                Comparison::of(&groups[one], &groups[other], &TERMS).verdict == expected
            })
        });
        let right = right.count() as u64;
        println!("60, 51, {third} ms: {right} of {count} right");
        assert!(100 * right >= 93 * count, "60, 51, {third} ms: {right} of {count}");
    }
}

/// Tails whose height scatters: how often the limit for one time, and all limits of a curve, do for the true share.
#[test]
fn limits_of_windows_hold() {
    println!("moves | correlation | one point held | whole curve held");
    let wish = Wish { share: 0.95, confidence: 0.95 };
    let truth = TIMES.map(|time| true_window(time, wish.share));
    for (moves, correlation, short) in [(100, 0.0, 300), (300, 0.0, 100), (100, 0.5, 150)] {
        let count = rounds(short);
        let mut chance = Chance::new(seed(0) + 5);
        let (mut one, mut whole) = (0, 0);
        for _ in 0..count {
            let curves = curves(&mut chance, moves, correlation);
            let points = TIMES.map(|time| wish.window(&curves, time));
            one += u64::from(points[2].window >= truth[2]);
            whole += u64::from(points.iter().zip(truth).all(|(point, truth)| point.high >= truth));
        }
        let share = |held: u64| held as f64 / count as f64;
        println!("{moves:4} | {correlation} | {:.3} | {:.3}", share(one), share(whole));
        let room = chance_of(count);
        if correlation == 0.0 {
            assert!(share(one) >= 0.95 - room && share(whole) >= 0.95 - room, "{moves}");
        } else {
            assert!(share(one) >= 0.88 - room, "{moves}, {correlation}: what the reason says, fewer than 95");
        }
    }
}

/// Times at which limits are read.
const TIMES: [f64; 8] = [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0];
/// Two tails with heights of their own, so that other moves need most at other times.
const CONSTANTS: [f64; 2] = [0.7, 2.0];

fn curves(chance: &mut Chance, moves: usize, correlation: f64) -> Vec<Curve> {
    let mut latent = [chance.normal(), chance.normal()];
    (0..moves)
        .map(|_| {
            let heights = latent.map(|one| (0.4 * one).exp());
            latent = latent
                .map(|one| correlation * one + (1.0 - correlation * correlation).sqrt() * chance.normal());
            TIMES.map(|time| (error(heights, time), Some(time))).to_vec()
        })
        .collect()
}

fn error(heights: [f64; 2], time: f64) -> f64 {
    heights.iter().zip(CONSTANTS).map(|(height, constant)| height * (-time / constant).exp()).sum()
}

/// The window that the share of all moves is within from that time on, by errors at even ranks of both heights.
fn true_window(time: f64, share: f64) -> f64 {
    let ranks = 200;
    let height = |rank: u32| (0.4 * quantile((f64::from(rank) + 0.5) / f64::from(ranks))).exp();
    let heights: Vec<f64> = (0..ranks).map(height).collect();
    let mut errors: Vec<f64> =
        heights.iter().flat_map(|one| heights.iter().map(|other| error([*one, *other], time))).collect();
    errors.sort_by(f64::total_cmp);
    errors[(share * errors.len() as f64) as usize]
}

/// What the made curves are for: the window of a time is the error at it.
#[test]
fn the_made_curves_are_read_as_they_were_made() {
    let curve = &curves(&mut Chance::new(3), 1, 0.0)[0];
    for (window, time) in curve {
        assert_eq!(stop_curves::window(curve, time.expect("held")), *window);
    }
}
