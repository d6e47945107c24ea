//! In: the lines of a text recording. Out: its layout, then the numbers of every row.

use crate::error::Error;
use crate::trace::cell::Dialect;
use crate::trace::choice::{self, Choice};
use crate::trace::columns::{self, Column, Columns, Table};
use crate::trace::effort_column::EffortColumn;
use crate::trace::event_log::{self, EventLog};
use crate::trace::head::{self, Head};
use crate::trace::held::Held;
use crate::trace::job_column::{self, JobColumn};
use crate::trace::place::Place;
use crate::trace::reader::RowReader;
use crate::trace::row_parser::RowParser;
use crate::trace::rows::{Fault, Row};
use crate::trace::sniff::{self, Failure, Found, census};
use crate::trace::survey::{Figures, Survey};
use crate::trace::text_lines::{End, TextLine, TextLines, split};
use crate::trace::two_clocks::Cells;
use crate::trace::{stamp, unit};
use memchr::memchr;
use std::io::{self, Read};

/// Largest part of the head that is examined for delimiter and decimal sign. Unit: lines, bytes
const SNIFFED: (usize, usize) = (400, 1 << 17);

/// Fewest lines examined, enough for header, units and two rows even with thousands of columns. Unit: lines
const MIN_LINES: usize = 4;

/// Number of rows that decide whether a column holds numbers. Unit: rows
const PROBED: usize = 10;

/// A text recording, open for reading.
pub(crate) struct Text<R> {
    lines: TextLines<R>,
    rules: Rules,
    /// Where each line holds one value.
    log: Option<EventLog>,
}

/// Rules for classifying a line.
struct Rules {
    parser: RowParser,
    held: Held,
    /// Where command and feedback have a time each.
    clocks: Option<Cells>,
    dialect: Dialect,
    /// Where rows have the number of the product.
    job: Option<JobColumn>,
    /// Where the effort is wanted.
    effort: Option<EffortColumn>,
    /// Cells in a row.
    width: usize,
    /// Header and units row, which are repeated where files were joined.
    repeated: Vec<Vec<u8>>,
}

impl<R: Read> Text<R> {
    /// Detects the layout of the recording; `windows` are pieces from further on in the file.
    pub(crate) fn open(
        file: &str,
        mut lines: TextLines<R>,
        windows: &[Vec<u8>],
        choice: &Choice,
    ) -> Result<(Text<R>, RowReader), Error> {
        if lines.head().trim_ascii().is_empty() {
            return Err(Error::Empty { file: file.to_string() });
        }
        let cut = whole_lines(&lines);
        let texts: Vec<&[u8]> = cut.iter().map(|&(_, line)| line).collect();
        let found = sniff(file, &texts, windows, choice)?;
        let head = head_of(file, &texts, &found, choice)?;
        let (first, place) = (head.first, Place { file, line: head.first as u64 + 1 });
        let described = describe(&texts, &head, &found);
        let table = table(file, &head, &described);
        let (columns, mut log) = match columns::choose(table, choice) {
            Ok(columns) if !columns.assumed => (columns, None),
            columns => choose_log(place, &texts, &head, &found, choice, columns)?,
        };
        let notes = log.as_mut().map(|log| log.examine(&texts[first..])).transpose();
        let notes = notes.map_err(|wrong| place.error(wrong, "sort the lines by time"))?.unwrap_or_default();
        let (terminator, whole) = (lines.terminator(), lines.is_whole());
        let pieces = Pieces { lines: &texts, first, windows, terminator, whole };
        let (job, job_note) = match &log {
            Some(_) => no_job_in_log(place, choice)?,
            None => JobColumn::find(table, &columns, choice, found.dialect)?.unzip(),
        };
        let effort = EffortColumn::find(table, &columns, choice, found.dialect)?.filter(|_| log.is_none());
        let rules = Rules { job, effort, ..Rules::find(&head, &found, &pieces, &columns, log.is_some()) };
        let clocks = two_clocks(&pieces, &columns, found.dialect, choice).filter(|_| log.is_none());
        let mut reader = rules.reader(&pieces, (&columns, log.as_ref()), clocks.as_ref(), choice, place)?;
        log.iter().for_each(|log| prepare_for_log(&mut reader, log));
        if !rules.held.is_active() {
            reader.note_sampled();
        }
        head.note.iter().chain(&notes).chain(&job_note).for_each(|note| reader.note(note));
        lines.skip(cut[first].0, first as u64);
        Ok((Text { lines, rules: Rules { clocks: clocks.map(|(cells, ..)| cells), ..rules }, log }, reader))
    }

