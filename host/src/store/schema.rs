//! In: a file of any version, or an empty one. Out: a store of the current version.
//!
//! `PRAGMA user_version` counts the completed steps. Steps are only appended, and never edited once released.
//! Step 1 holds what can't be made again: what monitors sent, and what people wrote. The later ones hold what follows
//! from it: these tables may be dropped and made again at any time, which is what a change of them does.
//! host/STORE.md describes the tables to those who read them with other tools.

use std::collections::BTreeMap;

use rusqlite::Connection;

/// Marks the file as a store: `Stil`.
pub(super) const APPLICATION: i32 = 0x5374_696C;

/// What monitors sent and people wrote, and what was noted as it came. Never dropped.
const TRUTH: &str = "
CREATE TABLE devices (
    id INTEGER PRIMARY KEY,
    number BLOB NOT NULL,               -- the device's own 12 bytes; zeros if it never said
    generation INTEGER NOT NULL,        -- raised when the device counts its starts from anew
    board TEXT, firmware TEXT,
    ticks_per_second INTEGER,
    UNIQUE (number, generation));
CREATE TABLE boots (                    -- starts of a device, and where its ticks lie in wall time
    device INTEGER NOT NULL, boot INTEGER NOT NULL,
    ticks_per_second INTEGER NOT NULL,
    epoch_us INTEGER NOT NULL,          -- UTC at tick 0, fixed when first known
    epoch_from TEXT NOT NULL,           -- device, arrival or replay
    whole_from INTEGER NOT NULL DEFAULT 0, -- frames of moves before this number are past retention
    PRIMARY KEY (device, boot)) WITHOUT ROWID;
CREATE TABLE axes (                     -- names and scales, as people gave them
    device INTEGER NOT NULL, axis INTEGER NOT NULL,
    name TEXT NOT NULL, unit TEXT NOT NULL, counts_per_unit REAL NOT NULL,
    window REAL,                        -- as it was asked for, in unit
    source TEXT NOT NULL,
    PRIMARY KEY (device, axis)) WITHOUT ROWID;
CREATE TABLE frames (                   -- what came over the line, once each
    device INTEGER NOT NULL, boot INTEGER NOT NULL, priority INTEGER NOT NULL, sequence INTEGER NOT NULL,
    arrived_us INTEGER NOT NULL,        -- this computer's clock, UTC
    body BLOB NOT NULL,                 -- header, kind, payload, CRC-32: core/WIRE.md
    PRIMARY KEY (device, boot, priority, sequence)) WITHOUT ROWID;
CREATE TABLE shifts (name TEXT PRIMARY KEY, since_us INTEGER NOT NULL, until_us INTEGER NOT NULL);
CREATE TABLE journal (                  -- append-only
    id INTEGER PRIMARY KEY,
    at_us INTEGER NOT NULL, who TEXT NOT NULL, what TEXT NOT NULL, text TEXT NOT NULL,
    device INTEGER, axis INTEGER, boot INTEGER, priority INTEGER, sequence INTEGER,
    UNIQUE (device, boot, priority, sequence));
