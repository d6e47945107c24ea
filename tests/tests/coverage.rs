//! How often the true settling time lies in the stated 95 % interval: 93 to 97 of 100, by simulation.
//!
//! Source of the terms: JCGM 100:2008 (GUM) 4.3.7, 5.1 and Annex G. The truth is the instant at which
//! the noise-free, unquantised error crosses the window's edge, half an encoder step beyond the last
//! reading inside. Encoder phase, amplitude and noise are drawn anew for every move.

use stillpoint_core::{Outcome, Parameters, Record};
use stillpoint_tests::chance::Chance;
use stillpoint_tests::run::{run, steady};

/// Unit: ticks
const PERIOD: u32 = 1000;
const MOVES: usize = 4000;

/// A family of stops. Unit: counts, samples
#[derive(Clone, Copy)]
struct Family {
    name: &'static str,
    window: f64,
    /// Time constant of the tail.
    tail: f64,
    /// Period of the ringing; infinite for none.
    ringing: f64,
    noise: f64,
}

impl Family {
    fn error(&self, amplitude: f64, instant: f64) -> f64 {
        amplitude * (-instant / self.tail).exp() * (core::f64::consts::TAU * instant / self.ringing).cos()
    }

    /// Last instant above the edge, by walking back in small steps and bisecting.
    fn truth(&self, amplitude: f64, samples: f64) -> f64 {
        let above = |instant: f64| self.error(amplitude, instant).abs() > self.window + 0.5;
        let mut late = samples;
        while !above(late - 0.02) {
            late -= 0.02;
        }
        let mut early = late - 0.02;
        for _ in 0..40 {
            let middle = (early + late) / 2.0;
            if above(middle) { early = middle } else { late = middle }
        }
        late
    }

    fn one(&self, chance: &mut Chance) -> Option<(Record, f64)> {
        let amplitude = self.window * (20.0 + 40.0 * chance.uniform());
        let samples = (self.tail * 12.0) as usize + 200;
        let phase = chance.uniform();
        let target = 1_000_000_i32;
        let mut signals = vec![(0, 0); 40];
        for k in 0..samples {
            let error = self.error(amplitude, k as f64) + self.noise * chance.normal();
            signals.push((target, (f64::from(target) - error + phase).floor() as i32));
        }
        let parameters =
            Parameters { window: self.window as u32, window_time: 5000, ..Parameters::at(1_000_000) };
        let record = run(parameters, steady(PERIOD, signals)).moves[0].record;
        (record.outcome == Outcome::Settled).then(|| (record, self.truth(amplitude, samples as f64)))
    }

    /// Per cent of moves whose interval holds the truth, mean error over u, rms error over u.
    fn coverage(&self) -> (f64, f64, f64) {
        let mut chance = Chance::new(0x9E37_79B9_7F4A_7C15);
        let (mut held, mut settled, mut sum, mut square) = (0, 0, 0.0, 0.0);
        for _ in 0..MOVES {
            let Some((record, truth)) = self.one(&mut chance) else { continue };
            let away = f64::from(record.settling.expect("settled")) - truth * f64::from(PERIOD);
            settled += 1;
            held += usize::from(away.abs() <= f64::from(record.settling_95) + 0.5);
            let scaled = away / f64::from(record.settling_u).max(0.5);
            sum += scaled;
            square += scaled * scaled;
        }
        assert!(settled > MOVES * 9 / 10, "{}: only {settled} settled", self.name);
        let count = settled as f64;
        (100.0 * held as f64 / count, sum / count, (square / count).sqrt())
    }
}

const FAMILIES: [Family; 8] = [
    Family {
        name: "slow tail, one step lasts many samples",
        window: 4.0,
        tail: 200.0,
        ringing: f64::INFINITY,
        noise: 0.0,
    },
    Family {
        name: "tail of one step per sample",
        window: 20.0,
        tail: 20.0,
        ringing: f64::INFINITY,
        noise: 0.0,
    },
    Family {
        name: "tail of three steps per sample",
        window: 60.0,
        tail: 20.0,
        ringing: f64::INFINITY,
        noise: 0.0,
    },
    Family { name: "steep tail, noise", window: 400.0, tail: 20.0, ringing: f64::INFINITY, noise: 4.0 },
    Family { name: "tail and noise alike", window: 100.0, tail: 25.0, ringing: f64::INFINITY, noise: 2.0 },
    Family {
        name: "noise above the fall per sample",
        window: 100.0,
        tail: 50.0,
        ringing: f64::INFINITY,
        noise: 4.0,
    },
    Family { name: "ringing", window: 40.0, tail: 60.0, ringing: 40.0, noise: 0.0 },
    Family { name: "ringing, noise", window: 60.0, tail: 60.0, ringing: 40.0, noise: 2.0 },
];

#[test]
fn the_interval_holds_the_truth_in_95_of_100_moves() {
    let mut missed = vec![];
    for family in FAMILIES {
        let (held, bias, spread) = family.coverage();
        println!("{held:5.1} % held, error {bias:+.2} ± {spread:.2} u: {}", family.name);
        if !(93.0..=97.0).contains(&held) {
            missed.push(family.name);
        }
    }
    assert!(missed.is_empty(), "outside 93 to 97 %: {missed:?}");
}
