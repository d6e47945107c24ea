//! In: lines of minute, axis, lever, value. Out: which changes are made on which axis and when; in words, as notes.
//!
//! Changes of one axis at one time are one note. What is changed at minute 0 is how the exercise begins; that is no note.

use super::axis::AxisData;
use super::lever::{Adjustment, LEVERS, Lever, Setup};
use super::transplanter::{self, NAMES};
use crate::error::Error;
use crate::report::number;
use crate::report::number::plain;
use crate::report::printable::printable;

/// A machine that is changed while it runs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Exercise {
    /// The changes, each with the place of its axis in [`NAMES`], in the order of time.
    changes: Vec<(usize, Adjustment)>,
    /// What is noted, in the order of time.
    pub notes: Vec<ExerciseNote>,
}

/// What people would note of a change.
#[derive(Clone, Debug, PartialEq)]
pub struct ExerciseNote {
    /// From the start. Unit: s
    pub at: f64,
    /// Name of the axis.
    pub axis: &'static str,
    /// What was changed.
    pub text: String,
}

/// The longest rehearsal: a leap year. Unit: min
const LONGEST: f64 = 8784.0 * 60.0;

impl Exercise {
    /// Reads the text of a file. Lines that begin with `#` say nothing; a first line may name the columns.
    pub fn read(file: &str, text: &str) -> Result<Exercise, Error> {
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let mut changes: Vec<(usize, Adjustment)> = Vec::new();
        for (at, row) in reader.records().enumerate() {
            let row = row.map_err(|error| wrong(file, 1, format!("is no CSV: {error}")))?;
            let line = row.position().map_or(1, csv::Position::line);
            let cells: Vec<&str> = row.iter().collect();
            if at == 0 && cells.first().is_some_and(|cell| cell.eq_ignore_ascii_case("minute")) {
                continue;
            }
            let change = change(&cells).map_err(|reason| wrong(file, line, reason))?;
            if changes.last().is_some_and(|(_, last)| last.at > change.1.at) {
                return Err(wrong(file, line, "is earlier than the line before it".to_owned()));
            }
            changes.push(change);
        }
        if changes.is_empty() {
            return Err(wrong(file, 1, "has no change".to_owned()));
        }
        Ok(Exercise { notes: notes(&changes), changes })
    }

    /// The axes with their changes.
    pub fn axes(&self, axes: [AxisData; 3]) -> [AxisData; 3] {
        let mut place = 0;
        axes.map(|axis| {
            let own = self.changes.iter().filter(|(of, _)| *of == place).map(|(_, change)| *change).collect();
            place += 1;
            AxisData { adjustments: own, ..axis }
        })
    }

    /// Whether nothing is changed.
    pub fn is_empty(&self) -> bool {
        self.changes.is_empty()
    }

    /// When the last change is made, from the start; 0 if nothing is. Unit: s
    pub fn last(&self) -> f64 {
        self.changes.last().map_or(0.0, |(_, change)| change.at)
    }

    /// Bytes that no other exercise has.
    pub fn bytes(&self) -> impl Iterator<Item = u8> + '_ {
        let of = |(axis, change): &(usize, Adjustment)| {
            let numbers = [*axis as u64, change.at.to_bits(), change.value.to_bits()];
            let name = change.lever.name.bytes();
            numbers.into_iter().flat_map(u64::to_le_bytes).chain(name).collect::<Vec<u8>>()
        };
        self.changes.iter().flat_map(of)
    }
}

fn wrong(file: &str, line: u64, wrong: String) -> Error {
    Error::Recording {
        file: file.to_owned(),
        line,
        wrong,
        remedy: "write minute, axis, lever, value in each line, such as 10, tray_shuttle, position gain, 60"
            .to_owned(),
    }
}