    /// Reads until `out` holds `enough` rows or the file ends; `false` at the end.
    pub(crate) fn read(
        &mut self,
        reader: &mut RowReader,
        enough: usize,
        out: &mut Vec<Row>,
    ) -> Result<bool, Stop> {
        if let Some(log) = &mut self.log {
            return self.rules.read_log(&mut self.lines, log, reader, enough, out);
        }
        let mut figures = Figures::default();
        let is_plain = !self.rules.held.is_active() && self.rules.clocks.is_none();
        while out.len() < enough {
            let line = match self.lines.buffered() {
                Some((bytes, number)) if is_plain && self.rules.parser.fast(bytes, &mut figures) => {
                    self.rules.beside(bytes, number, out);
                    reader.row(number, &figures, out);
                    continue;
                }
                Some((bytes, number)) => TextLine { bytes, number, end: End::Whole },
                None => match self.lines.next()? {
                    Some(line) => line,
                    None => return Ok(false),
                },
            };
            self.rules.other_line(line, reader, out)?;
        }
        Ok(true)
    }
}

/// Why reading ends early.
#[derive(Debug)]
pub(crate) enum Stop {
    /// The system reported an error.
    Medium(io::Error),
    /// A different header begins at this line.
    Header(u64),
    /// Too many rows could not be read: line of the first, what is wrong, and the remedy.
    Unread((u64, String, String)),
}

impl From<io::Error> for Stop {
    fn from(error: io::Error) -> Stop {
        Stop::Medium(error)
    }
}

impl Rules {
    /// Without the cells of two clocks and the job.
    fn find(head: &Head, found: &Found, pieces: &Pieces<'_>, columns: &Columns, is_log: bool) -> Rules {
        let parser = RowParser::new(found.dialect, columns);
        let held = match is_log {
            true => Held::default(),
            false => Held::find(&parser, pieces.lines[head.first..].iter().copied().take(SNIFFED.0)),
        };
        let from = head.header.as_ref().map_or(head.first, |header| header.at);
        let repeated = pieces.lines[..head.first].iter().skip(from);
        let repeated = repeated.map(|line| line.trim_ascii().to_vec()).collect();
        Rules {
            parser,
            held,
            clocks: None,
            job: None,
            effort: None,
            dialect: found.dialect,
            width: found.width,
            repeated,
        }
    }

    /// Surveys the rows, and decides how they are converted.
    fn reader(
        &self,
        pieces: &Pieces<'_>,
        (columns, log): (&Columns, Option<&EventLog>),
        clocks: Option<&(Cells, Survey, Survey)>,
        choice: &Choice,
        place: Place<'_>,
    ) -> Result<RowReader, Error> {
        let survey = match clocks {
            Some((_, by_feedback, _)) => by_feedback.clone(),
            None => pieces.survey(|lines, first| figures(lines, first, &self.parser, &self.held, log)),
        };
        if survey.first().is_none() {
            return Err(unreadable(place, &pieces.lines[pieces.first..], &self.parser));
        }
        let mut reader = RowReader::new(columns, &survey, choice, place)?;
        note_held(&mut reader, &self.held, clocks.is_some());
        if let Some((_, _, commands)) = clocks {
            reader.merge(commands);
            reader.note(&format!(
                "feedback has times of its own in column '{}'; the command is interpolated there",
                columns.feedback_time.as_ref().map_or("", |column| &column.name)
            ));
        }
        if pieces.lines[..pieces.first].iter().any(|line| is_invented(line)) {
            reader.note("its first lines say that its data are invented");
        }
        reader.layout.delimiter = char::from(self.dialect.delimiter);
        reader.layout.decimal = char::from(self.dialect.decimal);
        reader.layout.effort = self.effort.as_ref().map(|effort| effort.name.clone());
        Ok(reader)
    }

