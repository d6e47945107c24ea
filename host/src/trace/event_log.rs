//! In: lines that hold one value of one signal each. Out: rows of time, command and feedback.
//!
//! Each signal keeps its last value, and the lines of one time stamp make one row. A row is made where feedback has a value;
//! a log of changes has one where any of the two changes, and between its lines, at the period of the log, rows of the
//! values that did not change. A command that is sampled at other times than feedback is interpolated, as for two clocks.

use crate::trace::cell::Dialect;
use crate::trace::columns::{Column, Columns};
use crate::trace::decimal::Decimal;
use crate::trace::encoding::text;
use crate::trace::layout::Signal;
use crate::trace::rows::Fault;
use crate::trace::sniff::{self, Found};
use crate::trace::survey::{Figures, Survey};
use crate::trace::two_clocks::Pair;
use crate::trace::{number, signal_names, stamp, unit};
use std::collections::HashSet;

/// Lines that are examined for their form, enough for the first change of the name where they are sorted by it. Unit: lines
const EXAMINED: usize = 50_000;

/// Most names of signals.
const TAGS: usize = 200;

/// Fewest lines of a log of changes. Unit: lines
const CHANGES: usize = 20;

/// Shortest silence of a log of changes. No source. Unit: usual steps
const SILENCE: f64 = 10.0;

/// Least share of regular steps of a signal that is sampled. No source
const REGULAR: f64 = 0.9;

/// Most rows between two lines of a log of changes; a longer silence is a gap. Unit: rows
const FILLED: i64 = 10_000;

/// Most characters of a bad cell in a message.
const SHOWN: usize = 40;

/// Words for the column of values.
const VALUE: [&str; 10] =
    ["value", "val", "wert", "valor", "valore", "valeur", "messwert", "值", "値", "data"];

/// The cells of a line, and the names of the signals.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Form {
    dialect: Dialect,
    /// Indices of the cells of time, name and value.
    cells: [usize; 3],
    /// Names in the order of their first lines.
    tags: Vec<Tag>,
    is_stamped: bool,
}

/// The name of a signal.
#[derive(Clone, Debug, PartialEq)]
struct Tag {
    name: String,
    unit: Option<String>,
    /// Whether any of its values is a number.
    numeric: bool,
}

/// What the cells of one column are.
#[derive(Clone, Default)]
struct Kind {
    figures: usize,
    stamps: usize,
    words: Vec<String>,
}

/// The lines of a possible event log, and what their columns are.
struct Lines<'a> {
    rows: Vec<&'a [u8]>,
    kinds: Vec<Kind>,
    names: &'a [String],
    found: &'a Found,
}

/// The form of the lines, if they are an event log. `names` are those of the header, or none.
pub(crate) fn detect(lines: &[&[u8]], names: &[String], found: &Found) -> Option<Form> {
    let rows = lines.iter().copied().filter(|line| found.dialect.cells(line).count() == found.width);
    let rows: Vec<&[u8]> = rows.take(EXAMINED).collect();
    let lines = Lines { kinds: kinds(&rows, found), rows, names, found };
    if (0..names.len()).any(|index| lines.means(index, &[Signal::Command, Signal::Feedback])) {
        return None;
    }
    let is_stamped = lines.stamped().is_some();
    let time = lines.time()?;
    let value = lines.value(time)?;
    let units = (0..lines.kinds.len()).find(|&index| are_units(&lines.kinds[index]));
    let tag = lines.tag(units)?;
    Some(Form {
        dialect: found.dialect,
        cells: [time, tag, value],
        tags: lines.tags(tag, units, value),
        is_stamped,
    })
}

