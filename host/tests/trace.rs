//! In: recordings as drives, oscilloscopes and spreadsheets write them. Out: whether all give the same readings.

use std::io::Cursor;
use stillpoint::error::Error;
use stillpoint::trace::{Choice, Faults, Layout, Row, Trace, choice::fraction};
use stillpoint_core::Fraction;

#[path = "trace/files.rs"]
mod files;
#[path = "trace/mutations.rs"]
mod mutations;
#[path = "trace/rows.rs"]
mod rows;

struct Read {
    layout: Layout,
    rows: Vec<Row>,
    faults: Faults,
}

fn read(bytes: impl Into<Vec<u8>>, choice: &Choice) -> Result<Read, Error> {
    let mut trace = Trace::from_reader("axis.csv", Cursor::new(bytes.into()), choice)?;
    let (mut rows, mut block) = (Vec::new(), Vec::new());
    while trace.next_block(&mut block)? {
        rows.append(&mut block);
    }
    Ok(Read { layout: trace.layout().clone(), rows, faults: trace.faults().clone() })
}

/// A short notation of rows: `line:tick/command/feedback`, `line!` for a gap, `line@tick=second` for the clock.
fn short(rows: &[Row]) -> String {
    let words = rows.iter().map(|row| match row {
        Row::Reading { line, reading } => {
            format!("{line}:{}/{}/{}", reading.tick, reading.command, reading.feedback)
        }
        Row::Gap { line, .. } => format!("{line}!"),
        Row::Clock { line, tick, second } => format!("{line}@{tick}={second}"),
        Row::Job { line, job } => format!("{line}#{job}"),
        Row::Effort { line, effort } => format!("{line}~{effort}"),
    });
    words.collect::<Vec<_>>().join(" ")
}

fn options(list: &[(&str, &str)]) -> Choice {
    let mut choice = Choice::default();
    for &(name, value) in list {
        let text = Some(value.to_string());
        match name {
            "time" => choice.time = text,
            "command" => choice.command = text,
            "feedback" => choice.feedback = text,
            "unit" => choice.unit = text,
            "rate" => choice.rate = Some(fraction("--rate", value).unwrap()),
            "counts" => choice.counts_per_unit = Some(fraction("--counts-per-unit", value).unwrap()),
            "delimiter" => choice.delimiter = value.chars().next(),
            "decimal" => choice.decimal = value.chars().next(),
            _ => panic!("{name}"),
        }
    }
    choice
}

#[track_caller]
fn check(text: &str, list: &[(&str, &str)], expected: &str) -> Read {
    let read = read(text, &options(list)).unwrap_or_else(|error| panic!("{text:?}: {error}"));
    assert_eq!(short(&read.rows), expected, "{text:?}\n{}", read.faults);
    read
}

#[track_caller]
fn check_error(text: &str, list: &[(&str, &str)], parts: &[&str]) {
    let message = match read(text, &options(list)) {
        Ok(read) => panic!("{text:?} was read: {}", short(&read.rows)),
        Err(error) => error.to_string(),
    };
    for part in parts.iter().chain(&["axis.csv", "; "]) {
        assert!(message.contains(part), "{part:?} is not in {message:?}");
    }
}

#[track_caller]
fn check_note(read: &Read, part: &str) {
    assert!(
        read.layout.notes.iter().any(|note| note.contains(part)),
        "{part:?} is not in {:?}",
        read.layout.notes
    );
}

const PLAIN: &str =
    "t_s,command [mm],feedback [mm]\n1.500,0.00,0\n1.501,1.5,-0.05\n1.502,3,2.95\n1.503,3.0,3.00\n";

/// The four rows of [`PLAIN`] in another spelling, the first in line `line`.
#[track_caller]
fn check_same(text: impl Into<Vec<u8>>, line: u64) {
    let text = text.into();
    let shown = String::from_utf8_lossy(&text).into_owned();
    let read = read(text, &Choice::default()).unwrap_or_else(|error| panic!("{shown:?}: {error}"));
    let expected = [(0, 0, 0), (1000, 150, -5), (2000, 300, 295), (3000, 300, 300)];
    let rows = expected.iter().zip(line..).map(|((tick, command, feedback), at)| {
        let clock = if at == line { format!("{at}@0=1.5 ") } else { String::new() };
        format!("{clock}{at}:{tick}/{command}/{feedback}")
    });
    assert_eq!(short(&read.rows), rows.collect::<Vec<_>>().join(" "), "{shown:?}\n{}", read.faults);
    assert_eq!(read.layout.unit, "mm", "{shown:?}");
    assert_eq!(read.layout.counts_per_unit, Fraction::new(100, 1).unwrap(), "{shown:?}");
}

