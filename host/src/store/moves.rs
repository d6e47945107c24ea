//! In: an axis and a time. Out: its moves, as the lines that `measure` and `watch` print.

use std::collections::BTreeMap;

use rusqlite::{CachedStatement, OptionalExtension, params};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::{CurvePoint, Parameters, Record, Settings};

use super::curves;
use super::derive::Stored;
use super::log::Axis;
use super::summary::{self, Interval, Summary};
use super::{Store, kind};
use crate::error::Error;
use crate::measure::{Clock, Scale};
use crate::report::line::MoveLine;

/// Moves read at a time.
const BATCH: usize = 512;

/// Which moves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ask {
    /// Name or number of the axis; all if none.
    pub axis: Option<String>,
    /// From this command end on. Unit: µs since 1970, UTC
    pub since: i64,
    /// Before this. Unit: µs since 1970, UTC
    pub until: i64,
    /// With settling curves, which takes longer.
    pub curves: bool,
}

impl Default for Ask {
    fn default() -> Ask {
        Ask { axis: None, since: i64::MIN, until: i64::MAX, curves: true }
    }
}

/// An axis with moves in the store.
#[derive(Clone, Debug, PartialEq)]
pub struct Known {
    /// Number of its monitor in this store.
    pub device: i64,
    /// Name and scale; counts if nobody gave them.
    pub axis: Axis,
}

/// A move as it stands in its table.
pub(super) struct Row {
    /// Command end, UTC. Unit: µs since 1970
    pub(super) at: i64,
    pub(super) boot: u32,
    sequence: u32,
    pub(super) told: Move,
}

impl Store {
    /// The axes that have moves, in the order of devices and numbers.
    pub fn axes(&self) -> Result<Vec<Known>, Error> {
        self.read_axes().map_err(|error| self.fault(&error))
    }

    fn read_axes(&self) -> rusqlite::Result<Vec<Known>> {
        // A step per axis; reading all moves would take long, and so would comparing pairs, which no index serves.
        let next = |where_| -> rusqlite::Result<CachedStatement> {
            self.connection.prepare_cached(&format!(
                "SELECT moves.device, moves.axis, name, unit, counts_per_unit, window, source FROM moves
                LEFT JOIN axes ON axes.device = moves.device AND axes.axis = moves.axis
                WHERE {where_} ORDER BY moves.device, moves.axis LIMIT 1"
            ))
        };
        let mut axis = next("moves.device = ?1 AND moves.axis > ?2")?;
        let mut device = next("moves.device > ?1 AND ?2 IS NOT NULL")?;
        let (mut known, mut after) = (Vec::new(), (-1_i64, 0_u8));
        let read = |row: &rusqlite::Row| self.known(row);
        loop {
            let here = axis.query_row(params![after.0, after.1], read).optional()?;
            let found = match here {
                None => device.query_row(params![after.0, after.1], read).optional()?,
                here => here,
            };
            let Some(found) = found else { return Ok(known) };
            after = (found.device, found.axis.axis);
            known.push(found);
        }
    }

    fn known(&self, row: &rusqlite::Row) -> rusqlite::Result<Known> {
        let text = |place| row.get::<_, Option<String>>(place);
        let axis: u8 = row.get(1)?;
        let axis = Axis {
            axis,
            name: text(2)?.unwrap_or_else(|| format!("axis {axis}")),
            unit: text(3)?.unwrap_or_else(|| "count".to_owned()),
            counts_per_unit: row.get::<_, Option<f64>>(4)?.unwrap_or(1.0),
            window: row.get(5)?,
            source: text(6)?.unwrap_or_else(|| self.path.display().to_string()),
        };
        Ok(Known { device: row.get(0)?, axis })
    }

    /// Axes of a name or number; an error lists the names there are.
    pub fn find(&self, asked: Option<&str>) -> Result<Vec<Known>, Error> {
        let all = self.axes()?;
        let Some(asked) = asked else { return Ok(all) };
        let is_it = |known: &&Known| known.axis.name == asked || known.axis.axis.to_string() == asked;
        let found: Vec<Known> = all.iter().filter(is_it).cloned().collect();
        if !found.is_empty() {
            return Ok(found);
        }
        let names: Vec<&str> = all.iter().map(|known| known.axis.name.as_str()).collect();
        Err(Error::Option {
            option: "--axis".to_owned(),
            value: asked.to_owned(),
            wrong: format!("{} has no moves of such an axis", self.path.display()),
            remedy: if names.is_empty() {
                "it has none at all".to_owned()
            } else {
                format!("it has: {}", names.join(", "))
            },
        })
    }

    /// Hands out moves, axis by axis in the order of time.
    pub fn moves(&self, ask: &Ask, out: &mut dyn FnMut(&MoveLine) -> Result<(), Error>) -> Result<(), Error> {
        self.find(ask.axis.as_deref())?.iter().try_for_each(|known| self.moves_of(known, ask, out))
    }

    fn moves_of(
        &self,
        known: &Known,
        ask: &Ask,
        out: &mut dyn FnMut(&MoveLine) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let settings = self.settings(known).map_err(|error| self.fault(&error))?;
        let lines = Lines { known, settings, kinds: self.kind_words(known)? };
        self.rows(known, (ask.since, ask.until), ask.curves, &mut |row, curve| out(&lines.line(row, curve)))
    }