impl Lines<'_> {
    /// Whether the name of a column means one of the signals.
    fn means(&self, index: usize, signals: &[Signal]) -> bool {
        let (name, unit) = self.names.get(index).map(|name| unit::split(name)).unwrap_or_default();
        signals.iter().any(|&signal| signal_names::score(signal, &name, unit.as_deref()) > 0)
    }

    fn columns(&self, fits: impl Fn(&Kind) -> bool) -> impl Iterator<Item = usize> {
        (0..self.kinds.len()).filter(move |&index| fits(&self.kinds[index]))
    }

    /// The column of times of day.
    fn stamped(&self) -> Option<usize> {
        self.columns(|kind| kind.stamps == self.rows.len() && kind.stamps > 0).next()
    }

    /// The columns of numbers.
    fn numbers(&self) -> Vec<usize> {
        self.columns(|kind| kind.figures == self.rows.len() && kind.figures > 0).collect()
    }

    /// The column of times of day, the one whose name means time, or the first of rising numbers.
    fn time(&self) -> Option<usize> {
        let numbers = self.numbers();
        let named = || numbers.iter().copied().find(|&index| self.means(index, &[Signal::Time]));
        let rising = || numbers.iter().copied().find(|&index| is_rising(&self.rows, self.found, index));
        self.stamped().or_else(named).or_else(rising)
    }

    /// The column of values: by its name, or the only other one of numbers. Signals that are no positions may have values
    /// that are no numbers.
    fn value(&self, time: usize) -> Option<usize> {
        let is_value = |kind: &Kind| 2 * kind.figures > self.rows.len();
        let numbers: Vec<usize> = self.columns(is_value).filter(|&index| index != time).collect();
        let name = |index: usize| self.names.get(index).map(|name| unit::split(name).0.to_lowercase());
        let named = numbers.iter().find(|&&index| name(index).is_some_and(|name| VALUE.contains(&&*name)));
        named.or(numbers.first().filter(|_| numbers.len() == 1)).copied()
    }

    /// The column of names: the one of most different words, if they repeat.
    fn tag(&self, units: Option<usize>) -> Option<usize> {
        let is_tag = |kind: &Kind| {
            let words = kind.words.len();
            kind.figures + kind.stamps == 0 && (2..=TAGS).contains(&words) && 2 * words <= self.rows.len()
        };
        let tags = self.columns(is_tag).filter(|&index| Some(index) != units);
        tags.max_by_key(|&index| (self.kinds[index].words.len(), self.kinds.len() - index))
    }

    /// The names of the signals with their units, which stand in a column of their own or behind the names.
    fn tags(&self, tag: usize, units: Option<usize>, value: usize) -> Vec<Tag> {
        let cell = |row: &[u8], index: usize| self.found.dialect.cells(row).nth(index).map(text);
        let numeric = self.numeric(tag, value);
        let with_unit = |name: &String| {
            let row = self.rows.iter().find(|row| cell(row, tag).as_ref() == Some(name));
            let beside = row.and_then(|row| cell(row, units?)).and_then(|cell| unit::in_row(&cell)).flatten();
            let unit = beside.or_else(|| unit::split(name).1);
            Tag { name: name.clone(), unit, numeric: numeric.contains(name) }
        };
        self.kinds[tag].words.iter().map(with_unit).collect()
    }

    /// The names with a number as value in any line.
    fn numeric(&self, tag: usize, value: usize) -> HashSet<String> {
        let dialect = self.found.dialect;
        let is_number = |row: &&&[u8]| {
            let cell = dialect.cells(row).nth(value);
            cell.is_some_and(|cell| sniff::figure(cell, dialect.decimal).is_some())
        };
        self.rows.iter().filter(is_number).filter_map(|row| dialect.cells(row).nth(tag).map(text)).collect()
    }
}

/// Whether the words of a column are units.
fn are_units(kind: &Kind) -> bool {
    let units: Option<Vec<_>> = kind.words.iter().map(|word| unit::in_row(word)).collect();
    kind.figures + kind.stamps == 0 && units.is_some_and(|units| units.iter().any(Option::is_some))
}

fn kinds(rows: &[&[u8]], found: &Found) -> Vec<Kind> {
    let mut kinds = vec![Kind::default(); found.width];
    for row in rows {
        for (kind, cell) in kinds.iter_mut().zip(found.dialect.cells(row)) {
            if sniff::figure(cell, found.dialect.decimal).is_some() {
                kind.figures += 1;
            } else if stamp::parse(cell).is_some() {
                kind.stamps += 1;
            } else if kind.words.len() <= TAGS && !kind.words.contains(&text(cell)) {
                kind.words.push(text(cell));
            }
        }
    }
    kinds
}

