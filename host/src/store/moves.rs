//! In: an axis and a time. Out: its moves, as the reports that `measure` and `watch` print.

use std::collections::BTreeMap;

use rusqlite::params;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::{Parameters, Record, Settings};

use super::axes::KnownAxis;
use super::database::Store;
use super::details::{self, Details};
use super::devices::Axis;
use super::{frame, kind};
use crate::error::Error;
use crate::report::axis_context::AxisContext;
use crate::report::clock::Clock;
use crate::report::moment::Moment;
use crate::report::move_report::MoveReport;

/// Moves read at a time.
const BATCH: usize = 512;

/// Which moves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MoveQuery {
    /// Name or number of the axis; all if none.
    pub axis: Option<String>,
    /// From this command end on. Unit: µs since 1970, UTC
    pub since: i64,
    /// Before this. Unit: µs since 1970, UTC
    pub until: i64,
    /// With settling curves and ringing, which takes longer.
    pub details: bool,
}

impl Default for MoveQuery {
    fn default() -> MoveQuery {
        MoveQuery { axis: None, since: i64::MIN, until: i64::MAX, details: true }
    }
}

/// A move as it stands in its table.
pub(super) struct StoredMove {
    /// Command end, UTC. Unit: µs since 1970
    pub(super) at: i64,
    pub(super) boot: u32,
    sequence: u32,
    pub(super) wire: Move,
}

impl StoredMove {
    /// The settings that were in force, of all those of its axis.
    pub(super) fn settings(&self, all: &[SettingsFrom]) -> Option<Settings> {
        let until = all.partition_point(|one| one.from <= (self.boot, self.sequence));
        all.get(until.checked_sub(1)?).map(|one| one.settings)
    }
}

/// Settings of an axis.
pub(super) struct SettingsFrom {
    /// Start and number of the frame from which on they were in force.
    from: (u32, u32),
    pub(super) settings: Settings,
}

/// Receives a move and its details.
pub(super) type Out<'a> = dyn FnMut(&StoredMove, Details) -> Result<(), Error> + 'a;

impl Store {
    /// Passes moves to `out`, axis by axis in the order of time.
    pub fn moves(
        &self,
        query: &MoveQuery,
        out: &mut dyn FnMut(&MoveReport) -> Result<(), Error>,
    ) -> Result<(), Error> {
        self.find_axes(query.axis.as_deref())?.iter().try_for_each(|known| self.moves_of(known, query, out))
    }

    fn moves_of(
        &self,
        known: &KnownAxis,
        query: &MoveQuery,
        out: &mut dyn FnMut(&MoveReport) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let reports = Reports::new(self, known)?;
        self.stored_moves(known, (query.since, query.until), query.details, &mut |stored, details| {
            reports.of(stored, details).map_or(Ok(()), |report| out(&report))
        })
    }

    /// Passes the moves of an axis within a time to `out`, in its order, each with its details if `with_details` and as
    /// far as they came.
    pub(super) fn stored_moves(
        &self,
        known: &KnownAxis,
        (since, until): (i64, i64),
        with_details: bool,
        out: &mut Out,
    ) -> Result<(), Error> {
        let wrong = |error| self.fault(&error);
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT at_us, boot, sequence, body FROM moves
                WHERE device = ?1 AND axis = ?2 AND at_us >= ?3 AND at_us < ?4",
            )
            .map_err(wrong)?;
        let mut rows =
            statement.query(params![known.device, known.axis.axis, since, until]).map_err(wrong)?;
        let mut batch: Vec<StoredMove> = Vec::with_capacity(BATCH);
        while let Some(row) = rows.next().map_err(wrong)? {
            let read =
                || Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get_ref(3)?.as_blob().map(move_in)?));
            // A row that can't be read is damage, which `check` reports.
            let (at, boot, sequence, Some(wire)) = read().map_err(wrong)? else { continue };
            if batch.len() == BATCH || batch.last().is_some_and(|last| last.boot != boot) {
                self.pass(known, &mut batch, with_details, out)?;
            }
            batch.push(StoredMove { at, boot, sequence, wire });
        }
        self.pass(known, &mut batch, with_details, out)
    }

    /// Passes moves of one start to `out`, and empties the batch.
    fn pass(
        &self,
        known: &KnownAxis,
        batch: &mut Vec<StoredMove>,
        with_details: bool,
        out: &mut Out,
    ) -> Result<(), Error> {
        let (Some(first), Some(last)) = (batch.first(), batch.last()) else { return Ok(()) };
        let mut found = Default::default();
        if with_details {
            let start = (known.device, first.boot, known.axis.axis);
            let numbers = (first.wire.number, last.wire.number);
            found = details::read(&self.connection, start, numbers).map_err(|error| self.fault(&error))?;
        }
        for stored in batch.drain(..) {
            let details = found.remove(&stored.wire.number).unwrap_or_default();
            out(&stored, details)?;
        }
        Ok(())
    }

    /// All settings of an axis, in order.
    pub(super) fn settings(&self, known: &KnownAxis) -> rusqlite::Result<Vec<SettingsFrom>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT boot, sequence, body FROM settings WHERE device = ?1 AND axis = ?2 ORDER BY boot, sequence",
        )?;
        let rows = statement.query_map(params![known.device, known.axis.axis], |row| {
            let from = (row.get(0)?, row.get(1)?);
            let settings = match frame::message(row.get_ref(2)?.as_blob()?) {
                Some(Message::Settings(wire)) => Settings::new(Parameters::from(&wire.parameters)).ok(),
                _ => None,
            };
            Ok(settings.map(|settings| SettingsFrom { from, settings }))
        })?;
        rows.filter_map(Result::transpose).collect()
    }
}

