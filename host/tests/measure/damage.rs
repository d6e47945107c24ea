//! In: good recordings with seeded damage, and plain noise. Out: no panic, no endless run, no invented number.

use std::io::Cursor;

use stillpoint::measure::{MeasureOptions, Summary, Wrap, measure};
use stillpoint::report::move_report::MoveReport;
use stillpoint::trace::choice::{fraction, position, ratio};
use stillpoint::trace::{Choice, Trace};
use stillpoint_core::{Definition, Fraction, Outcome};

use super::{Folder, recording};

/// SplitMix64, so that a seed names one damage for ever.
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

    fn choose<'a, T: ?Sized>(&mut self, list: &[&'a T]) -> &'a T {
        list[self.below(list.len())]
    }
}

/// Good recordings, in several spellings.
fn bases() -> Vec<Vec<u8>> {
    let lines = recording(2);
    let plain = lines.join("\n");
    let german = plain.replace(',', ";").replace('.', ",");
    let counts = plain.replace('.', "").replace("[mm]", "[counts]").replacen("t_s", "t_ms", 1);
    let bare = lines[1..].join("\r\n");
    let wide = german.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let volts = plain.replacen("t_s,command [mm],feedback [mm]", "t,command,feedback,x\ns,V,V,%", 1);
    let events = |line: &String| match line.split(',').collect::<Vec<_>>()[..] {
        [time, command, feedback] => format!("{time};cmd;{command}\n{time};act;{feedback}\n"),
        _ => String::new(),
    };
    let log: String = lines[1..].iter().map(events).collect();
    let changes: String = lines[1..].iter().step_by(40).map(events).collect();
    let texts = [plain, german, counts, bare, volts, log, changes];
    texts.into_iter().map(String::into_bytes).chain([wide]).collect()
}

/// Cells that are hard to read as numbers.
const CELLS: [&str; 16] = [
    "1e300",
    "-2147483648",
    "2147483647",
    "2147483648",
    "-4294967296",
    "9223372036854775807",
    "-1e18",
    "1e-18",
    "NaN",
    "",
    "-0",
    "-1e9",
    "0.000000001",
    "\"",
    "1e9",
    "99999999999999999999",
];

/// Damages `bytes` in a few places.
fn damage(bytes: &mut Vec<u8>, random: &mut Random) {
    for _ in 0..1 + random.below(12) {
        let at = random.below(bytes.len());
        match random.below(9) {
            _ if bytes.is_empty() => {}
            0 => bytes[at] = random.next() as u8,
            1 => bytes[at] ^= 1 << random.below(8),
            2 => drop(bytes.remove(at)),
            3 => bytes.insert(at, random.next() as u8),
            4 => bytes.insert(at, *random.choose(&[&b'\n', &b',', &b'-', &b'9', &b'e', &b'.'])),
            5 => drop(bytes.drain(at..(at + random.below(5000)).min(bytes.len()))),
            6 => bytes.extend_from_within(at..(at + random.below(5000)).min(bytes.len())),
            7 => cell(bytes, at, random),
            _ => bytes.truncate(bytes.len() - random.below(200).min(bytes.len())),
        }
    }
}

/// Puts an awkward cell in the place of the one around `at`.
fn cell(bytes: &mut Vec<u8>, at: usize, random: &mut Random) {
    let is_end = |byte: &u8| matches!(byte, b',' | b';' | b'\n' | b'\r');
    let start = bytes[..at].iter().rposition(is_end).map_or(0, |place| place + 1);
    let end = bytes[at..].iter().position(is_end).map_or(bytes.len(), |place| at + place);
    bytes.splice(start.min(end)..end, random.choose(&CELLS).bytes());
}

/// Figures an option may have.
const FIGURES: [&str; 8] = ["0.01", "1e-18", "1/3", "0.5", "5", "2147483647", "1e18", "100"];

fn options(random: &mut Random) -> MeasureOptions {
    let times = [0.0, 10.0, 1e-9, 1e6, 1_073_741.0, f64::NAN, -1.0];
    let figure =
        |random: &mut Random| fraction("--window", random.choose(&FIGURES.map(|f| f))).expect("a figure");
    let often = |random: &mut Random| random.below(3) > 0;
    MeasureOptions {
        window: if often(random) { fraction("--window", "0.01").expect("a window") } else { figure(random) },
        window_time_ms: if often(random) { 10.0 } else { times[random.below(times.len())] },
        rest_time_ms: if often(random) { 20.0 } else { times[random.below(times.len())] },
        definition: *random.choose(&[
            &Definition::LastEntry,
            &Definition::Iso9283,
            &Definition::TargetReached,
        ]),
        from: (!often(random))
            .then(|| position("--from", random.choose(&["0", "-5", "1e17"])).expect("a position")),
        encoder_step: (!often(random)).then(|| figure(random)),
        max_speed: (!often(random)).then(|| *random.choose(&[&1e-9, &50.0, &1e30, &f64::NAN])),
        synchronous: often(random),
        wrap: match random.below(20) {
            0 => Wrap::Turn(Fraction::ONE),
            1 => Wrap::Never,
            _ => Wrap::Unknown,
        },
        command_dead_band: (random.below(10) == 0).then(|| *random.choose(&[&0.0, &0.01, &1e30, &f64::NAN])),
    }
}

