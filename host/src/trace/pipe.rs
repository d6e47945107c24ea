//! In: the chosen columns, the rows that were seen, then every row. Out: the layout, then readings and gaps.

use crate::error::Error;
use crate::trace::choice::Choice;
use crate::trace::clock::{Clock, Stamped};
use crate::trace::columns::Columns;
use crate::trace::layout::{Layout, Signal};
use crate::trace::pace::Pace;
use crate::trace::rows::{Fault, Faults, Row};
use crate::trace::scale::{Misfit, Scale};
use crate::trace::survey::{Figures, Survey};
use crate::trace::unit;

/// Name of a unit that nobody says.
const UNNAMED: &str = "unit";

/// What figures become, wherever they came from.
#[derive(Clone, Debug)]
pub(crate) struct Pipe {
    scale: Scale,
    clock: Clock,
    /// Rows so far, good or bad.
    index: i64,
    /// Rounding was told beforehand.
    coarse: bool,
    /// How the recording is read.
    pub(crate) layout: Layout,
    /// What was wrong so far.
    pub(crate) faults: Faults,
}

/// Where a message points.
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

impl Pipe {
    /// Decides on units, ticks and counts from the rows that were seen.
    pub(crate) fn new(
        columns: &Columns,
        survey: &Survey,
        choice: &Choice,
        place: Place<'_>,
    ) -> Result<Pipe, Error> {
        let mut notes = Vec::new();
        let (unit, known) = name_unit(columns, choice, place, &mut notes)?;
        let scale = scale(survey, choice, &unit, known, place)?;
        let pace = pace(columns, survey, choice, place)?;
        remark(columns, survey, scale, &pace, choice, &mut notes);
        let clock = Clock::new(pace);
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
            ticks_per_second: pace.ticks_per_second,
            origin_s: origin as f64 / f64::from(pace.ticks_per_second),
            encoder_step: survey.step(scale.places),
            sample_period_s: pace.period_s,
            notes,
        };
        let coarse = survey.decimals() as i32 > scale.places;
        Ok(Pipe { scale, clock, index: 0, coarse, layout, faults: Faults::default() })
    }

    /// Takes the figures of one row.
    #[inline]
    pub(crate) fn row(&mut self, line: u64, figures: &Figures, out: &mut Vec<Row>) {
        let at = self.clock.time(figures[0], self.index);
        let (command, feedback) = (self.scale.apply(figures[1]), self.scale.apply(figures[2]));
        if let (Some(at), Ok(command), Ok(feedback)) = (at, command, feedback) {
            self.index += 1;
            self.clock.step(Stamped { line, at, command, feedback }, out);
        } else {
            let misfits = [at.ok_or(Misfit::TooLarge).err(), command.err(), feedback.err()];
            self.misfit(line, figures, misfits, out);
        }
    }

    /// The first figure that could not be made a count or a time is to blame.
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

    /// Takes a row that can't be used.
    #[cold]
    pub(crate) fn bad(&mut self, line: u64, fault: Fault, out: &mut Vec<Row>) {
        self.index += 1;
        out.push(Row::Gap { line, fault });
    }

    /// The recording ends.
    pub(crate) fn finish(&mut self, out: &mut Vec<Row>) {
        self.clock.finish(out);
    }

    /// Says once what people should know.
    pub(crate) fn note(&mut self, note: &str) {
        if !self.layout.notes.iter().any(|known| known == note) {
            self.layout.notes.push(note.to_string());
        }
    }

    /// Tallies a block of rows.
    pub(crate) fn tally(&mut self, rows: &[Row]) {
        for row in rows {
            if let Row::Gap { line, fault } = row {
                self.faults.add(*line, fault, &self.layout);
            }
        }
        if self.scale.rounded && !self.coarse {
            self.note(&format!(
                "some positions have more decimals than are kept; rounded to 1/{} {}",
                self.layout.counts_per_unit.numerator(),
                self.layout.unit
            ));
        }
        if self.scale.overspans() {
            self.note("positions span 2^31 counts and more; moves longer than that have a wrong travel and overshoot");
        }
        if self.scale.wrapped {
            self.note("some counts are beyond 32 bits and wrap, which moves do not notice");
        }
    }
}

