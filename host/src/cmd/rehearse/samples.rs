//! In: readings of all axes. Out: a CSV file per axis, in counts.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use stillpoint_core::Reading;

use crate::error::Error;
use crate::source::rehearsal::monitor::AxisInfo;

/// The CSV files, one per axis; empty if samples are not saved.
pub(super) struct Samples(Vec<BufWriter<File>>);

impl Samples {
    pub(super) fn create(folder: Option<&Path>, axes: &[AxisInfo]) -> Result<Samples, Error> {
        let Some(folder) = folder else { return Ok(Samples(Vec::new())) };
        let unusable = |path: &Path| {
            let file = path.display().to_string();
            move |source| Error::Unwritable { file, source }
        };
        fs::create_dir_all(folder).map_err(unusable(folder))?;
        let mut files = Vec::new();
        for axis in axes {
            let path = folder.join(axis.name).with_extension("csv");
            let mut file = File::create(&path).map(BufWriter::new).map_err(unusable(&path))?;
            writeln!(file, "t_s,command,feedback")?;
            files.push(file);
        }
        Ok(Samples(files))
    }

    pub(super) fn write(&mut self, second: f64, readings: &[Reading]) -> Result<(), Error> {
        for (file, reading) in self.0.iter_mut().zip(readings) {
            writeln!(file, "{second:.6},{},{}", reading.command, reading.feedback)?;
        }
        Ok(())
    }

    pub(super) fn finish(self) -> Result<(), Error> {
        self.0.into_iter().try_for_each(|mut file| Ok(file.flush()?))
    }
}
