//! In: the names over the columns and the user's choice. Out: the three columns that are read.

use crate::error::Error;
use crate::trace::choice::Choice;
use crate::trace::layout::Signal;
use crate::trace::{unit, words};

/// One column of the recording.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Column {
    /// Its place, from 0.
    pub(crate) index: usize,
    /// Its name as it stands in the file, or its number.
    pub(crate) name: String,
    /// Its unit, if the header says one.
    pub(crate) unit: Option<String>,
    /// Whether the first rows hold figures there.
    pub(crate) numeric: bool,
    /// Whether they hold times of day.
    pub(crate) stamped: bool,
}

/// The three columns; without time, rows come at a given rate.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Columns {
    /// Time.
    pub(crate) time: Option<Column>,
    /// Command.
    pub(crate) command: Column,
    /// Feedback.
    pub(crate) feedback: Column,
    /// Name of a time column that is left out because the rate is given.
    pub(crate) unused: Option<String>,
    /// The columns have no names, and their meaning was taken from their order.
    pub(crate) assumed: bool,
}

/// All columns of one recording, and where its header stands.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Table<'a> {
    /// The columns.
    pub(crate) columns: &'a [Column],
    /// Whether they have names.
    pub(crate) named: bool,
    /// Name of the recording.
    pub(crate) file: &'a str,
    /// Line of the header, or of the first row.
    pub(crate) line: u64,
}

/// Takes the columns that were chosen, and finds the others by sense.
pub(crate) fn choose(table: Table<'_>, choice: &Choice) -> Result<Columns, Error> {
    let (time_name, time_unit) = match &choice.time {
        Some(text) => table.with_suffix(text),
        None => (None, None),
    };
    let timed = choice.rate.is_none();
    if !timed && choice.time.is_some() {
        let wrong = "both a time column and --rate are given; leave one out";
        return Err(table.error(Signal::Time, wrong.to_string()));
    }
    if !table.named && time_name.is_none() && choice.command.is_none() && choice.feedback.is_none() {
        return table.in_order(timed);
    }
    let chosen = [time_name, choice.command.as_deref(), choice.feedback.as_deref()];
    let mut picked = [None; 3];
    for (signal, name) in Signal::ALL.into_iter().zip(chosen) {
        if let Some(name) = name {
            picked[signal as usize] = Some(table.named_so(signal, name)?);
        }
    }
    for signal in Signal::ALL {
        if picked[signal as usize].is_none() && (timed || signal != Signal::Time) {
            picked[signal as usize] = Some(table.by_sense(signal, &picked)?);
        }
    }
    table.distinct(&picked)?;
    let column = |signal: Signal| picked[signal as usize].map(|index: usize| table.columns[index].clone());
    let mut time = column(Signal::Time);
    if let (Some(time), Some(unit)) = (&mut time, time_unit) {
        time.unit = Some(unit.to_string());
    }
    if let Some(time) = time.as_mut().filter(|time| time.stamped) {
        time.unit = Some("s".to_string());
    }
    let unused = table.by_sense(Signal::Time, &picked).ok().filter(|_| !timed);
    let unused = unused.map(|index| table.columns[index].name.clone());
    let [command, feedback] =
        [Signal::Command, Signal::Feedback].map(|signal| column(signal).unwrap_or_default());
    Ok(Columns { time, command, feedback, unused, assumed: false })
}

