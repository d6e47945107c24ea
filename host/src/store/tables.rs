//! In: one message of a monitor. Out: its row in a derived table, and its line in the journal if it makes one.

use rusqlite::{Connection, OptionalExtension, named_params, params};
use stillpoint_core::wire::alarm::{Alarm, Subject};
use stillpoint_core::wire::drift::{Baseline, Drift, Explained, Kind, Restart, RestartReason};
use stillpoint_core::wire::finding::Finding;
use stillpoint_core::wire::job::Job;
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::{Gap, Hello, Missing};

use super::boots::Boot;
use super::frame::{FrameKey, StoredFrame};
use super::{insert, journal};
use crate::report::describe;
use crate::report::number;

/// Board, firmware and tick rate of the device.
pub(super) fn hello(store: &Connection, frame: &StoredFrame, hello: &Hello) -> rusqlite::Result<()> {
    // A rate of 0 names none.
    let sql = "UPDATE devices SET board = ?2, firmware = ?3,
        ticks_per_second = CASE ?4 WHEN 0 THEN ticks_per_second ELSE ?4 END WHERE id = ?1";
    let values = params![frame.device, hello.board, hello.firmware, hello.ticks_per_second];
    store.prepare_cached(sql)?.execute(values)?;
    Ok(())
}

pub(super) fn settings(store: &Connection, frame: &StoredFrame, settings: &Settings) -> rusqlite::Result<()> {
    let FrameKey { device, boot, sequence, .. } = frame.key();
    let columns = named_params! {
        "device": device,
        "boot": boot,
        "sequence": sequence,
        "axis": settings.axis,
        "body": frame.frame.body(),
    };
    insert::one(store, "INSERT OR REPLACE INTO settings", columns)?;
    Ok(())
}

/// The frame with the settings that were in force on the axis before.
pub(super) fn settings_before(
    store: &Connection,
    key: &FrameKey,
    axis: u8,
) -> rusqlite::Result<Option<Vec<u8>>> {
    store
        .prepare_cached(
            "SELECT body FROM settings WHERE device = ?1 AND axis = ?2 AND (boot, sequence) < (?3, ?4)
            ORDER BY boot DESC, sequence DESC LIMIT 1",
        )?
        .query_row(params![key.device, axis, key.boot, key.sequence], |row| row.get(0))
        .optional()
}

pub(super) fn gap(store: &Connection, frame: &StoredFrame, gap: &Gap) -> rusqlite::Result<()> {
    let FrameKey { device, boot, sequence, .. } = frame.key();
    let (axis, priority, first) = match gap.missing {
        Missing::Samples { axis, first } => (Some(axis), None, i64::try_from(first).unwrap_or(i64::MAX)),
        Missing::Frames { priority, first } => (None, Some(priority), i64::from(first)),
    };
    let columns = named_params! {
        "device": device,
        "boot": boot,
        "sequence": sequence,
        "axis": axis,
        "priority": priority,
        "first": first,
        "count": gap.count,
        "cause": format!("{:?}", gap.cause),
    };
    insert::one(store, "INSERT OR REPLACE INTO gaps", columns)?;
    Ok(())
}

pub(super) fn alarm(store: &Connection, frame: &StoredFrame, alarm: &Alarm, at: i64) -> rusqlite::Result<()> {
    let FrameKey { device, boot, sequence, .. } = frame.key();
    let (subject, state) = (subject(alarm.subject), describe::state(alarm.state));
    let Alarm { alarm, number, value, limit, axis, .. } = *alarm;
    let columns = named_params! {
        "device": device,
        "boot": boot,
        "sequence": sequence,
        "alarm": alarm,
        "axis": axis,
        "at_us": at,
        "subject": subject,
        "state": state,
        "number": number,
        "value": value,
        "limit_value": limit,
    };
    insert::one(store, "INSERT OR REPLACE INTO alarms", columns)?;
    let text = format!("alarm {alarm}, {subject}: {state}; move {number}, value {value}, limit {limit}");
    journal::write_of_frame(store, frame.key(), at, ("alarm", &text), Some(axis))
}

