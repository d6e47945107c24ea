//! The store beside bare SQLite, as ratios: `cargo bench -p stillpoint --bench store [-- MOVES]`.
//!
//! MOVES is how many moves a month has (10 million in the bar; 1 million by default, to be quick).

use std::path::{Path, PathBuf};
use std::time::Instant;

use rusqlite::{Connection, params};
use stillpoint::error::Error;
use stillpoint::store::log::{Axis, Log};
use stillpoint::store::moves::Ask;
use stillpoint::store::{Durability, Options, Store};
use stillpoint_core::settling::curve::Point;
use stillpoint_core::wire::crc::LargeTable;
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Numbers, Way};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::record::{Move, flag};
use stillpoint_core::wire::status::Hello;
use stillpoint_core::wire::{LONGEST_FRAME, LONGEST_PIECE};

const TICKS_PER_SECOND: u32 = 10_000_000;
const AXES: u64 = 3;
const MONTH_S: f64 = 30.0 * 86_400.0;
/// 2026-06-01T00:00:00Z. Unit: µs since 1970
const BEGIN: i64 = 1_780_272_000_000_000;
/// Frames in a transaction, for both sides.
const GROUP: usize = 4096;

/// A month of three axes, four kinds each; settling lognormal about 50 ms, one in fifty not settled.
struct Month {
    numbers: Numbers,
    chance: u64,
    moves: u64,
    of: u64,
}

impl Month {
    fn new(of: u64) -> Month {
        Month { numbers: Numbers::new(Way::FromDevice, 1), chance: 88_172_645_463_325_252, moves: 0, of }
    }

