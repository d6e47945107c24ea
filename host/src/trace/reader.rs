//! In: the chosen columns, the surveyed rows, then every row. Out: the layout, then readings and gaps.

use crate::error::Error;
use crate::trace::choice::Choice;
use crate::trace::clock::{Clock, Stamped};
use crate::trace::columns::{Column, Columns};
use crate::trace::layout::{CommandNoise, Layout, Signal};
use crate::trace::place::Place;
use crate::trace::position_unit;
use crate::trace::ratio::Ratio;
use crate::trace::rows::{Fault, Faults, Row};
use crate::trace::sampled::{self, HeldFeedback};
use crate::trace::scale::{Misfit, Scale};
use crate::trace::survey::{Figures, Survey};
use crate::trace::timebase::Timebase;
use crate::trace::two_clocks::{Merge, Merged, Pair};
use crate::trace::{noise, unit};

/// Least number of unread rows, and their share of all, 1 / this, above which the recording is untrusted. No source
const UNREAD: (i64, i64) = (10, 10);

/// Whether a note on rounding is made before the rows are read.
fn is_coarse(survey: &Survey, choice: &Choice, scale: Scale) -> bool {
    match scale.columns {
        Some(_) => choice.counts_per_unit.is_some(),
        None => survey.decimals() as i32 > scale.places,
    }
}

/// Converts the numbers of rows, from any source, to readings.
#[derive(Clone, Debug)]
pub(crate) struct RowReader {
    scale: Scale,
    clock: Clock,
    /// Whether the numbers of feedback are the following error.
    is_error: bool,
    /// Where command and feedback have a clock each.
    merge: Option<Merge>,
    /// Where feedback is sampled in some rows only.
    held: Option<HeldFeedback>,
    /// Number of rows so far, good or bad.
    index: i64,
    /// The rows that could not be read.
    unread: Unread,
    /// Whether a note on rounding exists already.
    coarse: bool,
    /// Whether the rows are made of an event log.
    pub(crate) is_log: bool,
    /// Layout of the recording.
    pub(crate) layout: Layout,
    /// Faults so far.
    pub(crate) faults: Faults,
}

/// The rows that could not be read.
#[derive(Clone, Debug)]
struct Unread {
    count: i64,
    /// Line and fault of the first.
    first: Option<(u64, Fault)>,
    /// A time column that is not used, though the feedback may have its times there.
    other_time: Option<String>,
}

impl Unread {
    fn of(columns: &Columns, choice: &Choice) -> Unread {
        Unread { count: 0, first: None, other_time: columns.unused.clone().filter(|_| choice.rate.is_none()) }
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
        let (unit, known) = position_unit::find(columns, choice, place, &mut notes)?;
        let (scale, command_scale) = scales(survey, choice, &unit, known, place)?;
        let timebase = timebase(columns, survey, choice, place)?;
        let (timebase, feedback_rows, command_period_s) = periods(survey, timebase);
        add_notes(columns, survey, scale, &timebase, choice, &mut notes);
        let clock = Clock::new(timebase);
        let origin = survey.first().and_then(|row| clock.time(row[0], 0)).unwrap_or(0);
        let layout = Layout {
            delimiter: ',',
            decimal: '.',
            columns: columns.names(),
            effort: None,
            unit,
            counts_per_unit: choice.counts_per_unit.unwrap_or(scale.counts_per_unit()),
            ticks_per_second: timebase.ticks_per_second,
            origin_s: origin as f64 / f64::from(timebase.ticks_per_second),
            command_scale,
            encoder_step: survey.step(|row| feedback_count(row, scale, command_scale, columns.is_error)),
            sample_period_s: timebase.period_s,
            command_period_s,
            has_command_clock: false,
            command_noise: command_noise(survey, scale),
            notes,
        };
        let coarse = is_coarse(survey, choice, scale);
        let (is_error, is_log, unread) = (columns.is_error, false, Unread::of(columns, choice));
        let held = HeldFeedback::of(feedback_rows);
        let (merge, index, faults) = (None, 0, Faults::default());
        Ok(RowReader { scale, clock, is_error, merge, held, index, unread, coarse, is_log, layout, faults })
    }