CREATE TRIGGER journal_is_never_changed BEFORE UPDATE ON journal
    BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER journal_is_never_cut BEFORE DELETE ON journal
    BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TABLE marks (name TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID;
";

/// What follows from the frames.
const DERIVED: &str = "
CREATE TABLE moves (
    device INTEGER NOT NULL, axis INTEGER NOT NULL,
    at_us INTEGER NOT NULL,             -- command end, UTC
    boot INTEGER NOT NULL, number INTEGER NOT NULL, sequence INTEGER NOT NULL,
    kind INTEGER NOT NULL, outcome INTEGER NOT NULL,
    settling_ns INTEGER,
    body BLOB NOT NULL,                 -- the whole record, as its frame
    PRIMARY KEY (device, axis, at_us, boot, number)) WITHOUT ROWID;
CREATE TABLE settings (
    device INTEGER NOT NULL, boot INTEGER NOT NULL, sequence INTEGER NOT NULL, axis INTEGER NOT NULL,
    body BLOB NOT NULL,
    PRIMARY KEY (device, axis, boot, sequence)) WITHOUT ROWID;
CREATE TABLE gaps (
    device INTEGER NOT NULL, boot INTEGER NOT NULL, sequence INTEGER NOT NULL,
    axis INTEGER, priority INTEGER, first INTEGER NOT NULL, count INTEGER NOT NULL, cause TEXT NOT NULL,
    PRIMARY KEY (device, boot, sequence)) WITHOUT ROWID;
CREATE TABLE alarms (
    device INTEGER NOT NULL, boot INTEGER NOT NULL, sequence INTEGER NOT NULL,
    alarm INTEGER NOT NULL, axis INTEGER NOT NULL, at_us INTEGER NOT NULL,
    subject TEXT NOT NULL, state TEXT NOT NULL, number INTEGER NOT NULL,
    value INTEGER NOT NULL, limit_value INTEGER NOT NULL,
    PRIMARY KEY (device, boot, sequence)) WITHOUT ROWID;
CREATE TABLE findings (
    device INTEGER NOT NULL, boot INTEGER NOT NULL, priority INTEGER NOT NULL, sequence INTEGER NOT NULL,
    axis INTEGER NOT NULL, kind INTEGER NOT NULL, at_us INTEGER NOT NULL, what TEXT NOT NULL,
    body BLOB NOT NULL,
    PRIMARY KEY (device, boot, priority, sequence)) WITHOUT ROWID;
CREATE TABLE summaries (                -- span in s; kind -1 is all kinds of the axis together
    device INTEGER NOT NULL, axis INTEGER NOT NULL, span INTEGER NOT NULL, kind INTEGER NOT NULL,
    at_us INTEGER NOT NULL,             -- its beginning, UTC
    settled INTEGER NOT NULL, unsettled INTEGER NOT NULL,
    interrupted INTEGER NOT NULL, untrusted INTEGER NOT NULL,
    sum_ns INTEGER NOT NULL, min_ns INTEGER, max_ns INTEGER, p50_ns INTEGER, p95_ns INTEGER,
    sketch BLOB NOT NULL,
    PRIMARY KEY (device, axis, span, kind, at_us)) WITHOUT ROWID;
";

/// Which holes can't be filled, and what follows from the frames about the watch. A kind of moves has a number on its
/// axis, which begins anew at every start of the monitor: in `summaries`, kind is boot << 32 | number, 0 no kind, -1 all.
const WATCHED: &str = "
ALTER TABLE boots ADD COLUMN gone_before INTEGER NOT NULL DEFAULT 0; -- holes before it: not in the monitor's log either
DROP TABLE findings;
CREATE TABLE kinds (                    -- as they were first met
    device INTEGER NOT NULL, axis INTEGER NOT NULL, boot INTEGER NOT NULL, kind INTEGER NOT NULL,
    sequence INTEGER NOT NULL, at_us INTEGER NOT NULL,
    forward INTEGER NOT NULL, distance INTEGER NOT NULL, -- counts
    speed REAL NOT NULL,                -- counts/s
    instead_of INTEGER NOT NULL,        -- the kind that was dropped for it, 0: none
    dropped_moves INTEGER NOT NULL,     -- that it had
    PRIMARY KEY (device, axis, boot, kind)) WITHOUT ROWID;
CREATE TABLE baselines (
    device INTEGER NOT NULL, axis INTEGER NOT NULL, boot INTEGER NOT NULL, kind INTEGER NOT NULL,
    sequence INTEGER NOT NULL, at_us INTEGER NOT NULL,
    moves INTEGER NOT NULL, median_ns INTEGER NOT NULL, p95_ns INTEGER NOT NULL,
    PRIMARY KEY (device, axis, boot, kind, sequence)) WITHOUT ROWID;
CREATE TABLE drifts (
    device INTEGER NOT NULL, axis INTEGER NOT NULL, boot INTEGER NOT NULL, kind INTEGER NOT NULL,
    sequence INTEGER NOT NULL, arrived_us INTEGER NOT NULL, number INTEGER NOT NULL,
    change_ticks INTEGER NOT NULL, score INTEGER NOT NULL, -- from 256 on a drift stands
    direction TEXT NOT NULL, since INTEGER NOT NULL, smallest_ticks INTEGER NOT NULL,
    promise TEXT NOT NULL, moves INTEGER NOT NULL,
    PRIMARY KEY (device, axis, boot, kind, sequence)) WITHOUT ROWID;
CREATE TABLE restarts (                 -- of the watch; kind 0 is all of the axis
    device INTEGER NOT NULL, axis INTEGER NOT NULL, boot INTEGER NOT NULL, kind INTEGER NOT NULL,
    sequence INTEGER NOT NULL, at_us INTEGER NOT NULL, why TEXT NOT NULL,
    PRIMARY KEY (device, axis, boot, kind, sequence)) WITHOUT ROWID;
CREATE TABLE findings (                 -- about the signals of an axis
    device INTEGER NOT NULL, axis INTEGER NOT NULL, boot INTEGER NOT NULL, sequence INTEGER NOT NULL,
    at_us INTEGER NOT NULL, what TEXT NOT NULL, severity TEXT NOT NULL, figure INTEGER NOT NULL,
    PRIMARY KEY (device, axis, boot, sequence)) WITHOUT ROWID;
";

/// Moves with their lengths, and a view of them for those who read the file with other tools.
const READABLE: &str = "
DROP TABLE moves;
CREATE TABLE moves (
    device INTEGER NOT NULL, axis INTEGER NOT NULL,
    at_us INTEGER NOT NULL,             -- command end, UTC
    boot INTEGER NOT NULL, number INTEGER NOT NULL, sequence INTEGER NOT NULL,
    kind INTEGER NOT NULL,              -- its number, 0: none
    outcome INTEGER NOT NULL,           -- 0 settled, 1 unsettled, 2 interrupted, 3 untrusted
    settling_ns INTEGER,
    travel INTEGER NOT NULL, peak_following_error INTEGER NOT NULL, overshoot INTEGER NOT NULL, -- counts
    rest_error INTEGER,                 -- 1/256 counts
    body BLOB NOT NULL,                 -- the whole record, as its frame
    PRIMARY KEY (device, axis, at_us, boot, number)) WITHOUT ROWID;
CREATE VIEW moves_readable AS
SELECT
    moves.device AS monitor,
    lower(hex(devices.number)) AS device,
    coalesce(axes.name, 'axis ' || moves.axis) AS axis,
    moves.axis AS axis_number,
    moves.boot AS boot,
    moves.number AS move,
    strftime('%Y-%m-%dT%H:%M:%S', (moves.at_us - (moves.at_us % 1000000 + 1000000) % 1000000) / 1000000, 'unixepoch')
        || printf('.%06dZ', (moves.at_us % 1000000 + 1000000) % 1000000) AS at,
    moves.at_us AS at_us,
    moves.kind AS kind,
    CASE moves.outcome
        WHEN 0 THEN 'settled' WHEN 1 THEN 'unsettled' WHEN 2 THEN 'interrupted' WHEN 3 THEN 'untrusted'
    END AS outcome,
    moves.settling_ns / 1e9 AS settling_s,
    moves.travel / coalesce(axes.counts_per_unit, 1.0) AS travel,
    moves.peak_following_error / coalesce(axes.counts_per_unit, 1.0) AS peak_following_error,
    moves.overshoot / coalesce(axes.counts_per_unit, 1.0) AS overshoot,
    moves.rest_error / 256.0 / coalesce(axes.counts_per_unit, 1.0) AS rest_error,
    coalesce(axes.unit, 'count') AS unit
FROM moves
JOIN devices ON devices.id = moves.device
LEFT JOIN axes ON axes.device = moves.device AND axes.axis = moves.axis;
";

/// Jobs and other known causes, more of baselines and drifts, and what failed moves cost. A monitor that sends none leaves null.
const CAUSES: &str = "
DROP VIEW moves_readable;
DROP TABLE moves;
DROP TABLE baselines;
DROP TABLE drifts;
ALTER TABLE summaries ADD COLUMN rests_ns INTEGER; -- of the unsettled and the interrupted; null: summed up before this step
CREATE TABLE moves (
    device INTEGER NOT NULL, axis INTEGER NOT NULL,
    at_us INTEGER NOT NULL,             -- command end, UTC
    boot INTEGER NOT NULL, number INTEGER NOT NULL, sequence INTEGER NOT NULL,
    kind INTEGER NOT NULL,              -- its number, 0: none
    job INTEGER NOT NULL,               -- number of the product, 0: none
    outcome INTEGER NOT NULL,           -- 0 settled, 1 unsettled, 2 interrupted, 3 untrusted
    settling_ns INTEGER,
    travel INTEGER NOT NULL, peak_following_error INTEGER NOT NULL, overshoot INTEGER NOT NULL, -- counts
    rest_error INTEGER,                 -- 1/256 counts
    body BLOB NOT NULL,                 -- the whole record, as its frame
    PRIMARY KEY (device, axis, at_us, boot, number)) WITHOUT ROWID;
CREATE TABLE baselines (
    device INTEGER NOT NULL, axis INTEGER NOT NULL, boot INTEGER NOT NULL, kind INTEGER NOT NULL,
    sequence INTEGER NOT NULL, at_us INTEGER NOT NULL,
    moves INTEGER NOT NULL, median_ns INTEGER, p95_ns INTEGER, -- null: beyond what the monitor tells apart
    mean_ns INTEGER,                    -- of the moves that settled; null: not sent
    unsettled INTEGER,                  -- besides moves; null: not sent
    from_us INTEGER,                    -- its first move, UTC; null: not sent
    median_is_empty INTEGER NOT NULL,   -- hardly any move lies near the median
    provisional INTEGER NOT NULL,       -- the baseline still grows
    PRIMARY KEY (device, axis, boot, kind, sequence)) WITHOUT ROWID;
CREATE TABLE drifts (
    device INTEGER NOT NULL, axis INTEGER NOT NULL, boot INTEGER NOT NULL, kind INTEGER NOT NULL,
    sequence INTEGER NOT NULL, arrived_us INTEGER NOT NULL, number INTEGER NOT NULL,
    change_ticks INTEGER NOT NULL, score INTEGER NOT NULL, -- from 256 on a drift stands
    direction TEXT NOT NULL, since INTEGER NOT NULL, smallest_ticks INTEGER NOT NULL,
    promise TEXT NOT NULL, moves INTEGER NOT NULL,
    since_earliest INTEGER, since_latest INTEGER, -- 95 % interval of since; null: not sent
    middle_ticks INTEGER,               -- of the baseline, which change_ticks is relative to; null: not sent
    returned INTEGER NOT NULL,          -- it ended because the moves are back at the baseline
    PRIMARY KEY (device, axis, boot, kind, sequence)) WITHOUT ROWID;
CREATE TABLE jobs (                     -- the products that an axis worked on, from then on
    device INTEGER NOT NULL, axis INTEGER NOT NULL, boot INTEGER NOT NULL, sequence INTEGER NOT NULL,
    at_us INTEGER NOT NULL, number INTEGER NOT NULL,
    PRIMARY KEY (device, axis, boot, sequence)) WITHOUT ROWID;
CREATE TABLE explained (                -- by how much a cause moves the settling time
    device INTEGER NOT NULL, axis INTEGER NOT NULL, boot INTEGER NOT NULL, sequence INTEGER NOT NULL,
    at_us INTEGER NOT NULL, cause TEXT NOT NULL,
    key INTEGER NOT NULL,               -- number of the product if the cause is a job, else 0
    permille TEXT NOT NULL,             -- of the baseline at each node, as JSON
    PRIMARY KEY (device, axis, boot, sequence)) WITHOUT ROWID;
CREATE VIEW moves_readable AS
SELECT
    moves.device AS monitor,
    lower(hex(devices.number)) AS device,
    coalesce(axes.name, 'axis ' || moves.axis) AS axis,
    moves.axis AS axis_number,
    moves.boot AS boot,
    moves.number AS move,
    strftime('%Y-%m-%dT%H:%M:%S', (moves.at_us - (moves.at_us % 1000000 + 1000000) % 1000000) / 1000000, 'unixepoch')
        || printf('.%06dZ', (moves.at_us % 1000000 + 1000000) % 1000000) AS at,
    moves.at_us AS at_us,
    moves.kind AS kind,
    CASE moves.outcome
        WHEN 0 THEN 'settled' WHEN 1 THEN 'unsettled' WHEN 2 THEN 'interrupted' WHEN 3 THEN 'untrusted'
    END AS outcome,
    moves.settling_ns / 1e9 AS settling_s,
    moves.travel / coalesce(axes.counts_per_unit, 1.0) AS travel,
    moves.peak_following_error / coalesce(axes.counts_per_unit, 1.0) AS peak_following_error,
    moves.overshoot / coalesce(axes.counts_per_unit, 1.0) AS overshoot,
    moves.rest_error / 256.0 / coalesce(axes.counts_per_unit, 1.0) AS rest_error,
    coalesce(axes.unit, 'count') AS unit,
    nullif(moves.job, 0) AS job
FROM moves
JOIN devices ON devices.id = moves.device
LEFT JOIN axes ON axes.device = moves.device AND axes.axis = moves.axis;
";

/// Digests of the rows that can't be made again; `seal.rs` writes them. A line of the journal gets its digest once.
const SEALED: &str = "
ALTER TABLE devices ADD COLUMN digest BLOB;
ALTER TABLE boots ADD COLUMN digest BLOB;
ALTER TABLE axes ADD COLUMN digest BLOB;
ALTER TABLE shifts ADD COLUMN digest BLOB;
ALTER TABLE marks ADD COLUMN digest BLOB;
ALTER TABLE journal ADD COLUMN digest BLOB;   -- over that of the line before, too
ALTER TABLE summaries ADD COLUMN digest BLOB; -- once its frames are past retention
DROP TRIGGER journal_is_never_changed;
CREATE TRIGGER journal_is_never_changed BEFORE UPDATE ON journal WHEN OLD.digest IS NOT NULL
    BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
";

/// The tables that are made again from the frames.
pub(super) const DERIVED_TABLES: [&str; 12] = [
    "moves",
    "settings",
    "gaps",
    "alarms",
    "kinds",
    "baselines",
    "drifts",
    "restarts",
    "findings",
    "jobs",
    "explained",
    "summaries",
];

/// One after the other; `user_version` is the number of completed steps.
const STEPS: [&str; 6] = [TRUTH, DERIVED, WATCHED, READABLE, CAUSES, SEALED];

/// The version that is written here.
pub const CURRENT: usize = STEPS.len();

/// Version of the file.
pub(super) fn version(connection: &Connection) -> rusqlite::Result<usize> {
    connection
        .pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0))
        .map(|version| version as usize)
}