fn choice(random: &mut Random) -> Choice {
    let numbers = random.below(4) == 0;
    let column = |name: &str| numbers.then(|| name.to_owned());
    let scales = ["-1", "2147483647", "-7/2147483647", "1e17", "1e-17", "1/3"];
    let scale = |random: &mut Random| {
        (random.below(6) == 0).then(|| ratio("--command-scale", random.choose(&scales)).expect("a scale"))
    };
    let rate = ["1000", "1e-3", "1e9", "32768/3"];
    let rate = (random.below(5) == 0).then(|| fraction("--rate", random.choose(&rate)).expect("a rate"));
    Choice {
        time: rate.is_none().then(|| column("1")).flatten(),
        command: column("2"),
        feedback: column("3"),
        rate,
        command_scale: scale(random),
        feedback_scale: scale(random),
        counts_per_unit: (random.below(6) == 0).then(|| fraction("-", "1048576/375").expect("a figure")),
        ..Choice::default()
    }
}

/// Measures bytes in this process; an error is as good as moves, as long as it comes.
fn measured(bytes: Vec<u8>, random: &mut Random) -> (Vec<MoveReport>, Option<Summary>) {
    let mut reports = Vec::new();
    let Ok(mut trace) = Trace::from_reader("axis.csv", Cursor::new(bytes), &choice(random)) else {
        return (reports, None);
    };
    let on_move = |measured: stillpoint::measure::Measured| {
        reports.push(measured.report);
        Ok(())
    };
    let pictures = random.below(4) == 0;
    let summary = measure(&mut trace, ("axis.csv", "axis"), &options(random), pictures, on_move, |_| ());
    (reports, summary.ok())
}

/// What must hold of a move whatever it was measured from.
fn is_honest(report: &MoveReport) -> bool {
    let settled = report.outcome == Outcome::Settled;
    let times = [report.settling_s, report.settling_u_s, report.settling_95_s];
    let known = times.iter().flatten().all(|time| time.is_finite() && *time >= 0.0);
    known && times.iter().all(|time| time.is_some() == settled) && (settled || !report.reason.is_empty())
}

#[test]
fn damaged_recordings_give_moves_or_a_reason() {
    let bases = bases();
    let (mut moves, mut settled) = (0, 0);
    for seed in 0..2000 {
        let mut random = Random(seed);
        let mut bytes = bases[random.below(bases.len())].clone();
        damage(&mut bytes, &mut random);
        let (reports, _) = measured(bytes, &mut random);
        for report in &reports {
            assert!(is_honest(report), "seed {seed}: {report:?}");
        }
        moves += reports.len();
        settled += reports.iter().filter(|report| report.outcome == Outcome::Settled).count();
    }
    // Otherwise nothing would have been tried.
    assert!(moves > 1000 && settled > 200, "{moves} moves, {settled} settled");
}

#[test]
fn noise_gives_a_reason_or_honest_moves() {
    let signs: Vec<u8> = b"0123456789.,;-+eE\t |\n\"# ".to_vec();
    for seed in 0..1000 {
        let mut random = Random(seed ^ 0x5EED);
        let length = random.below(4000);
        let bytes: Vec<u8> = match random.below(3) {
            0 => (0..length).map(|_| random.next() as u8).collect(),
            1 => (0..length).map(|_| signs[random.below(signs.len())]).collect(),
            _ => rows(&mut random),
        };
        let (reports, _) = measured(bytes, &mut random);
        assert!(reports.iter().all(is_honest), "seed {seed}: {reports:?}");
    }
}

/// A recording whose figures are anything, with rests in it so that there are moves.
fn rows(random: &mut Random) -> Vec<u8> {
    let mut text = "t_s,command_counts,feedback_counts\n".to_owned();
    let (mut time, mut command) = (0.0, 0i64);
    for _ in 0..random.below(400) {
        time += if random.below(60) == 0 { 1e3 } else { 0.001 + random.below(3) as f64 * 0.01 };
        if random.below(25) == 0 {
            command = random.next() as i64 >> random.below(63);
        }
        let error = random.next() as i64 >> (31 + random.below(33));
        text += &format!("{time:.4},{command},{}\n", command.wrapping_add(error));
    }
    text.into_bytes()
}

#[test]
fn the_binary_ends_with_0_1_or_2() {
    let folder = Folder::new("damage");
    let bases = bases();
    for seed in 0..60 {
        let mut random = Random(seed ^ 0xB1A2);
        let mut bytes = bases[random.below(bases.len())].clone();
        damage(&mut bytes, &mut random);
        folder.write("axis.csv", &bytes);
        let form = random.choose(&["table", "jsonl", "csv", "table --plot axis.svg"]);
        let ran = folder.run(&format!("axis.csv --window {} --format {form}", random.choose(&FIGURES)));
        assert!(matches!(ran.status, 0..=2), "seed {seed}: {ran:?}");
        assert!(!ran.stderr.contains("panicked"), "seed {seed}: {}", ran.stderr);
        assert!(ran.status == 0 || !ran.stderr.is_empty(), "seed {seed}: fails without a message");
    }
}
