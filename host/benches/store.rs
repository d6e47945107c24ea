//! The store beside bare SQLite, as ratios: `cargo bench -p stillpoint --bench store [-- MOVES]`.
//!
//! MOVES is how many moves a month has (10 million in the bar; 1 million by default, to be quick).

#[path = "store/month.rs"]
mod month;

use std::path::{Path, PathBuf};
use std::time::Instant;

use month::{AXES, BEGIN, Month};
use rusqlite::{CachedStatement, Connection, params};
use stillpoint::checksum::FastCrc;
use stillpoint::error::Error;
use stillpoint::store::devices::Axis;
use stillpoint::store::log::Log;
use stillpoint::store::moves::MoveQuery;
use stillpoint::store::{Durability, Options, Store};
use stillpoint_core::wire::header::Direction;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::record::Move;

/// Frames in a transaction, for both sides.
const GROUP: usize = 4096;

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
    chunks.iter().for_each(|chunk| log.push(chunk, BEGIN));
    log.finish().expect("room");
    begun.elapsed().as_secs_f64()
}

/// A frame whose values are decoded beforehand.
struct Ready {
    priority: u8,
    sequence: u32,
    body: Vec<u8>,
    wire: Option<Move>,
}

const TABLES: &str = "CREATE TABLE frames (device INTEGER, boot INTEGER, priority INTEGER, sequence INTEGER,
        arrived_us INTEGER, body BLOB, PRIMARY KEY (device, boot, priority, sequence)) WITHOUT ROWID;
    CREATE TABLE moves (device INTEGER, axis INTEGER, at_us INTEGER, boot INTEGER, number INTEGER,
        sequence INTEGER, kind INTEGER, outcome INTEGER, settling_ns INTEGER, travel INTEGER,
        peak_following_error INTEGER, overshoot INTEGER, rest_error INTEGER, body BLOB,
        PRIMARY KEY (device, axis, at_us, boot, number)) WITHOUT ROWID";

/// Bare SQLite with the same tables, pragmas and groups: a row for each frame, and one for each move if `moves`.
/// Returns how long it took. Unit: s
fn bare(path: &Path, durability: Durability, frames: &[Ready], moves: bool) -> f64 {
    let mut connection = Connection::open(path).expect("a file");
    let synchronous = if durability == Durability::Power { "FULL" } else { "NORMAL" };
    connection.pragma_update(None, "journal_mode", "WAL").expect("WAL");
    connection.pragma_update(None, "cache_size", -32_000).expect("a cache");
    connection.pragma_update(None, "synchronous", synchronous).expect("a level");
    connection.execute_batch(TABLES).expect("tables");
    let begun = Instant::now();
    for group in frames.chunks(GROUP) {
        let transaction = connection.transaction().expect("a transaction");
        let prepare = |sql| transaction.prepare_cached(sql).expect("a statement");
        let mut frame = prepare("INSERT INTO frames VALUES (1, 1, ?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING");
        let mut one =
            prepare("INSERT INTO moves VALUES (1, ?1, ?2, 1, ?3, ?4, 2, 0, ?5, ?6, ?7, ?8, ?9, ?10)");
        for Ready { priority, sequence, body, wire } in group {
            frame.execute(params![priority, sequence, BEGIN, body]).expect("room");
            if let Some(wire) = wire.as_ref().filter(|_| moves) {
                insert_move(&mut one, wire, *sequence, body);
            }
        }
        drop((frame, one));
        transaction.commit().expect("room");
    }
    begun.elapsed().as_secs_f64()
}

fn insert_move(one: &mut CachedStatement, wire: &Move, sequence: u32, body: &[u8]) {
    let (at, settling) = (BEGIN + wire.start as i64 / 10, i64::from(wire.settling) * 100);
    let Move { axis, number, travel, peak_following_error, overshoot, rest_error, .. } = *wire;
    let values = params![
        axis,
        at,
        number,
        sequence,
        settling,
        travel,
        peak_following_error,
        overshoot,
        rest_error,
        body
    ];
    one.execute(values).expect("room");
}

fn frames(chunks: &[Vec<u8>]) -> Vec<Ready> {
    let (mut receiver, mut frames) = (Receiver::<FastCrc>::new(Direction::FromDevice), vec![]);
    for chunk in chunks {
        let mut rest = chunk.as_slice();
        while let Some(event) = receiver.step(&mut rest) {
            let Event::Frame(frame) = event else { continue };
            let wire = match frame.read::<Message>().expect("known").payload {
                Message::Move(wire) => Some(wire),
                _ => None,
            };
            let (priority, sequence) = (frame.header.priority as u8, frame.header.sequence);
            frames.push(Ready { priority, sequence, body: frame.body().to_vec(), wire });
        }
    }
    frames
}