#[test]
fn every_encoding_and_line_end_gives_the_same_readings() {
    let utf16 = |little: bool| -> Vec<u8> {
        let order = |unit: u16| if little { unit.to_le_bytes() } else { unit.to_be_bytes() };
        PLAIN.encode_utf16().flat_map(order).collect()
    };
    check_same(PLAIN, 2);
    check_same(PLAIN.trim_end(), 2);
    check_same(format!("\u{feff}{PLAIN}"), 2);
    check_same(PLAIN.replace('\n', "\r\n"), 2);
    check_same(PLAIN.replace('\n', "\r"), 2);
    check_same(utf16(true), 2);
    check_same(utf16(false), 2);
    check_same([&[0xFF, 0xFE], &utf16(true)[..]].concat(), 2);
    check_same([&[0xFE, 0xFF], &utf16(false)[..]].concat(), 2);
}

#[test]
fn every_spelling_gives_the_same_readings() {
    let german = PLAIN.replace(',', ";").replace('.', ",");
    check_same(german.clone(), 2);
    check_same(german.replace(';', "\t"), 2);
    check_same(german.replace(';', "|"), 2);
    check_same(PLAIN.replace(',', ";"), 2);
    check_same(PLAIN.replace(',', "  "), 2);
    check_same(PLAIN.replace(',', " , "), 2);
    check_same(PLAIN.replace(',', "\",\"").replace('\n', "\"\n\"").replacen('t', "\"t", 1), 2);
    check_same(PLAIN.replace('\n', ",\n"), 2);
    check_same(PLAIN.replace("t_s", "time [ms]").replace("1.50", "150"), 2);
    let micros = PLAIN.replace("\n1.50", "\n150").replace("00,0.00", "00.00,0.00");
    check_same(micros.replace("t_s", "t/ms"), 2);
    let micros =
        "µs,command [mm],feedback [mm]\n1500000,0.00,0\n1501e3,1.5,-.05\n1502000,3.,2.95\n1503000,3.0,3.00\n";
    check_same(micros, 2);
    check_same(format!("Recorder;7;1\nNote;made up\n\n{PLAIN}"), 5);
    check_same(format!("# made up\n# {PLAIN}"), 3);
    check_same(PLAIN.replace(" [mm]", "").replacen('\n', "\ns,mm,mm\n", 1), 3);
    check_same(PLAIN.replace("1.5,", "15e-1,").replace("2.95", "+2.9500"), 2);
    let latin: Vec<u8> =
        "Zeit s;Sollwert mm;Istwert mm;Stra\u{df}e\n".chars().map(|letter| letter as u8).collect();
    let rows = german.split_once('\n').unwrap().1.replace('\n', ";1\n");
    check_same([&latin[..], rows.as_bytes()].concat(), 2);
    let wide = |line: &str| format!("{}{line}", "0,".repeat(2000));
    check_same(PLAIN.lines().map(|line| wide(line) + "\n").collect::<String>().replacen("0,", "x,", 2000), 2);
}

const ROWS: &str = "0.000,0,0\n0.001,1,0\n0.002,2,1\n";
const FIRST: &str = "1@0=0 1:0/0/0 2:1000/1/0 3:2000/2/1";
const SECOND: &str = "2@0=0 2:0/0/0 3:1000/1/0 4:2000/2/1";

