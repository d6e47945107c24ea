//! In: the chosen columns, the surveyed rows, then every row. Out: the layout, then readings and gaps.

use crate::error::Error;
use crate::trace::choice::Choice;
use crate::trace::clock::{Clock, Stamped};
use crate::trace::columns::Columns;
use crate::trace::layout::{CommandNoise, Layout, Signal};
use crate::trace::rows::{Fault, Faults, Row};
use crate::trace::scale::{Misfit, Scale};
use crate::trace::survey::{Figures, Survey};
use crate::trace::timebase::Timebase;
use crate::trace::two_clocks::{Merge, Merged, Pair};
use crate::trace::{noise, unit};

/// Name of an unknown unit.
const UNNAMED: &str = "unit";

/// Converts the numbers of rows, from any source, to readings.
#[derive(Clone, Debug)]
pub(crate) struct RowReader {
    scale: Scale,
    clock: Clock,
    /// Whether the numbers of feedback are the following error.
    is_error: bool,
    /// Where command and feedback have a clock each.
    merge: Option<Merge>,
    /// Number of rows so far, good or bad.
    index: i64,
    /// Whether a note on rounding exists already.
    coarse: bool,
    /// Layout of the recording.
    pub(crate) layout: Layout,
    /// Faults so far.
    pub(crate) faults: Faults,
}

/// File and line of a message.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Place<'a> {
    /// Name of the recording.
    pub(crate) file: &'a str,
    /// Line of its first row.
    pub(crate) line: u64,
}

impl Place<'_> {
    /// An error at this place.
    pub(crate) fn error(self, wrong: impl Into<String>, remedy: impl Into<String>) -> Error {
        Error::Recording {
            file: self.file.to_string(),
            line: self.line,
            wrong: wrong.into(),
            remedy: remedy.into(),
        }
    }
}

impl RowReader {
    /// Chooses unit, ticks and counts from the surveyed rows.
    pub(crate) fn new(
        columns: &Columns,
        survey: &Survey,
        choice: &Choice,
        place: Place<'_>,
    ) -> Result<RowReader, Error> {
        let mut notes = Vec::new();
        let (unit, known) = name_unit(columns, choice, place, &mut notes)?;
        let scale = scale(survey, choice, &unit, known, place)?;
        let timebase = timebase(columns, survey, choice, place)?;
        add_notes(columns, survey, scale, &timebase, choice, &mut notes);
        let clock = Clock::new(timebase);
        let origin = survey.first().and_then(|row| clock.time(row[0], 0)).unwrap_or(0);
        let layout = Layout {
            delimiter: ',',
            decimal: '.',
            columns: (
                columns.time.as_ref().map(|column| column.name.clone()),
                columns.command.name.clone(),
                columns.feedback.name.clone(),
            ),
            unit,
            counts_per_unit: choice.counts_per_unit.unwrap_or(scale.counts_per_unit()),
            ticks_per_second: timebase.ticks_per_second,
            origin_s: origin as f64 / f64::from(timebase.ticks_per_second),
            encoder_step: survey.step(scale.places),
            sample_period_s: timebase.period_s,
            command_period_s: 0.0,
            command_noise: command_noise(survey, scale),
            notes,
        };
        let coarse = survey.decimals() as i32 > scale.places;
        Ok(RowReader {
            scale,
            clock,
            is_error: columns.is_error,
            merge: None,
            index: 0,
            coarse,
            layout,
            faults: Faults::default(),
        })
    }

    /// Converts the numbers of one row.
    #[inline]
    pub(crate) fn row(&mut self, line: u64, figures: &Figures, out: &mut Vec<Row>) {
        let at = self.clock.time(figures[0], self.index);
        let (command, feedback) = (self.scale.apply(figures[1]), self.scale.apply(figures[2]));
        if let (Some(at), Ok(command), Ok(feedback)) = (at, command, feedback) {
            self.index += 1;
            let feedback = self.feedback(command, feedback);
            self.clock.step(Stamped { line, at, command, feedback }, out);
        } else {
            let misfits = [at.ok_or(Misfit::TooLarge).err(), command.err(), feedback.err()];
            self.misfit(line, figures, misfits, out);
        }
    }

    /// The feedback of a command and a number of the feedback's column. Unit: counts
    #[inline]
    fn feedback(&self, command: i32, number: i32) -> i32 {
        if self.is_error { command.wrapping_sub(number) } else { number }
    }

    /// Command and feedback have a clock each; the times of commands are those of `survey`.
    pub(crate) fn merge(&mut self, survey: &Survey) {
        self.merge = Some(Merge::new(self.clock.timebase().hole_in(survey)));
    }

