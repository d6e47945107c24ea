//! In: the column names and the user's options. Out: the three columns to read.

use crate::error::Error;
use crate::trace::choice::Choice;
use crate::trace::layout::Signal;
use crate::trace::place::Place;
use crate::trace::{signal_names, stamp, unit};

/// One column of the recording.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Column {
    /// Index from 0.
    pub(crate) index: usize,
    /// Name in the file, or its number.
    pub(crate) name: String,
    /// Unit, if the header has one.
    pub(crate) unit: Option<String>,
    /// Whether its first rows hold numbers.
    pub(crate) numeric: bool,
    /// Whether its first rows hold times of day.
    pub(crate) stamped: bool,
    /// Whether its first rows hold whole numbers from 0, or nothing.
    pub(crate) whole: bool,
}

impl Column {
    /// The name as it is typed in a shell.
    pub(crate) fn shell_name(&self) -> String {
        let plain = |letter: char| letter.is_alphanumeric() || matches!(letter, '_' | '-' | '.' | '/' | ':');
        if self.name.chars().all(plain) { self.name.clone() } else { format!("'{}'", self.name) }
    }
}

/// The three columns; without a time column, the rate is given.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Columns {
    /// Time.
    pub(crate) time: Option<Column>,
    /// Command.
    pub(crate) command: Column,
    /// Feedback, or the following error.
    pub(crate) feedback: Column,
    /// Whether `feedback` is the following error, command − feedback.
    pub(crate) is_error: bool,
    /// Time of the feedback, where it has a clock of its own.
    pub(crate) feedback_time: Option<Column>,
    /// Name of a time column that is not used because the rate or another one is given.
    pub(crate) unused: Option<String>,
    /// Whether the columns have no names, so that their order decides.
    pub(crate) assumed: bool,
}

impl Columns {
    /// Names of the columns of time, command and feedback.
    pub(crate) fn names(&self) -> (Option<String>, String, String) {
        let time = self.time.as_ref().map(|column| column.name.clone());
        (time, self.command.name.clone(), self.feedback.name.clone())
    }
}

/// All columns of one recording.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Table<'a> {
    /// The columns.
    pub(crate) columns: &'a [Column],
    /// Whether the columns have names.
    pub(crate) named: bool,
    /// Name of the recording.
    pub(crate) file: &'a str,
    /// Line of the header, or of the first row.
    pub(crate) line: u64,
}

/// Uses the columns of the options, and finds the others by their names.
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
    let is_free = choice.command.is_none() && choice.feedback.is_none() && choice.following_error.is_none();
    if !table.named && time_name.is_none() && is_free {
        return table.in_order(timed);
    }
    let mut selected = table.by_options(choice, time_name)?;
    let needed = table.needed(&selected, timed, !choice.without_command);
    table.all_missing(&selected, &needed)?;
    let mut is_error = choice.feedback.is_none() && choice.following_error.is_some();
    let no_time = table.complete(&mut selected, &mut is_error, &needed)?;
    let (feedback_time, not_used) =
        table.second_time(&mut selected, choice, (timed, time_name.is_some()), no_time)?;
    table.distinct(&selected)?;
    let column = |signal: Signal| selected[signal as usize].map(|index: usize| table.columns[index].clone());
    let mut time = column(Signal::Time);
    if let Some(time) = &mut time {
        let stamped = time.stamped.then(|| "s".to_string());
        time.unit = stamped.or_else(|| time_unit.map(str::to_string)).or(time.unit.take());
    }
    let unused = table.by_score(Signal::Time, &selected).ok().filter(|_| !timed).or(not_used);
    let unused = unused.map(|index| table.columns[index].name.clone());
    let feedback = column(Signal::Feedback).unwrap_or_default();
    let command = column(Signal::Command).unwrap_or_else(|| feedback.clone());
    let feedback_time = feedback_time.map(|index| table.columns[index].clone());
    let feedback_time = table.unit_of_both(&mut time, feedback_time, choice)?;
    Ok(Columns { time, command, feedback, is_error, feedback_time, unused, assumed: false })
}

/// Indices of time, command and feedback, as far as they are known.
type Selected = [Option<usize>; 3];

