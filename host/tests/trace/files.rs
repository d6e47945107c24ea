//! In: real and computed recordings, and a long file. Out: whether every row is read.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use stillpoint::error::Error;
use stillpoint::trace::{Choice, Row, Trace};

/// Where the published figures and the recordings of the repository are.
const TESTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests");

fn recordings(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(TESTS).join(folder);
    let entries = folder.read_dir().unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| entry.ok().map(|entry| entry.path())).collect();
    paths.retain(|path| path.extension().is_some_and(|extension| extension == "csv"));
    paths.sort();
    assert!(!paths.is_empty(), "{} holds no recordings", folder.display());
    paths
}

/// Compares every number of the reader with that of a plain split at commas.
fn check(path: &Path, columns: [usize; 3]) {
    let mut trace = Trace::open(path, &Choice::default()).unwrap_or_else(|error| panic!("{error}"));
    let (mut readings, mut block) = (Vec::new(), Vec::new());
    while trace.next_block(&mut block).unwrap() {
        readings.extend(block.iter().filter_map(|row| match row {
            Row::Reading { line, reading } => Some((*line, *reading)),
            _ => None,
        }));
    }
    let name = path.display();
    assert_eq!(trace.faults().count, 0, "{name}: {}", trace.faults());
    assert_eq!(trace.bytes_read(), path.metadata().unwrap().len(), "{name}");
    let text = std::fs::read_to_string(path).unwrap();
    let layout = trace.layout();
    let scale = layout.counts_per_unit.to_f64();
    let mut rows = text.lines().zip(1..).skip(1).map(|(line, number)| {
        let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        (number, columns.map(|column| cells[column]))
    });
    for (line, reading) in &readings {
        let (number, [time, command, feedback]) = rows.next().unwrap();
        let tick = (time - layout.origin_s) * f64::from(layout.ticks_per_second);
        assert_eq!(*line, number, "{name}");
        assert_eq!(f64::from(reading.tick), tick.round(), "{name}, line {line}");
        assert_eq!(f64::from(reading.command), (command * scale).round(), "{name}, line {line}");
        assert_eq!(f64::from(reading.feedback), (feedback * scale).round(), "{name}, line {line}");
    }
    assert_eq!(rows.next(), None, "{name}");
}

#[test]
fn real_recordings_are_read_completely() {
    for folder in ["recordings/geared-motor", "recordings/step-drive"] {
        recordings(folder).iter().for_each(|path| check(path, [0, 1, 2]));
    }
}

#[test]
fn computed_traces_are_read_completely() {
    recordings("published/traces").iter().for_each(|path| check(path, [1, 2, 3]));
}

#[test]
fn files_without_a_recording_are_reported() {
    for (path, part) in recordings("published/signals").iter().map(|path| (path, "no column name means time"))
    {
        let error = Trace::open(path, &Choice::default()).map(|_| ()).unwrap_err().to_string();
        assert!(error.contains(part) && error.contains(&path.display().to_string()), "{error}");
    }
    let open = |path: &Path| Trace::open(path, &Choice::default()).map(|_| ());
    assert!(matches!(open(Path::new(env!("CARGO_MANIFEST_DIR"))), Err(Error::Folder { .. })));
    assert!(matches!(open(Path::new("no such file.csv")), Err(Error::Unreadable { .. })));
}

/// Whole units for longer than the head, then decimals: the scale must suit the later rows.
#[test]
fn a_long_file_is_surveyed_in_all_parts() {
    let path = std::env::temp_dir().join(format!("stillpoint-trace-{}.csv", std::process::id()));
    let mut text = String::from("t;command;feedback\n");
    for row in 0..300_000 {
        let position =
            if row < 150_000 { "0".to_string() } else { format!("{},{:03}", row % 500, row % 1000) };
        let _ = writeln!(text, "{},{:03};{position};{position}", row / 1000, row % 1000);
    }
    std::fs::write(&path, &text).unwrap();
    let mut trace = Trace::open(&path, &Choice::default()).unwrap();
    assert_eq!(trace.layout().counts_per_unit.numerator(), 10_000);
    let (mut count, mut block, mut last) = (0, Vec::new(), None);
    while trace.next_block(&mut block).unwrap() {
        count += block.iter().filter(|row| matches!(row, Row::Reading { .. })).count();
        last = block.last().cloned();
    }
    std::fs::remove_file(&path).unwrap();
    assert_eq!((count, trace.faults().count), (300_000, 0), "{}", trace.faults());
    assert_eq!(trace.layout().notes, Vec::<String>::new());
    let Some(Row::Reading { line, reading }) = last else { panic!("{last:?}") };
    assert_eq!((line, reading.tick, reading.feedback), (300_001, 299_999_000, 4_999_990));
}
