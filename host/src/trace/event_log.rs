//! In: lines that hold one value of one signal each. Out: rows of time, command and feedback.
//!
//! Each signal keeps its last value, and the lines of one time stamp make one row. A row is made where feedback has a value;
//! a log of changes has one where any of the two changes, and between its lines, at the period of the log, rows of the
//! values that did not change.

use crate::trace::cell::Dialect;
use crate::trace::columns::{Column, Columns};
use crate::trace::decimal::Decimal;
use crate::trace::encoding::text;
use crate::trace::layout::Signal;
use crate::trace::rows::Fault;
use crate::trace::sniff::{self, Found};
use crate::trace::survey::Figures;
use crate::trace::{number, signal_names, stamp, unit};

/// Lines that are examined for their form, enough for the first change of the name where they are sorted by it. Unit: lines
const EXAMINED: usize = 50_000;

/// Most names of signals.
const TAGS: usize = 200;

/// Fewest lines of a log of changes. Unit: lines
const CHANGES: usize = 20;

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
    /// Names in the order of their first lines, each with its unit.
    tags: Vec<(String, Option<String>)>,
    is_stamped: bool,
}

/// What the cells of one column are.
#[derive(Clone, Default)]
struct Kind {
    figures: usize,
    stamps: usize,
    words: Vec<String>,
}

/// The form of the lines, if they are an event log. `names` are those of the header, or none.
pub(crate) fn detect(lines: &[&[u8]], names: &[String], found: &Found) -> Option<Form> {
    let is_signal = |name: &String| {
        let (name, unit) = unit::split(name);
        [Signal::Command, Signal::Feedback]
            .iter()
            .any(|signal| signal_names::score(*signal, &name, unit.as_deref()) > 0)
    };
    if names.iter().any(is_signal) {
        return None;
    }
    let rows = lines.iter().filter(|line| found.dialect.cells(line).count() == found.width);
    let rows: Vec<&&[u8]> = rows.take(EXAMINED).collect();
    let kinds = kinds(&rows, found);
    let all = |count: usize| count == rows.len() && count > 0;
    let is_time = |index: usize| {
        let (name, unit) = names.get(index).map(|name| unit::split(name)).unwrap_or_default();
        signal_names::score(Signal::Time, &name, unit.as_deref()) > 0
    };
    let of_numbers: Vec<usize> = (0..kinds.len()).filter(|&index| all(kinds[index].figures)).collect();
    let stamped = (0..kinds.len()).find(|&index| all(kinds[index].stamps));
    let rising = || of_numbers.iter().copied().find(|&index| is_rising(&rows, found, index));
    let time =
        stamped.or_else(|| of_numbers.iter().copied().find(|&index| is_time(index))).or_else(rising)?;
    let values: Vec<usize> = of_numbers.into_iter().filter(|&index| index != time).collect();
    let is_value = |index: &&usize| {
        names.get(**index).is_some_and(|name| VALUE.contains(&unit::split(name).0.to_lowercase().as_str()))
    };
    let value = values.iter().find(is_value).or(values.first().filter(|_| values.len() == 1))?;
    let is_tag = |kind: &Kind| {
        kind.figures + kind.stamps == 0
            && (2..=TAGS).contains(&kind.words.len())
            && 2 * kind.words.len() <= rows.len()
    };
    let units = (0..kinds.len()).find(|&index| are_units(&kinds[index]));
    let tags = (0..kinds.len()).filter(|&index| is_tag(&kinds[index]) && Some(index) != units);
    let tag = tags.max_by_key(|&index| (kinds[index].words.len(), kinds.len() - index))?;
    let with_unit = |name: &String| {
        let row = rows.iter().find(|row| found.dialect.cells(row).nth(tag).map(text).as_ref() == Some(name));
        let below = row
            .and_then(|row| found.dialect.cells(row).nth(units?))
            .and_then(|cell| unit::in_row(&text(cell)))
            .flatten();
        (name.clone(), below.or_else(|| unit::split(name).1))
    };
    let tags = kinds[tag].words.iter().map(with_unit).collect();
    Some(Form { dialect: found.dialect, cells: [time, tag, *value], tags, is_stamped: stamped.is_some() })
}

/// Whether the words of a column are units.
fn are_units(kind: &Kind) -> bool {
    let units: Option<Vec<_>> = kind.words.iter().map(|word| unit::in_row(word)).collect();
    kind.figures + kind.stamps == 0 && units.is_some_and(|units| units.iter().any(Option::is_some))
}

