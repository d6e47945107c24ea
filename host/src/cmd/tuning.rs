//! In: a store that is being written. Out: after each move the running table of settings, as text or JSON lines.

use std::io::{self, IsTerminal};
use std::path::Path;
use std::time::{Duration, Instant};

use super::output::{OutputFormat, print, print_json, redraw, width};
use crate::error::Error;
use crate::report::compare::Basis;
use crate::report::compare::ladder::Cache;
use crate::report::rungs::{Change, DatedMove, Rungs};
use crate::report::tuning::{SettingLine, TuningTable, basis};
use crate::store::axes::KnownAxis;
use crate::store::{Options, Store};

/// Shortest time between two drawings on a terminal.
const REDRAW: Duration = Duration::from_millis(200);

/// How the table is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    /// Drawn anew on a terminal.
    Terminal,
    /// The setting that made the move, as lines.
    Lines,
    /// The same as JSON.
    Json,
}

/// The running table of a store.
pub(super) struct RunningTable {
    store: Store,
    /// Moves from here on. Unit: µs since 1970, UTC
    since: i64,
    form: Form,
    axes: Vec<AxisTable>,
    drawn: Option<Instant>,
}

/// What is known of one axis.
struct AxisTable {
    known: KnownAxis,
    basis: Basis,
    changes: Vec<Change>,
    moves: Vec<DatedMove>,
    cache: Cache,
    table: TuningTable,
}

impl RunningTable {
    /// The table of a store; `since` in µs since 1970, UTC.
    pub(super) fn open(path: &Path, since: i64, format: OutputFormat) -> Result<RunningTable, Error> {
        let form = match format {
            OutputFormat::Jsonl => Form::Json,
            OutputFormat::Table if io::stdout().is_terminal() => Form::Terminal,
            OutputFormat::Table => Form::Lines,
            OutputFormat::Csv => {
                return Err(Error::Option {
                    option: "--format".to_owned(),
                    value: "csv".to_owned(),
                    wrong: "is no form of the running table".to_owned(),
                    remedy: "give table or jsonl".to_owned(),
                });
            }
        };
        let store = Store::open(path, &Options::default())?;
        Ok(RunningTable { store, since, form, axes: Vec::new(), drawn: None })
    }

    /// Reads the moves and notes that have come, and prints what they change.
    pub(super) fn refresh(&mut self) -> Result<(), Error> {
        for known in self.store.axes()? {
            if !self.axes.iter().any(|axis| axis.known == known) {
                self.axes.push(AxisTable::new(&self.store, known)?);
            }
        }
        let mut news = Vec::new();
        for axis in &mut self.axes {
            if axis.read(&self.store, self.since)? {
                let before = axis.tabulate(self.since);
                news.extend(axis.table.news(&before).cloned());
            }
        }
        let shown: Vec<&str> = self.shown().map(|axis| axis.known.axis.name.as_str()).collect();
        news.retain(|line: &SettingLine| shown.contains(&line.axis.as_str()));
        match self.form {
            _ if news.is_empty() => Ok(()),
            Form::Terminal if self.drawn.is_some_and(|drawn| drawn.elapsed() < REDRAW) => Ok(()),
            Form::Terminal => self.draw(),
            Form::Lines => Ok(news.iter().try_for_each(|line| print(&line.lines()))?),
            Form::Json => Ok(print_json(&news)?),
        }
    }

    /// Draws the last state of the table.
    pub(super) fn finish(&mut self) -> Result<(), Error> {
        if self.form == Form::Terminal { self.draw() } else { Ok(()) }
    }

    /// The axes of which something was noted; all as long as nothing was.
    fn shown(&self) -> impl Iterator<Item = &AxisTable> {
        let is_none = self.axes.iter().all(|axis| axis.changes.is_empty());
        self.axes.iter().filter(move |axis| is_none || !axis.changes.is_empty())
    }

    fn draw(&mut self) -> Result<(), Error> {
        self.drawn = Some(Instant::now());
        let width = width();
        let tables: String = self.shown().map(|axis| axis.table.text(width) + "\n").collect();
        Ok(redraw(&(tables + "Change one thing at a time; keep clear while the axis moves.\n"))?)
    }
}

impl AxisTable {
    fn new(store: &Store, known: KnownAxis) -> Result<AxisTable, Error> {
        let step = f64::from(store.encoder_step(&known)?.max(1)) / known.axis.counts_per_unit;
        Ok(AxisTable {
            basis: basis(&known.axis.unit, step),
            known,
            changes: Vec::new(),
            moves: Vec::new(),
            cache: Cache::default(),
            table: TuningTable::default(),
        })
    }

    /// Reads what has come. Returns whether anything has.
    fn read(&mut self, store: &Store, since: i64) -> Result<bool, Error> {
        let notes = store.changes_of(&self.known)?;
        let changes: Vec<Change> =
            notes.into_iter().map(|note| Change { at: note.at, text: note.text }).collect();
        let is_changed = changes != self.changes;
        let before = self.moves.len();
        let from = self.moves.last().map_or(since, |last| last.end.saturating_add(1));
        if is_changed || store.count_moves(&self.known, (since, from))? != before as u64 {
            // A note in between, or moves that came late: comparisons no longer hold.
            self.cache = Cache::default();
            self.moves = store.dated_moves(&self.known, (since, i64::MAX), false)?;
        } else {
            self.moves.extend(store.dated_moves(&self.known, (from, i64::MAX), false)?);
        }
        self.changes = changes;
        Ok(is_changed || self.moves.len() != before)
    }

    /// Makes the table anew; returns the one before.
    fn tabulate(&mut self, since: i64) -> TuningTable {
        let rungs = Rungs::new(&self.changes, &self.moves, (since, i64::MAX));
        let table = TuningTable::new(&self.known.axis.name, &rungs, &self.basis, &mut self.cache);
        std::mem::replace(&mut self.table, table)
    }
}