    /// Converts the numbers of one row with two times; a signal that has none may come in other rows.
    pub(crate) fn pairs(&mut self, line: u64, pairs: [Option<Pair>; 2], out: &mut Vec<Row>) {
        let Some(mut merge) = self.merge.take() else { return };
        for (signal, pair) in [Signal::Command, Signal::Feedback].into_iter().zip(pairs) {
            let Some((time, figure)) = pair else { continue };
            match (self.clock.time(time, 0), self.scale.apply(figure)) {
                (Some(at), Ok(count)) if signal == Signal::Command => merge.command(at, count),
                (Some(at), Ok(count)) => merge.feedback(line, at, count),
                _ => self.bad(line, Fault::TooLarge { signal, text: figure.to_string().into() }, out),
            }
        }
        while let Some(merged) = merge.next() {
            match merged {
                Merged::Sample(line, at, command, number) => {
                    let feedback = self.feedback(command, number);
                    self.clock.step(Stamped { line, at, command, feedback }, out);
                }
                Merged::Hole(line, ticks) => {
                    let seconds = ticks as f64 / f64::from(self.layout.ticks_per_second);
                    out.push(Row::Gap { line, fault: Fault::Hole { seconds } });
                }
            }
        }
        self.merge = Some(merge);
    }

    /// Reports the first number that is out of range or not whole.
    #[cold]
    fn misfit(&mut self, line: u64, figures: &Figures, misfits: [Option<Misfit>; 3], out: &mut Vec<Row>) {
        for ((signal, figure), misfit) in Signal::ALL.into_iter().zip(figures).zip(misfits) {
            let text = figure.to_string().into();
            match misfit {
                Some(Misfit::NotWhole) => return self.bad(line, Fault::NotWhole { signal, text }, out),
                Some(Misfit::TooLarge) => return self.bad(line, Fault::TooLarge { signal, text }, out),
                None => {}
            }
        }
    }

    /// A row that is no sample.
    pub(crate) fn pass(&mut self) {
        self.index += 1;
    }

    /// Reports a faulty row.
    #[cold]
    pub(crate) fn bad(&mut self, line: u64, fault: Fault, out: &mut Vec<Row>) {
        self.index += 1;
        self.clock.drop_row();
        out.push(Row::Gap { line, fault });
    }

    /// Ends the rows.
    pub(crate) fn finish(&mut self, out: &mut Vec<Row>) {
        self.clock.finish(out);
    }

    /// Adds a note, once.
    pub(crate) fn note(&mut self, note: &str) {
        if !self.layout.notes.iter().any(|known| known == note) {
            self.layout.notes.push(note.to_string());
        }
    }

    /// Counts the faults of a block of rows and adds notes.
    pub(crate) fn tally(&mut self, rows: &[Row]) {
        for row in rows {
            if let Row::Gap { line, fault } = row {
                self.faults.add(*line, fault, &self.layout);
            }
        }
        if self.scale.rounded && !self.coarse {
            self.note(&format!(
                "some positions have more decimals than counts can hold; they are rounded to 1/{} {}",
                self.layout.counts_per_unit.numerator(),
                self.layout.unit
            ));
        }
        if self.scale.overspans() {
            self.note("positions span 2^31 counts or more; travel and overshoot of a longer move are wrong");
        }
        if self.scale.wrapped {
            self.note("some counts exceed 32 bits and wrap; moves are not affected");
        }
    }
}

/// The unit of both positions in the header.
fn header_unit(
    columns: &Columns,
    place: Place<'_>,
    notes: &mut Vec<String>,
) -> Result<Option<String>, Error> {
    let written = |unit: &Option<String>| unit.as_deref().map(unit::position);
    match (written(&columns.command.unit), written(&columns.feedback.unit)) {
        (Some(command), Some(feedback)) if command != feedback => {
            let wrong = format!("command is in {command}, but feedback in {feedback}");
            Err(place.error(wrong, "export both in the same unit, or choose other columns"))
        }
        (Some(unit), None) | (None, Some(unit)) => {
            notes.push(format!("only one of command and feedback has a unit; both are taken as {unit}"));
            Ok(Some(unit))
        }
        (command, _) => Ok(command),
    }
}

/// The unit of both positions, and whether it is known from the header or an option.
fn name_unit(
    columns: &Columns,
    choice: &Choice,
    place: Place<'_>,
    notes: &mut Vec<String>,
) -> Result<(String, bool), Error> {
    let header = header_unit(columns, place, notes)?;
    let given = choice.counts_per_unit.is_some();
    match (&choice.unit, header) {
        (Some(unit), Some(header)) if header == unit::COUNT && !given && unit::position(unit) != header => {
            let wrong = format!("the columns are in counts, not in {unit}");
            Err(place.error(wrong, format!("give the number of counts in one {unit} with --counts-per-unit")))
        }
        (unit, Some(header)) if given => {
            if header != unit::COUNT {
                notes.push(format!(
                    "the header has the unit {header}, but with --counts-per-unit the columns are taken as counts"
                ));
            }
            Ok((unit.clone().unwrap_or_else(|| UNNAMED.to_string()), true))
        }
        (Some(unit), header) => {
            if let Some(header) = header.filter(|header| *header != unit::position(unit)) {
                notes.push(format!(
                    "the header has the unit {header}, but --unit says {unit}; nothing is converted"
                ));
            }
            Ok((unit.clone(), true))
        }
        (None, Some(header)) => Ok((header, true)),
        (None, None) => Ok((UNNAMED.to_string(), false)),
    }
}