/// The unit that the header says for both positions.
fn header_unit(
    columns: &Columns,
    place: Place<'_>,
    notes: &mut Vec<String>,
) -> Result<Option<String>, Error> {
    let written = |unit: &Option<String>| unit.as_deref().map(unit::position);
    match (written(&columns.command.unit), written(&columns.feedback.unit)) {
        (Some(command), Some(feedback)) if command != feedback => {
            let wrong = format!("command is in {command}, but feedback in {feedback}");
            Err(place.error(wrong, "export both in one unit, or choose other columns"))
        }
        (Some(unit), None) | (None, Some(unit)) => {
            notes.push(format!("only one of command and feedback says its unit; both are taken as {unit}"));
            Ok(Some(unit))
        }
        (command, _) => Ok(command),
    }
}

/// The unit of both positions, and whether it is written or chosen.
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
            Err(place.error(wrong, format!("say how many counts make one {unit} with --counts-per-unit")))
        }
        (unit, Some(header)) if given => {
            if header != unit::COUNT {
                notes.push(format!(
                    "the header says {header}, but with --counts-per-unit the columns are taken as counts"
                ));
            }
            Ok((unit.clone().unwrap_or_else(|| UNNAMED.to_string()), true))
        }
        (Some(unit), header) => {
            if let Some(header) = header.filter(|header| *header != unit::position(unit)) {
                notes.push(format!("the header says {header}, but --unit says {unit}; nothing is converted"));
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
                format!("{figure} is no whole number, but with --counts-per-unit the columns hold counts");
            let remedy = "leave --counts-per-unit out if the columns hold a unit already";
            Err(Place { line, ..place }.error(wrong, remedy))
        }
        (Some(_), None) => Ok(Scale::counts()),
        (None, None) if unit::position(unit) == unit::COUNT => Ok(Scale::counts()),
        (None, _) => Ok(Scale::units(survey, known)),
    }
}

fn pace(columns: &Columns, survey: &Survey, choice: &Choice, place: Place<'_>) -> Result<Pace, Error> {
    match (choice.rate, &columns.time) {
        (None, Some(_)) if survey.is_single() => {
            Err(place.error("there is only one row to be read", "export the whole recording"))
        }
        (None, Some(column)) => Pace::stamped(column, survey).map_err(|wrong| {
            place.error(wrong, format!("say --time {}:ms (or s, us, ns), or give --rate HZ", column.name))
        }),
        (Some(rate), _) => {
            Pace::even(rate).map_err(|wrong| place.error(wrong, "give the rate as a fraction"))
        }
        (None, None) => Err(place.error("there is no time column", "give --rate HZ")),
    }
}

/// What a person should know before trusting the numbers.
fn remark(
    columns: &Columns,
    survey: &Survey,
    scale: Scale,
    pace: &Pace,
    choice: &Choice,
    notes: &mut Vec<String>,
) {
    if columns.assumed {
        let order = if columns.time.is_some() { "time, command, feedback" } else { "command, feedback" };
        notes.push(format!("the columns have no names; taken as {order}"));
    }
    if let (true, Some(column)) = (choice.rate.is_none() && columns.assumed, &columns.time) {
        notes.push(format!("column {} is taken as seconds", column.name));
    }
    if let Some(name) = &columns.unused {
        notes.push(format!("--rate is given, so time column '{name}' is not used"));
    }
    let (same, pairs) = survey.repeats();
    if pace.per_row.is_none() && same * 10 > pairs {
        notes.push(format!(
            "{same} of {pairs} time stamps repeat, so those rows are gaps; --rate HZ takes rows as even"
        ));
    }
    if pace.per_row.is_none() && !(1e-6..=1.0).contains(&pace.period_s) {
        notes
            .push(format!("rows are {:e} s apart; check the unit of time, as in --time t:ms", pace.period_s));
    }
    let needed = survey.decimals() as i32;
    if choice.counts_per_unit.is_none() && needed > scale.places {
        let places = scale.places;
        notes.push(if places < 0 {
            let step = 10f64.powi(-places);
            format!("positions reach so far that 32 bits hold them in steps of {step} only; check their unit")
        } else {
            format!("positions have up to {needed} decimals; {places} of them fit into 32 bits")
        });
    }
}