    /// Converts the numbers of one row.
    #[inline]
    pub(crate) fn row(&mut self, line: u64, figures: &Figures, out: &mut Vec<Row>) {
        let at = self.clock.time(figures[0], self.index);
        let (command, feedback) = (self.scale.apply(figures[1], 0), self.scale.apply(figures[2], 1));
        if let (Some(at), Ok(command), Ok(feedback)) = (at, command, feedback) {
            self.index += 1;
            if self.held.as_mut().is_some_and(|held| !held.is_sample(feedback)) {
                return;
            }
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
        if !self.is_error {
            return number;
        }
        scaled(command.into(), self.layout.command_scale).wrapping_sub(number.into()) as i32
    }

    /// Command and feedback have a clock each; the times of commands are those of `survey`.
    pub(crate) fn merge(&mut self, survey: &Survey) {
        // Seconds of a unit of time: that of the time base.
        self.layout.command_period_s = self.clock.timebase().seconds(survey.period().unwrap_or(0.0));
        self.layout.has_command_clock = true;
        self.held = None;
        self.merge = Some(Merge::new(self.clock.timebase().hole_in(survey)));
    }

    /// Converts the numbers of one row with two times; a signal that has none may come in other rows.
    pub(crate) fn pairs(&mut self, line: u64, pairs: [Option<Pair>; 2], out: &mut Vec<Row>) {
        let Some(mut merge) = self.merge.take() else { return };
        self.index += 1;
        for (signal, pair) in [Signal::Command, Signal::Feedback].into_iter().zip(pairs) {
            let Some((time, figure)) = pair else { continue };
            match (self.clock.time(time, 0), self.scale.apply(figure, signal as usize - 1)) {
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
        self.unread.count += 1;
        self.unread.first.get_or_insert_with(|| (line, fault.clone()));
        out.push(Row::Gap { line, fault });
    }

    /// What is wrong with the whole recording, if too many of its rows could not be read: line, words, remedy.
    pub(crate) fn distrust(&self) -> Option<(u64, String, String)> {
        let Unread { count, first, other_time } = &self.unread;
        let (least, share) = UNREAD;
        let (line, fault) = first.as_ref().filter(|_| *count > least && count * share > self.index)?;
        let wrong = format!("{count} of {} rows can't be read, the first because {fault}", self.index);
        let remedy = match other_time {
            Some(name) => format!("give --feedback-time {name}, which is a time, too"),
            None if fault.is_grouped() => "export numbers without separators of thousands".to_string(),
            None => "correct these rows, or leave them out".to_string(),
        };
        Some((*line, wrong, format!("{remedy}; until then moves are missing or wrong")))
    }

    /// Ends the rows.
    pub(crate) fn finish(&mut self, out: &mut Vec<Row>) {
        self.clock.finish(out);
    }

    /// Notes on signals that are sampled in some rows only.
    pub(crate) fn note_sampled(&mut self) {
        let every = self.held.map_or(1, |held| held.every);
        if every > 1 {
            self.note(&format!("feedback changes in one of {every} rows; the others are no samples"));
        }
        let rows = self.layout.command_period_s / self.layout.sample_period_s * every as f64;
        if !self.layout.has_command_clock && rows > every as f64 {
            self.note(&format!("command changes in one of {rows:.0} rows; in the others it counts as held"));
        }
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
                if matches!(fault, Fault::Stamp { second, after } if self.is_log && second < after) {
                    self.note("some lines are not in the order of time; sort them by time, or their values are lost");
                }
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

/// The conversion of both columns, and the scale of the command that is left to the core: where both hold counts, it carries
/// fractions of a count over, as a monitor does.
fn scales(
    survey: &Survey,
    choice: &Choice,
    unit: &str,
    known: bool,
    place: Place<'_>,
) -> Result<(Scale, (i32, i32)), Error> {
    let are_counts = choice.counts_per_unit.is_some();
    match (choice.command_scale, choice.feedback_scale) {
        (None, None) => Ok((scale(survey, choice, unit, known, place)?, (1, 1))),
        (Some(command), None)
            if (are_counts || unit::position(unit) == unit::COUNT) && survey.fraction().is_none() =>
        {
            let narrow = command.narrow().ok_or_else(|| scale_error("needs more than 31 bits"))?;
            Ok((Scale::counts(), narrow))
        }
        (command, feedback) => {
            let scales = [command, feedback].map(|scale| scale.unwrap_or(Ratio::ONE));
            let scale = Scale::columns(survey, scales, are_counts);
            Ok((scale.ok_or_else(|| scale_error("has too many digits"))?, (1, 1)))
        }
    }
}

fn scale_error(wrong: &str) -> Error {
    Error::Option {
        option: "--command-scale".to_string(),
        value: "or --feedback-scale".to_string(),
        wrong: wrong.to_string(),
        remedy: "give fewer digits, such as 2.5 or 1/3".to_string(),
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

/// A command in feedback counts. Unit: feedback counts
fn scaled(command: i64, (upper, lower): (i32, i32)) -> i64 {
    (i128::from(command) * i128::from(upper)).div_euclid(i128::from(lower)) as i64
}

/// The feedback of a row, measured or from the following error. Unit: counts
fn feedback_count(row: &Figures, scale: Scale, command_scale: (i32, i32), is_error: bool) -> Option<i64> {
    let [command, number] = [(1, 0), (2, 1)].map(|(place, at)| scale.count(row[place], at));
    let (number, _) = number?;
    if is_error { Some(scaled(command?.0, command_scale).wrapping_sub(number)) } else { Some(number) }
}

/// The time base of the samples of feedback, the rows from one to the next, and the command period, 0 if it is no longer.
/// Unit of the period: s
fn periods(survey: &Survey, rows: Timebase) -> (Timebase, usize, f64) {
    let [(command, mean), (feedback, _)] = [1, 2].map(|place| sampled::rows_between(survey, place));
    let command_period_s = if command > feedback { mean * rows.period_s } else { 0.0 };
    (rows.of_every(feedback), feedback, command_period_s)
}

/// Noise of the command in counts.
fn command_noise(survey: &Survey, scale: Scale) -> Option<CommandNoise> {
    let noise = noise::command(survey)?;
    let counts = scale.factor(0).abs();
    let dead_band = (noise.dead_band * counts).ceil().max(1.0) as u32;
    Some(CommandNoise { rms: noise.rms * counts, dead_band })
}

fn timebase(
    columns: &Columns,
    survey: &Survey,
    choice: &Choice,
    place: Place<'_>,
) -> Result<Timebase, Error> {
    let timebase = match (choice.rate, &columns.time) {
        (None, Some(_)) if survey.is_single() => {
            return Err(place.error("there is only one readable row", "export the whole recording"));
        }
        (None, Some(column)) => Timebase::stamped(column, columns.feedback_time.as_ref(), survey),
        (Some(rate), _) => Timebase::even(rate),
        (None, None) => return Err(place.error("there is no time column", "give --rate HZ")),
    };
    timebase.map_err(|unusable| place.error(unusable.wrong, unusable.remedy))
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
    if let (None, Some(column)) = (timebase.per_row, &columns.time) {
        note_times(column, survey, timebase, notes);
    }
    if choice.counts_per_unit.is_none() && scale.columns.is_none() {
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
            "feedback is command minus following error '{}'; if that is feedback - command, give it a negative --feedback-scale, such as -1",
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

fn note_times(column: &Column, survey: &Survey, timebase: &Timebase, notes: &mut Vec<String>) {
    let (same, pairs) = survey.repeats();
    if same * 10 > pairs {
        let rate = survey.rows_per_stamp().map(|rows| rows as f64 / timebase.period_s);
        let rate = rate.filter(|rate| (rate - rate.round()).abs() < 1e-6 * rate).map(f64::round);
        let rate = rate.map_or("HZ".to_string(), |rate| rate.to_string());
        notes.push(format!(
            "{same} of {pairs} time stamps repeat, so those rows are gaps; with --rate {rate} the rows are equally spaced"
        ));
    }
    let period = timebase.period_s;
    if !(1e-6..=1.0).contains(&period) {
        notes.push(format!(
            "rows are {period:e} s apart; check the unit of time, as in --time {}:ms",
            column.shell_name()
        ));
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