fn is_rising(rows: &[&[u8]], found: &Found, index: usize) -> bool {
    let cell = |row: &&[u8]| sniff::figure(found.dialect.cells(row).nth(index)?, found.dialect.decimal);
    let times: Vec<Decimal> = rows.iter().filter_map(cell).collect();
    times.windows(2).all(|pair| pair[1].minus(pair[0]) >= 0.0)
}

impl Form {
    /// The signals as columns, after that of time.
    pub(crate) fn columns(&self, names: &[String], units: &[Option<String>]) -> Vec<Column> {
        let at = self.cells[0];
        let name = names.get(at).cloned().unwrap_or_else(|| "time".to_string());
        let unit = units.get(at).cloned().flatten().or_else(|| unit::split(&name).1);
        let time = Column {
            index: 0,
            name,
            unit,
            numeric: !self.is_stamped,
            stamped: self.is_stamped,
            ..Column::default()
        };
        let tag = |(index, tag): (usize, &Tag)| Column {
            index: index + 1,
            name: tag.name.clone(),
            unit: tag.unit.clone(),
            numeric: tag.numeric,
            ..Column::default()
        };
        core::iter::once(time).chain(self.tags.iter().enumerate().map(tag)).collect()
    }
}

/// Makes rows of lines.
#[derive(Clone, Debug)]
pub(crate) struct EventLog {
    form: Form,
    /// Names of command and feedback.
    tags: [String; 2],
    /// Last values of command and feedback.
    values: [Option<Decimal>; 2],
    /// The lines of the last time stamp.
    group: Option<Group>,
    /// The last row.
    last: Option<Figures>,
    /// Period of a log of changes. Unit: that of the time column
    period: Option<f64>,
    /// The command at its own times, where it is interpolated.
    commands: Option<Survey>,
    /// Whether commands are written at other times than feedback, and are as last written.
    pub(crate) has_command_clock: bool,
}

/// Signal (0 command, 1 feedback), time and value of a line.
type Event = (usize, Decimal, Result<Decimal, Fault>);

/// The lines of one time stamp.
#[derive(Clone, Copy, Debug)]
struct Group {
    line: u64,
    time: Decimal,
    has_feedback: bool,
}

impl EventLog {
    /// For the chosen columns, whose indices are those of [`Form::columns`].
    pub(crate) fn new(form: Form, columns: &Columns) -> EventLog {
        let tag = |column: &Column| {
            column.index.checked_sub(1).and_then(|at| form.tags.get(at)).map(|tag| tag.name.clone())
        };
        let tags = [&columns.command, &columns.feedback].map(|column| tag(column).unwrap_or_default());
        EventLog {
            form,
            tags,
            values: [None; 2],
            group: None,
            last: None,
            period: None,
            commands: None,
            has_command_clock: false,
        }
    }

    /// The same before its first line.
    pub(crate) fn restarted(&self) -> EventLog {
        let form = self.form.clone();
        EventLog {
            form,
            tags: self.tags.clone(),
            values: [None; 2],
            group: None,
            last: None,
            commands: None,
            ..*self
        }
    }

    /// Decides from the first lines how values and times belong together: notes, or what is wrong.
    pub(crate) fn examine(&mut self, lines: &[&[u8]]) -> Result<Vec<String>, String> {
        let mut events = Vec::new();
        for line in lines {
            let event = self.event(line).ok().flatten();
            events.extend(event.and_then(|(at, time, value)| Some((at, time, value.ok()?))));
        }
        let [command, feedback] = &self.tags;
        let turns = events.windows(2).filter(|pair| pair[0].0 != pair[1].0).count();
        if turns < 2 {
            return Err(format!("the lines are sorted by name, those of {command} and {feedback} apart"));
        }
        let form = "an event log: rows are made of";
        let mut notes = vec![format!("{form} '{command}' and '{feedback}', each as last written")];
        let [commands, feedbacks] = [0, 1].map(|at| Series::of(&events, at));
        let together = commands.times.iter().filter(|&&time| of_time(&events, 1, time)).count();
        let is_slower = commands.times.len() * 4 < feedbacks.times.len() * 3;
        if events.len() >= CHANGES && commands.is_of_changes() && feedbacks.is_of_changes() {
            self.period = step_of(events.iter().map(|event| event.1));
            let note = "the log holds changes only; between them the values are taken as unchanged";
            notes.push(note.to_string());
        } else if commands.is_sampled() && (is_slower || 2 * together < commands.times.len()) {
            self.commands = Some(commands.survey());
            notes = vec![format!("{form} '{feedback}', with '{command}' interpolated at its times")];
        } else if 2 * together < commands.times.len() {
            self.has_command_clock = true;
            notes.push(
                "the rows are at the times of feedback, which are not those of the command".to_string(),
            );
        }
        Ok(notes)
    }

