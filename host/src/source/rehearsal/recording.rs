//! In: an axis and a number of samples. Out: the comma-separated text that an export would contain.

use std::fmt::Write;

use super::axis::{Axis, AxisData, Unusable};
use super::script::Move;
use super::transplanter;
use crate::report::number::trimmed;

/// Samples per second of the shipped recordings of ten moves. Unit: 1/s
pub const RATE: u32 = 4000;
/// The same of the one of many moves, which stays small so: a move has a tenth of the samples. Unit: 1/s
pub const COARSE_RATE: u32 = 400;
/// Seed of the shipped recordings.
pub const SEED: u64 = 2026;

/// A shipped recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Name of the file.
    pub file: &'static str,
    /// The axis, with the script of this recording.
    pub axis: AxisData,
    /// Share of its wear that has happened, 0 to 1.
    pub age: f64,
    /// Length. Unit: samples
    pub samples: usize,
    /// Unit: 1/s
    pub rate: u32,
    /// Decimals of a position.
    pub decimals: usize,
}

/// The shipped recordings.
pub fn recordings() -> [Recording; 4] {
    let [mut shuttle, dibble, turntable] = transplanter::axes();
    let as_built = shuttle.clone();
    // An overfilled tray that settles late, and a row whose next move begins before it has settled.
    shuttle.script.moves[5] = Move { load: 1.9, ..shuttle.script.moves[5] };
    shuttle.script.moves[7] = Move { dwell: 0.024, ..shuttle.script.moves[7] };
    let recording =
        |file, axis, age, samples| Recording { file, axis, age, samples, rate: RATE, decimals: 6 };
    let many = recording("transplanter_tray_shuttle_80_moves.csv", as_built, 0.5, 13_800);
    [
        recording("transplanter_tray_shuttle.csv", shuttle, 0.5, 17_100),
        recording("transplanter_dibble.csv", dibble, 0.8, 11_900),
        recording("transplanter_gripper_turntable.csv", turntable, 0.6, 20_000),
        Recording { rate: COARSE_RATE, decimals: 3, ..many },
    ]
}

impl Recording {
    /// The whole file: a line that says that the data is invented, the header, one line per sample.
    ///
    /// Six decimals let the encoder steps remain visible; with fewer, zeros at the end are left out. Line ends are `\n`.
    pub fn text(&self) -> Result<String, Unusable> {
        let (name, unit) = (self.axis.name.replace('_', " "), self.axis.unit);
        let mut text = format!("# invented data: greenhouse plug-tray transplanter, {name} axis\n");
        text.push_str(&format!("t_s,command_{unit},feedback_{unit}\n"));
        let scale = self.axis.counts_per_unit.to_f64();
        let mut axis = Axis::new(self.axis.clone(), SEED, self.rate)?;
        axis.set_age(self.age);
        let number = |value: f64, decimals: usize| match self.rate {
            RATE => format!("{value:.decimals$}"),
            _ => trimmed(format!("{value:.decimals$}")),
        };
        for (index, reading) in axis.take(self.samples).enumerate() {
            let seconds = number(index as f64 / f64::from(self.rate), 5);
            let [command, feedback] = [reading.command, reading.feedback]
                .map(|counts| number(f64::from(counts) / scale + 0.0, self.decimals));
            // Writing to a string never fails.
            let _ = writeln!(text, "{seconds},{command},{feedback}");
        }
        Ok(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_files_equal_the_generated_text() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
        for recording in recordings() {
            let shipped = std::fs::read(folder.join(recording.file)).unwrap();
            // `assert_eq` would print half a megabyte.
            assert!(
                shipped == recording.text().unwrap().as_bytes(),
                "{} differs; if that is intended, run `cargo run -p stillpoint --example make_recording`",
                recording.file
            );
            assert!(shipped.len() < 700_000, "{} has {} bytes", recording.file, shipped.len());
        }
    }
}
