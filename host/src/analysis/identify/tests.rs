//! Invented axes with known parameters: a motor and a load on a belt, Stribeck friction, encoder steps, noise.

use super::*;
use crate::analysis::linear::linear_fit;

/// Rows per second.
const RATE: f64 = 1000.0;
/// Steps of the simulation per row.
const STEPS: usize = 20;

/// A linear congruential generator (Knuth's MMIX factors) and the sum of twelve of its numbers.
struct Draw(u64);

impl Draw {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

/// Units: m, kg, N.
struct Machine {
    motor: f64,
    load: f64,
    belt_hz: f64,
    viscous: f64,
    coulomb: f64,
    /// Static friction above the Coulomb friction, as a share of it.
    stribeck: f64,
    offset: f64,
    /// Standard deviation of the effort, as a share of its largest.
    noise: f64,
}

impl Machine {
    fn draw(draw: &mut Draw) -> Machine {
        Machine {
            motor: draw.between(0.5, 2.0),
            load: draw.between(0.5, 4.0),
            belt_hz: draw.between(60.0, 150.0),
            viscous: draw.between(5.0, 40.0),
            coulomb: draw.between(4.0, 20.0),
            stribeck: draw.between(0.0, 0.4),
            offset: draw.between(-6.0, 6.0),
            noise: 0.02,
        }
    }

    /// Distances and speeds of trapezoidal moves of the motor, with a rest between. Unit: m, m/s
    fn record(&self, moves: &[(f64, f64)], acceleration: f64, draw: &mut Draw) -> Stretch {
        let dt = 1.0 / (RATE * STEPS as f64);
        let stiffness = self.load * (2.0 * std::f64::consts::PI * self.belt_hz).powi(2);
        let damping = 0.1 * (stiffness * self.load).sqrt();
        let friction = |v: f64| {
            let sign = (v / 1e-3).clamp(-1.0, 1.0);
            self.viscous * v + sign * self.coulomb * (1.0 + self.stribeck * (-(v / 0.01).powi(2)).exp())
        };
        let (mut x, mut y, mut vy) = (0.0, 0.0, 0.0);
        let mut stretch = Stretch::default();
        let mut step = 0;
        for (distance, speed) in moves {
            let ramp = speed / acceleration;
            let cruise = (distance.abs() / speed - ramp).max(0.0);
            let peak = if cruise > 0.0 { *speed } else { (distance.abs() * acceleration).sqrt() };
            let ramp = peak / acceleration;
            let total = 2.0 * ramp + cruise;
            for at in 0..((total + 0.15) / dt) as usize {
                let t = at as f64 * dt;
                let (v, a) = match t {
                    t if t < ramp => (acceleration * t, acceleration),
                    t if t < ramp + cruise => (peak, 0.0),
                    t if t < total => (acceleration * (total - t), -acceleration),
                    _ => (0.0, 0.0),
                };
                let (v, a) = (v * distance.signum(), a * distance.signum());
                x += v * dt;
                let force = stiffness * (x - y) + damping * (v - vy);
                vy += (force - 0.5 * friction(vy)) / self.load * dt;
                y += vy * dt;
                if step % STEPS == 0 {
                    stretch.position.push((x / 1e-6).round() * 1e-6);
                    stretch.effort.push(self.motor * a + force + 0.5 * friction(v) + self.offset);
                }
                step += 1;
            }
        }
        let largest = stretch.effort.iter().fold(0.0_f64, |most, effort| most.max(effort.abs()));
        stretch.effort.iter_mut().for_each(|effort| *effort += self.noise * largest * draw.normal());
        stretch
    }
}

/// Speeds and distances vary, as on a machine that works.
fn varied(draw: &mut Draw, both_ways: bool) -> Vec<(f64, f64)> {
    let one = |n: usize, draw: &mut Draw| {
        let sign = if both_ways && n % 2 == 1 { -1.0 } else { 1.0 };
        (sign * draw.between(0.05, 0.3), draw.between(0.1, 1.0))
    };
    (0..12).map(|n| one(n, draw)).collect()
}

/// Table 7 of `tests/published`, case A and B: given regressors.
#[test]
fn published_least_squares_are_reproduced() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/published");
    let text = std::fs::read_to_string(folder.join("07_synthetic_identification.json")).expect("committed");
    let cases: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    for case in cases["cases"].as_array().expect("cases") {
        let file = folder.join(case["file"].as_str().expect("a file"));
        let rows = std::fs::read_to_string(file).expect("committed");
        let rows: Vec<Vec<f64>> = rows
            .lines()
            .skip(1)
            .map(|line| line.split(',').map(|cell| cell.parse().expect("a number")).collect())
            .collect();
        let column = |at: usize| rows.iter().map(|row| row[at]).collect::<Vec<f64>>();
        let (a, v, effort) = (column(0), column(1), column(2));
        // 0 at speed 0.
        let sign = v.iter().map(|v| if *v == 0.0 { 0.0 } else { v.signum() }).collect();
        let fit = linear_fit(&[a, v, sign, vec![1.0; rows.len()]], &effort).expect("a fit");
        for (at, (factor, sd)) in fit.factors.iter().zip(&fit.sd).enumerate() {
            let expected = |of: &str| case[of][at].as_f64().expect("a number");
            assert!((factor - expected("ls")).abs() < 1e-9, "{}: {factor}", case["id"]);
            // Theirs is divided by n − 1, not by n less the number of parameters.
            let rows = rows.len() as f64;
            let theirs = sd * ((rows - 4.0) / (rows - 1.0)).sqrt();
            assert!((theirs - expected("sd")).abs() < 1e-9, "{}: sd {sd}", case["id"]);
        }
    }
}