    fn uniform(&mut self) -> f64 {
        self.chance ^= self.chance << 13;
        self.chance ^= self.chance >> 7;
        self.chance ^= self.chance << 17;
        (self.chance >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn push(&mut self, message: &Message, out: &mut Vec<u8>) {
        let header = self.numbers.take(message.priority());
        let mut buffer = [0; LONGEST_FRAME];
        out.extend_from_slice(encode::<LargeTable>(&header, message, &mut buffer).expect("it fits"));
    }

    fn hello(&mut self, out: &mut Vec<u8>) {
        let hello = Hello {
            device: *b"bench\0\0\0\0\0\0\0",
            board: "bench",
            firmware: "1",
            axes: AXES as u8,
            ticks_per_second: TICKS_PER_SECOND,
            clock: Some(BEGIN),
            ..Hello::default()
        };
        self.push(&Message::Hello(hello), out);
    }

    /// One move and its curve.
    fn step(&mut self, out: &mut Vec<u8>) {
        let normal: f64 = (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0;
        let settling = (0.05 * (0.3 * normal).exp() * f64::from(TICKS_PER_SECOND)) as u32;
        let settled = self.uniform() > 0.02;
        let (axis, number) = ((self.moves % AXES) as u8, (self.moves / AXES + 1) as u32);
        let start = (self.moves as f64 / self.of as f64 * MONTH_S * f64::from(TICKS_PER_SECOND)) as u64;
        let told = Move {
            axis,
            number,
            flags: if settled { flag::SETTLING | flag::FIRST_ENTRY | flag::REST_ERROR } else { 0 },
            outcome: if settled {
                Default::default()
            } else {
                stillpoint_core::wire::record::Outcome::Unsettled
            },
            start,
            duration: 2_000_000,
            held: 3_000_000,
            travel: [10_000, -10_000, 90_000, -90_000][(self.moves / AXES % 4) as usize],
            settling: if settled { settling } else { 0 },
            settling_u: 800,
            window_entries: 2,
            overshoot: 31,
            peak_following_error: 900,
            error_at_command_end: -417,
            peak_speed_distance: 800,
            peak_speed_time: 20_000,
            ..Move::default()
        };
        self.push(&Message::Move(told), out);
        let mut points = (0..14_u32)
            .map(|k| Point { window: 16_384 >> k, settling: (k < 12).then_some(settling / 16 * (k + 4)) })
            .peekable();
        let mut buffer = [0; LONGEST_PIECE];
        let curve = Curve::take((axis, number, 0), &mut points, &mut buffer).expect("points");
        self.push(&Message::Curve(curve), out);
        self.moves += 1;
    }
}

fn scratch(name: &str) -> PathBuf {
    let path = std::env::temp_dir().join(format!("stillpoint-bench-{}-{name}", std::process::id()));
    remove(&path);
    path
}

fn remove(path: &Path) {
    for ending in ["", "-wal", "-shm"] {
        std::fs::remove_file(format!("{}{ending}", path.display())).ok();
    }
}

fn axes() -> Vec<Axis> {
    let named = |axis: u64| Axis {
        axis: axis as u8,
        name: format!("axis {axis}"),
        unit: "mm".to_owned(),
        counts_per_unit: 1000.0,
        window: None,
        source: "bench".to_owned(),
    };
    (0..AXES).map(named).collect()
}

fn log(path: &Path, durability: Durability, chunks: &[Vec<u8>]) -> f64 {
    let options = Options { durability, ..Options::default() };
    let mut log = Log::open(path, &options, None, axes()).expect("a store");
    let begun = Instant::now();
    chunks.iter().for_each(|chunk| log.hear(chunk, BEGIN));
    log.finish().expect("room");
    begun.elapsed().as_secs_f64()
}

/// The same frames table, the same pragmas, the same groups; bodies come ready-made.
fn bare(path: &Path, durability: Durability, frames: &[(u32, u8, u32, Vec<u8>)]) -> f64 {
    let mut connection = Connection::open(path).expect("a file");
    let synchronous = if durability == Durability::Power { "FULL" } else { "NORMAL" };
    connection.pragma_update(None, "journal_mode", "WAL").expect("WAL");
    connection.pragma_update(None, "cache_size", -32_000).expect("a cache");
    connection.pragma_update(None, "synchronous", synchronous).expect("a level");
    let table = "CREATE TABLE frames (device INTEGER, boot INTEGER, priority INTEGER, sequence INTEGER,
        arrived_us INTEGER, body BLOB, PRIMARY KEY (device, boot, priority, sequence)) WITHOUT ROWID";
    connection.execute_batch(table).expect("a table");
    let begun = Instant::now();
    for group in frames.chunks(GROUP) {
        let transaction = connection.transaction().expect("a transaction");
        let mut insert = transaction
            .prepare_cached("INSERT INTO frames VALUES (?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT DO NOTHING")
            .expect("a statement");
        for (boot, priority, sequence, body) in group {
            insert.execute(params![1, boot, priority, sequence, BEGIN, body]).expect("room");
        }
        drop(insert);
        transaction.commit().expect("room");
    }
    begun.elapsed().as_secs_f64()
}

fn frames(chunks: &[Vec<u8>]) -> Vec<(u32, u8, u32, Vec<u8>)> {
    let (mut receiver, mut frames) = (Receiver::<LargeTable>::new(Way::FromDevice), vec![]);
    for chunk in chunks {
        let mut left = chunk.as_slice();
        while let Some(event) = receiver.step(&mut left) {
            if let Event::Frame(frame) = event {
                let header = frame.header;
                frames.push((header.boot, header.priority as u8, header.sequence, frame.body().to_vec()));
            }
        }
    }
    frames
}

fn logging() {
    let mut month = Month::new(100_000);
    let mut chunks = vec![vec![]];
    month.hello(&mut chunks[0]);
    for number in 0..100_000 {
        if number % 500 == 0 {
            chunks.push(vec![]);
        }
        month.step(chunks.last_mut().expect("one"));
    }
    let frames = frames(&chunks);
    for durability in [Durability::Process, Durability::Power] {
        let (mut ours, mut theirs) = (f64::MAX, f64::MAX);
        for round in 0..5 {
            let (a, b) = (scratch(&format!("bare-{round}")), scratch(&format!("log-{round}")));
            theirs = theirs.min(bare(&a, durability, &frames));
            ours = ours.min(log(&b, durability, &chunks));
            remove(&a);
            remove(&b);
        }
        let count = frames.len() as f64;
        println!(
            "logged, {durability:?}: {:.0} frames/s with all tables from line bytes; bare SQLite, frames only: {:.0}; ratio {:.2} (bar 0.70)",
            count / ours,
            count / theirs,
            theirs / ours
        );
    }
}

const EXACT: &str = "
WITH ranked AS (
    SELECT axis, at_us / 300000000 AS interval, settling_ns,
        row_number() OVER within AS place, count(*) OVER (PARTITION BY axis, at_us / 300000000) AS n
    FROM rows WHERE settling_ns IS NOT NULL
    WINDOW within AS (PARTITION BY axis, at_us / 300000000 ORDER BY settling_ns))
SELECT axis, interval * 300000000,
    max(CASE WHEN place = CAST(0.5 * (n - 1) AS INTEGER) + 1 THEN settling_ns END),
    max(CASE WHEN place = CAST(0.95 * (n - 1) AS INTEGER) + 1 THEN settling_ns END)
FROM ranked GROUP BY axis, interval ORDER BY axis, interval";

fn month(moves: u64) -> Result<(), Error> {
    let (path, rows) = (scratch("month"), scratch("rows"));
    let mut log = Log::open(&path, &Options::default(), None, axes())?;
    let mut month = Month::new(moves);
    let (mut bytes, begun) = (vec![], Instant::now());
    month.hello(&mut bytes);
    while month.moves < moves {
        (0..500.min(moves - month.moves)).for_each(|_| month.step(&mut bytes));
        log.hear(&bytes, BEGIN);
        bytes.clear();
    }
    let (store, kept) = log.finish()?;
    println!("a month of {moves} moves ({kept}) logged in {:.0} s", begun.elapsed().as_secs_f64());
    quantiles(&store, &path, &rows)?;
    hour(&store)?;
    drop(store);
    remove(&path);
    remove(&rows);
    Ok(())
}

/// Median and 95 % quantile per axis and 5 minutes: from the summaries, and by SQL over narrow rows of their own.
fn quantiles(store: &Store, path: &Path, rows: &Path) -> Result<(), Error> {
    let connection = Connection::open(rows).expect("a file");
    connection.pragma_update(None, "cache_size", -256_000).expect("a cache");
    connection
        .execute_batch(&format!(
            "ATTACH '{}' AS store; CREATE TABLE rows (axis INTEGER, at_us INTEGER, settling_ns INTEGER);
            INSERT INTO rows SELECT axis, at_us, settling_ns FROM store.moves; DETACH store;",
            path.display()
        ))
        .expect("rows");
    let begun = Instant::now();
    let mut statement = connection.prepare(EXACT).expect("SQL");
    let exact: Vec<(i64, i64, i64)> = statement
        .query_map([], |row| Ok((row.get(1)?, row.get(2)?, row.get(3)?)))
        .expect("rows")
        .map(|row| row.expect("a row"))
        .collect();
    let theirs = begun.elapsed().as_secs_f64();
    let begun = Instant::now();
    let mut drawn = vec![];
    for known in store.axes()? {
        drawn.extend(store.intervals(&known, 300, (i64::MIN, i64::MAX))?);
    }
    let ours = begun.elapsed().as_secs_f64();
    let drawn: Vec<(i64, i64, i64)> =
        drawn.iter().filter_map(|each| each.quantiles.map(|(p50, p95)| (each.at, p50, p95))).collect();
    assert_eq!(drawn.len(), exact.len());
    let mut worst: f64 = 0.0;
    for (drawn, exact) in drawn.iter().zip(&exact) {
        assert_eq!(drawn.0, exact.0);
        for (drawn, exact) in [(drawn.1, exact.1), (drawn.2, exact.2)] {
            worst = worst.max((drawn - exact).abs() as f64 / exact as f64);
        }
    }
    println!(
        "p50 and p95 of {} intervals: summaries {:.1} ms, SQL over rows {:.0} ms: {:.0} times faster (bar 50); worst error {:.2} % (stated 1 %)",
        exact.len(),
        ours * 1e3,
        theirs * 1e3,
        theirs / ours,
        worst * 100.0
    );
    Ok(())
}

/// Moves of one axis in one hour in the middle.
fn hour(store: &Store) -> Result<(), Error> {
    let since = BEGIN + 15 * 86_400_000_000;
    for curves in [false, true] {
        let ask = Ask { axis: Some("axis 1".to_owned()), since, until: since + 3_600_000_000, curves };
        let (mut best, mut count) = (f64::MAX, 0_u64);
        for _ in 0..5 {
            (count, best) = (0, best);
            let begun = Instant::now();
            store.moves(&ask, &mut |line| {
                count += u64::from(line.number > 0);
                Ok(())
            })?;
            best = best.min(begun.elapsed().as_secs_f64());
        }
        let with = if curves { "with" } else { "without" };
        println!("an axis-hour, {count} moves {with} curves: {:.1} ms (bar: below 10)", best * 1e3);
    }
    Ok(())
}

fn main() {
    let moves = std::env::args().filter_map(|word| word.parse().ok()).next().unwrap_or(1_000_000);
    logging();
    month(moves).expect("a month");
}