    /// Reads what a row has beside time, command and feedback.
    fn beside(&mut self, line: &[u8], number: u64, out: &mut Vec<Row>) {
        self.job.iter_mut().for_each(|job| job.step(line, number, out));
        self.effort.iter().for_each(|effort| effort.step(line, number, out));
    }

    /// Handles a line that is not a plain row.
    #[cold]
    fn other_line(
        &mut self,
        line: TextLine<'_>,
        reader: &mut RowReader,
        out: &mut Vec<Row>,
    ) -> Result<(), Stop> {
        let bytes = line.bytes.trim_ascii();
        if self.skips(line, reader, out) {
        } else if line.end == End::Whole && head::is_header(bytes, self.dialect, self.width) {
            // From here on the columns have other meanings, so reading on would give wrong results.
            return Err(Stop::Header(line.number));
        } else if is_comment(bytes) {
            reader.note("comments between the rows were ignored");
        } else if line.end == End::Last && census(bytes, self.dialect).0 < self.width {
            reader.note(&incomplete(line));
        } else {
            self.beside(line.bytes, line.number, out);
            if let Some(pairs) =
                self.clocks.map(|cells| cells.pairs(line.bytes)).filter(|pairs| *pairs != [None; 2])
            {
                reader.pairs(line.number, pairs, out);
                return Ok(());
            }
            let figures = match self.held.is_active() {
                true => self.held.figures(&self.parser, line.bytes),
                false => self.parser.figures(line.bytes).map(Some),
            };
            match figures {
                Ok(Some(figures)) => reader.row(line.number, &figures, out),
                Ok(None) => reader.pass(),
                Err(_) if line.end == End::Last => reader.note(&incomplete(line)),
                Err(fault) => reader.bad(line.number, fault, out),
            }
        }
        Ok(())
    }

    /// Handles a line that is no row: one that is too long, empty, or a header again.
    fn skips(&self, line: TextLine<'_>, reader: &mut RowReader, out: &mut Vec<Row>) -> bool {
        let bytes = line.bytes.trim_ascii();
        if line.end == End::TooLong {
            reader.bad(line.number, Fault::TooLong, out);
        } else if self.repeated.iter().any(|known| known.eq_ignore_ascii_case(bytes)) {
            reader.note("repeated headers were ignored");
        } else {
            // An empty line, or one of delimiters only, as spreadsheets write.
            return self.dialect.cells(bytes).all(<[u8]>::is_empty);
        }
        true
    }

    /// Reads the lines of an event log.
    fn read_log<R: Read>(
        &self,
        lines: &mut TextLines<R>,
        log: &mut EventLog,
        reader: &mut RowReader,
        enough: usize,
        out: &mut Vec<Row>,
    ) -> Result<bool, Stop> {
        while out.len() < enough {
            let Some(line) = lines.next()? else {
                log.finish(&mut |number, figures| reader.row(number, figures, out));
                return Ok(false);
            };
            if self.skips(line, reader, out) || is_comment(line.bytes.trim_ascii()) {
                continue;
            }
            let pushed = match log.commands() {
                Some(_) => log.pairs(line.bytes).map(|pairs| reader.pairs(line.number, pairs, out)),
                None => {
                    log.push(line.bytes, line.number, &mut |number, figures| reader.row(number, figures, out))
                }
            };
            match pushed {
                Ok(()) => {}
                Err(_) if line.end == End::Last => reader.note(&incomplete(line)),
                Err(fault) => reader.bad(line.number, fault, out),
            }
        }
        Ok(true)
    }
}

