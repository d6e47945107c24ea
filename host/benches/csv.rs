//! In: an invented recording of some 50 MB. Out: the speed of reading it, beside that of the `csv` crate alone.

use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Write as _};
use std::path::Path;
use std::time::Instant;
use stillpoint::trace::{Choice, Row, Trace};

/// Rows of the recording.
const ROWS: u32 = 1_600_000;

/// Number of timings of each reader; the best counts.
const ROUNDS: usize = 7;

/// Ramps at 4 kHz with a little noise on the feedback.
fn write(path: &Path) -> io::Result<u64> {
    let mut out = io::BufWriter::new(File::create(path)?);
    let mut line = String::from("t_s,command,measured,output\n");
    let mut noise = 1u32;
    for row in 0..ROWS {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let command = (row % 4000).min(1000) as f64 / 8.0;
        let feedback = command + f64::from(noise >> 22) / 4096.0 - 0.125;
        let time = f64::from(row) / 4000.0;
        let _ = writeln!(line, "{time:.5},{command:.4},{feedback:.4},{:.3}", command - feedback);
        out.write_all(line.as_bytes())?;
        line.clear();
    }
    out.flush()?;
    Ok(path.metadata()?.len())
}

/// Reads with the `csv` crate, reusing one record; returns the number of rows.
fn bare(path: &Path) -> Result<u64, csv::Error> {
    let mut reader = csv::ReaderBuilder::new().buffer_capacity(1 << 18).from_path(path)?;
    let (mut record, mut rows) = (csv::ByteRecord::new(), 0);
    while reader.read_byte_record(&mut record)? {
        rows += 1;
    }
    Ok(rows)
}

/// Reads with this crate; returns the number of readings.
fn trace(path: &Path) -> Result<u64, stillpoint::error::Error> {
    let mut trace = Trace::open(path, &Choice::default())?;
    let (mut rows, mut readings) = (Vec::new(), 0);
    while trace.next_block(&mut rows)? {
        readings += rows.iter().filter(|row| matches!(row, Row::Reading { .. })).count() as u64;
    }
    Ok(readings)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::temp_dir().join(format!("stillpoint-bench-{}.csv", std::process::id()));
    let bytes = write(&path)?;
    let (mut best_bare, mut best_trace) = (f64::MAX, f64::MAX);
    for _ in 0..ROUNDS {
        let start = Instant::now();
        let rows = bare(&path)?;
        best_bare = best_bare.min(start.elapsed().as_secs_f64());
        let start = Instant::now();
        let readings = trace(&path)?;
        best_trace = best_trace.min(start.elapsed().as_secs_f64());
        if (rows, readings) != (u64::from(ROWS), u64::from(ROWS)) {
            return Err(format!("{rows} records and {readings} readings of {ROWS} rows").into());
        }
    }
    std::fs::remove_file(&path)?;
    let speed = |seconds: f64| bytes as f64 / seconds / 1e6;
    println!("{ROWS} rows, {:.1} MB", bytes as f64 / 1e6);
    println!(
        "csv crate, nothing done: {:7.0} MB/s, {:5.1} M rows/s",
        speed(best_bare),
        f64::from(ROWS) / best_bare / 1e6
    );
    println!(
        "trace, readings made:    {:7.0} MB/s, {:5.1} M rows/s",
        speed(best_trace),
        f64::from(ROWS) / best_trace / 1e6
    );
    println!("ratio {:.2} (bar: 0.5)", best_bare / best_trace);
    Ok(())
}
