//! In: good recordings with seeded damage. Out: no panic, and every undamaged row is still read.

use super::read;
use std::collections::HashSet;
use stillpoint::trace::{Choice, Row};

/// SplitMix64, so that a seed always gives the same damage.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, limit: usize) -> usize {
        (self.next() % limit.max(1) as u64) as usize
    }
}

fn recording(delimiter: char, decimal: char) -> Vec<String> {
    let row = |row: usize| {
        let text = format!("{:.4};{}.5;{}.25;note {row}", row as f64 * 0.00025, row % 90, row % 80);
        text.replace('.', &decimal.to_string()).replace(';', &delimiter.to_string())
    };
    let header = "t_s;command;feedback;remark".replace(';', &delimiter.to_string());
    std::iter::once(header).chain((0..400).map(row)).collect()
}

/// Positions of the rows in counts, which do not depend on the lines around them.
fn positions(rows: &[Row]) -> HashSet<(u64, i64, i64)> {
    let positions = rows.iter().filter_map(|row| match row {
        Row::Reading { line, reading } => Some((*line, reading.command.into(), reading.feedback.into())),
        _ => None,
    });
    positions.collect()
}

/// Damages one line; the result may hold any bytes but line ends.
fn damage(line: &str, random: &mut Random) -> Vec<u8> {
    let mut bytes = line.as_bytes().to_vec();
    let at = random.below(bytes.len());
    match random.below(7) {
        0 => bytes.truncate(at),
        1 => bytes[at] = random.next() as u8,
        2 => bytes.insert(at, random.next() as u8),
        3 => drop(bytes.remove(at)),
        4 => bytes = (0..random.below(60)).map(|_| random.next() as u8).collect(),
        5 => bytes.splice(at..at, *b"\"").for_each(drop),
        _ => bytes.extend_from_within(..at),
    }
    bytes.retain(|byte| !matches!(byte, b'\n' | b'\r'));
    bytes
}

#[test]
fn damage_affects_only_damaged_rows() {
    for (delimiter, decimal) in [(',', '.'), (';', ','), ('\t', '.'), ('|', ',')] {
        let lines = recording(delimiter, decimal);
        let whole = read(lines.join("\n") + "\n", &Choice::default()).unwrap();
        let whole = positions(&whole.rows);
        assert_eq!(whole.len(), 400);
        for seed in 0..300 {
            let mut random = Random(seed);
            let mut damaged: Vec<Vec<u8>> = lines.iter().map(|line| line.as_bytes().to_vec()).collect();
            let mut touched = HashSet::new();
            for _ in 0..1 + random.below(8) {
                let at = 1 + random.below(lines.len() - 1);
                damaged[at] = damage(&lines[at], &mut random);
                touched.insert(at as u64 + 1);
            }
            let read = read(damaged.join(&b'\n'), &Choice::default());
            let read = read.unwrap_or_else(|error| panic!("seed {seed} {delimiter:?}: {error}"));
            let reported = reported_lines(&read.rows);
            let silent =
                |at: &u64| !reported.contains(at) && !is_remark(&damaged[*at as usize - 1], delimiter);
            let silent: Vec<_> =
                touched.iter().filter(|at| **at != lines.len() as u64 && silent(at)).collect();
            assert!(silent.is_empty(), "seed {seed} {delimiter:?}: no row and no gap for {silent:?}");
            // A number with more digits makes all counts finer, a huge number makes them coarser.
            let finer = read.layout.counts_per_unit.numerator() as i64 / 100;
            let scaled = |row: &(u64, i64, i64), by: i64| (row.0, row.1 * by, row.2 * by);
            let found: HashSet<_> =
                positions(&read.rows).iter().map(|row| scaled(row, finer.min(1))).collect();
            let lost = whole.iter().map(|row| scaled(row, finer));
            let lost: Vec<_> = lost.filter(|row| !touched.contains(&row.0) && !found.contains(row)).collect();
            assert!(lost.is_empty(), "seed {seed} {delimiter:?} lost {lost:?}\n{}", read.faults);
        }
    }
}

/// The lines that gave a reading or a gap.
fn reported_lines(rows: &[Row]) -> HashSet<u64> {
    let lines = rows.iter().map(|row| match row {
        Row::Reading { line, .. } | Row::Gap { line, .. } => *line,
        Row::Clock { line, .. } | Row::Job { line, .. } | Row::Effort { line, .. } => *line,
    });
    lines.collect()
}

/// Lines without a row: empty lines and comments.
fn is_remark(line: &[u8], delimiter: char) -> bool {
    let blank = |byte: &u8| byte.is_ascii_whitespace() || char::from(*byte) == delimiter || *byte == b'"';
    let line = line.trim_ascii();
    line.iter().all(blank) || line.starts_with(b"#") || line.starts_with(b"%") || line.starts_with(b"//")
}

/// Characters of recordings.
const SIGNS: &[u8] = b"0123456789.,;-+eE\t |\n\"# ";

#[test]
fn nothing_panics_whatever_the_bytes() {
    let sample = recording(',', '.').join("\r\n").into_bytes();
    for seed in 0..2000 {
        let mut random = Random(seed);
        let mut bytes: Vec<u8> = match random.below(3) {
            0 => (0..random.below(3000)).map(|_| random.next() as u8).collect(),
            1 => (0..random.below(3000)).map(|_| SIGNS[random.below(SIGNS.len())]).collect(),
            _ => sample[..random.below(sample.len())].to_vec(),
        };
        for _ in 0..random.below(30).min(bytes.len()) {
            let at = random.below(bytes.len());
            bytes[at] = random.next() as u8;
        }
        // Success and error are both correct; it must only return.
        let _ = read(bytes, &Choice::default());
    }
}