fn is_comment(line: &[u8]) -> bool {
    line.starts_with(b"#") || line.starts_with(b"%") || line.starts_with(b"//")
}

/// Whether a comment says that the data are invented, as that of every rehearsal does.
fn is_invented(line: &[u8]) -> bool {
    let words = b"invented data";
    is_comment(line.trim_ascii()) && line.windows(words.len()).any(|part| part.eq_ignore_ascii_case(words))
}

fn incomplete(line: TextLine<'_>) -> String {
    format!("the last line ({}) is incomplete and was ignored", line.number)
}

/// The lines of the head with their offsets, without one that may go on behind it.
fn whole_lines<R: Read>(lines: &TextLines<R>) -> Vec<(usize, &[u8])> {
    let mut cut: Vec<(usize, &[u8])> = split(lines.head(), lines.terminator()).collect();
    if !lines.is_whole() && cut.len() > 1 {
        cut.pop();
    }
    cut
}

fn sniff(file: &str, lines: &[&[u8]], windows: &[Vec<u8>], choice: &Choice) -> Result<Found, Error> {
    let (delimiter, decimal) = (choice::delimiter(choice)?, choice::decimal(choice)?);
    let mut bytes = 0;
    let few = lines.iter().take(SNIFFED.0).take_while(|line| {
        bytes += line.len();
        bytes <= SNIFFED.1
    });
    let few = &lines[..few.count().max(MIN_LINES).min(lines.len())];
    let mut found = sniff::sniff(few, delimiter, decimal).map_err(|failure| match failure {
        Failure::NoRows => Error::NoRows { file: file.to_string(), line: few.len() as u64 },
        Failure::Undecided(first, second, at) => Error::Undecided {
            file: file.to_string(),
            line: at as u64 + 1,
            first: first.describe(),
            second: second.describe(),
        },
    })?;
    // The head has whole numbers only: a sign further on decides.
    if decimal.is_none() && found.dialect.delimiter != b',' && found.dialect.decimal == b'.' {
        let pieces = || lines[found.first..].iter().copied().chain(windows.iter().map(Vec::as_slice));
        let has = |sign: u8| pieces().any(|piece| memchr(sign, piece).is_some());
        if !has(b'.') && has(b',') {
            found.dialect.decimal = b',';
        }
    }
    Ok(found)
}

/// The head of the lines; none where the columns are chosen by number.
fn head_of(file: &str, lines: &[&[u8]], found: &Found, choice: &Choice) -> Result<Head, Error> {
    head::find(lines, found).or_else(|mismatch| {
        let headless = || Head { header: None, units: Vec::new(), first: found.first, note: None };
        choice.is_by_number().then(headless).ok_or_else(|| mismatched(file, mismatch, found))
    })
}

fn mismatched(file: &str, mismatch: head::Mismatch, found: &Found) -> Error {
    let place = Place { file, line: mismatch.at as u64 + 1 };
    let wrong = format!("the header has {} columns, but the rows have {}", mismatch.names, found.width);
    let remedy = if found.dialect.delimiter == b',' && found.width == 2 * mismatch.names {
        "if the comma is also the decimal sign, export with ';' between columns"
    } else {
        "choose the columns by number, as in --time 1:s --command 2 --feedback 3, or give --delimiter and --decimal"
    };
    place.error(wrong, remedy)
}