#[test]
fn columns_and_units_are_the_users_choice() {
    check_note(&check(ROWS, &[], FIRST), "no names");
    check(ROWS, &[("time", "1"), ("command", "2"), ("feedback", "3")], FIRST);
    let named = format!("a,b,c\n{ROWS}");
    check(&named, &[("time", "A"), ("command", "b"), ("feedback", "3")], SECOND);
    check(&named, &[("rate", "1000"), ("command", "b"), ("feedback", "c")], SECOND);
    let counts = format!("t,cmd_counts,pos_counts\n{ROWS}");
    let read = check(&counts, &[("counts", "1048576/375"), ("unit", "mm")], SECOND);
    let scale = Fraction::new(1_048_576, 375).unwrap();
    assert_eq!((read.layout.unit.as_str(), read.layout.counts_per_unit), ("mm", scale));
    let read = check(&counts, &[], SECOND);
    assert_eq!((read.layout.unit.as_str(), read.layout.counts_per_unit), ("count", Fraction::ONE));
    assert_eq!((read.layout.ticks_per_second, read.layout.encoder_step), (1_000_000, 1));
    assert!((read.layout.sample_period_s - 0.001).abs() < 1e-12);
    assert_eq!(read.layout.columns, (Some("t".into()), "cmd_counts".into(), "pos_counts".into()));
    check("0;0,5\n0;0,75", &[("rate", "2")], "1@0=0 1:0/0/50 2:500000/0/75");
    check("t:1,cmd,fb\n0,0,0\n1,1,1", &[("time", "t:1:ms")], "2@0=0 2:0/0/0 3:1000/1/1");
    check(
        "0;0;0\n1;0;1\n",
        &[("time", "1:ms"), ("command", "2"), ("feedback", "3")],
        "1@0=0 1:0/0/0 2:1000/0/1",
    );
}

/// A header and this many good rows at 1 kHz.
fn head(rows: usize) -> String {
    let rows = (0..rows).map(|row| format!("{:.3},{row},{row}\n", row as f64 / 1000.0));
    format!("t,command,feedback\n{}", rows.collect::<String>())
}

#[test]
fn unreadable_recordings_are_refused_with_the_reason() {
    let header = "t,command,feedback";
    check_error("", &[], &["is empty"]);
    check_error(" \n\r\n", &[], &["is empty"]);
    check_error(header, &[], &["line 1", "no rows of numbers"]);
    check_error(&format!("{header}\nx,y,z\n"), &[], &["line 2", "no rows of numbers"]);
    check_error("1,2,3\n4,5,6\n1;2;3\n4;5;6\n", &[], &["line 1", "','", "';'", "--delimiter"]);
    let commas = format!("{header}\n0,001,0,5,0,6\n0,002,0,5,0,6\n");
    check_error(&commas, &[], &["line 1", "3 columns", "6", "decimal sign"]);
}

#[test]
fn undecided_properties_are_requested() {
    let header = "t,command,feedback";
    check_error("t,command,x\n0.1,1,1\n0.2,1,1", &[], &["line 1", "feedback", "--feedback", "3 'x'"]);
    check_error("command,feedback\n1,1\n1,1", &[], &["line 1", "no time column", "--rate HZ"]);
    check_error(&format!("{header}\n0,1,1\n1,1,1"), &[], &["line 2", "has no unit", "--time t:ms", "--rate"]);
    check_error("t (min),command,feedback\n0,1,1\n1,1,1", &[], &["line 2", "'min'", "--time"]);
    check_error(
        "t,command (mm),feedback (deg)\n.1,1,1\n.2,1,1",
        &[],
        &["command is in mm, but feedback in deg"],
    );
    check_error(
        "t,cmd,fb\n0.1,1,1\n0.2,1,1.5\n",
        &[("counts", "10")],
        &["line 3", "1.5", "--counts-per-unit"],
    );
    let counts = "t,cmd_counts,fb_counts\n0.1,1,1\n0.2,1,1\n";
    check_error(counts, &[("unit", "mm")], &["line 2", "counts", "--counts-per-unit"]);
    check_error("t,cmd,fb\n0.1,1,1\n0.2,1,1\n", &[("rate", "1e15")], &["--rate"]);
    check_error("t,cmd,fb\n0.1,1,1\n0.2,1,1\n", &[("command", "speed")], &["line 1", "'speed'", "2 'cmd'"]);
    let clock = "clock,date,cmd,fb\n10:00,a,1,1\n10:01,b,1,1\n";
    check_error(clock, &[], &["line 1", "'clock' holds neither numbers nor times", "--rate"]);
    check_error(clock, &[("time", "clock")], &["line 2", "'10:00'", "--time"]);
    check_error(
        &format!("{}t,feedback,command\n0,1,2\n", head(3)),
        &[],
        &["line 5", "second header", "split the file"],
    );
    check_error("PAR1 and so on", &[], &["Parquet"]);
}