    /// The command at its own times, where it is to be interpolated.
    pub(crate) fn commands(&self) -> Option<&Survey> {
        self.commands.as_ref()
    }

    /// Time and value of command and feedback in a line, which has one of them at most.
    pub(crate) fn pairs(&self, line: &[u8]) -> Result<[Option<Pair>; 2], Fault> {
        let mut pairs = [None; 2];
        if let Some((at, time, value)) = self.event(line)? {
            pairs[at] = Some((time, value?));
        }
        Ok(pairs)
    }

    /// The event of a line; `None` for another signal.
    fn event(&self, line: &[u8]) -> Result<Option<Event>, Fault> {
        let [at_time, at_tag, at_value] = self.form.cells;
        let cell = |at: usize| self.form.dialect.cells(line).nth(at);
        let tag = text(cell(at_tag).unwrap_or_default());
        let Some(at) = self.tags.iter().position(|known| *known == tag) else { return Ok(None) };
        let signal = [Signal::Command, Signal::Feedback][at];
        let read = |cell: Option<&[u8]>, signal: Signal| {
            let cell = cell.ok_or(Fault::Missing { signal })?;
            let figure = number::of_cell(cell, self.form.dialect.decimal);
            let figure = figure.or_else(|| stamp::parse(cell).filter(|_| signal == Signal::Time));
            figure.ok_or_else(|| Fault::Figure {
                signal,
                text: text(cell).chars().take(SHOWN).collect::<String>().into(),
            })
        };
        Ok(Some((at, read(cell(at_time), Signal::Time)?, read(cell(at_value), signal))))
    }

    /// Adds a line; rows that are complete go to `out`.
    pub(crate) fn push(
        &mut self,
        line: &[u8],
        number: u64,
        out: &mut impl FnMut(u64, &Figures),
    ) -> Result<(), Fault> {
        let event = self.event(line).inspect_err(|_| {
            // Which row the line belongs to is unknown.
            (self.values, self.group, self.last) = ([None; 2], None, None);
        })?;
        let Some((at, time, value)) = event else { return Ok(()) };
        if self.group.is_some_and(|group| group.time.minus(time) != 0.0) {
            self.finish(out);
        }
        // A value that can't be read is unknown, not as before.
        self.values[at] = value.as_ref().ok().copied();
        self.last = self.last.filter(|_| value.is_ok());
        value?;
        let group = self.group.get_or_insert(Group { line: number, time, has_feedback: false });
        group.has_feedback |= at == 1;
        Ok(())
    }

    /// Completes the last row.
    pub(crate) fn finish(&mut self, out: &mut impl FnMut(u64, &Figures)) {
        let Some(group) = self.group.take() else { return };
        let [Some(command), Some(feedback)] = self.values else { return };
        if !group.has_feedback && self.period.is_none() {
            return;
        }
        if let (Some(period), Some(last)) = (self.period, self.last) {
            fill(last, group, period, out);
        }
        let figures = [group.time, command, feedback];
        out(group.line, &figures);
        self.last = Some(figures);
    }
}

/// Times and values of one signal.
struct Series {
    times: Vec<Decimal>,
    values: Vec<Decimal>,
}

impl Series {
    fn of(events: &[(usize, Decimal, Decimal)], at: usize) -> Series {
        let (times, values) =
            events.iter().filter(|event| event.0 == at).map(|event| (event.1, event.2)).unzip();
        Series { times, values }
    }

