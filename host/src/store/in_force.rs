//! In: an axis and a time. Out: the settings by which its monitor measured the last move in that time.

use rusqlite::{OptionalExtension, params};
use serde::Serialize;
use stillpoint_core::Parameters;
use stillpoint_core::wire::message::Message;

use super::axes::KnownAxis;
use super::database::Store;
use super::frame;
use crate::error::Error;
use crate::report::move_report::definition_name;

/// Settings of an axis in the units of people. Times in seconds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct InForce {
    /// Half-width of the position window. Unit: that of the axis
    pub window: f64,
    /// How long feedback must stay inside. Unit: s
    pub window_time_s: f64,
    /// How long the command must stand to end a move. Unit: s
    pub rest_time_s: f64,
    /// Which settling time is measured.
    pub definition: &'static str,
    /// Whether the command end is inferred from feedback.
    pub is_inferred: bool,
    /// Settling time that a person set as a limit, and the number of the kind it is for, 0 for all; none without one. Unit: s
    pub limit_s: Option<(f64, u32)>,
    /// Share of moves that may not settle, as a person set it; none without one. Unit: 1
    pub unsettled_limit: Option<f64>,
    /// False alarms of drift that were wished for. Unit: alarms/month
    pub false_alarms: Option<f64>,
}

/// The last settings that came before the last move of a time.
const LAST: &str = "
    SELECT settings.body FROM settings,
        (SELECT boot, sequence FROM moves WHERE device = ?1 AND axis = ?2 AND at_us >= ?3 AND at_us < ?4
            ORDER BY at_us DESC LIMIT 1) AS last
    WHERE device = ?1 AND axis = ?2 AND (settings.boot, settings.sequence) <= (last.boot, last.sequence)
    ORDER BY settings.boot DESC, settings.sequence DESC LIMIT 1";

impl Store {
    /// The settings at the last move of an axis within a time; none if no move or no settings came.
    /// Unit: µs since 1970, UTC
    pub fn settings_in_force(
        &self,
        known: &KnownAxis,
        (since, until): (i64, i64),
    ) -> Result<Option<InForce>, Error> {
        let read = || -> rusqlite::Result<Option<Vec<u8>>> {
            let values = params![known.device, known.axis.axis, since, until];
            self.connection.prepare_cached(LAST)?.query_row(values, |row| row.get(0)).optional()
        };
        let body = read().map_err(|error| self.fault(&error))?;
        Ok(body.and_then(|body| in_force(&body, known.axis.counts_per_unit)))
    }
}

/// The settings in the body of a frame.
fn in_force(body: &[u8], counts_per_unit: f64) -> Option<InForce> {
    let Some(Message::Settings(sent)) = frame::message(body) else { return None };
    let parameters = sent.parameters;
    let seconds = |ticks: u32| f64::from(ticks) / f64::from(parameters.ticks_per_second.max(1));
    let some = |number: u32, value: f64| Some(value).filter(|_| number > 0);
    let counts = f64::from(parameters.window) + f64::from(parameters.window_fraction) / 256.0;
    let limits = parameters.limits;
    Some(InForce {
        window: counts / counts_per_unit,
        window_time_s: seconds(parameters.window_time),
        rest_time_s: seconds(parameters.rest_time),
        definition: definition_name(Parameters::from(&parameters).definition),
        is_inferred: parameters.inferred,
        limit_s: some(limits.settling, seconds(limits.settling)).map(|limit| (limit, limits.kind)),
        unsettled_limit: some(limits.unsettled_permille, 1e-3 * f64::from(limits.unsettled_permille)),
        false_alarms: some(
            parameters.drift.false_alarms_per_axis_month_milli,
            1e-3 * f64::from(parameters.drift.false_alarms_per_axis_month_milli),
        ),
    })
}
