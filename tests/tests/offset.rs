//! Stops that end outside the window: a constant offset is named, a swing or a creep never is one. Simulated, no source.

use core::f64::consts::TAU;

use stillpoint_core::{Definition, Outcome, Parameters, Reasons, Record};
use stillpoint_tests::chance::Chance;
use stillpoint_tests::rounds::{rounds, seed};
use stillpoint_tests::run::{run, steady};

/// A rest that the next move ends. Unit: Hz, counts, s
#[derive(Clone, Copy, Debug)]
struct Rest {
    rate: f64,
    window: u32,
    time: f64,
    /// Standard deviation of a reading. Unit: counts
    noise: f64,
}

/// A number between these, evenly spread over its logarithm.
fn between(low: f64, high: f64, chance: &mut Chance) -> f64 {
    low * (high / low).powf(chance.uniform())
}

impl Rest {
    /// Samples at 1 to 10 kHz.
    fn draw(shortest: f64, longest: f64, chance: &mut Chance) -> Rest {
        Rest {
            rate: [1000.0, 2000.0, 4000.0, 10_000.0][chance.below(4) as usize],
            window: between(12.0, 400.0, chance) as u32,
            time: between(shortest, longest, chance),
            noise: 0.0,
        }
    }

    /// How far errors that stand lie apart at most. Unit: counts
    fn spread(&self) -> f64 {
        f64::from(self.window / 4).max(2.0)
    }

    /// The record of a stop with this error, and its last reading. Unit: s after the command end, counts
    fn record(&self, chance: &mut Chance, error: impl Fn(f64) -> f64) -> (Record, i32) {
        self.record_by(Definition::LastEntry, chance, error)
    }

    fn record_by(
        &self,
        definition: Definition,
        chance: &mut Chance,
        error: impl Fn(f64) -> f64,
    ) -> (Record, i32) {
        let (moving, samples) = (100, (self.time * self.rate) as i32);
        let mut last = 0;
        let signals: Vec<(i32, i32)> = (0..2 * moving + samples)
            .map(|k| {
                let command = 500 * if k < moving + samples { k.min(moving) } else { k - samples };
                let at = (k - moving).clamp(0, samples);
                let noise = self.noise * chance.normal();
                let read = (error(f64::from(at) / self.rate) + noise).round() as i32;
                last = if k == moving + samples { read } else { last };
                (command, command - read)
            })
            .collect();
        let parameters = Parameters { window: self.window, definition, ..Parameters::at(1_000_000) };
        (run(parameters, steady((1e6 / self.rate) as u32, signals)).moves[0].record, last)
    }
}

/// Whether an offset is named; none if the stop ends inside. What is not named has no rest error.
fn named(record: &Record) -> Option<bool> {
    let named = record.reasons.has(Reasons::OFFSET);
    assert!(record.outcome != Outcome::Unsettled || named == record.rest_error.is_some(), "{record:?}");
    (record.outcome == Outcome::Unsettled).then_some(named)
}

/// Swings of 1 to 40 Hz that are larger than the window, and reach the target, to the end.
#[test]
fn a_swing_is_no_offset() {
    let mut chance = Chance::new(seed(91));
    let (mut stops, mut wrong) = (0, 0);
    while stops < rounds(2000) {
        let mut rest = Rest::draw(0.02, 2.0, &mut chance);
        rest.noise = [0.0, 0.0, 0.5, 2.0][chance.below(4) as usize];
        let window = f64::from(rest.window);
        let (frequency, phase) = (between(1.0, 40.0, &mut chance), TAU * chance.uniform());
        let amplitude = window * between(1.1, 30.0, &mut chance);
        let middle = (window * 3.0 * (chance.uniform() - 0.5)).clamp(-amplitude, amplitude);
        let decay = [0.0, 0.02, 0.1][chance.below(3) as usize] * TAU * frequency;
        if amplitude * (-decay * rest.time).exp() < (1.05 * window).max(middle.abs()) {
            continue;
        }
        let swing = |t: f64| middle + amplitude * (-decay * t).exp() * (TAU * frequency * t + phase).cos();
        let Some(named) = named(&rest.record(&mut chance, swing).0) else { continue };
        stops += 1;
        wrong += u32::from(named);
        if named && wrong < 5 {
            println!("{rest:?}: {frequency} Hz, {amplitude}, {middle}, {phase}, {decay}");
        }
    }
    println!("{wrong} of {stops} swings are named an offset");
    assert_eq!(wrong, 0);
}