/// The move in a body.
fn move_in(body: &[u8]) -> Option<Move> {
    match frame::message(body)? {
        Message::Move(wire) => Some(wire),
        _ => None,
    }
}

/// From rows of an axis to reports.
pub(super) struct Reports<'a> {
    known: &'a KnownAxis,
    settings: Vec<SettingsFrom>,
    /// Descriptions of the kinds, by [`kind::id`].
    kinds: BTreeMap<i64, String>,
}

impl<'a> Reports<'a> {
    /// Reads what holds for all moves of an axis.
    pub(super) fn new(store: &Store, known: &'a KnownAxis) -> Result<Reports<'a>, Error> {
        let settings = store.settings(known).map_err(|error| store.fault(&error))?;
        Ok(Reports { known, settings, kinds: store.kind_descriptions(known)? })
    }

    pub(super) fn of(&self, stored: &StoredMove, details: Details) -> Option<MoveReport> {
        let settings = self.settings_of(stored)?;
        let Axis { name, unit, counts_per_unit, window, source, .. } = &self.known.axis;
        let counts = f64::from(settings.window);
        // The window as the user gave it is reported, as long as it is the one in force.
        let given = window.filter(|window| (window * counts_per_unit - counts).abs() < 1.0);
        let context = AxisContext {
            file: source.clone(),
            name: name.clone(),
            unit: unit.clone(),
            window: given.unwrap_or(counts / counts_per_unit),
            counts_per_unit: *counts_per_unit,
            clock: Clock::new(settings.ticks_per_second, 0.0),
            settings,
        };
        let report = MoveReport::new(&context, &Record::from(&stored.wire), details.curve);
        let report = report.with_ringing(details.ringing);
        let job = Some(stored.wire.job).filter(|job| *job > 0);
        Some(MoveReport { job, kind: self.kind(stored), ..report })
    }

    /// When and how a move ended, as its report has it.
    pub(super) fn moment(&self, stored: &StoredMove) -> Option<Moment> {
        let ticks_per_second = f64::from(self.settings_of(stored)?.ticks_per_second);
        let Record { outcome, settling, .. } = Record::from(&stored.wire);
        let settling_s = settling.map(|ticks| f64::from(ticks) / ticks_per_second);
        Some(Moment { at: stored.at, outcome, settling_s })
    }

    /// If no settings frame of the monitor came, the defaults are assumed.
    fn settings_of(&self, stored: &StoredMove) -> Option<Settings> {
        stored.settings(&self.settings).or(Settings::new(Parameters::at(1_000_000)).ok())
    }

    fn kind(&self, stored: &StoredMove) -> Option<String> {
        let number = stored.wire.kind;
        let described = self.kinds.get(&kind::id(stored.boot, number)).cloned();
        (number > 0).then(|| described.unwrap_or_else(|| format!("kind {number}")))
    }
}