/// Name of an alarm's subject.
fn subject(subject: Subject) -> &'static str {
    match subject {
        Subject::Drift => "drift",
        Subject::Unsettled => "unsettled",
        Subject::FollowingError => "following error",
        Subject::Signal => "signal",
        Subject::Gap => "gap",
        Subject::SettlingLimit => "settling limit",
        Subject::UnsettledLimit => "unsettled limit",
    }
}

/// A kind of moves as the monitor first met it.
pub(super) fn kind(
    store: &Connection,
    frame: &StoredFrame,
    kind: &Kind,
    boot: &Boot,
) -> rusqlite::Result<()> {
    let key = frame.key();
    let seconds = f64::from(kind.speed_time) / f64::from(boot.ticks_per_second.max(1));
    let speed = if seconds > 0.0 { f64::from(kind.speed_distance) / seconds } else { 0.0 };
    let columns = named_params! {
        "device": key.device,
        "axis": kind.axis,
        "boot": key.boot,
        "kind": kind.kind,
        "sequence": key.sequence,
        "at_us": boot.at(kind.at),
        "forward": kind.forward,
        "distance": kind.distance,
        "speed": speed,
        "instead_of": kind.instead_of,
        "dropped_moves": kind.moves,
    };
    insert::one(store, "INSERT OR REPLACE INTO kinds", columns)?;
    Ok(())
}

/// A new beginning of the watch over a kind, or over all kinds of an axis.
pub(super) fn restart(
    store: &Connection,
    frame: &StoredFrame,
    restart: &Restart,
    at: i64,
) -> rusqlite::Result<()> {
    let key = frame.key();
    let Restart { axis, kind, why, .. } = *restart;
    let columns = named_params! {
        "device": key.device,
        "axis": axis,
        "boot": key.boot,
        "kind": kind,
        "sequence": key.sequence,
        "at_us": at,
        "why": variant_words(&why),
    };
    insert::one(store, "INSERT OR REPLACE INTO restarts", columns)?;
    let of = if kind == 0 { "all kinds".to_owned() } else { format!("kind {kind}") };
    let why = match why {
        RestartReason::Settings => "other settings are in force",
        RestartReason::Declared => "it was declared good",
        RestartReason::Dropped => "the kind had to go for another",
        RestartReason::Warm => "the machine is warm for the first time",
        RestartReason::Taught => "more moves were declared good",
    };
    let text = format!("the watch over {of} begins anew: {why}");
    journal::write_of_frame(store, key, at, ("baseline", &text), Some(axis))
}

/// The settling time that the monitor accepts as good from here on.
pub(super) fn baseline(
    store: &Connection,
    frame: &StoredFrame,
    baseline: &Baseline,
    boot: &Boot,
) -> rusqlite::Result<()> {
    let key = frame.key();
    let Baseline { axis, kind, moves, settling_median, settling_p95, .. } = *baseline;
    // An older monitor sends no mean, which may be 0.
    let sent = frame.frame.header.version >= 2;
    let known = |ticks: u32| (ticks != Baseline::NOT_STATED).then(|| boot.nanoseconds(ticks));
    let (at, median, p95) = (boot.at(baseline.at), known(settling_median), known(settling_p95));
    let columns = named_params! {
        "device": key.device,
        "axis": axis,
        "boot": key.boot,
        "kind": kind,
        "sequence": key.sequence,
        "at_us": at,
        "moves": moves,
        "median_ns": median,
        "p95_ns": p95,
        "mean_ns": sent.then(|| boot.nanoseconds(baseline.settling_mean)),
        "unsettled": sent.then_some(baseline.unsettled),
        "from_us": (baseline.from > 0).then(|| boot.at(baseline.from)),
        "median_is_empty": baseline.median_is_empty,
        "provisional": baseline.provisional,
    };
    insert::one(store, "INSERT OR REPLACE INTO baselines", columns)?;
    let ms = |words: &str, ns: Option<i64>| {
        ns.map_or_else(String::new, |ns| format!(", {words} {:.2} ms", ns as f64 / 1e6))
    };
    let text = format!(
        "kind {kind}: {}{}{}",
        number::count(moves, "move"),
        ms("median", median),
        ms("95 % within", p95)
    );
    journal::write_of_frame(store, key, at, ("baseline", &text), Some(axis))
}