    /// Whether no value is as the one before.
    fn changes(&self) -> bool {
        self.values.windows(2).all(|pair| pair[0].minus(pair[1]) != 0.0)
    }

    /// Share of the steps that are close to the usual one.
    fn regular_share(&self) -> f64 {
        let Some(usual) = step_of(self.times.iter().copied()) else { return 0.0 };
        let steps = self.times.windows(2).map(|pair| pair[1].minus(pair[0]));
        let regular = steps.filter(|step| (0.5..1.5).contains(&(step / usual))).count();
        regular as f64 / self.times.len().max(2) as f64
    }

    /// Whether it is written where it changes only, so that there are silences.
    fn is_of_changes(&self) -> bool {
        let usual = step_of(self.times.iter().copied()).unwrap_or(0.0);
        self.changes() && self.times.windows(2).any(|pair| pair[1].minus(pair[0]) > SILENCE * usual)
    }

    /// Whether it is written regularly, also where it does not change.
    fn is_sampled(&self) -> bool {
        !self.changes() && self.regular_share() >= REGULAR
    }

    fn survey(&self) -> Survey {
        let rows = self.times.iter().zip(&self.values).map(|(&time, &value)| [time, value, value]);
        Survey { pieces: vec![rows.collect()], ..Survey::default() }
    }
}

/// Median of the steps above 0.
fn step_of(times: impl Iterator<Item = Decimal>) -> Option<f64> {
    let times: Vec<Decimal> = times.collect();
    let mut steps: Vec<f64> = times.windows(2).map(|pair| pair[1].minus(pair[0])).collect();
    steps.retain(|&step| step > 0.0);
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied()
}

/// Whether one of the events is of this signal and time.
fn of_time(events: &[(usize, Decimal, Decimal)], at: usize, time: Decimal) -> bool {
    let after = events.partition_point(|event| event.1.minus(time) < 0.0);
    events[after..].iter().take_while(|event| event.1 == time).any(|event| event.0 == at)
}

