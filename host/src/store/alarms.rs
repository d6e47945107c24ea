//! In: a time. Out: the steps in the lives of the alarms within it, and who caused them.

use std::collections::BTreeMap;

use rusqlite::{Row, params};
use serde::Serialize;
use stillpoint_core::wire::alarm::{Alarm, AlarmEvent, Category, Subject};
use stillpoint_core::wire::message::Message;

use super::database::Store;
use super::drifts::StoredDrift;
use super::{frame, kind, time};
use crate::error::Error;
use crate::report::describe;

/// A step in the life of an alarm, as other tools read it. Add fields at the end, never rename.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
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
    /// Number of the axis on its monitor, as `device` takes it.
    pub axis_number: u8,
    /// What to do next; none of a state that is past, or that needs nobody.
    pub next: Option<String>,
    /// Change of that drift when it was found. Unit: s
    pub drift_s: Option<f64>,
    /// The same in its last interval, while it stands; none if most moves do not settle. Unit: s
    pub drift_last_s: Option<f64>,
    /// The same in its worst interval; none as above. Unit: s
    pub drift_most_s: Option<f64>,
}

impl AlarmLine {
    /// Names of the fields.
    pub const HEADER: [&str; 19] = [
        "axis",
        "alarm",
        "at",
        "subject",
        "state",
        "move",
        "value",
        "limit",
        "kind",
        "priority",
        "category",
        "who",
        "unit",
        "story",
        "axis_number",
        "next",
        "drift_s",
        "drift_last_s",
        "drift_most_s",
    ];

    /// The fields as text, in the order of [`AlarmLine::HEADER`].
    pub fn row(&self) -> [String; 19] {
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
            self.axis_number.to_string(),
            self.next.clone().unwrap_or_default(),
            seconds(self.drift_s),
            seconds(self.drift_last_s),
            seconds(self.drift_most_s),
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

/// The drift of this device, axis and kind that this move decided.
fn drift_of(drifts: &[StoredDrift], place: (i64, u8, i64), number: u32) -> Option<&StoredDrift> {
    let is_it =
        |drift: &&StoredDrift| (drift.device, drift.axis, drift.kind_id) == place && drift.number == number;
    drifts.iter().find(is_it)
}

/// A time as text. Unit: s
fn seconds(time: Option<f64>) -> String {
    time.map(|time| time.to_string()).unwrap_or_default()
}

/// What a person does next about an alarm in this state, in words that `device` takes; none if there is nothing to do.
fn next(state: &str, subject: &str, (alarm, axis): (u32, u8)) -> Option<String> {
    Some(match (state, subject) {
        ("unacknowledged" | "returned to normal unacknowledged" | "latched unacknowledged", _) => {
            format!("acknowledge {alarm}")
        }
        ("latched acknowledged", _) => format!("reset {alarm}"),
        ("out of service", _) => format!("return-to-service {alarm}"),
        // Other alarms return to normal by themselves when their cause is removed.
        ("acknowledged", "drift") => format!("declare {axis}"),
        _ => return None,
    })
}

/// Descriptions of kinds, by device, axis and [`kind::id`].
type Kinds = BTreeMap<(i64, u8, i64), String>;

/// A monitor sends its open alarms again whenever it is identified: of equal steps only the first is selected.
const STEPS: &str = "
    SELECT coalesce(name, 'axis ' || alarms.axis), alarm, at_us, subject, state, number, value, limit_value,
        (SELECT body FROM frames WHERE frames.device = alarms.device AND frames.boot = alarms.boot
            AND priority = 0 AND frames.sequence = alarms.sequence),
        (SELECT who FROM journal WHERE journal.device = alarms.device AND journal.boot = alarms.boot
            AND priority IS NULL AND journal.sequence = alarms.sequence AND journal.axis = alarms.axis),
        alarms.device, alarms.axis, boot, min(sequence),
        boot = (SELECT max(boot) FROM boots WHERE boots.device = alarms.device)
            AND NOT EXISTS (SELECT 1 FROM alarms AS later WHERE later.device = alarms.device
                AND later.boot = alarms.boot AND later.alarm = alarms.alarm AND later.sequence > alarms.sequence
                AND (later.at_us <> alarms.at_us OR later.state <> alarms.state)) AS is_last
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
            let rows = statement.query_map(params![since, until, axis], |row| line(row, drifts, &kinds))?;
            rows.collect()
        };
        read().map_err(|error| self.fault(&error))
    }

    /// Descriptions of the kinds of all axes, by device, axis and [`kind::id`].
    fn all_kind_descriptions(&self) -> Result<Kinds, Error> {
        let mut all = BTreeMap::new();
        for known in self.axes()? {
            let kinds = self.kind_descriptions(&known)?;
            all.extend(kinds.into_iter().map(|(id, text)| ((known.device, known.axis.axis, id), text)));
        }
        Ok(all)
    }
}

/// The line of a row of [`STEPS`].
fn line(row: &Row, drifts: &[StoredDrift], kinds: &Kinds) -> rusqlite::Result<AlarmLine> {
    let sent = alarm_in(row.get_ref(8)?.as_blob_or_null()?);
    let number = sent.map_or(0, |alarm| alarm.kind);
    let place = (row.get(10)?, row.get(11)?, kind::id(row.get(12)?, number));
    let unknown = if number == 0 { String::new() } else { format!("kind {number}") };
    let (alarm, subject, state): (u32, String, String) = (row.get(1)?, row.get(3)?, row.get(4)?);
    let raised =
        sent.filter(|alarm| alarm.subject == Subject::Drift && alarm.event == AlarmEvent::AlarmOccurs);
    let drift = raised.and_then(|alarm| drift_of(drifts, place, alarm.number));
    let growth = drift.map(|drift| drift.growth);
    let is_last: bool = row.get("is_last")?;
    Ok(AlarmLine {
        axis: row.get(0)?,
        alarm,
        at: time::text(row.get(2)?),
        unit: unit(&subject),
        next: next(&state, &subject, (alarm, place.1)).filter(|_| is_last),
        subject,
        state,
        number: row.get(5)?,
        value: row.get(6)?,
        limit: row.get(7)?,
        kind: kinds.get(&place).cloned().unwrap_or(unknown),
        priority: sent.map(|alarm| describe::priority(alarm.priority)),
        category: sent.map(|alarm| letter(alarm.category)),
        who: row.get(9)?,
        story: drift.map(|drift| drift.text.clone()),
        axis_number: place.1,
        drift_s: growth.map(|growth| growth.found_s),
        drift_last_s: growth.and_then(|growth| growth.change(growth.last)),
        drift_most_s: growth.and_then(|growth| growth.change(growth.most)),
    })
}