/// What the monitor says of a drift. It names a move, not an instant, so no wall time of a start may follow from it:
/// its times stay in ticks.
pub(super) fn drift(store: &Connection, frame: &StoredFrame, drift: &Drift) -> rusqlite::Result<()> {
    let FrameKey { device, boot, sequence, .. } = frame.key();
    let columns = named_params! {
        "device": device,
        "axis": drift.axis,
        "boot": boot,
        "kind": drift.kind,
        "sequence": sequence,
        "arrived_us": frame.arrived,
        "number": drift.number,
        "change_ticks": drift.change,
        "score": drift.score,
        "direction": variant_words(&drift.direction),
        "since": drift.since,
        "smallest_ticks": drift.smallest,
        "promise": variant_words(&drift.promise),
        "moves": drift.moves,
        "since_earliest": (drift.since_latest > 0).then_some(drift.since_earliest),
        "since_latest": (drift.since_latest > 0).then_some(drift.since_latest),
        "middle_ticks": (drift.middle > 0).then_some(drift.middle),
        "returned": drift.returned,
    };
    insert::one(store, "INSERT OR REPLACE INTO drifts", columns)?;
    Ok(())
}

/// The product that an axis works on.
pub(super) fn job(store: &Connection, frame: &StoredFrame, job: &Job, at: i64) -> rusqlite::Result<()> {
    let FrameKey { device, boot, sequence, .. } = frame.key();
    let columns = named_params! {
        "device": device,
        "axis": job.axis,
        "boot": boot,
        "sequence": sequence,
        "at_us": at,
        "number": job.number,
    };
    insert::one(store, "INSERT OR REPLACE INTO jobs", columns)?;
    Ok(())
}

/// How much a cause moves the settling time of an axis.
pub(super) fn explained(
    store: &Connection,
    frame: &StoredFrame,
    explained: &Explained,
    at: i64,
) -> rusqlite::Result<()> {
    let FrameKey { device, boot, sequence, .. } = frame.key();
    let columns = named_params! {
        "device": device,
        "axis": explained.axis,
        "boot": boot,
        "sequence": sequence,
        "at_us": at,
        "cause": variant_words(&explained.cause),
        "key": explained.key,
        "permille": format!("{:?}", explained.permille),
    };
    insert::one(store, "INSERT OR REPLACE INTO explained", columns)?;
    Ok(())
}

/// What the monitor finds wrong with the signals of an axis.
pub(super) fn finding(
    store: &Connection,
    frame: &StoredFrame,
    finding: &Finding,
    at: i64,
) -> rusqlite::Result<()> {
    let FrameKey { device, boot, sequence, .. } = frame.key();
    let columns = named_params! {
        "device": device,
        "axis": finding.axis,
        "boot": boot,
        "sequence": sequence,
        "at_us": at,
        "what": variant_words(&finding.which),
        "severity": variant_words(&finding.severity),
        "figure": finding.figure,
    };
    insert::one(store, "INSERT OR REPLACE INTO findings", columns)?;
    Ok(())
}

/// The name of a variant in words: `OutOfService` is `out of service`.
fn variant_words(variant: &impl std::fmt::Debug) -> String {
    let mut words = String::new();
    for letter in format!("{variant:?}").chars() {
        if letter.is_uppercase() && !words.is_empty() {
            words.push(' ');
        }
        words.extend(letter.to_lowercase());
    }
    words
}

#[cfg(test)]
mod tests {
    use super::variant_words;
    use stillpoint_core::wire::alarm::AlarmEvent;
    use stillpoint_core::wire::drift::RestartReason;

    #[test]
    fn variants_in_words() {
        let words = [variant_words(&AlarmEvent::OutOfService), variant_words(&RestartReason::Settings)];
        assert_eq!(words, ["out of service", "settings"]);
    }
}
