//! In: units of the columns, and the options. Out: the unit of position, or a question.

use crate::error::Error;
use crate::trace::choice::Choice;
use crate::trace::columns::Columns;
use crate::trace::place::Place;
use crate::trace::unit;

/// Name of an unknown unit.
const UNNAMED: &str = "unit";

/// The unit of both positions, and whether it is known from the header or an option.
pub(crate) fn find(
    columns: &Columns,
    choice: &Choice,
    place: Place<'_>,
    notes: &mut Vec<String>,
) -> Result<(String, bool), Error> {
    let header = header_unit(columns, choice, place, notes)?;
    if choice.counts_per_unit.is_some() {
        if let Some(header) = header.filter(|header| header != unit::COUNT) {
            notes.push(format!(
                "the header has the unit {header}, but with --counts-per-unit the columns are taken as counts"
            ));
        }
        return Ok((choice.unit.clone().unwrap_or_else(|| UNNAMED.to_string()), true));
    }
    match (&choice.unit, header) {
        (Some(unit), Some(header)) if unit::position(unit) != header => {
            differing(unit, &header, choice, place, notes)?;
            Ok((unit.clone(), true))
        }
        (Some(unit), _) => Ok((unit.clone(), true)),
        (None, Some(header)) => {
            if unit::is_analog(&header) {
                let scales = missing_scales(choice);
                notes.push(format!(
                    "positions and the window are in {header}; {scales}, with X the mm in one {header}, give mm"
                ));
            }
            Ok((header, true))
        }
        (None, None) => Ok((UNNAMED.to_string(), false)),
    }
}

/// A note that the unit of the option is not that of the header, or an error where that would be another quantity.
fn differing(
    unit: &str,
    header: &str,
    choice: &Choice,
    place: Place<'_>,
    notes: &mut Vec<String>,
) -> Result<(), Error> {
    if header == unit::COUNT {
        let wrong = format!("the columns are in counts, not in {unit}");
        let remedy = format!("give the number of counts in one {unit} with --counts-per-unit");
        return Err(place.error(wrong, remedy));
    }
    if unit::is_analog(header) {
        let wrong = format!("positions are in {header}, not in {unit}");
        let remedy = format!("give {}, the {unit} in one {header}", missing_scales(choice));
        return Err(place.error(wrong, remedy));
    }
    notes.push(format!("the header has the unit {header}, but --unit says {unit}; nothing is converted"));
    Ok(())
}

/// The options of the scales that are not given.
fn missing_scales(choice: &Choice) -> &'static str {
    match (choice.command_scale, choice.feedback_scale) {
        (Some(_), _) => "--feedback-scale X",
        (None, Some(_)) => "--command-scale X",
        (None, None) => "--command-scale X --feedback-scale X",
    }
}

/// The unit of both positions in the header. A column with a scale has the unit of the other one.
fn header_unit(
    columns: &Columns,
    choice: &Choice,
    place: Place<'_>,
    notes: &mut Vec<String>,
) -> Result<Option<String>, Error> {
    let written = |unit: &Option<String>| unit.as_deref().map(unit::position);
    let (command, feedback) = (written(&columns.command.unit), written(&columns.feedback.unit));
    match (choice.command_scale.is_some(), choice.feedback_scale.is_some()) {
        (true, true) => return Ok(None),
        (true, false) => return Ok(feedback),
        (false, true) => return Ok(command),
        (false, false) => {}
    }
    match (command, feedback) {
        (Some(command), Some(feedback)) if command != feedback => {
            let wrong = format!("command is in {command}, but feedback in {feedback}");
            Err(place.error(wrong, remedy(&command, &feedback)))
        }
        (Some(unit), None) if unit::is_analog(&unit) => Err(half_analog("command", "feedback", &unit, place)),
        (None, Some(unit)) if unit::is_analog(&unit) => Err(half_analog("feedback", "command", &unit, place)),
        (Some(unit), None) | (None, Some(unit)) => {
            notes.push(format!("only one of command and feedback has a unit; both are taken as {unit}"));
            Ok(Some(unit))
        }
        (command, _) => Ok(command),
    }
}

/// What to do about a command and a feedback of different units.
fn remedy(command: &str, feedback: &str) -> String {
    if let Some(ratio) = unit::conversion(feedback, command) {
        return format!("give --feedback-scale {ratio}, the {command} in one {feedback}");
    }
    let is_raw = |unit: &str| unit::is_analog(unit) || unit == unit::COUNT;
    let (signal, raw, unit) = match is_raw(feedback) && !is_raw(command) {
        true => ("feedback", feedback, command),
        false => ("command", command, feedback),
    };
    format!("give --{signal}-scale X, the {unit} in one {raw}, or choose other columns")
}

/// The error where only `signal` has a unit, and this is `unit` of an analog signal.
fn half_analog(signal: &str, other: &str, unit: &str, place: Place<'_>) -> Error {
    let remedy = format!(
        "give --{signal}-scale X, the units of {other} in one {unit}: 1 if {other} is in {unit}, too"
    );
    place.error(format!("{signal} is in {unit}, but {other} has no unit"), remedy)
}
