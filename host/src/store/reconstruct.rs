//! In: frames and rows out of a damaged store. Out: the monitors, starts and retention that they need, where those
//! rows are lost.

use rusqlite::{Connection, OptionalExtension, named_params, params};
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::status::Hello;

use super::boots::Boot;
use super::frame::{UNKNOWN_DEVICE, message};
use super::marks::{self, HORIZON};
use super::scan::Scan;
use super::{insert, retain, seal};

/// Adds what the frames need; `devices_are_all`: a frame of a monitor without a row has a damaged key.
pub(super) fn complete(
    store: &Connection,
    scan: &Scan,
    devices_are_all: bool,
    words: &mut Vec<String>,
) -> rusqlite::Result<()> {
    for device in missing(store, "device, 0", "devices WHERE devices.id = frames.device")? {
        let frames = "SELECT count(*) FROM frames WHERE device = ?1";
        let frames: i64 = store.query_row(frames, [device.0], |row| row.get(0))?;
        // One frame alone, or one of a monitor that never was: the number in its row is damaged.
        if devices_are_all || frames == 1 {
            store.execute("DELETE FROM frames WHERE device = ?1", [device.0])?;
            words.push(format!("frames: {frames} of monitor {}, of which nothing else is known", device.0));
        } else {
            add_device(store, scan, device.0, words)?;
        }
    }
    let boots = "boots WHERE boots.device = frames.device AND boots.boot = frames.boot";
    for start in missing(store, "device, boot", boots)? {
        add_boot(store, start, scan.starts.get(&start), words)?;
    }
    if let (None, Some(horizon)) = (marks::read(store, HORIZON)?, scan.let_go_until) {
        marks::write(store, HORIZON, horizon)?;
        words.push("marks: until when frames were let go follows from the summaries".to_owned());
    }
    Ok(())
}

/// Keys of frames for which there is no row.
fn missing(store: &Connection, keys: &str, rows: &str) -> rusqlite::Result<Vec<(i64, u32)>> {
    let sql =
        format!("SELECT DISTINCT {keys} FROM frames WHERE NOT EXISTS (SELECT 1 FROM {rows}) ORDER BY 1, 2");
    store.prepare(&sql)?.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
}

/// Passes the hellos of a monitor to `out`, the newest first, until it returns something.
fn hello<T>(
    store: &Connection,
    device: i64,
    boot: Option<u32>,
    out: impl Fn(&Hello) -> T,
) -> rusqlite::Result<Option<T>> {
    let mut statement = store.prepare_cached(
        "SELECT body FROM frames WHERE device = ?1 AND boot = coalesce(?2, boot) AND priority = ?3
        ORDER BY boot DESC, sequence DESC",
    )?;
    let mut rows = statement.query(params![device, boot, Priority::Alarm as u8])?;
    while let Some(row) = rows.next()? {
        if let Some(Message::Hello(hello)) = message(row.get_ref(0)?.as_blob()?) {
            return Ok(Some(out(&hello)));
        }
    }
    Ok(None)
}

/// The row of a monitor, out of a hello.
fn add_device(store: &Connection, scan: &Scan, device: i64, words: &mut Vec<String>) -> rusqlite::Result<()> {
    let known = hello(store, device, None, |hello| {
        let texts = (hello.board.to_owned(), hello.firmware.to_owned());
        (hello.device, Some(texts), Some(hello.ticks_per_second))
    })?;
    words.push(format!(
        "devices: the row of monitor {device} {}",
        match known {
            Some(_) => "follows from what it sent",
            None => "is lost, and its own number with it",
        }
    ));
    let (number, texts, rate) = known.unwrap_or((UNKNOWN_DEVICE, None, None));
    let rate = match rate.filter(|rate| *rate > 0) {
        None => rate_of_starts(store, scan, device)?,
        known => known,
    };
    let (board, firmware) = texts.unzip();
    let sql = "SELECT coalesce(max(generation) + 1, 0) FROM devices WHERE number = ?1";
    let generation: i64 = store.query_row(sql, [&number[..]], |row| row.get(0))?;
    let columns = named_params! {
        "id": device,
        "number": &number[..],
        "generation": generation,
        "board": board,
        "firmware": firmware,
        "ticks_per_second": rate,
    };
    insert::one(store, "INSERT INTO devices", columns).map(|_| ())
}

/// The tick rate of a monitor, out of the rows of its starts, or of two rows of moves that are apart in ticks and in time.
/// Unit: ticks/s
fn rate_of_starts(store: &Connection, scan: &Scan, device: i64) -> rusqlite::Result<Option<u32>> {
    let sql =
        "SELECT ticks_per_second FROM boots WHERE device = ?1 AND ticks_per_second > 0 ORDER BY boot DESC";
    let stored: Option<u32> = store.query_row(sql, [device], |row| row.get(0)).optional()?;
    let starts = scan.starts.range((device, 0)..=(device, u32::MAX));
    let apart = |[(ticks, at), (later, end)]: &[(u64, i64); 2]| {
        let (ticks, microseconds) = (later.checked_sub(*ticks)?, end.checked_sub(*at)?);
        let rate = (ticks as f64 * 1e6 / microseconds as f64).round();
        // Of less than a second the rounding to microseconds makes another rate.
        (microseconds >= 1_000_000 && (1.0..4e9).contains(&rate)).then_some(rate as u32)
    };
    Ok(stored.or_else(|| starts.filter_map(|(_, ends)| apart(ends)).next()))
}

/// The wall time of a start, out of two rows of moves: they say it to the microsecond if the rate is right.
fn add_boot(
    store: &Connection,
    (device, boot): (i64, u32),
    ends: Option<&[(u64, i64); 2]>,
    words: &mut Vec<String>,
) -> rusqlite::Result<()> {
    let of_device: Option<Option<u32>> = store
        .query_row("SELECT ticks_per_second FROM devices WHERE id = ?1", [device], |row| row.get(0))
        .optional()?;
    let rates = [hello(store, device, Some(boot), |hello| hello.ticks_per_second)?, of_device.flatten()];
    let epoch = |ends: &[(u64, i64); 2], ticks_per_second| {
        let boot = Boot { ticks_per_second, epoch: 0 };
        let [first, last] = ends.map(|(ticks, at)| at.saturating_sub(boot.at(ticks)));
        (first == last).then_some((ticks_per_second, first))
    };
    let found = ends.and_then(|ends| rates.into_iter().flatten().find_map(|rate| epoch(ends, rate)));
    let Some((ticks_per_second, epoch)) = found else {
        words.push(format!(
            "boots: the wall time of start {boot} of monitor {device} is lost; it is fixed anew from when frames came"
        ));
        return Ok(());
    };
    words.push(format!("boots: the wall time of start {boot} of monitor {device} follows from its moves"));
    let columns = named_params! {
        "device": device,
        "boot": boot,
        "ticks_per_second": ticks_per_second,
        "epoch_us": epoch,
        "epoch_from": "rescue",
    };
    insert::one(store, "INSERT INTO boots", columns).map(|_| ())
}

/// Lets go of what is past retention, which pages that were not known to be free may have brought back; and gives the
/// summaries of it their digests.
pub(super) fn let_go(store: &Connection) -> rusqlite::Result<()> {
    let Some(horizon) = marks::read(store, HORIZON)? else { return Ok(()) };
    retain::remove_before(store, horizon)?;
    seal::summaries(store, horizon)
}