fn logging() {
    // As dense as the month of the bar.
    let mut month = Month::new(10_000_000);
    let mut chunks = vec![vec![]];
    month.hello(&mut chunks[0]);
    for number in 0..100_000 {
        if number % 500 == 0 {
            chunks.push(vec![]);
        }
        month.step(chunks.last_mut().expect("one"));
    }
    let frames = frames(&chunks);
    let rows = frames.len() + frames.iter().filter(|frame| frame.wire.is_some()).count();
    for durability in [Durability::Process, Durability::Power] {
        let (mut ours, mut rows_only, mut frames_only) = (f64::MAX, f64::MAX, f64::MAX);
        for round in 0..5 {
            let places = ["frames", "rows", "log"].map(|name| scratch(&format!("{name}-{round}")));
            frames_only = frames_only.min(bare(&places[0], durability, &frames, false));
            rows_only = rows_only.min(bare(&places[1], durability, &frames, true));
            ours = ours.min(log(&places[2], durability, &chunks));
            places.iter().for_each(|place| remove(place));
        }
        println!(
            "{durability:?}: {:.0} rows/s logged from line bytes, summaries kept; bare SQLite, the same rows ready-made: {:.0}; ratio {:.2} (bar 0.70); {:.2} of bare SQLite without rows of moves",
            rows as f64 / ours,
            rows as f64 / rows_only,
            rows_only / ours,
            frames_only / ours
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

/// The same from the summaries.
const SUMMARIES: &str = "SELECT axis, at_us, p50_ns, p95_ns FROM summaries
    WHERE device = 1 AND axis IN (0, 1, 2) AND span = 300 AND kind = -1 AND p50_ns IS NOT NULL ORDER BY axis, at_us";

fn a_month(moves: u64) -> Result<(), Error> {
    let (path, rows) = (scratch("month"), scratch("rows"));
    let mut log = Log::open(&path, &Options::default(), None, axes())?;
    let mut month = Month::new(moves);
    let (mut bytes, begun) = (vec![], Instant::now());
    month.hello(&mut bytes);
    while month.moves < moves {
        (0..500.min(moves - month.moves)).for_each(|_| month.step(&mut bytes));
        log.push(&bytes, BEGIN);
        bytes.clear();
    }
    let (store, stats) = log.finish()?;
    println!("a month of {moves} moves ({stats}) logged in {:.0} s", begun.elapsed().as_secs_f64());
    quantiles(&path, &rows);
    hour(&store)?;
    drop(store);
    remove(&path);
    remove(&rows);
    Ok(())
}

/// Beginning, median and 95 % quantile of an interval of an axis.
type Drawn = Vec<(i64, i64, i64)>;

/// Median and 95 % quantile per axis and 5 minutes: from the summaries, and by SQL over narrow rows of their own.
fn quantiles(path: &Path, rows: &Path) {
    let (exact, theirs) = by_sql(path, rows);
    let begun = Instant::now();
    let drawn: Drawn = rows_of(&Connection::open(path).expect("a file"), SUMMARIES);
    let ours = begun.elapsed().as_secs_f64();
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
}

/// The exact quantiles, and how long SQL took for them. Unit: s
fn by_sql(path: &Path, rows: &Path) -> (Drawn, f64) {
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
    let exact = rows_of(&connection, EXACT);
    (exact, begun.elapsed().as_secs_f64())
}

fn rows_of(connection: &Connection, sql: &str) -> Drawn {
    let mut statement = connection.prepare(sql).expect("SQL");
    let rows = statement.query_map([], |row| Ok((row.get(1)?, row.get(2)?, row.get(3)?))).expect("rows");
    rows.map(|row| row.expect("a row")).collect()
}

/// Moves of one axis in one hour in the middle.
fn hour(store: &Store) -> Result<(), Error> {
    let since = BEGIN + 15 * 86_400_000_000;
    for curves in [false, true] {
        let axis = Some("axis 1".to_owned());
        let query = MoveQuery { axis, since, until: since + 3_600_000_000, details: curves };
        let (mut best, mut count) = (f64::MAX, 0_u64);
        for _ in 0..5 {
            (count, best) = (0, best);
            let begun = Instant::now();
            store.moves(&query, &mut |line| {
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
    a_month(moves).expect("a month");
}
