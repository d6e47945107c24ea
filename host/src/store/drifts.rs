//! In: an axis and a time. Out: the drifts that its monitor found, each with its story.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use rusqlite::{OptionalExtension, Row, params};
use stillpoint_core::wire::drift::{Direction, Drift, Promise};
use stillpoint_core::wire::message::Message;

use super::axes::KnownAxis;
use super::database::Store;
use super::{frame, kind};
use crate::error::Error;
use crate::report::story::{BEGUN_ANEW, Growth, Since, Story, moves_since};
use crate::report::wall_time;

/// A move may lie later than the arrival of what was reported after it, because a monitor's clock may be set wrong.
/// Unit: µs
const SLACK: i64 = 86_400_000_000;

/// Shortest interval of summaries. Unit: µs
const INTERVAL: i64 = 300_000_000;

/// A drift from its begin to its end.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredDrift {
    /// Number of the monitor in this store.
    pub device: i64,
    /// Number of the axis on its monitor.
    pub axis: u8,
    /// Name of the axis.
    pub name: String,
    /// Its kind; see [`kind::id`].
    pub kind_id: i64,
    /// Its kind, in words.
    pub kind: String,
    /// Number of the move that decided it.
    pub number: u32,
    /// When it was found. Unit: µs since 1970, UTC
    pub at: i64,
    /// When its change came, if its moves are in the store. Unit: µs since 1970, UTC
    pub since: Option<i64>,
    /// Towards longer settling.
    pub upwards: bool,
    /// Its story, as it was found.
    pub text: String,
    /// How far it went.
    pub growth: Growth,
    /// When and how it ended; none while it stands. Unit: µs since 1970, UTC
    pub end: Option<(i64, String)>,
}

impl StoredDrift {
    /// Whether it stands at this instant. Unit: µs since 1970, UTC
    pub fn stands_at(&self, at: i64) -> bool {
        self.at < at && self.end.as_ref().is_none_or(|end| end.0 >= at)
    }

    /// As it was known at the end of a time; none if it did not stand within. Unit: µs since 1970, UTC
    fn within(mut self, (since, until): (i64, i64)) -> Option<StoredDrift> {
        self.end = self.end.filter(|end| end.0 < until);
        (self.at < until && self.end.as_ref().is_none_or(|end| end.0 >= since)).then_some(self)
    }
}

/// What a monitor reported of the drift of a kind, or that it began anew.
struct Report {
    boot: u32,
    sequence: u32,
    /// When it arrived; of a new beginning when that was. Unit: µs since 1970, UTC
    arrived: i64,
    /// None where the kind, or with number 0 the whole axis, began anew.
    drift: Option<Drift>,
    kind: u32,
}

/// The likeliest instant of a change, and its 95 % interval. Unit: µs since 1970, UTC
type Change = (i64, Option<[i64; 2]>);

/// What is known of a kind while its reports are read.
#[derive(Clone, Copy, Debug, Default)]
struct History {
    stands: bool,
    /// When a drift was first found. Unit: µs since 1970, UTC
    first: Option<i64>,
    /// Place of the drift that stands.
    place: usize,
}

/// Reports of drifts and new beginnings of an axis, in the order in which its monitor sent them.
const REPORTS: &str = "
    SELECT boot, sequence, arrived_us, kind, number, change_ticks, score, direction, since, promise, moves,
        since_earliest, since_latest, middle_ticks, returned
    FROM drifts WHERE device = ?1 AND axis = ?2
    UNION ALL SELECT boot, sequence, at_us, kind, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL
    FROM restarts WHERE device = ?1 AND axis = ?2
    ORDER BY 1, 2";

impl Store {
    /// Drifts of axes that stood within a time, as they were known at its end; `axis` is a name or a number, none for all. Times in words are those
    /// of the zone. Unit: µs since 1970, UTC
    pub fn drifts(
        &self,
        axis: Option<&str>,
        within: (i64, i64),
        zone: &TimeZone,
    ) -> Result<Vec<StoredDrift>, Error> {
        let mut all = Vec::new();
        for known in self.find_axes(axis)? {
            let kinds = self.kind_descriptions(&known)?;
            let read = || -> rusqlite::Result<Vec<StoredDrift>> {
                let read = self.drifts_of(&known, &kinds, zone)?.into_iter();
                let mut read: Vec<StoredDrift> = read.filter_map(|drift| drift.within(within)).collect();
                read.iter_mut().try_for_each(|drift| self.measure(&known, drift, within.1))?;
                Ok(read)
            };
            all.extend(read().map_err(|error| self.fault(&error))?);
        }
        all.sort_by_key(|drift| drift.at);
        Ok(all)
    }