/// The change that the cells of a line describe.
fn change(cells: &[&str]) -> Result<(usize, Adjustment), String> {
    let &[minute, axis, lever, value] = cells else {
        return Err(format!("has {}", number::count(cells.len(), "field")));
    };
    let number = |text: &str| text.parse().ok().filter(|number: &f64| number.is_finite());
    let minute = number(minute).filter(|minute| (0.0..=LONGEST).contains(minute));
    let minute = minute.ok_or_else(|| format!("its minute is no number from 0 to {LONGEST}"))?;
    let place = NAMES.iter().position(|name| *name == axis);
    let place =
        place.ok_or_else(|| format!("{} is none of the axes {}", printable(axis), NAMES.join(", ")))?;
    let found = Lever::named(lever).ok_or_else(|| {
        let names = LEVERS.map(|lever| lever.name).join(", ");
        format!("{} is none of the levers {names}", printable(lever))
    })?;
    let (low, high) = found.range;
    let inside = number(value).filter(|value| (low..=high).contains(value));
    let value = inside.ok_or_else(|| {
        let unit = found.unit.map_or(String::new(), |unit| format!(" {unit}"));
        format!("{} takes a value from {} to {}{unit}", found.name, plain(low), plain(high))
    })?;
    Ok((place, Adjustment { at: 60.0 * minute, lever: found, value }))
}

/// The changes after the start in words; those of one axis at one time together.
fn notes(changes: &[(usize, Adjustment)]) -> Vec<ExerciseNote> {
    let built = transplanter::axes();
    let as_built = built.each_ref().map(AxisData::setup);
    let mut now = as_built;
    let mut notes: Vec<ExerciseNote> = Vec::new();
    for (place, change) in changes {
        let text = words(change, (&now[*place], &as_built[*place]), built[*place].unit);
        (change.lever.set)(&mut now[*place], &as_built[*place], change.value);
        if change.at <= 0.0 {
            continue;
        }
        let axis = NAMES[*place];
        match notes.iter_mut().find(|note| note.at == change.at && note.axis == axis) {
            Some(note) => note.text += &format!("; {text}"),
            None => notes.push(ExerciseNote { at: change.at, axis, text }),
        }
    }
    notes
}

/// `position gain 40 → 60 1/s`.
fn words(change: &Adjustment, (now, as_built): (&Setup, &Setup), unit: &str) -> String {
    let Adjustment { lever, value, .. } = change;
    let before = plain((lever.value)(now, as_built));
    format!("{} {before} → {} {}", lever.name, plain(*value), lever.unit.unwrap_or(unit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changes_of_one_axis_at_one_time_are_one_note() {
        let text = "# an exercise\nminute,axis,lever,value\n0,tray_shuttle,position gain,20\n\
            2,tray_shuttle,position gain,40\n2,dibble,play,0.01\n2,tray_shuttle,Friction,300\n";
        let found = Exercise::read("x.csv", text).unwrap();
        let notes: Vec<(f64, &str, &str)> =
            found.notes.iter().map(|note| (note.at, note.axis, note.text.as_str())).collect();
        assert_eq!(
            notes,
            [
                (120.0, "tray_shuttle", "position gain 20 → 40 1/s; friction 100 → 300 %"),
                (120.0, "dibble", "play 0 → 0.01 mm"),
            ]
        );
        let axes = found.axes(transplanter::axes());
        assert_eq!(axes.map(|axis| axis.adjustments.len()), [3, 1, 0]);
        assert_eq!(found.last(), 120.0);
        assert!(Exercise::default().is_empty() && !found.is_empty());
    }

    #[test]
    fn a_line_that_is_wrong_is_named() {
        for (line, part) in [
            ("1,tray_shuttle,position gain", "has 3 fields"),
            ("-1,tray_shuttle,position gain,40", "no number from 0 to 527040"),
            ("1e308,dibble,position gain,40", "no number from 0 to 527040"),
            ("1,spindle,position gain,40", "none of the axes tray_shuttle, dibble, gripper_turntable"),
            ("1,dibble,gain,40", "none of the levers position gain, velocity gain"),
            ("1,dibble,position gain,nan", "position gain takes a value from 1 to 500 1/s"),
            ("0.5,dibble,position gain,40", "is earlier than the line before it"),
        ] {
            let text = format!("minute,axis,lever,value\n0.7,dibble,friction,50\n{line}\n");
            let message = Exercise::read("x.csv", &text).unwrap_err().to_string();
            assert!(message.starts_with("x.csv, line 3: ") && message.contains(part), "{line}: {message}");
        }
        assert!(Exercise::read("x.csv", "# none\n").unwrap_err().to_string().contains("has no change"));
    }
}