/// Of 40 axes: how many state each parameter, and the largest error of those, as a share of the truth.
fn trial(seed: u64, moves: impl Fn(&mut Draw) -> Vec<(f64, f64)>) -> [(usize, f64); 4] {
    let mut draw = Draw(seed);
    let mut found = [(0, 0.0_f64); 4];
    for _ in 0..40 {
        let machine = Machine::draw(&mut draw);
        let acceleration = draw.between(3.0, 12.0);
        let stretch = machine.record(&moves(&mut draw), acceleration, &mut draw);
        let result = identify(&[stretch], 1.0 / RATE);
        let truth = [machine.motor + machine.load, machine.viscous, machine.coulomb, machine.offset];
        let scale = [truth[0], truth[1], truth[2], truth[2].max(truth[3].abs())];
        let results = [result.mass, result.viscous, result.coulomb, result.offset];
        for (at, estimate) in results.iter().enumerate() {
            let Ok(estimate) = estimate else { continue };
            found[at].0 += 1;
            found[at].1 = found[at].1.max((estimate.value - truth[at]).abs() / scale[at]);
        }
    }
    found
}

#[test]
fn ordinary_moves_both_ways_show_mass_and_friction() {
    let [mass, viscous, coulomb, offset] = trial(1, |draw| varied(draw, true));
    println!("both ways: {mass:?} {viscous:?} {coulomb:?} {offset:?}");
    assert!(mass.0 >= 36 && coulomb.0 >= 36 && offset.0 >= 36 && viscous.0 >= 30);
    assert!(mass.1 < 0.03 && viscous.1 < 0.05 && coulomb.1 < 0.03 && offset.1 < 0.02);
}

#[test]
fn one_direction_shows_neither_friction_nor_offset() {
    let [mass, _, coulomb, offset] = trial(2, |draw| varied(draw, false));
    println!("one way: {mass:?}");
    assert_eq!((coulomb.0, offset.0), (0, 0));
    assert!(mass.0 >= 36 && mass.1 < 0.03);
}

#[test]
fn short_moves_show_nothing_wrong() {
    let back_and_forth = |n: usize| if n.is_multiple_of(2) { 0.002 } else { -0.002 };
    let found = trial(3, |draw| (0..12).map(|n| (back_and_forth(n), draw.between(0.1, 1.0))).collect());
    println!("2 mm: {found:?}");
    assert!(found.iter().all(|(_, error)| *error < 0.05), "{found:?}");
}
