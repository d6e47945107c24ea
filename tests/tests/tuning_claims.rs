//! In: made settling times of settings with a known difference. Out: whether what the running table of settings claims
//! holds: looked at after every move, how many more moves a change needs, and the interval of a median.

use stillpoint::analysis::comparison::{Comparison, Margin, Terms, Verdict};
use stillpoint::analysis::median_interval::median_ends;
use stillpoint::analysis::more_moves::{MoreMoves, more_moves};
use stillpoint::analysis::quantile::median;
use stillpoint::report::tuning::{CHANGE, POWER, claim, confidence};
use stillpoint_tests::chance::Chance;
use stillpoint_tests::rounds::{round, rounds, seed};

/// How a setting settles: lognormal around 100 ms, on a grid if there is one, some at once.
#[derive(Clone, Copy)]
struct Setting {
    spread: f64,
    /// Unit: ms
    step: f64,
    zeros: f64,
    /// Of neighbouring moves.
    correlation: f64,
}

const PLAIN: Setting = Setting { spread: 0.15, step: 0.0, zeros: 0.0, correlation: 0.0 };

fn families() -> [(&'static str, Setting); 6] {
    [
        ("spread 10 %", Setting { spread: 0.1, ..PLAIN }),
        ("spread 15 %", PLAIN),
        ("spread 25 %", Setting { spread: 0.25, ..PLAIN }),
        ("1 ms steps", Setting { step: 1.0, ..PLAIN }),
        ("a tenth at once", Setting { zeros: 0.1, ..PLAIN }),
        ("correlation 0.3", Setting { correlation: 0.3, ..PLAIN }),
    ]
}

/// Moves of a setting, one after another.
struct Moves {
    setting: Setting,
    middle: f64,
    latent: f64,
}

impl Moves {
    fn new(setting: Setting, middle: f64, chance: &mut Chance) -> Moves {
        Moves { setting, middle, latent: chance.normal() }
    }

    fn next(&mut self, count: usize, chance: &mut Chance) -> Vec<f64> {
        let Setting { spread, step, zeros, correlation } = self.setting;
        (0..count)
            .map(|_| {
                let time = self.middle * (spread * self.latent).exp();
                self.latent =
                    correlation * self.latent + (1.0 - correlation * correlation).sqrt() * chance.normal();
                let time = if step > 0.0 { (time / step).round() * step } else { time };
                if chance.uniform() < zeros { 0.0 } else { time }
            })
            .collect()
    }
}

fn verdict(first: &[f64], second: &[f64], confidence: f64) -> Verdict {
    Comparison::of(first, second, &Terms { confidence, margin: Margin::Time(0.0) }).verdict
}

fn is_shown(verdict: Verdict) -> bool {
    matches!(verdict, Verdict::Faster | Verdict::Slower)
}

/// Three standard deviations of a simulated share.
fn chance_of(share: f64, count: u64) -> f64 {
    3.0 * (share * (1.0 - share) / count as f64).sqrt()
}

/// Two equal settings, looked at after each of 120 moves: a difference is shown at any time in 5 of 100 cases at most.
#[test]
fn looked_at_after_every_move_a_verdict_is_seldom_wrong() {
    let count = rounds(24);
    println!("family | ever shown | with an interval of 95 % each time");
    // All families take minutes; these are the ones that differ.
    let is_run = |name: &str| round().is_some() || !name.starts_with("spread 1") && !name.contains("steps");
    for (name, setting) in families().into_iter().filter(|family| is_run(family.0)) {
        let mut chance = Chance::new(seed(11));
        let (mut shown, mut shown_at_95) = (0, 0);
        for _ in 0..count {
            let first = Moves::new(setting, 100.0, &mut chance).next(40, &mut chance);
            let second = Moves::new(setting, 100.0, &mut chance).next(120, &mut chance);
            let ever = |confidence: &dyn Fn(usize) -> f64| {
                (3..=120).any(|n| is_shown(verdict(&first, &second[..n], confidence(n.min(first.len())))))
            };
            shown += u64::from(ever(&confidence));
            shown_at_95 += u64::from(ever(&|_| 0.95));
        }
        let [share, at_95] = [shown, shown_at_95].map(|shown| shown as f64 / count as f64);
        println!("{name:16} | {share:.3} | {at_95:.3}");
        assert!(share <= 0.05 + chance_of(0.05, count), "{name}: {share}");
    }
}

/// As many more moves as claimed show the change nine times in ten.
#[test]
fn as_many_more_moves_as_claimed_show_the_change() {
    let count = rounds(80);
    println!("family | moves | claimed, middle | shown");
    let mut wrong = Vec::new();
    for (name, setting) in families() {
        for (one, other) in [(20, 8), (40, 20), (100, 40)] {
            let mut chance = Chance::new(seed(12) + one as u64);
            let (mut claimed, mut shown, mut claims) = (Vec::new(), 0, 0_u64);
            for round in 0..count {
                let change = if round % 2 == 0 { 1.0 - CHANGE } else { 1.0 + CHANGE };
                let mut before = Moves::new(setting, 100.0, &mut chance);
                let mut after = Moves::new(setting, 100.0 * change, &mut chance);
                let mut first = before.next(one, &mut chance);
                let mut second = after.next(other, &mut chance);
                let change = CHANGE * median(&first).expect("moves");
                let more = match more_moves(&first, &second, &claim(change)) {
                    Some(MoreMoves::OfThis(more)) => more,
                    Some(MoreMoves::OfEach(each)) => {
                        first.extend(before.next(each - one, &mut chance));
                        each - other
                    }
                    None => continue,
                };
                second.extend(after.next(more, &mut chance));
                claims += 1;
                claimed.push(more as f64);
                let confidence = confidence(first.len().min(second.len()));
                shown += u64::from(is_shown(verdict(&first, &second, confidence)));
            }
            let (share, middle) = (shown as f64 / claims as f64, median(&claimed).unwrap_or(0.0));
            println!("{name:16} | {one:3} {other:3} | {middle:5.0} | {share:.3} of {claims}");
            let allowed = chance_of(POWER, claims);
            if claims * 10 < count * 9 || !(0.83 - allowed..=0.97 + allowed).contains(&share) {
                wrong.push(format!("{name}, {one} and {other} moves: {share} of {claims}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_interval_of_a_median_holds_it() {
    let count = rounds(300);
    println!("family | moves | held");
    for (name, setting) in families() {
        for moves in [8, 20, 100] {
            let mut chance = Chance::new(seed(13) + moves as u64);
            let zeros = setting.zeros;
            // The median of all is the quantile of those that take a time: (½ − z)/(1 − z).
            let inner = Moves::new(
                Setting { correlation: 0.0, step: 0.0, zeros: 0.0, ..setting },
                100.0,
                &mut chance,
            )
            .next(200_001, &mut chance);
            let truth = quantile(inner, (0.5 - zeros) / (1.0 - zeros));
            let held = (0..count)
                .filter(|_| {
                    let values = Moves::new(setting, 100.0, &mut chance).next(moves, &mut chance);
                    median_ends(&values, 0.95).is_some_and(|(low, high)| low <= truth && truth <= high)
                })
                .count();
            let share = held as f64 / count as f64;
            println!("{name:16} | {moves:3} | {share:.3}");
            let few_dependent = setting.correlation > 0.0 && moves < 20;
            let least = if few_dependent { 0.88 } else { 0.93 };
            assert!(share >= least - chance_of(0.05, count), "{name}, {moves} moves: {share}");
            // Of 8 moves the interval is all of them: 254 of 256.
            let most = if moves < 20 { 1.0 } else { 0.975 + chance_of(0.05, count) };
            assert!(share <= most, "{name}, {moves} moves: {share}");
        }
    }
}

fn quantile(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values[(share * (values.len() - 1) as f64).round() as usize]
}