impl Table<'_> {
    /// Splits `t:ms`, unless a column has that very name.
    fn with_suffix<'a>(&self, text: &'a str) -> (Option<&'a str>, Option<&'a str>) {
        match text.rsplit_once(':') {
            Some((name, suffix)) if self.lookup(text).is_empty() && unit::second_places(suffix).is_some() => {
                (Some(name), Some(suffix))
            }
            _ => (Some(text), None),
        }
    }

    /// Without names: the only three columns are time, command, feedback.
    fn in_order(&self, timed: bool) -> Result<Columns, Error> {
        let columns: Vec<&Column> = self.columns.iter().filter(|column| column.numeric).collect();
        let (time, command, feedback) = match (timed, columns.as_slice()) {
            (true, [time, command, feedback]) => (Some((*time).clone()), command, feedback),
            (false, [command, feedback]) => (None, command, feedback),
            _ => {
                let wrong = format!("{} columns without names", self.columns.len());
                return Err(self.error(Signal::Command, format!("{wrong}; say which is which by number")));
            }
        };
        Ok(Columns {
            time,
            command: (*command).clone(),
            feedback: (*feedback).clone(),
            unused: None,
            assumed: true,
        })
    }

    /// Places of the columns with this name, with or without its unit.
    fn lookup(&self, name: &str) -> Vec<usize> {
        let wanted = name.trim().to_lowercase();
        let full = self.columns.iter().filter(|column| self.named && column.name.to_lowercase() == wanted);
        let full: Vec<usize> = full.map(|column| column.index).collect();
        if !full.is_empty() {
            return full;
        }
        let bare = |column: &&Column| self.named && unit::split(&column.name).0.to_lowercase() == wanted;
        self.columns.iter().filter(bare).map(|column| column.index).collect()
    }

    fn named_so(&self, signal: Signal, name: &str) -> Result<usize, Error> {
        match self.lookup(name).as_slice() {
            [index] => return Ok(*index),
            [] => {}
            _ => {
                return Err(
                    self.error(signal, format!("several columns are called '{name}'; take its number"))
                );
            }
        }
        match name.trim().parse::<usize>() {
            Ok(number) if (1..=self.columns.len()).contains(&number) => Ok(number - 1),
            _ => Err(self.error(signal, format!("there is no column '{name}' for {signal}"))),
        }
    }

    /// The one column whose name fits best, if there is only one such.
    fn by_sense(&self, signal: Signal, taken: &[Option<usize>; 3]) -> Result<usize, Error> {
        let usable = |column: &Column| column.numeric || column.stamped && signal == Signal::Time;
        let free = |column: &&Column| usable(column) && !taken.contains(&Some(column.index));
        let score = |column: &Column| {
            let name = if self.named { unit::split(&column.name).0 } else { String::new() };
            words::score(signal, &name, column.unit.as_deref())
        };
        let scored = self.columns.iter().filter(free).map(|column| (score(column), column));
        let scored: Vec<(u32, &Column)> = scored.filter(|(score, _)| *score > 0).collect();
        let top = scored.iter().map(|(score, _)| *score).max();
        let tops: Vec<&Column> =
            scored.iter().filter(|(score, _)| Some(*score) == top).map(|(_, column)| *column).collect();
        match tops.as_slice() {
            [column] => Ok(column.index),
            [] if signal == Signal::Time => {
                let alike = self.columns.iter().find(|column| !column.numeric && score(column) > 0);
                let first = alike.map(|column| format!("column '{}' holds no plain numbers", column.name));
                let first = first.unwrap_or_else(|| "no time column".to_string());
                Err(self.error(
                    signal,
                    format!("{first}; give --rate HZ if rows come evenly, or a column of numbers"),
                ))
            }
            [] => Err(self.error(signal, format!("no column that is surely {signal}"))),
            [one, other, ..] => {
                Err(self.error(signal, format!("'{}' and '{}' may both be {signal}", one.name, other.name)))
            }
        }
    }

    fn distinct(&self, picked: &[Option<usize>; 3]) -> Result<(), Error> {
        for (signal, other) in [(1, 0), (2, 0), (2, 1)] {
            if picked[signal].is_some() && picked[signal] == picked[other] {
                let wrong = format!("{} and {} are the same column", Signal::ALL[other], Signal::ALL[signal]);
                return Err(self.error(Signal::ALL[signal], wrong));
            }
        }
        Ok(())
    }

    fn error(&self, signal: Signal, wrong: String) -> Error {
        let number = |column: &Column| column.index + 1;
        let mut columns: Vec<String> = self
            .columns
            .iter()
            .take(40)
            .map(|column| {
                if self.named {
                    format!("{} '{}'", number(column), column.name)
                } else {
                    number(column).to_string()
                }
            })
            .collect();
        if self.columns.len() > columns.len() {
            columns.push(format!("… {} in all", self.columns.len()));
        }
        let (file, line, flag) = (self.file.to_string(), self.line, signal.flag().to_string());
        Error::Column { file, line, wrong, flag, columns: columns.join(", ") }
    }
}

#[cfg(test)]
#[path = "columns_tests.rs"]
mod tests;
