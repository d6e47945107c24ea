//! Ringing: published group 03, each row through the core and through its slow twin.
//!
//! Sources: numpy 2.4.6 and scipy 1.17.1 for the records, their least-squares optima and the bound (formulas of Yao & Pandit
//! 1995 and Rife & Boorstyn 1974, from memory); the logarithmic decrement is an identity of textbooks.

use core::f64::consts::{PI, TAU};

use stillpoint_core::ringing::{Answer, Ringing};
use stillpoint_tests::published::{json, near, rows};
use stillpoint_tests::ringing::bound::Bound;
use stillpoint_tests::ringing::dense::{PLAIN, descend};
use stillpoint_tests::ringing::stops::{RATE, Stop, capture, fitted};

/// Counts per unit of the records: rounding to counts is far below their noise.
const UNIT: f64 = 1e6;

fn ringing(errors: &[i32], what: &str) -> Ringing {
    match fitted(&capture(errors)).0 {
        Answer::Ringing(ringing) => ringing,
        Answer::Refused(refusal) => panic!("{what}: {refusal:?}"),
    }
}

/// The exact bound of a damped sinusoid whose amplitude, phase, frequency and decay are unknown.
#[test]
fn the_bound() {
    for row in rows("published/03_crb_damped_sinusoid.csv") {
        // Time in units of the record's own samples.
        let slower = row.number("fs") / RATE;
        let stop = Stop {
            frequency: row.number("f_d_hz") / slower,
            damping: row.number("zeta"),
            amplitude: row.number("A"),
            phase: row.number("phi"),
            ..Stop::default()
        };
        near(stop.decay() * slower, row.number("alpha_per_s"), 1e-9, "decay");
        let bound = Bound::new(&stop, row.number("N") as usize, 1, row.number("sigma"), false);
        let published = row.number("crb_sd_f_hz");
        near(bound.frequency * slower, published, 1e-6 * published, "bound of the frequency");
        let published = row.number("crb_sd_zeta");
        near(bound.damping, published, 1e-6 * published, "bound of the damping");
    }
}

/// A record with its published figures.
struct Record {
    id: String,
    values: Vec<f64>,
    fs: f64,
    truth: Stop,
    optimum: (f64, f64),
    bound: Option<(f64, f64)>,
}

fn records() -> Vec<Record> {
    let published = json("published/03_ringing_estimators.json");
    let of = |signal: &serde_json::Value| {
        let number = |pointer: &str| signal.pointer(pointer).and_then(serde_json::Value::as_f64);
        let name = signal["file"].as_str().expect("a file");
        Record {
            id: signal["id"].as_str().expect("an id").to_owned(),
            values: rows(&format!("published/{name}")).iter().map(|row| row.number("y")).collect(),
            fs: number("/fs").expect("a rate"),
            truth: Stop {
                frequency: number("/truth/f_d_hz").expect("f"),
                damping: number("/truth/zeta").expect("zeta"),
                amplitude: number("/truth/A").expect("A"),
                phase: number("/truth/phi").expect("phi"),
                ..Stop::default()
            },
            optimum: (number("/nls/f").expect("f"), number("/nls/zeta").expect("zeta")),
            bound: number("/crb/sd_f_hz").zip(number("/crb/sd_zeta")),
        }
    };
    published["signals"].as_array().expect("signals").iter().map(of).collect()
}

/// The twin without an offset reproduces the published optimum.
#[test]
fn the_optimum_of_the_twin() {
    for record in records() {
        let (stop, fs) = (&record.truth, record.fs);
        let (sin, cos) = stop.phase.sin_cos();
        let amplitude = stop.amplitude;
        let start = [
            0.0,
            amplitude * cos,
            -amplitude * sin,
            0.0,
            stop.frequency / fs * 1.003,
            stop.decay() / fs,
            0.0,
        ];
        let found = descend(&record.values, start, &PLAIN[1..]);
        near(found.parameters[4] * fs, record.optimum.0, 1e-6 * record.optimum.0, &record.id);
        near(found.damping(), record.optimum.1, 1e-6, &record.id);
    }
}

/// The core sees means of some samples and an unknown offset. Where they are of the whole record, its answer lies within
/// the bound's standard deviation of the published optimum, else within two of its own; and within four of the truth.
#[test]
fn records_of_known_ringing() {
    for record in records() {
        let unit = if record.truth.amplitude < 10.0 { UNIT } else { 1.0 };
        let errors: Vec<i32> = record.values.iter().map(|value| (value * unit).round() as i32).collect();
        let captured = capture(&errors);
        let found = ringing(&errors, &record.id);
        let faster = record.fs / RATE;
        let (frequency, u) = (f64::from(found.frequency) * faster, f64::from(found.frequency_u) * faster);
        let damping = found.damping.expect("a damping");
        let (damping, damping_u) = (f64::from(damping.ratio), f64::from(damping.u));
        println!(
            "{} {frequency:.6} Hz ± {u:.6}, {damping:.6} ± {damping_u:.6}; {:?}",
            record.id, record.optimum
        );
        let without_noise = (1e-6 * record.truth.frequency + 2.0 * u, 1e-6 + 2.0 * damping_u);
        let is_whole = captured.points().len() * captured.samples() as usize + 16 > record.values.len();
        let (of_frequency, of_damping) =
            if is_whole { record.bound.unwrap_or(without_noise) } else { (2.0 * u, 2.0 * damping_u) };
        near(frequency, record.optimum.0, of_frequency, &record.id);
        near(damping, record.optimum.1, of_damping, &record.id);
        near(frequency, record.truth.frequency, 4.0 * of_frequency, &record.id);
        near(damping, record.truth.damping, 4.0 * of_damping, &record.id);
    }
}

/// Swings that shrink by a published share have the published damping.
#[test]
fn the_logarithmic_decrement() {
    for row in rows("published/03_log_decrement.csv") {
        let cycles = row.number("n_cycles");
        let decrement = (row.number("x0") / row.number("xn")).ln() / cycles;
        near(decrement, row.number("log_decrement"), 1e-12, "decrement");
        let published = row.number("zeta_exact");
        near(decrement / decrement.hypot(TAU), published, 1e-12, "damping");
        let swing = |t: f64| 1e7 * (-decrement * t).exp() * (2.0 * PI * t).cos();
        let errors: Vec<i32> = (0..512).map(|k| swing(f64::from(k) / 40.0).round() as i32).collect();
        let found = ringing(&errors, row.text("desc"));
        near(found.damping.map_or(0.0, |found| f64::from(found.ratio)), published, 1e-5, row.text("desc"));
        near(f64::from(found.frequency), RATE / 40.0, 1e-5 * RATE / 40.0, row.text("desc"));
    }
}
