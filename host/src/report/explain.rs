//! In: the moves of one or more axes. Out: why their stops are slow, kind by kind, and what to change.
//!
//! The field names are a contract: other tools read them. Add at the end, never rename.

pub mod figures;
pub mod evidence;
pub mod run;
pub mod offset;
pub mod trend;
pub mod kind;
pub mod swings;
pub mod table;
#[cfg(test)]
mod tests;

use std::io;

use serde::Serialize;

use super::advice::CAUTION;
use super::json;
use super::kind_moves::by_kind;
use super::move_report::{MoveReport, definition_name};
use evidence::Scale;
use kind::{KindLine, counts, most_frequent};
use offset::OffsetLine;

/// The moves of one axis.
#[derive(Clone, Debug, PartialEq)]
pub struct AxisMoves {
    /// Name of the axis.
    pub name: String,
    /// In the order in which they came.
    pub moves: Vec<MoveReport>,
    /// Smallest change of feedback. Unit: that of position
    pub encoder_step: f64,
    /// The note from which on these moves are; none without a note.
    pub note: Option<NoteLine>,
}

/// One axis, as other tools read it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AxisLine {
    /// Its name.
    pub axis: String,
    /// Name of the unit of position.
    pub unit: String,
    /// Half-width of the window of the last move, by which all are explained.
    pub window: f64,
    /// How long feedback must stay inside.
    pub window_time_s: f64,
    /// Name of the definition of settling.
    pub definition: &'static str,
    /// Moves measured otherwise, which are left out.
    pub measured_otherwise: usize,
    /// Moves that say nothing of settling: interrupted, untrusted, or begun before the recording.
    pub omitted: usize,
    /// Kind by kind.
    pub kinds: Vec<KindLine>,
    /// Rest errors by direction and position.
    pub offset: OffsetLine,
    /// Which other axes swing at the same frequency, without a decay that is shown; empty if none does.
    pub swings: String,
    /// The most frequent reason of the moves that are omitted; empty without them.
    pub omitted_reason: String,
    /// The last note within the time, whose moves are explained; none without a note.
    pub note: Option<NoteLine>,
}

/// What was changed before the moves that are explained, as other tools read it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NoteLine {
    /// What was noted, in words.
    pub text: String,
    /// From when on it holds. Unit: µs since 1970, UTC
    #[serde(skip)]
    pub at: i64,
    /// The same as RFC 3339.
    pub since: String,
    /// Moves before it, or during which it was given, which are left out.
    pub left_out: usize,
}

/// All axes, as other tools read them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Explained {
    /// Axis by axis; those without moves are left out.
    pub axes: Vec<AxisLine>,
    /// What tuning means for people.
    pub caution: &'static str,
}

impl Explained {
    /// Of these axes.
    pub fn new(axes: &[AxisMoves]) -> Explained {
        let mut axes: Vec<AxisLine> = axes.iter().filter_map(axis_line).collect();
        let shared = swings::shared(&axes);
        axes.iter_mut().zip(shared).for_each(|(axis, swings)| axis.swings = swings);
        Explained { axes, caution: CAUTION }
    }

    /// One JSON object.
    pub fn json(&self) -> io::Result<String> {
        json::line(self)
    }
}

/// The moves measured like the last one; another window or definition makes other signatures.
fn axis_line(axis: &AxisMoves) -> Option<AxisLine> {
    let last = axis.moves.last()?;
    let how = |one: &MoveReport| (one.window, one.window_time_s, one.definition);
    let alike: Vec<MoveReport> = axis.moves.iter().filter(|one| how(one) == how(last)).cloned().collect();
    let scale = Scale { window: last.window, encoder_step: axis.encoder_step, unit: &last.unit };
    let kinds = by_kind(&[&alike], (axis.encoder_step, &last.unit), counts);
    let counted: usize = kinds.iter().flat_map(|kind| &kind.groups).map(Vec::len).sum();
    let omitted = alike.iter().filter(|one| !counts(one) && !one.reason.is_empty());
    Some(AxisLine {
        axis: axis.name.clone(),
        unit: last.unit.clone(),
        window: last.window,
        window_time_s: last.window_time_s,
        definition: definition_name(last.definition),
        measured_otherwise: axis.moves.len() - alike.len(),
        omitted: alike.len() - counted,
        kinds: kinds.iter().map(|kind| kind::line(kind, scale)).collect(),
        offset: offset::offset(&kinds, &axis.moves, scale),
        swings: String::new(),
        omitted_reason: most_frequent(omitted.map(|one| one.reason.as_str())).unwrap_or_default().to_owned(),
        note: axis.note.clone(),
    })
}
