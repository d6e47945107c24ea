//! In: an axis and a number of samples. Out: the comma-separated text an engineer's export would hold.

use std::fmt::Write;

use super::axis::{Axis, AxisData, Unusable};
use super::script::Move;
use super::transplanter;

/// Samples per second of the shipped recordings. Unit: 1/s
pub const RATE: u32 = 4000;
/// Seed of the shipped recordings.
pub const SEED: u64 = 2026;

/// A recording that is shipped: the file it belongs in, the axis, its length.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Name of the file.
    pub file: &'static str,
    /// The axis and its script for this occasion.
    pub axis: AxisData,
    /// Length. Unit: samples
    pub samples: usize,
}

/// The shipped recordings.
pub fn recordings() -> [Recording; 3] {
    let [mut shuttle, dibble, turntable] = transplanter::axes();
    // An overfilled tray that stops late, and a row that is left before it has settled.
    shuttle.script.moves[5] = Move { load: 1.9, ..shuttle.script.moves[5] };
    shuttle.script.moves[7] = Move { dwell: 0.024, ..shuttle.script.moves[7] };
    [
        Recording { file: "transplanter_tray_shuttle.csv", axis: shuttle, samples: 21_200 },
        Recording { file: "transplanter_dibble.csv", axis: dibble, samples: 12_000 },
        Recording { file: "transplanter_gripper_turntable.csv", axis: turntable, samples: 20_000 },
    ]
}

impl Recording {
    /// The whole file: one line that says it is invented, the header, one line per sample.
    ///
    /// Positions have five decimals, which is finer than every encoder here. Line ends are `\n`.
    pub fn text(&self) -> Result<String, Unusable> {
        let (name, unit) = (self.axis.name.replace('_', " "), self.axis.unit);
        let mut text = format!("# invented data: greenhouse plug-tray transplanter, {name} axis\n");
        text.push_str(&format!("t_s,command_{unit},feedback_{unit}\n"));
        let scale = self.axis.counts_per_unit.to_f64();
        for (index, reading) in Axis::new(self.axis.clone(), SEED, RATE)?.take(self.samples).enumerate() {
            let seconds = index as f64 / f64::from(RATE);
            let [command, feedback] =
                [reading.command, reading.feedback].map(|counts| f64::from(counts) / scale + 0.0);
            // Writing to a string can't fail.
            let _ = writeln!(text, "{seconds:.5},{command:.5},{feedback:.5}");
        }
        Ok(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_files_are_what_the_generator_gives() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings");
        for recording in recordings() {
            let shipped = std::fs::read(folder.join(recording.file)).unwrap();
            // Not assert_eq: a difference would print half a megabyte.
            assert!(
                shipped == recording.text().unwrap().as_bytes(),
                "{} differs; if that is meant, run `cargo run -p stillpoint --example make_recording`",
                recording.file
            );
            assert!(shipped.len() < 700_000, "{} has {} bytes", recording.file, shipped.len());
        }
    }
}