fn kinds(rows: &[&&[u8]], found: &Found) -> Vec<Kind> {
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

fn is_rising(rows: &[&&[u8]], found: &Found, index: usize) -> bool {
    let cell = |row: &&&[u8]| sniff::figure(found.dialect.cells(row).nth(index)?, found.dialect.decimal);
    let times: Vec<Decimal> = rows.iter().filter_map(cell).collect();
    times.windows(2).all(|pair| pair[1].minus(pair[0]) >= 0.0)
}

impl Form {
    /// The signals as columns, after that of time.
    pub(crate) fn columns(&self, names: &[String], units: &[Option<String>]) -> Vec<Column> {
        let at = self.cells[0];
        let name = names.get(at).cloned().unwrap_or_else(|| "time".to_string());
        let unit = units.get(at).cloned().flatten().or_else(|| unit::split(&name).1);
        let time = Column { index: 0, name, unit, numeric: !self.is_stamped, stamped: self.is_stamped };
        let tag = |(index, (name, unit)): (usize, &(String, Option<String>))| Column {
            index: index + 1,
            name: name.clone(),
            unit: unit.clone(),
            numeric: true,
            stamped: false,
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
}

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
            column.index.checked_sub(1).and_then(|at| form.tags.get(at)).map(|tag| tag.0.clone())
        };
        let tags = [&columns.command, &columns.feedback].map(|column| tag(column).unwrap_or_default());
        EventLog { form, tags, values: [None; 2], group: None, last: None, period: None }
    }

    /// The same before its first line.
    pub(crate) fn restarted(&self) -> EventLog {
        EventLog { values: [None; 2], group: None, last: None, ..self.clone() }
    }

    /// What the lines are, from the first of them: notes, or what is wrong.
    pub(crate) fn examine(&mut self, lines: &[&[u8]]) -> Result<Vec<String>, String> {
        let mut events = Vec::new();
        for line in lines {
            let event = self.event(line).ok().flatten();
            events.extend(event.and_then(|(at, time, value)| Some((at, time, value.ok()?))));
        }
        let turns = events.windows(2).filter(|pair| pair[0].0 != pair[1].0).count();
        if turns < 2 {
            return Err(format!(
                "the lines are sorted by name, those of {} and {} apart",
                self.tags[0], self.tags[1]
            ));
        }
        let [command, feedback] = &self.tags;
        let mut notes = vec![format!(
            "an event log: rows are made of '{command}' and '{feedback}', each as last written"
        )];
        let of = |at: usize| events.iter().filter(move |event| event.0 == at);
        let together = of(0).filter(|event| of_time(&events, 1, event.1)).count();
        if together == 0 {
            notes.push(
                "command and feedback have different time stamps; the rows are at those of feedback"
                    .to_string(),
            );
        }
        let changes = |at: usize| {
            let values: Vec<Decimal> = of(at).map(|event| event.2).collect();
            values.windows(2).all(|pair| pair[0].minus(pair[1]) != 0.0)
        };
        if events.len() >= CHANGES && changes(0) && changes(1) {
            let mut steps: Vec<f64> = events.windows(2).map(|pair| pair[1].1.minus(pair[0].1)).collect();
            steps.retain(|&step| step > 0.0);
            steps.sort_by(f64::total_cmp);
            self.period = steps.get(steps.len() / 2).copied();
            notes.push(
                "the log holds changes only; between them the values are taken as unchanged".to_string(),
            );
        }
        Ok(notes)
    }

    /// Signal (0 command, 1 feedback), time and value of a line; `None` for another signal.
    fn event(&self, line: &[u8]) -> Result<Option<(usize, Decimal, Result<Decimal, Fault>)>, Fault> {
        let [at_time, at_tag, at_value] = self.form.cells;
        let cell = |at: usize| self.form.dialect.cells(line).nth(at);
        let tag = text(cell(at_tag).unwrap_or_default());
        let Some(at) = self.tags.iter().position(|known| *known == tag) else { return Ok(None) };
        let signal = [Signal::Command, Signal::Feedback][at];
        let read = |cell: Option<&[u8]>, signal: Signal| {
            let cell = cell.ok_or(Fault::Missing { signal })?;
            let figure = number::parse(cell, self.form.dialect.decimal);
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
    let count = (to.saturating_sub(from) - step / 2 - 1) / step;
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
                let name = |(name, unit): &(String, Option<String>)| {
                    name.clone() + unit.as_deref().unwrap_or_default()
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
            tags: vec![("c".into(), None), ("f".into(), None)],
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
