//! In: a time. Out: the steps in the lives of the alarms within it, and who caused them.

use std::collections::BTreeMap;

use rusqlite::params;
use serde::Serialize;
use stillpoint_core::wire::alarm::{Alarm, AlarmEvent, Category, Subject};
use stillpoint_core::wire::message::Message;

use super::database::Store;
use super::drifts::StoredDrift;
use super::{frame, kind, time};
use crate::error::Error;
use crate::report::describe;

/// A step in the life of an alarm, as other tools read it. Add fields at the end, never rename.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct AlarmLine {
    /// Name of the axis.
    pub axis: String,
    /// Number of the alarm, the same through its life.
    pub alarm: u32,
    /// When, RFC 3339, UTC.
    pub at: String,
    /// What it is about.
    pub subject: String,
    /// State from here on, by the names of IEC 62682.
    pub state: String,
    /// The move behind it; 0 if none.
    #[serde(rename = "move")]
    pub number: u32,
    /// The figure. Unit: `unit`
    pub value: i64,
    /// The smallest figure that is abnormal. Unit: `unit`
    pub limit: i64,
    /// The kind of moves that it is about, in words; empty if none.
    pub kind: String,
    /// How soon a person must answer: low, medium, high or highest; none if the monitor did not send it.
    pub priority: Option<&'static str>,
    /// Letter of the category by NE 107: F, C, S or M; none if the monitor did not send it.
    pub category: Option<char>,
    /// Who acknowledged it, shelved it, or put it out of or back into service, if the journal has it.
    pub who: Option<String>,
    /// Unit of `value` and `limit`.
    pub unit: &'static str,
    /// The story of the drift that raised it; none of other alarms and later states.
    pub story: Option<String>,
}

impl AlarmLine {
    /// Names of the fields.
    pub const HEADER: [&str; 14] = [
        "axis", "alarm", "at", "subject", "state", "move", "value", "limit", "kind", "priority", "category",
        "who", "unit", "story",
    ];

    /// The fields as text, in the order of [`AlarmLine::HEADER`].
    pub fn row(&self) -> [String; 14] {
        let AlarmLine { axis, alarm, at, subject, state, number, value, limit, kind, .. } = self.clone();
        [
            axis,
            alarm.to_string(),
            at,
            subject,
            state,
            number.to_string(),
            value.to_string(),
            limit.to_string(),
            kind,
            self.priority.unwrap_or_default().to_owned(),
            self.category.map(String::from).unwrap_or_default(),
            self.who.clone().unwrap_or_default(),
            self.unit.to_owned(),
            self.story.clone().unwrap_or_default(),
        ]
    }
}

/// The alarm in its frame, which has more than the table; none of a monitor too old to send more.
fn alarm_in(body: Option<&[u8]>) -> Option<Alarm> {
    match frame::message(body?)? {
        Message::Alarm(alarm) if alarm.event != AlarmEvent::Unknown => Some(alarm),
        _ => None,
    }
}

fn letter(category: Category) -> char {
    match category {
        Category::Failure => 'F',
        Category::FunctionCheck => 'C',
        Category::OutOfSpecification => 'S',
        Category::MaintenanceRequired => 'M',
    }
}

/// What the figure of a subject counts, as its table names the subject; METHOD.md has the figures.
fn unit(subject: &str) -> &'static str {
    match subject {
        "drift" => "1/256 of the limit",
        "unsettled" => "stops in a row",
        "following error" => "counts",
        "signal" => "place of the finding",
        "gap" => "samples and frames",
        "settling limit" | "unsettled limit" => "per mille of the moves",
        _ => "",
    }
}

/// The story of the drift of this device, axis and kind that this move decided.
fn story(drifts: &[StoredDrift], place: (i64, u8, i64), number: u32) -> Option<String> {
    let is_it =
        |drift: &&StoredDrift| (drift.device, drift.axis, drift.kind_id) == place && drift.number == number;
    drifts.iter().find(is_it).map(|drift| drift.text.clone())
}

/// A monitor sends its open alarms again whenever it is identified: of equal steps only the first is selected.
const STEPS: &str = "
    SELECT coalesce(name, 'axis ' || alarms.axis), alarm, at_us, subject, state, number, value, limit_value,
        (SELECT body FROM frames WHERE frames.device = alarms.device AND frames.boot = alarms.boot
            AND priority = 0 AND frames.sequence = alarms.sequence),
        (SELECT who FROM journal WHERE journal.device = alarms.device AND journal.boot = alarms.boot
            AND priority IS NULL AND journal.sequence = alarms.sequence AND journal.axis = alarms.axis),
        alarms.device, alarms.axis, boot, min(sequence)
    FROM alarms LEFT JOIN axes ON axes.device = alarms.device AND axes.axis = alarms.axis
    WHERE at_us >= ?1 AND at_us < ?2 AND (?3 IS NULL OR name = ?3 OR CAST(alarms.axis AS TEXT) = ?3)
    GROUP BY alarms.device, boot, alarm, at_us, state
    ORDER BY at_us, boot, sequence";

impl Store {
    /// Steps of alarms within a time, in its order, with the stories of `drifts`. `axis` is a name or a number.
    /// Unit: µs since 1970, UTC
    pub fn alarms(
        &self,
        axis: Option<&str>,
        (since, until): (i64, i64),
        drifts: &[StoredDrift],
    ) -> Result<Vec<AlarmLine>, Error> {
        let kinds = self.all_kind_descriptions()?;
        let read = || -> rusqlite::Result<Vec<AlarmLine>> {
            let mut statement = self.connection.prepare_cached(STEPS)?;
            let rows = statement.query_map(params![since, until, axis], |row| {
                let sent = alarm_in(row.get_ref(8)?.as_blob_or_null()?);
                let number = sent.map_or(0, |alarm| alarm.kind);
                let place = (row.get(10)?, row.get(11)?, kind::id(row.get(12)?, number));
                let unknown = if number == 0 { String::new() } else { format!("kind {number}") };
                let subject: String = row.get(3)?;
                let raised = sent.filter(|alarm| {
                    alarm.subject == Subject::Drift && alarm.event == AlarmEvent::AlarmOccurs
                });
                let story = raised.and_then(|alarm| story(drifts, place, alarm.number));
                Ok(AlarmLine {
                    unit: unit(&subject),
                    story,
                    axis: row.get(0)?,
                    alarm: row.get(1)?,
                    at: time::text(row.get(2)?),
                    subject,
                    state: row.get(4)?,
                    number: row.get(5)?,
                    value: row.get(6)?,
                    limit: row.get(7)?,
                    kind: kinds.get(&place).cloned().unwrap_or(unknown),
                    priority: sent.map(|alarm| describe::priority(alarm.priority)),
                    category: sent.map(|alarm| letter(alarm.category)),
                    who: row.get(9)?,
                })
            })?;
            rows.collect()
        };
        read().map_err(|error| self.fault(&error))
    }

    /// Descriptions of the kinds of all axes, by device, axis and [`kind::id`].
    fn all_kind_descriptions(&self) -> Result<BTreeMap<(i64, u8, i64), String>, Error> {
        let mut all = BTreeMap::new();
        for known in self.axes()? {
            let kinds = self.kind_descriptions(&known)?;
            all.extend(kinds.into_iter().map(|(id, text)| ((known.device, known.axis.axis, id), text)));
        }
        Ok(all)
    }
}