    /// Adds the sizes that a drift had since it was found, until it ended.
    fn measure(&self, known: &KnownAxis, drift: &mut StoredDrift, until: i64) -> rusqlite::Result<()> {
        let end = drift.end.as_ref().map_or(until, |end| end.0.min(until));
        // The interval in which it was found is one of it.
        let sizes = self.drift_sizes(known, drift.kind_id, (drift.at.saturating_sub(INTERVAL), end))?;
        let stands = drift.stands_at(until);
        let growth = &mut drift.growth;
        growth.last = sizes.last().filter(|_| stands);
        growth.most = sizes.most(drift.upwards);
        Ok(())
    }

    fn drifts_of(
        &self,
        known: &KnownAxis,
        kinds: &BTreeMap<i64, String>,
        zone: &TimeZone,
    ) -> rusqlite::Result<Vec<StoredDrift>> {
        let mut statement = self.connection.prepare_cached(REPORTS)?;
        let reports = statement.query_map(params![known.device, known.axis.axis], report)?;
        let mut reader =
            Reader { store: self, known, kinds, zone, histories: BTreeMap::new(), found: Vec::new() };
        for report in reports {
            let report = report?;
            match report.drift {
                Some(drift) => reader.drift(&report, &drift)?,
                None => reader.begin_anew(&report),
            }
        }
        Ok(reader.found)
    }

    /// Command end of the move of the kind that lies so many judged moves before the one of the report; none if moves
    /// between them are missing. Unit: µs since 1970, UTC
    fn move_before(
        &self,
        known: &KnownAxis,
        report: &Report,
        drift: &Drift,
        moves: u32,
    ) -> rusqlite::Result<Option<i64>> {
        let (device, axis, boot) = (known.device, known.axis.axis, report.boot);
        let until = report.arrived.saturating_add(SLACK);
        // Those that the monitor judges: settled and unsettled.
        let found: Option<(i64, u32)> = self
            .connection
            .prepare_cached(
                "SELECT at_us, number FROM moves WHERE device = ?1 AND axis = ?2 AND at_us <= ?3 AND boot = ?4
                    AND kind = ?5 AND number <= ?6 AND outcome IN (0, 1)
                ORDER BY at_us DESC LIMIT 1 OFFSET ?7",
            )?
            .query_row(params![device, axis, until, boot, drift.kind, drift.number, moves], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .optional()?;
        let Some((at, first)) = found else { return Ok(None) };
        let count: i64 = self
            .connection
            .prepare_cached(
                "SELECT count(*) FROM moves WHERE device = ?1 AND axis = ?2 AND at_us >= ?3 AND at_us <= ?4
                    AND boot = ?5 AND number >= ?6 AND number <= ?7",
            )?
            .query_row(params![device, axis, at, until, boot, first, drift.number], |row| row.get(0))?;
        Ok((count == i64::from(drift.number) - i64::from(first) + 1).then_some(at))
    }

    /// Unit: ticks/s
    fn ticks_per_second(&self, known: &KnownAxis, report: &Report) -> rusqlite::Result<f64> {
        let rate = self
            .connection
            .prepare_cached("SELECT ticks_per_second FROM boots WHERE device = ?1 AND boot = ?2")?
            .query_row(params![known.device, report.boot], |row| row.get(0));
        Ok(rate.optional()?.unwrap_or(1_000_000.0))
    }

    /// How many alarms of the axis come by chance, by the settings then. Unit: alarms/month
    fn by_chance(&self, known: &KnownAxis, report: &Report) -> rusqlite::Result<Option<f64>> {
        let body: Option<Vec<u8>> = self
            .connection
            .prepare_cached(
                "SELECT body FROM settings WHERE device = ?1 AND axis = ?2 AND boot = ?3 AND sequence <= ?4
                ORDER BY sequence DESC LIMIT 1",
            )?
            .query_row(params![known.device, known.axis.axis, report.boot, report.sequence], |row| row.get(0))
            .optional()?;
        Ok(match body.as_deref().and_then(frame::message) {
            Some(Message::Settings(settings)) => {
                Some(f64::from(settings.parameters.drift.false_alarms_per_axis_month_milli) / 1000.0)
            }
            _ => None,
        })
    }

    /// Whether the baseline of the kind still grew then.
    fn is_provisional(&self, known: &KnownAxis, report: &Report) -> rusqlite::Result<bool> {
        let provisional = self
            .connection
            .prepare_cached(
                "SELECT provisional FROM baselines
                WHERE device = ?1 AND axis = ?2 AND boot = ?3 AND kind = ?4 AND sequence <= ?5
                ORDER BY sequence DESC LIMIT 1",
            )?
            .query_row(
                params![known.device, known.axis.axis, report.boot, report.kind, report.sequence],
                |row| row.get(0),
            )
            .optional()?;
        Ok(provisional.unwrap_or(false))
    }
}

/// Reads the reports of one axis.
struct Reader<'a> {
    store: &'a Store,
    known: &'a KnownAxis,
    kinds: &'a BTreeMap<i64, String>,
    zone: &'a TimeZone,
    /// By [`kind::id`].
    histories: BTreeMap<i64, History>,
    found: Vec<StoredDrift>,
}