/// Name and type of what is in the schema, and the statement that made it.
type Objects = BTreeMap<(String, String), String>;

fn objects(connection: &Connection) -> rusqlite::Result<Objects> {
    let mut statement =
        connection.prepare("SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL")?;
    statement.query_map([], |row| Ok(((row.get(0)?, row.get(1)?), row.get(2)?)))?.collect()
}

/// In what the schema of a file differs from that of its version, in words: what may not be there, and what is missing.
/// Tables and indexes that others have added do no harm; triggers and views run where `stillpoint` writes and reads.
pub(super) fn differences(connection: &Connection) -> rusqlite::Result<(Vec<String>, Vec<String>)> {
    let ours = Connection::open_in_memory()?;
    for sql in STEPS.into_iter().take(version(connection)?) {
        ours.execute_batch(sql)?;
    }
    let (ours, found) = (objects(&ours)?, objects(connection)?);
    let (mut foreign, mut missing) = (vec![], vec![]);
    for ((kind, name), sql) in &found {
        match ours.get(&(kind.clone(), name.clone())) {
            Some(own) if own != sql => foreign.push(format!("the {kind} {name} is another than it was made")),
            None if kind == "trigger" || kind == "view" => {
                foreign.push(format!("the {kind} {name} is none of `stillpoint`"));
            }
            _ => (),
        }
    }
    for (kind, name) in ours.into_keys().filter(|object| !found.contains_key(object)) {
        let into = if kind == "table" { &mut foreign } else { &mut missing };
        into.push(format!("the {kind} {name} is missing"));
    }
    Ok((foreign, missing))
}

/// Runs the missing steps, within a transaction. Returns the version found, which another program may have raised
/// since it was last looked at.
pub(super) fn migrate(store: &Connection) -> rusqlite::Result<usize> {
    let found = version(store)?;
    for (number, sql) in (1_i64..).zip(STEPS).skip(found) {
        store.execute_batch(sql)?;
        store.pragma_update(None, "user_version", number)?;
        store.pragma_update(None, "application_id", APPLICATION)?;
    }
    Ok(found)
}
