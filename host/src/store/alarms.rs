//! In: a time. Out: the steps in the lives of the alarms within it.

use rusqlite::params;
use serde::Serialize;

use super::{Store, time};
use crate::error::Error;

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
    /// The figure. Unit: that of the subject: ticks, counts or a number
    pub value: i64,
    /// The limit it passed. Unit: the same
    pub limit: i64,
}

impl AlarmLine {
    /// Names of the fields.
    pub const HEADER: [&str; 8] = ["axis", "alarm", "at", "subject", "state", "move", "value", "limit"];

    /// The fields as text, in the order of [`AlarmLine::HEADER`].
    pub fn row(&self) -> [String; 8] {
        let AlarmLine { axis, alarm, at, subject, state, number, value, limit } = self.clone();
        [
            axis,
            alarm.to_string(),
            at,
            subject,
            state,
            number.to_string(),
            value.to_string(),
            limit.to_string(),
        ]
    }
}

impl Store {
    /// Steps of alarms within a time, in its order. `axis` is a name or a number. Unit: µs since 1970, UTC
    pub fn alarms(&self, axis: Option<&str>, (since, until): (i64, i64)) -> Result<Vec<AlarmLine>, Error> {
        let read = || -> rusqlite::Result<Vec<AlarmLine>> {
            let mut statement = self.connection.prepare_cached(
                "SELECT coalesce(name, 'axis ' || alarms.axis), alarm, at_us, subject, state, number, value,
                    limit_value
                FROM alarms LEFT JOIN axes ON axes.device = alarms.device AND axes.axis = alarms.axis
                WHERE at_us >= ?1 AND at_us < ?2 AND (?3 IS NULL OR name = ?3 OR CAST(alarms.axis AS TEXT) = ?3)
                ORDER BY at_us, boot, sequence",
            )?;
            let rows = statement.query_map(params![since, until, axis], |row| {
                Ok(AlarmLine {
                    axis: row.get(0)?,
                    alarm: row.get(1)?,
                    at: time::text(row.get(2)?),
                    subject: row.get(3)?,
                    state: row.get(4)?,
                    number: row.get(5)?,
                    value: row.get(6)?,
                    limit: row.get(7)?,
                })
            })?;
            rows.collect()
        };
        read().map_err(|error| self.fault(&error))
    }
}
