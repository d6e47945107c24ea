//! In: a file of changes, and how far the shift is. Out: notes in the store at the times of the changes.

use std::collections::VecDeque;
use std::path::Path;

use crate::error::Error;
use crate::source::rehearsal::exercise::{Exercise, ExerciseNote};
use crate::store::log::Log;

/// Reads the file of an exercise that ends within these hours; none is an exercise without changes.
pub(super) fn read(path: Option<&Path>, hours: f64) -> Result<Exercise, Error> {
    let Some(path) = path else { return Ok(Exercise::default()) };
    let file = path.display().to_string();
    let text =
        std::fs::read_to_string(path).map_err(|source| Error::Unreadable { file: file.clone(), source })?;
    let exercise = Exercise::read(&file, &text)?;
    if exercise.last() < 3600.0 * hours {
        return Ok(exercise);
    }
    Err(Error::Option {
        option: "--hours".to_owned(),
        value: hours.to_string(),
        wrong: format!("ends before the last change of {file}, at {:.1} min", exercise.last() / 60.0),
        remedy: format!("give at least {:.2}", (exercise.last() / 36.0).ceil() / 100.0 + 0.05),
    })
}

/// Notes that are yet to be written.
#[derive(Debug)]
pub(super) struct Notes {
    due: VecDeque<ExerciseNote>,
    /// Number of the virtual monitor.
    number: [u8; 12],
}

impl Notes {
    pub(super) fn new(exercise: &Exercise, number: [u8; 12]) -> Notes {
        Notes { due: exercise.notes.iter().cloned().collect(), number }
    }

    /// Writes those of the shift's first `second` seconds.
    pub(super) fn write(&mut self, log: &mut Log, second: f64) -> Result<(), Error> {
        while self.due.front().is_some_and(|note| note.at <= second) {
            // The time of the start and the axis are known once the first moves are stored.
            log.commit();
            let Some(begun) = log.store().newest_start(&self.number)? else { return Ok(()) };
            let Some(note) = self.due.pop_front() else { return Ok(()) };
            let axis = log.store().find_axes(Some(note.axis))?.pop();
            let at = begun.saturating_add(super::microseconds(note.at));
            log.store().add_change(("rehearsal", &note.text), at, axis.as_ref())?;
        }
        Ok(())
    }
}