/// The rows between the last row and the next line: the same values at every period.
fn fill(last: Figures, next: Group, period: f64, out: &mut impl FnMut(u64, &Figures)) {
    let places = last[0].decimals.max(next.time.decimals) + 3;
    let (Some((from, _)), Some((to, _))) = (last[0].scaled(places as i32), next.time.scaled(places as i32))
    else {
        return;
    };
    let step = ((period * 10f64.powi(places as i32)).round() as i64).max(1);
    let count = to.saturating_sub(from).saturating_sub(step / 2 + 1) / step;
    let row = |mantissa: i64| [Decimal { mantissa, decimals: places }, last[1], last[2]];
    for number in 1..=count.min(FILLED) {
        out(next.line, &row(from + number * step));
    }
    if count > FILLED {
        out(next.line, &row(to - step));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::sniff::sniff;

    fn form(text: &str, names: &[&str]) -> Option<Form> {
        let lines: Vec<&[u8]> = text.lines().map(str::as_bytes).collect();
        let names: Vec<String> = names.iter().map(|name| name.to_string()).collect();
        detect(&lines, &names, &sniff(&lines, None, None).unwrap())
    }

    #[test]
    fn one_value_a_line_is_recognised() {
        let cells = |text, names: &[&str]| {
            form(text, names).map(|form| {
                let name = |tag: &Tag| {
                    let mark = if tag.numeric { "" } else { "!" };
                    tag.name.clone() + tag.unit.as_deref().unwrap_or_default() + mark
                };
                (form.cells, form.tags.iter().map(name).collect::<Vec<_>>().join(" "))
            })
        };
        let expected = |cells, tags: &str| Some((cells, tags.to_string()));
        assert_eq!(cells("0.1;a;5\n0.1;b;6\n0.2;a;5\n0.2;b;6", &[]), expected([0, 1, 2], "a b"));
        assert_eq!(cells("b;7;1\na;7;2\nb;3;3\na;9;4", &["tag", "value", "t"]), expected([2, 0, 1], "b a"));
        assert_eq!(
            cells("11:00:00;a;5\n11:00:01;b;6\n11:00:02;a;5\n11:00:03;b;6", &[]),
            expected([0, 1, 2], "a b")
        );
        assert_eq!(cells("1;a;good;5\n1;b;good;6\n2;a;bad;5\n2;b;good;6", &[]), expected([0, 1, 3], "a b"));
        assert_eq!(cells("1;a;5;mm\n1;b;6;V\n2;a;5;mm\n2;b;6;V", &[]), expected([0, 1, 2], "amm bV"));
        assert_eq!(
            cells("0.1;a;5\n0.1;b;6\n0.1;c;RUN\n0.2;a;5\n0.2;b;6\n0.2;c;5 V", &[]),
            expected([0, 1, 2], "a b c!")
        );
        assert_eq!(
            cells("0.1;a;5;0\n0.1;b;6;0\n0.2;a;5;0\n0.2;b;6;0", &[]),
            None,
            "two columns may hold values"
        );
        assert_eq!(cells("0.1;on;5\n0.2;on;6\n0.3;off;5\n0.4;off;6", &["t", "state", "command"]), None);
        assert_eq!(cells("0.1;x;5\n0.2;y;6\n0.3;z;5", &[]), None, "each name is only there once");
    }

    /// `time/command/feedback` of each row, `!` for a fault.
    fn rows(text: &str, period: Option<f64>) -> String {
        let form = Form {
            dialect: Dialect { delimiter: b';', decimal: b'.' },
            cells: [0, 1, 2],
            tags: ["c", "f"].map(|name| Tag { name: name.into(), unit: None, numeric: true }).to_vec(),
            is_stamped: false,
        };
        let column = |index| Column { index, ..Column::default() };
        let columns = Columns { command: column(1), feedback: column(2), ..Columns::default() };
        let mut log = EventLog { period, ..EventLog::new(form, &columns) };
        let mut words = Vec::new();
        let word = |figures: &Figures| figures.map(|figure| figure.to_f64().to_string()).join("/");
        for (line, number) in text.lines().zip(1..) {
            let result = log.push(line.as_bytes(), number, &mut |_, figures| words.push(word(figures)));
            if result.is_err() {
                words.push("!".into());
            }
        }
        log.finish(&mut |_, figures| words.push(word(figures)));
        words.join(" ")
    }

    #[test]
    fn each_signal_keeps_its_last_value() {
        assert_eq!(rows("0;c;1\n0;f;2\n1;f;3\n1;c;4\n2;x;9\n2;f;5", None), "0/1/2 1/4/3 2/4/5");
        assert_eq!(rows("0;c;1\n0;f;2\n1;c;3\n2;f;4", None), "0/1/2 2/3/4", "a row where feedback is");
        assert_eq!(rows("0;f;2\n1;f;3\n2;c;1\n3;f;4", None), "3/1/4", "none before both are known");
        assert_eq!(rows("0;c;1\n0;f;2\n1;c;x\n1;f;3\n2;f;3\n3;c;1\n3;f;3", None), "0/1/2 ! 3/1/3");
        assert_eq!(rows("0;c;1\n0;f;2\n1;c\n1;f;3", None), "0/1/2 !");
    }

    #[test]
    fn a_log_of_changes_has_rows_in_between() {
        assert_eq!(rows("0;c;1\n0;f;2\n4;c;3\n5;f;4", Some(1.0)), "0/1/2 1/1/2 2/1/2 3/1/2 4/3/2 5/3/4");
        assert_eq!(rows("0;c;1\n0;f;2\n1.4;f;3\n3;f;4", Some(1.0)), "0/1/2 1.4/1/3 2.4/1/3 3/1/4");
        assert_eq!(
            rows("0;c;1\n0;f;2\n1;f;x\n4;f;3", Some(1.0)),
            "0/1/2 ! 4/1/3",
            "none beside an unknown value"
        );
        let long = rows("0;c;1\n0;f;2\n1e6;c;3", Some(1.0));
        assert!(long.ends_with(" 9999/1/2 10000/1/2 999999/1/2 1000000/3/2"), "a longer silence is a gap");
    }
}
