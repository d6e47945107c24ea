//! In: readings of all axes, and the job. Out: a CSV file per axis, in counts; with the job, if there are several.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use stillpoint_core::Reading;

use crate::error::Error;
use crate::source::rehearsal::monitor::AxisInfo;

/// The CSV files, one per axis; empty if samples are not saved.
#[derive(Default)]
pub(super) struct Samples {
    files: Vec<BufWriter<File>>,
    with_job: bool,
}

impl Samples {
    pub(super) fn create(folder: Option<&Path>, axes: &[AxisInfo], with_job: bool) -> Result<Samples, Error> {
        let Some(folder) = folder else { return Ok(Samples::default()) };
        let unusable = |path: &Path| {
            let file = path.display().to_string();
            move |source| Error::Unwritable { file, source }
        };
        fs::create_dir_all(folder).map_err(unusable(folder))?;
        let mut files = Vec::new();
        for axis in axes {
            let path = folder.join(axis.name).with_extension("csv");
            let mut file = File::create(&path).map(BufWriter::new).map_err(unusable(&path))?;
            writeln!(file, "t_s,command,feedback{}", if with_job { ",job" } else { "" })?;
            files.push(file);
        }
        Ok(Samples { files, with_job })
    }

    /// Unit: s; the number of the product
    pub(super) fn write(&mut self, second: f64, readings: &[Reading], job: u32) -> Result<(), Error> {
        for (file, reading) in self.files.iter_mut().zip(readings) {
            write!(file, "{second:.6},{},{}", reading.command, reading.feedback)?;
            if self.with_job {
                write!(file, ",{job}")?;
            }
            writeln!(file)?;
        }
        Ok(())
    }

    pub(super) fn finish(self) -> Result<(), Error> {
        self.files.into_iter().try_for_each(|mut file| Ok(file.flush()?))
    }
}