/// Name, unit and type of every column.
fn describe(lines: &[&[u8]], head: &Head, found: &Found) -> Vec<Column> {
    let mut kinds = vec![Column { whole: true, ..Column::default() }; found.width];
    for line in lines[found.first..].iter().take(PROBED) {
        for (kind, cell) in kinds.iter_mut().zip(found.dialect.cells(line)) {
            kind.numeric |= sniff::figure(cell, found.dialect.decimal).is_some();
            kind.stamped |= stamp::parse(cell).is_some();
            kind.whole &= cell.is_empty() || job_column::job(cell, found.dialect.decimal).is_some();
        }
    }
    let column = |(index, kind): (usize, Column)| {
        let name = head.header.as_ref().and_then(|header| header.names.get(index));
        let name = name.filter(|name| !name.is_empty()).cloned();
        let below = head.units.get(index).cloned().flatten();
        let unit = below.or_else(|| name.as_deref().and_then(|name| unit::split(name).1));
        Column { index, name: name.unwrap_or_else(|| (index + 1).to_string()), unit, ..kind }
    };
    kinds.into_iter().enumerate().map(column).collect()
}

fn table<'a>(file: &'a str, head: &Head, columns: &'a [Column]) -> Table<'a> {
    let line = head.header.as_ref().map_or(head.first, |header| header.at) as u64 + 1;
    Table { columns, named: head.header.is_some(), file, line }
}

/// An event log has no rows that a job or an effort could stand in.
fn no_job_in_log(place: Place<'_>, choice: &Choice) -> Result<(Option<JobColumn>, Option<String>), Error> {
    let option = choice.job.as_ref().map(|_| "--job").or(choice.effort.as_ref().map(|_| "--effort"));
    match option {
        None => Ok((None, None)),
        Some(option) => Err(place.error(
            format!("each line holds one value, so no column can hold that of {option}"),
            "leave it out, or export one row for each instant",
        )),
    }
}

/// The columns of an event log, if the lines are one; otherwise `columns`, which were chosen without that.
fn choose_log(
    place: Place<'_>,
    lines: &[&[u8]],
    head: &Head,
    found: &Found,
    choice: &Choice,
    columns: Result<Columns, Error>,
) -> Result<(Columns, Option<EventLog>), Error> {
    let names = head.header.as_ref().map(|header| header.names.as_slice()).unwrap_or_default();
    let Some(form) = event_log::detect(&lines[found.first..], names, found) else {
        return Ok((columns?, None));
    };
    let signals = form.columns(names, &head.units);
    let table = Table { columns: &signals, named: true, file: place.file, line: place.line };
    match (columns::choose(table, choice), columns) {
        (Ok(_), _) if choice.rate.is_some() => {
            let wrong = "each line holds one value, and only its time shows which lines belong together";
            Err(place.error(wrong, "leave --rate out"))
        }
        (Ok(chosen), _) => Ok((chosen.clone(), Some(EventLog::new(form, &chosen)))),
        (Err(_), Ok(columns)) => Ok((columns, None)),
        (Err(error), Err(_)) => Err(error),
    }
}

/// The rows are made of the lines of an event log.
fn prepare_for_log(reader: &mut RowReader, log: &EventLog) {
    reader.is_log = true;
    log.commands().into_iter().for_each(|commands| reader.merge(commands));
    reader.layout.has_command_clock |= log.has_command_clock;
}

/// The numbers of every readable row, with its line; the first of the lines has the number `first`.
fn figures(
    lines: &[&[u8]],
    first: u64,
    parser: &RowParser,
    held: &Held,
    log: Option<&EventLog>,
) -> Vec<(u64, Figures)> {
    let Some(log) = log else {
        let mut held = held.clone();
        let parse = |line: &[u8]| match held.is_active() {
            true => held.figures(parser, line).ok().flatten(),
            false => parser.figures(line).ok(),
        };
        return readable(lines, first, parse);
    };
    let (mut log, mut rows) = (log.restarted(), Vec::new());
    for (line, number) in lines.iter().zip(first..) {
        log.push(line, number, &mut |number, figures| rows.push((number, *figures))).ok();
    }
    rows
}