    /// Hands out the moves of an axis within a time, in its order, each with its settling curve if that is asked for and
    /// came.
    pub(super) fn rows(
        &self,
        known: &Known,
        (since, until): (i64, i64),
        curves: bool,
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
        let mut batch: Vec<Row> = Vec::with_capacity(BATCH);
        while let Some(row) = rows.next().map_err(wrong)? {
            let read = || Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get_ref(3)?.as_blob().map(told)?));
            // A row that can't be read is damage, which `check` tells.
            let (at, boot, sequence, Some(told)) = read().map_err(wrong)? else { continue };
            if batch.len() == BATCH || batch.last().is_some_and(|last| last.boot != boot) {
                self.hand_out(known, &mut batch, curves, out)?;
            }
            batch.push(Row { at, boot, sequence, told });
        }
        self.hand_out(known, &mut batch, curves, out)
    }

    fn hand_out(
        &self,
        known: &Known,
        batch: &mut Vec<Row>,
        curves: bool,
        out: &mut Out,
    ) -> Result<(), Error> {
        let (Some(first), Some(last)) = (batch.first(), batch.last()) else { return Ok(()) };
        let mut found = Default::default();
        if curves {
            let start = (known.device, first.boot, known.axis.axis);
            let numbers = (first.told.number, last.told.number);
            found = curves::read(&self.connection, start, numbers).map_err(|error| self.fault(&error))?;
        }
        for row in batch.drain(..) {
            let curve = found.remove(&row.told.number).unwrap_or_default();
            out(&row, curve)?;
        }
        Ok(())
    }

    /// What was in force on an axis from which frame on.
    pub(super) fn settings(&self, known: &Known) -> rusqlite::Result<Vec<((u32, u32), Settings)>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT boot, sequence, body FROM settings WHERE device = ?1 AND axis = ?2 ORDER BY boot, sequence",
        )?;
        let rows = statement.query_map(params![known.device, known.axis.axis], |row| {
            let stored = Stored::new(known.device, 0, row.get_ref(2)?.as_blob()?);
            let settings = match stored.and_then(|stored| stored.message()) {
                Some(Message::Settings(told)) => Settings::new(Parameters::from(&told.parameters)).ok(),
                _ => None,
            };
            Ok(settings.zip(Some((row.get(0)?, row.get(1)?))))
        })?;
        let found: Vec<Option<(Settings, (u32, u32))>> = rows.collect::<rusqlite::Result<_>>()?;
        Ok(found.into_iter().flatten().map(|(settings, from)| (from, settings)).collect())
    }

    /// Summaries of an axis over intervals of `span` seconds, one of [`summary::SPANS`]; `kind` or [`kind::ALL`].
    pub fn summaries(
        &self,
        known: &Known,
        (span, kind): (i64, i64),
        within: (i64, i64),
    ) -> Result<Vec<Summary>, Error> {
        let place = (known.device, known.axis.axis, span, kind);
        summary::whole(&self.connection, place, within).map_err(|error| self.fault(&error))
    }

    /// The same for a picture of all kinds together: only count, median and 95 % quantile.
    pub fn intervals(&self, known: &Known, span: i64, within: (i64, i64)) -> Result<Vec<Interval>, Error> {
        let place = (known.device, known.axis.axis, span, kind::ALL);
        summary::intervals(&self.connection, place, within).map_err(|error| self.fault(&error))
    }
}

/// Takes a move and its curve.
pub(super) type Out<'a> = dyn FnMut(&Row, Vec<CurvePoint>) -> Result<(), Error> + 'a;

impl Row {
    /// The settings in force, of those of its axis.
    pub(super) fn settings(&self, all: &[((u32, u32), Settings)]) -> Option<Settings> {
        let until = all.partition_point(|(from, _)| *from <= (self.boot, self.sequence));
        all.get(until.checked_sub(1)?).map(|(_, settings)| *settings)
    }
}

/// The move in a frame.
fn told(body: &[u8]) -> Option<Move> {
    match Stored::new(0, 0, body)?.message()? {
        Message::Move(told) => Some(told),
        _ => None,
    }
}

/// What turns rows of an axis into lines.
struct Lines<'a> {
    known: &'a Known,
    settings: Vec<((u32, u32), Settings)>,
    kinds: BTreeMap<i64, String>,
}

impl Lines<'_> {
    fn line(&self, row: &Row, curve: Vec<CurvePoint>) -> MoveLine {
        // Before a monitor has told its settings nothing is known of them.
        let Some(settings) = row.settings(&self.settings).or(Settings::new(Parameters::at(1_000_000)).ok())
        else {
            return MoveLine::default();
        };
        let Axis { name, unit, counts_per_unit, window, source, .. } = &self.known.axis;
        let counts = f64::from(settings.window);
        // What was asked for is told as it was, as long as it is what was set.
        let asked = window.filter(|window| (window * counts_per_unit - counts).abs() < 1.0);
        let scale = Scale {
            file: source.clone(),
            axis: name.clone(),
            unit: unit.clone(),
            window: asked.unwrap_or(counts / counts_per_unit),
            counts_per_unit: *counts_per_unit,
            ticks_per_second: f64::from(settings.ticks_per_second),
        };
        let clock = Clock::new(settings.ticks_per_second, 0.0);
        let line = scale.line(&settings, &clock, &Record::from(&row.told), curve.into_iter());
        MoveLine { kind: self.kind(row), ..line }
    }

    fn kind(&self, row: &Row) -> Option<String> {
        let number = row.told.kind;
        let told = || self.kinds.get(&kind::id(row.boot, number)).cloned();
        (number > 0).then(|| told().unwrap_or_else(|| format!("kind {number}")))
    }
}