impl Table<'_> {
    /// The columns that the options name.
    fn by_options(&self, choice: &Choice, time: Option<&str>) -> Result<Selected, Error> {
        let feedback = choice.feedback.as_deref().or(choice.following_error.as_deref());
        let mut selected = [None; 3];
        for (signal, name) in Signal::ALL.into_iter().zip([time, choice.command.as_deref(), feedback]) {
            if let Some(name) = name {
                selected[signal as usize] = Some(self.by_name(signal, name)?);
            }
        }
        Ok(selected)
    }

    /// The signals that a recording must have. A command that is not needed is used if a name means it.
    fn needed(&self, selected: &Selected, timed: bool, is_command_needed: bool) -> Vec<Signal> {
        let is_needed = |signal: &Signal| match signal {
            Signal::Time => timed,
            Signal::Command => is_command_needed || !self.scored(Signal::Command, selected).is_empty(),
            Signal::Feedback => true,
        };
        Signal::ALL.into_iter().filter(is_needed).collect()
    }

    /// One error for all signals that no name means, if these are several.
    fn all_missing(&self, selected: &Selected, needed: &[Signal]) -> Result<(), Error> {
        let is_missing = |signal: &Signal| match signal {
            Signal::Time => {
                self.scored(*signal, selected).is_empty() && self.unnamed_time(selected).is_none()
            }
            Signal::Command => self.scored(*signal, selected).is_empty(),
            Signal::Feedback => {
                self.scored(*signal, selected).is_empty() && self.following_error(selected).is_none()
            }
        };
        let is_open = |signal: &Signal| selected[*signal as usize].is_none();
        let missing: Vec<Signal> = needed.iter().copied().filter(is_open).filter(is_missing).collect();
        let ([before @ .., last], true) = (missing.as_slice(), missing.len() > 1) else { return Ok(()) };
        let list = |text: &dyn Fn(&Signal) -> String| before.iter().map(text).collect::<Vec<_>>().join(", ");
        let rate =
            if before.contains(&Signal::Time) { "; without a time column, give --rate HZ" } else { "" };
        let wrong = format!("no column name means {} or {last}{rate}", list(&Signal::to_string));
        let mut error = self.error(*last, wrong);
        if let Error::Column { flag, .. } = &mut error {
            *flag = format!("them with {} and {}", list(&|signal| signal.flag().to_string()), last.flag());
        }
        Err(error)
    }

    /// Adds the columns that their names show; returns the error if there is not one time column, for two clocks have two.
    fn complete(
        &self,
        selected: &mut Selected,
        is_error: &mut bool,
        needed: &[Signal],
    ) -> Result<Option<Error>, Error> {
        let mut no_time = None;
        for signal in needed.iter().copied() {
            if selected[signal as usize].is_some() {
                continue;
            }
            match self.by_score(signal, selected) {
                Ok(index) => selected[signal as usize] = Some(index),
                Err(error) if signal == Signal::Time => no_time = Some(error),
                Err(error) => {
                    let found = self.following_error(selected).filter(|_| signal == Signal::Feedback);
                    selected[signal as usize] = Some(found.ok_or_else(|| no_time.take().unwrap_or(error))?);
                    *is_error = true;
                }
            }
        }
        Ok(no_time)
    }

    /// The time of the feedback, if it has one of its own, and a second time column that is not used.
    fn second_time(
        &self,
        selected: &mut Selected,
        choice: &Choice,
        (timed, named): (bool, bool),
        mut no_time: Option<Error>,
    ) -> Result<(Option<usize>, Option<usize>), Error> {
        let name = choice.feedback_time.as_deref().and_then(|text| self.with_suffix(text).0);
        let mut feedback_time = name.map(|name| self.by_name(Signal::Time, name)).transpose()?;
        let two_clocks = self.two_clocks(selected).filter(|_| timed && feedback_time.is_none());
        if let Some((time, other)) = two_clocks.filter(|_| !named) {
            (selected[Signal::Time as usize], feedback_time, no_time) = (Some(time), Some(other), None);
        }
        let time = selected[Signal::Time as usize];
        let other = |(first, second)| if time == Some(first) { second } else { first };
        match no_time {
            Some(error) => Err(error),
            None => Ok((feedback_time, two_clocks.map(other).filter(|_| named))),
        }
    }

    /// The time of the feedback, in the unit that both times have.
    fn unit_of_both(
        &self,
        time: &mut Option<Column>,
        other: Option<Column>,
        choice: &Choice,
    ) -> Result<Option<Column>, Error> {
        let (Some(time), Some(mut other)) = (time, other) else { return Ok(None) };
        let typed = choice.feedback_time.as_deref().and_then(|text| self.with_suffix(text).1);
        other.unit = typed.map(str::to_string).or(other.unit);
        let places = |column: &Column| column.unit.as_deref().and_then(unit::second_places);
        if let (Some(first), Some(second)) = (&time.unit, &other.unit)
            && !time.stamped
            && places(time) != places(&other)
        {
            let wrong = format!("time '{}' is in {first}, but '{}' in {second}", time.name, other.name);
            let (one, two) = (time.shell_name(), other.shell_name());
            let remedy = format!(
                "both must have one unit; if they have, give --time {one}:{first} --feedback-time {two}:{first}"
            );
            return Err(Place { file: self.file, line: self.line }.error(wrong, &remedy));
        }
        time.unit = time.unit.take().or(other.unit.take());
        other.unit.clone_from(&time.unit);
        Ok(Some(other))
    }

    /// Splits `t:ms`, unless a column has exactly that name.
    fn with_suffix<'a>(&self, text: &'a str) -> (Option<&'a str>, Option<&'a str>) {
        match text.rsplit_once(':') {
            Some((name, suffix)) if self.lookup(text).is_empty() && unit::second_places(suffix).is_some() => {
                (Some(name), Some(suffix))
            }
            _ => (Some(text), None),
        }
    }

    /// Columns without names: exactly three are time, command and feedback; with a given rate two are command and feedback.
    fn in_order(&self, timed: bool) -> Result<Columns, Error> {
        let columns: Vec<&Column> = self.columns.iter().filter(|column| column.numeric).collect();
        let (time, command, feedback) = match (timed, columns.as_slice()) {
            (true, [time, command, feedback]) => (Some((*time).clone()), command, feedback),
            (false, [command, feedback]) => (None, command, feedback),
            _ => {
                let wrong = format!("{} columns without names", self.columns.len());
                return Err(self.error(Signal::Command, format!("{wrong}; choose the columns by number")));
            }
        };
        Ok(Columns {
            time,
            command: (*command).clone(),
            feedback: (*feedback).clone(),
            is_error: false,
            feedback_time: None,
            unused: None,
            assumed: true,
        })
    }

    /// Indices of the columns with this name, with or without its unit.
    pub(crate) fn lookup(&self, name: &str) -> Vec<usize> {
        let wanted = name.trim().to_lowercase();
        let full = self.columns.iter().filter(|column| self.named && column.name.to_lowercase() == wanted);
        let full: Vec<usize> = full.map(|column| column.index).collect();
        if !full.is_empty() {
            return full;
        }
        let bare = |column: &&Column| self.named && unit::split(&column.name).0.to_lowercase() == wanted;
        self.columns.iter().filter(bare).map(|column| column.index).collect()
    }

    /// The column that an option names for what is read beside the three signals.
    pub(crate) fn beside(&self, option: &str, name: &str) -> Result<&Column, Error> {
        let index = match self.lookup(name).as_slice() {
            [index] => Some(*index),
            [] => name.trim().parse::<usize>().ok().and_then(|number| number.checked_sub(1)),
            _ => return Err(self.unusable(option, format!("several columns are called '{name}'"))),
        };
        let column = index.and_then(|index| self.columns.get(index));
        column.ok_or_else(|| self.unusable(option, format!("there is no column '{name}'")))
    }

    /// What is wrong with the column of such an option.
    pub(crate) fn unusable(&self, option: &str, wrong: String) -> Error {
        let names: Vec<&str> = self.columns.iter().take(40).map(|column| column.name.as_str()).collect();
        let remedy = format!("give {option} the name or the number of one of: {}", names.join(", "));
        Place { file: self.file, line: self.line }.error(wrong, &remedy)
    }

    fn by_name(&self, signal: Signal, name: &str) -> Result<usize, Error> {
        match self.lookup(name).as_slice() {
            [index] => return Ok(*index),
            [] => {}
            _ => {
                return Err(self
                    .error(signal, format!("several columns are called '{name}'; give the number of one")));
            }
        }
        match name.trim().parse::<usize>() {
            Ok(number) if (1..=self.columns.len()).contains(&number) => Ok(number - 1),
            _ => Err(self.error(signal, format!("there is no column '{name}' for {signal}"))),
        }
    }

    /// The free columns whose names mean the signal, with their scores.
    fn scored(&self, signal: Signal, selected: &Selected) -> Vec<(u32, &Column)> {
        let usable = |column: &Column| column.numeric || column.stamped && signal == Signal::Time;
        let free = |column: &&Column| usable(column) && !selected.contains(&Some(column.index));
        let scored = self.columns.iter().filter(free).map(|column| (self.score(signal, column), column));
        scored.filter(|(score, _)| *score > 0).collect()
    }

    fn score(&self, signal: Signal, column: &Column) -> u32 {
        let name = if self.named { unit::split(&column.name).0 } else { String::new() };
        signal_names::score(signal, &name, column.unit.as_deref())
    }

    /// The time column where no name means time: the only one of times of day, or the first one if its unit is of time.
    fn unnamed_time(&self, selected: &Selected) -> Option<usize> {
        let is_free = |column: &&Column| !selected.contains(&Some(column.index));
        let mut stamped = self.columns.iter().filter(is_free).filter(|column| column.stamped);
        let in_seconds = |column: &&Column| {
            column.numeric && column.unit.as_deref().is_some_and(|unit| unit::second_places(unit).is_some())
        };
        match (stamped.next(), stamped.next()) {
            (Some(column), None) => Some(column.index),
            (None, _) => self.columns.first().filter(is_free).filter(in_seconds).map(|column| column.index),
            _ => None,
        }
    }

    /// The column whose name fits best, if there is only one.
    fn by_score(&self, signal: Signal, selected: &Selected) -> Result<usize, Error> {
        let scored = self.scored(signal, selected);
        let top = scored.iter().map(|(score, _)| *score).max();
        let tops: Vec<&Column> =
            scored.iter().filter(|(score, _)| Some(*score) == top).map(|(_, column)| *column).collect();
        match tops.as_slice() {
            [column] => Ok(column.index),
            [] if signal == Signal::Time => {
                self.unnamed_time(selected).ok_or_else(|| self.error(signal, self.no_time()))
            }
            [] => Err(self.error(signal, format!("no column name means {signal}"))),
            [one, other, ..] => {
                Err(self.error(signal, format!("'{}' and '{}' may both be {signal}", one.name, other.name)))
            }
        }
    }

    /// What is wrong where there is no time column.
    fn no_time(&self) -> String {
        let is_alike =
            |column: &&Column| !column.numeric && !column.stamped && self.score(Signal::Time, column) > 0;
        let first = match self.columns.iter().find(is_alike) {
            Some(column) => {
                format!("column '{}' holds neither numbers nor times such as {}", column.name, stamp::FORMS)
            }
            None => "no time column".to_string(),
        };
        format!(
            "{first}; give --rate HZ if the rows are equally spaced, or a column of numbers or times of day"
        )
    }

    /// The only column whose name means the following error.
    fn following_error(&self, selected: &Selected) -> Option<usize> {
        let fits = |column: &&Column| {
            let name = if self.named { unit::split(&column.name).0 } else { String::new() };
            let free = column.numeric && !selected.contains(&Some(column.index));
            free && signal_names::is_following_error(&name, column.unit.as_deref())
        };
        let mut fitting = self.columns.iter().filter(fits);
        fitting.next().filter(|_| fitting.next().is_none()).map(|column| column.index)
    }

    /// The time columns of command and feedback, if each stands right of one of its own: time, command, time, feedback.
    fn two_clocks(&self, selected: &Selected) -> Option<(usize, usize)> {
        let is_time = |column: &&Column| {
            let name = if self.named { unit::split(&column.name).0 } else { String::new() };
            (column.numeric || column.stamped)
                && signal_names::score(Signal::Time, &name, column.unit.as_deref()) > 0
        };
        let before = |signal: Signal| {
            let end = selected[signal as usize]?;
            self.columns[..end].iter().rev().find(is_time).map(|column| column.index)
        };
        let (time, other) = before(Signal::Command).zip(before(Signal::Feedback))?;
        let alike = self.columns[time].unit == self.columns[other].unit;
        (time != other && alike).then_some((time, other))
    }

    fn distinct(&self, selected: &Selected) -> Result<(), Error> {
        for (signal, other) in [(1, 0), (2, 0), (2, 1)] {
            if selected[signal].is_some() && selected[signal] == selected[other] {
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
        let (file, line, flag) = (self.file.to_string(), self.line, format!("it with {}", signal.flag()));
        Error::Column { file, line, wrong, flag, columns: columns.join(", ") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stillpoint_core::Fraction;

    fn run(header: &str, options: &[(&str, &str)], rate: bool) -> Result<[usize; 3], String> {
        let named = !header.starts_with('1');
        let cells = header.split(',').enumerate();
        let columns: Vec<Column> = cells
            .map(|(index, name)| {
                let unit = unit::split(name).1.filter(|_| named);
                Column {
                    index,
                    name: name.trim_end_matches('!').to_string(),
                    unit,
                    numeric: !name.ends_with('!'),
                    ..Column::default()
                }
            })
            .collect();
        let option =
            |flag| options.iter().find(|(name, _)| *name == flag).map(|(_, value)| value.to_string());
        let choice = Choice {
            time: option("t"),
            command: option("c"),
            feedback: option("f"),
            rate: rate.then_some(Fraction::ONE),
            ..Choice::default()
        };
        let table = Table { columns: &columns, named, file: "axis.csv", line: 3 };
        let found = choose(table, &choice).map_err(|error| error.to_string())?;
        let time = found
            .time
            .map_or(0, |time| time.index + 1 + if time.unit.as_deref() == Some("ms") { 100 } else { 0 });
        Ok([time, found.command.index + 1, found.feedback.index + 1])
    }

    #[track_caller]
    fn check(header: &str, options: &[(&str, &str)], expected: [usize; 3]) {
        assert_eq!(run(header, options, expected[0] == 0), Ok(expected), "{header:?} {options:?}");
    }

    #[track_caller]
    fn check_error(header: &str, options: &[(&str, &str)], rate: bool, parts: &[&str]) {
        let message = run(header, options, rate).unwrap_err();
        for part in parts.iter().chain(&["axis.csv, line 3: "]) {
            assert!(message.contains(part), "{part:?} is not in {message:?}");
        }
    }

    #[test]
    fn columns_are_found_by_score_by_name_and_by_number() {
        check("t_s,command,measured,output", &[], [1, 2, 3]);
        check("sample,t_s,cmd_counts,pos_counts", &[], [2, 3, 4]);
        check("a,b,c", &[("t", "B"), ("c", "3"), ("f", "a")], [2, 3, 1]);
        check("time,X cmd,X act,Y cmd,Y act", &[("c", "y cmd"), ("f", "Y act")], [1, 4, 5]);
        check("t,ref [mm],act [mm]", &[("c", "act"), ("f", "ref")], [1, 3, 2]);
        check("t,c,f", &[("t", "t:ms"), ("c", "c"), ("f", "f")], [101, 2, 3]);
        check("t:s,c,f", &[("t", "t:s"), ("c", "c"), ("f", "f")], [1, 2, 3]);
        check("1,2,3", &[("t", "2"), ("c", "1"), ("f", "3")], [2, 1, 3]);
        check("reference,feedback", &[], [0, 1, 2]);
        check("position,time,command", &[("c", "position"), ("f", "command")], [2, 1, 3]);
        check("time!,t,cmd,act", &[], [2, 3, 4]);
    }

    #[test]
    fn without_names_only_one_order_is_accepted() {
        check("1,2,3", &[], [1, 2, 3]);
        check("1,2", &[], [0, 1, 2]);
        check("1!,2,3,4", &[], [2, 3, 4]);
        check_error("1,2,3,4", &[], false, &["4 columns without names", "by number", "1, 2, 3, 4"]);
        check_error("1,2,3", &[], true, &["3 columns without names"]);
    }

    #[test]
    fn undecided_columns_are_requested() {
        check_error(
            "command,feedback",
            &[],
            false,
            &["no time column", "--rate HZ", "--time", "1 'command'"],
        );
        check_error(
            "Timestamp!,cmd,act",
            &[],
            false,
            &["'Timestamp' holds neither numbers nor times", "--rate HZ"],
        );
        check_error("t,command,x", &[], false, &["no column name means feedback", "--feedback", "3 'x'"]);
        check_error("t,x,feedback", &[], false, &["no column name means command", "--command"]);
        check_error(
            "t,X cmd,Y cmd,act",
            &[],
            false,
            &["'X cmd' and 'Y cmd' may both be command", "--command"],
        );
        check_error("t,cmd,act", &[("c", "speed")], false, &["no column 'speed'", "--command", "2 'cmd'"]);
        check_error("t,cmd,act", &[("c", "9")], false, &["no column '9'"]);
        check_error("t,cmd,cmd,act", &[("c", "cmd")], false, &["several columns are called 'cmd'"]);
        check_error(
            "t,cmd,act",
            &[("c", "2"), ("f", "2")],
            false,
            &["command and feedback are the same column"],
        );
        check_error("t,cmd,act", &[("t", "t")], true, &["leave one out"]);
    }
}