/// The numbers of the lines that `parse` can read, with the numbers of the lines from `first` on.
fn readable(
    lines: &[&[u8]],
    first: u64,
    mut parse: impl FnMut(&[u8]) -> Option<Figures>,
) -> Vec<(u64, Figures)> {
    lines.iter().zip(first..).filter_map(|(line, number)| Some((number, parse(line)?))).collect()
}

/// The lines of the head, and pieces from further on.
struct Pieces<'a> {
    lines: &'a [&'a [u8]],
    /// Index of the first row.
    first: usize,
    windows: &'a [Vec<u8>],
    terminator: u8,
    /// Whether the lines are the whole recording.
    whole: bool,
}

impl Pieces<'_> {
    /// The rows that `figures` makes of lines; the first of these lines has the number that is given to it.
    fn survey(&self, figures: impl Fn(&[&[u8]], u64) -> Vec<(u64, Figures)>) -> Survey {
        // Windows from further on are more informative than the rest of the head.
        let most = if self.windows.is_empty() { self.lines.len() } else { self.first + SNIFFED.0 };
        let rows = figures(&self.lines[self.first..most.min(self.lines.len())], self.first as u64 + 1);
        let (lines, head): (Vec<u64>, Vec<Figures>) = rows.into_iter().unzip();
        let pieces = self.windows.iter().map(|window| {
            // The first and last line of a window are incomplete.
            let lines: Vec<&[u8]> = split(window, self.terminator).map(|(_, line)| line).collect();
            let inner = lines.get(1..lines.len().saturating_sub(1)).unwrap_or_default();
            figures(inner, 0).into_iter().map(|(_, figures)| figures).collect()
        });
        let pieces = core::iter::once(head).chain(pieces).collect();
        Survey { pieces, lines, whole: self.whole }
    }
}

/// The cells of two clocks, and the rows by the times of the feedback and by those of the command; `None` if both signals
/// have the same time, or the second column does not increase like a time.
fn two_clocks(
    pieces: &Pieces<'_>,
    columns: &Columns,
    dialect: Dialect,
    choice: &Choice,
) -> Option<(Cells, Survey, Survey)> {
    let (time, other) = columns.time.as_ref().zip(columns.feedback_time.as_ref())?;
    let places = [(time.index, columns.command.index), (other.index, columns.feedback.index)];
    let cells = Cells { places, dialect };
    let by_time_of = |signal: usize| {
        let parse = move |line: &[u8]| match cells.pairs(line) {
            [Some(command), Some(feedback)] => Some([[command, feedback][signal].0, command.1, feedback.1]),
            _ => None,
        };
        pieces.survey(|lines, first| readable(lines, first, parse))
    };
    let (by_command, by_feedback) = (by_time_of(0), by_time_of(1));
    (by_feedback.increases() || choice.feedback_time.is_some()).then_some((cells, by_feedback, by_command))
}

/// Notes on a signal that is written in every n-th row only.
fn note_held(reader: &mut RowReader, held: &Held, two_clocks: bool) {
    if two_clocks {
        return;
    }
    let [_, command, feedback] = held.every;
    let rows = |every: usize| format!("is written in one of {every} rows");
    if command > 1 {
        reader.note(&format!("command {}; in the others it counts as held", rows(command)));
        reader.layout.command_period_s =
            reader.layout.sample_period_s * command as f64 / feedback.max(1) as f64;
    }
    if feedback > 1 {
        reader.note(&format!("feedback {}; the others are no samples", rows(feedback)));
    }
}

/// The error if no row of the head can be used, with the fault of the first.
fn unreadable(place: Place<'_>, lines: &[&[u8]], parser: &RowParser) -> Error {
    let fault = lines.iter().find_map(|line| parser.figures(line).err());
    let wrong = fault.map_or("there are no rows".to_string(), |fault| fault.to_string());
    place.error(wrong, "choose other columns with --time, --command and --feedback, or give --rate HZ")
}