/// Errors that still change by more than half the spread in the last third of the rest, as lines or exponentials.
#[test]
fn a_creep_is_no_offset() {
    let mut chance = Chance::new(seed(92));
    let (mut stops, mut wrong) = (0, 0);
    while stops < rounds(2000) {
        let rest = Rest::draw(0.1, 3.0, &mut chance);
        let (end, change) =
            (f64::from(rest.window) * 1.1, rest.spread() * between(0.5, 5.0, &mut chance) + 2.0);
        let sign = [1.0, -1.0][chance.below(2) as usize];
        let time = rest.time * between(0.1, 20.0, &mut chance);
        let line = chance.below(2) == 0;
        let fall = |t: f64| {
            let left = rest.time - t;
            if line { left } else { ((left / time).exp() - 1.0) * time }
        };
        let size = change / fall(rest.time * 2.0 / 3.0);
        let creep = |t: f64| sign * (end + (size * fall(t)).min(20_000.0));
        let Some(named) = named(&rest.record(&mut chance, creep).0) else { continue };
        stops += 1;
        wrong += u32::from(named);
        if named && wrong < 5 {
            println!("{rest:?}: {end}, {change}, {time}, line {line}");
        }
    }
    println!("{wrong} of {stops} creeps are named an offset");
    assert_eq!(wrong, 0);
}

/// What comes in within a tenth of the rest and then stands: noise of a sixtieth of the window, an encoder step to and fro.
#[test]
fn what_stands_is_an_offset() {
    let mut chance = Chance::new(seed(93));
    let (mut stops, mut missed) = (0, 0);
    for _ in 0..rounds(1000) {
        let mut rest = Rest::draw(0.5, 3.0, &mut chance);
        let window = f64::from(rest.window);
        rest.noise = [0.0, window / 60.0][chance.below(2) as usize];
        let flicker = if rest.noise == 0.0 { chance.below(2) } else { 0 };
        let sign = [1.0, -1.0][chance.below(2) as usize];
        let offset = window * between(1.3, 20.0, &mut chance);
        let come_in = |t: f64| 50.0 * window * (-t / (0.02 * rest.time)).exp();
        let step = |t: f64| f64::from(flicker as u32) * ((t * 7919.0) as u64 % 2) as f64;
        let stand = |t: f64| sign * (offset + come_in(t)).round() + step(t);
        let (record, last) = rest.record(&mut chance, stand);
        stops += 1;
        let found = named(&record).expect("outside");
        missed += u32::from(!found);
        if found {
            assert_eq!(record.rest_error, Some(256 * i64::from(last)), "{rest:?}");
        } else if missed < 5 {
            println!("{rest:?}: {offset}, flicker {flicker}");
        }
    }
    println!("{missed} of {stops} offsets are not named");
    assert!(missed * 100 <= stops, "{missed} of {stops}");
}

/// The shortest rest after which a constant reading is named: a swing of 1 Hz as large as the window would show a step.
#[test]
fn a_short_rest_shows_no_offset() {
    let mut chance = Chance::new(seed(94));
    for (window, shortest) in [(16, 125), (100, 50), (400, 25)] {
        for milliseconds in [shortest - 2, shortest + 4] {
            let rest = Rest { rate: 1000.0, window, time: f64::from(milliseconds) / 1000.0, noise: 0.0 };
            let (record, _) = rest.record(&mut chance, |_| f64::from(2 * window));
            assert_eq!(named(&record), Some(milliseconds > shortest), "{rest:?}");
        }
    }
}

/// Settled by the statusword, and then outside for good: that is no unsettled stop, and its offset is no rest error.
#[test]
fn what_is_not_named_has_no_rest_error() {
    let mut chance = Chance::new(seed(95));
    let rest = Rest { rate: 1000.0, window: 100, time: 1.0, noise: 0.0 };
    let leaves = |t: f64| if t < 0.1 { 0.0 } else { 300.0 };
    let (record, _) = rest.record_by(Definition::TargetReached, &mut chance, leaves);
    assert_eq!((record.outcome, record.rest_error), (Outcome::Settled, None), "{}", record.reasons);
    assert!(!record.reasons.has(Reasons::OFFSET));
}