impl Reader<'_> {
    /// A kind, or with number 0 the whole axis, begins anew.
    fn begin_anew(&mut self, report: &Report) {
        let id = kind::id(report.boot, report.kind);
        let begins = |of: i64| kind::parts(of).0 == report.boot && (report.kind == 0 || of == id);
        for (_, history) in self.histories.iter().filter(|(of, history)| history.stands && begins(**of)) {
            let begun = self.found.get_mut(history.place);
            begun.into_iter().for_each(|begun| begun.end = Some((report.arrived, BEGUN_ANEW.to_owned())));
        }
        self.histories.retain(|of, _| !begins(*of));
    }

    /// A drift begins or ends, or goes on.
    fn drift(&mut self, report: &Report, drift: &Drift) -> rusqlite::Result<()> {
        let id = kind::id(report.boot, report.kind);
        let before = self.histories.get(&id).copied().unwrap_or_default();
        let stands = drift.is_drift();
        if stands == before.stands {
            return Ok(());
        }
        let at = self.store.move_before(self.known, report, drift, 0)?.unwrap_or(report.arrived);
        let since = self.since(report, drift)?;
        let story = self.story(report, drift, (at, since), before.first)?;
        let growth = Growth::of(drift, story.ticks_per_second);
        let text = story.text(before.stands).unwrap_or_default();
        let first = before.first.or(Some(at));
        if stands {
            self.histories.insert(id, History { stands, first, place: self.found.len() });
            let begun = self.begun(id, drift, at, text);
            self.found.push(StoredDrift { since: since.map(|since| since.0), growth, ..begun });
        } else {
            self.histories.insert(id, History { stands, ..before });
            let begun = self.found.get_mut(before.place);
            begun.into_iter().for_each(|begun| begun.end = Some((at, text.clone())));
        }
        Ok(())
    }

    fn begun(&self, kind_id: i64, drift: &Drift, at: i64, text: String) -> StoredDrift {
        StoredDrift {
            device: self.known.device,
            axis: self.known.axis.axis,
            name: self.known.axis.name.clone(),
            kind_id,
            kind: self.kinds.get(&kind_id).cloned().unwrap_or_else(|| format!("kind {}", drift.kind)),
            number: drift.number,
            at,
            since: None,
            upwards: drift.direction == Direction::Up,
            text,
            growth: Growth::default(),
            end: None,
        }
    }

    /// The story of a drift that was found at an instant, of its change, and of its kind for the first time at another.
    /// Unit: µs since 1970, UTC
    fn story<'d>(
        &self,
        report: &Report,
        drift: &'d Drift,
        (at, since): (i64, Option<Change>),
        first: Option<i64>,
    ) -> rusqlite::Result<Story<'d>> {
        let words = |instant| wall_time::minute(instant, at, self.zone);
        let since = since
            .map(|(at, interval)| Since { at: words(at), interval: interval.map(|ends| ends.map(words)) });
        Ok(Story {
            drift,
            ticks_per_second: self.store.ticks_per_second(self.known, report)?,
            since,
            by_chance: self.store.by_chance(self.known, report)?,
            is_provisional: self.store.is_provisional(self.known, report)?,
            first: first.map(words),
        })
    }

    /// When the change came, if its moves are in the store.
    fn since(&self, report: &Report, drift: &Drift) -> rusqlite::Result<Option<Change>> {
        let Some((moves, interval)) = moves_since(drift) else { return Ok(None) };
        let before = |moves| self.store.move_before(self.known, report, drift, moves);
        let Some(at) = before(moves)? else { return Ok(None) };
        let interval = match interval {
            Some([from, to]) => before(from)?.zip(before(to)?).map(|(from, to)| [from, to]),
            None => None,
        };
        Ok(Some((at, interval)))
    }
}

fn report(row: &Row) -> rusqlite::Result<Report> {
    let kind = row.get(3)?;
    let number: Option<u32> = row.get(4)?;
    let optional = |place| Ok::<_, rusqlite::Error>(row.get::<_, Option<u32>>(place)?.unwrap_or(0));
    let drift = match number {
        None => None,
        Some(number) => Some(Drift {
            kind,
            number,
            change: row.get(5)?,
            score: row.get(6)?,
            direction: if row.get::<_, String>(7)? == "up" { Direction::Up } else { Direction::Down },
            since: row.get(8)?,
            promise: promise(&row.get::<_, String>(9)?),
            moves: row.get(10)?,
            since_earliest: optional(11)?,
            since_latest: optional(12)?,
            middle: optional(13)?,
            returned: row.get(14)?,
            ..Drift::default()
        }),
    };
    Ok(Report { boot: row.get(0)?, sequence: row.get(1)?, arrived: row.get(2)?, drift, kind })
}

/// The promise with these words in the table.
fn promise(words: &str) -> Promise {
    match words {
        "held" => Promise::Held,
        "short" => Promise::Short,
        "dependent" => Promise::Dependent,
        "no baseline" => Promise::NoBaseline,
        _ => Promise::Learning,
    }
}
