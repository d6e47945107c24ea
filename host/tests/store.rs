//! The store under kills, full disks, other writers, replays and clock steps; and its commands.

mod program;
#[path = "store/agree.rs"]
mod agree;
#[path = "store/commands.rs"]
mod commands;
#[path = "store/damage.rs"]
mod damage;
#[path = "store/document.rs"]
mod document;
#[path = "store/drifts.rs"]
mod drifts;
#[path = "store/frames.rs"]
mod frames;
#[path = "store/guard.rs"]
mod guard;
#[path = "store/ingest.rs"]
mod ingest;
#[path = "store/kinds.rs"]
mod kinds;
#[path = "store/killed.rs"]
mod killed;
#[path = "store/ledger.rs"]
mod ledger;
#[cfg(feature = "parquet")]
#[path = "store/parquet_export.rs"]
mod parquet_export;
#[path = "store/pictures.rs"]
mod pictures;
#[path = "store/rescue.rs"]
mod rescue;
#[path = "store/trend.rs"]
mod trend;
#[path = "store/trouble.rs"]
mod trouble;
#[path = "store/opening.rs"]
mod opening;
#[path = "store/orphans.rs"]
mod orphans;
#[path = "store/until.rs"]
mod until;
#[path = "store/versions.rs"]
mod versions;

use std::path::{Path, PathBuf};

use stillpoint::command::CommandEncoder;
use stillpoint::source::rehearsal::monitor::Monitor;
use stillpoint::store::log::Log;
use stillpoint::store::moves::MoveQuery;
use stillpoint::store::{Options, Store};
use stillpoint_core::wire::command::{Command, DumpSince};

/// 2026-06-02T10:00:00Z. Unit: µs since 1970
const BEGIN: i64 = 1_780_394_400_000_000;

/// A path for a store, which is removed when the test ends.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Scratch {
        let scratch = Scratch(std::env::temp_dir().join(format!("stillpoint-{}-{name}", std::process::id())));
        scratch.clear();
        scratch
    }

    fn clear(&self) {
        for ending in ["", "-wal", "-shm"] {
            std::fs::remove_file(format!("{}{ending}", self.0.display())).ok();
        }
    }

    fn text(&self) -> String {
        self.0.display().to_string()
    }

    fn log(&self, options: &Options) -> Log {
        Log::open(&self.0, options, None, vec![]).expect("a store")
    }

    fn store(&self) -> Store {
        Store::open(&self.0, &Options::default()).expect("a store")
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        self.clear();
    }
}

/// A monitor of the rehearsal, and the commands to it.
struct Line {
    monitor: Monitor,
    commands: CommandEncoder,
}

impl Line {
    fn new(seed: u64) -> Line {
        let (monitor, _) = Monitor::new(seed, 4000, None).expect("a machine");
        Line { monitor, commands: CommandEncoder::new(1) }
    }

    /// What it sends in each of the next tenths of a second.
    fn run(&mut self, tenths: usize) -> Vec<Vec<u8>> {
        (0..tenths)
            .map(|_| {
                let mut bytes = vec![];
                (0..400).for_each(|_| {
                    self.monitor.step(&mut bytes);
                });
                bytes
            })
            .collect()
    }

    /// The log of the monitor from a frame on, with what it sends live meanwhile.
    fn dump(&mut self, since: DumpSince) -> Vec<Vec<u8>> {
        self.monitor.receive(&self.commands.encode(&Command::DumpSince(since)));
        self.run(20)
    }
}

/// Logs chunks, one each tenth of a second, and returns the time after them.
fn push(log: &mut Log, chunks: &[Vec<u8>], mut now: i64) -> i64 {
    for chunk in chunks {
        now += 100_000;
        log.push(chunk, now);
    }
    now
}

/// Axis and number of every move stored, as they are printed.
fn numbers(store: &Store) -> Vec<(String, u32)> {
    let mut numbers = vec![];
    let query = MoveQuery { details: false, ..MoveQuery::default() };
    store
        .moves(&query, &mut |line| {
            numbers.push((line.axis.clone(), line.number));
            Ok(())
        })
        .expect("moves");
    numbers
}

/// Every axis has its moves from the first on, each once, in order; how many there are.
#[track_caller]
fn check_whole(store: &Store) -> usize {
    let numbers = numbers(store);
    for axis in ["axis 0", "axis 1", "axis 2"] {
        let of: Vec<u32> = numbers.iter().filter(|each| each.0 == axis).map(|each| each.1).collect();
        assert_eq!(of, (1..=of.len() as u32).collect::<Vec<u32>>(), "{axis}");
    }
    let found = store.check().expect("readable");
    assert!(found.is_sound(), "{found:?}");
    assert_eq!(found.moves as usize, numbers.len());
    // Summaries count each move once too.
    for known in store.axes().expect("axes") {
        let summaries = store
            .summaries(&known, (86_400, stillpoint::store::kind::ALL), (i64::MIN, i64::MAX))
            .expect("summaries");
        let counted: i64 = summaries.iter().flat_map(|summary| summary.outcomes).sum();
        let moves = numbers.iter().filter(|each| each.0 == known.axis.name).count();
        assert_eq!(counted as usize, moves, "{}", known.axis.name);
    }
    numbers.len()
}

/// All rows of all derived tables, as text.
fn tables(path: &Path) -> Vec<String> {
    let connection = rusqlite::Connection::open(path).expect("a file");
    let mut rows = vec![];
    let sent = ["moves", "settings", "gaps", "alarms", "kinds", "baselines", "drifts", "restarts"];
    for table in sent.into_iter().chain(["findings", "jobs", "explained", "summaries", "journal", "boots"]) {
        let mut statement = connection.prepare(&format!("SELECT * FROM {table}")).expect("a table");
        let columns = statement.column_count();
        let mut found = statement.query([]).expect("rows");
        while let Some(row) = found.next().expect("a row") {
            let values: Vec<rusqlite::types::Value> =
                (0..columns).map(|column| row.get(column).expect("a value")).collect();
            rows.push(format!("{table} {values:?}"));
        }
    }
    rows
}