fn scale(
    survey: &Survey,
    choice: &Choice,
    unit: &str,
    known: bool,
    place: Place<'_>,
) -> Result<Scale, Error> {
    match (choice.counts_per_unit, survey.fraction()) {
        (Some(_), Some((line, figure))) => {
            let wrong =
                format!("{figure} is not a whole number, but with --counts-per-unit the columns hold counts");
            let remedy = "omit --counts-per-unit if the columns are in a unit already";
            Err(Place { line, ..place }.error(wrong, remedy))
        }
        (Some(_), None) => Ok(Scale::counts()),
        (None, None) if unit::position(unit) == unit::COUNT => Ok(Scale::counts()),
        (None, _) => Ok(Scale::units(survey, known)),
    }
}

/// Noise of the command in counts.
fn command_noise(survey: &Survey, scale: Scale) -> Option<CommandNoise> {
    let noise = noise::command(survey)?;
    let counts = 10f64.powi(scale.places);
    let dead_band = (noise.dead_band * counts).ceil().max(1.0) as u32;
    Some(CommandNoise { rms: noise.rms * counts, dead_band })
}

fn timebase(
    columns: &Columns,
    survey: &Survey,
    choice: &Choice,
    place: Place<'_>,
) -> Result<Timebase, Error> {
    match (choice.rate, &columns.time) {
        (None, Some(_)) if survey.is_single() => {
            Err(place.error("there is only one readable row", "export the whole recording"))
        }
        (None, Some(column)) => Timebase::stamped(column, survey).map_err(|wrong| {
            let name = shell_word(&column.name);
            place.error(wrong, format!("give --time {name}:ms (or s, us, ns in place of ms), or --rate HZ"))
        }),
        (Some(rate), _) => {
            Timebase::even(rate).map_err(|wrong| place.error(wrong, "give the rate as a fraction"))
        }
        (None, None) => Err(place.error("there is no time column", "give --rate HZ")),
    }
}

/// A name as it is typed in a shell.
fn shell_word(name: &str) -> String {
    let plain = |letter: char| letter.is_alphanumeric() || matches!(letter, '_' | '-' | '.' | '/' | ':');
    if name.chars().all(plain) { name.to_string() } else { format!("'{name}'") }
}

/// Adds notes on decisions that affect the results.
fn add_notes(
    columns: &Columns,
    survey: &Survey,
    scale: Scale,
    timebase: &Timebase,
    choice: &Choice,
    notes: &mut Vec<String>,
) {
    note_columns(columns, choice, notes);
    if timebase.per_row.is_none() {
        note_times(survey, timebase, notes);
    }
    if choice.counts_per_unit.is_none() {
        note_decimals(survey, scale, notes);
    }
}

fn note_columns(columns: &Columns, choice: &Choice, notes: &mut Vec<String>) {
    if columns.assumed {
        let order = if columns.time.is_some() { "time, command, feedback" } else { "command, feedback" };
        notes.push(format!("the columns have no names; they are taken as {order}"));
    }
    if let (true, Some(column)) = (choice.rate.is_none() && columns.assumed, &columns.time)
        && column.unit.is_none()
    {
        notes.push(format!("column {} is taken as time in seconds", column.name));
    }
    if columns.is_error {
        notes.push(format!(
            "feedback is command minus following error '{}' (command - feedback); for the other sign give --feedback-scale -1",
            columns.feedback.name
        ));
    }
    if let (Some(name), None) = (&columns.unused, choice.rate) {
        notes.push(format!(
            "column '{name}' is a time, too, and not used; with --feedback-time {name}, feedback is read at it"
        ));
    } else if let Some(name) = &columns.unused {
        notes.push(format!("--rate is given, so time column '{name}' is not used"));
    }
}

fn note_times(survey: &Survey, timebase: &Timebase, notes: &mut Vec<String>) {
    let (same, pairs) = survey.repeats();
    if same * 10 > pairs {
        notes.push(format!(
            "{same} of {pairs} time stamps repeat, so those rows are gaps; with --rate HZ the rows are equally spaced"
        ));
    }
    let period = timebase.period_s;
    if !(1e-6..=1.0).contains(&period) {
        notes.push(format!("rows are {period:e} s apart; check the unit of time, as in --time t:ms"));
    }
}

fn note_decimals(survey: &Survey, scale: Scale, notes: &mut Vec<String>) {
    let (needed, places) = (survey.decimals() as i32, scale.places);
    if needed <= places {
        return;
    }
    notes.push(if places < 0 {
        let step = 10f64.powi(-places);
        format!("positions are so large that 32 bits hold them only in steps of {step}; check their unit")
    } else {
        format!("positions have up to {needed} decimals; {places} of them fit into 32 bits")
    });
}
