//! In: the moves of one or more recordings. Out: those that may be compared, kind by kind.

use stillpoint_core::{Outcome, Reasons};

use super::describe::{self, Typical};
use super::move_report::MoveReport;
use crate::analysis::like_moves::{self, Motion, TypicalMove};

/// Moves of one kind, group by group.
#[derive(Clone, Debug)]
pub struct KindMoves<'a> {
    /// The kind in words.
    pub name: String,
    /// The typical move.
    pub typical: TypicalMove,
    /// The moves of each group.
    pub groups: Vec<Vec<&'a MoveReport>>,
}

/// The number of the kind of each of these moves; none where its travel is not known. `step` is the smallest change of a
/// position. Unit: that of the moves
pub fn numbers(moves: &[MoveReport], step: f64) -> Vec<Option<u32>> {
    let motions: Vec<Option<Motion>> = moves.iter().map(motion).collect();
    like_moves::kinds(&motions, step).0
}

/// A move with the place of its group and the number of its kind.
type Numbered<'a> = (usize, &'a MoveReport, Option<u32>);

/// The moves of all groups that `counts` accepts, by kind. `step` is the smallest change of a position. Unit: `unit`
pub fn by_kind<'a>(
    groups: &[&'a [MoveReport]],
    (step, unit): (f64, &str),
    counts: impl Fn(&MoveReport) -> bool,
) -> Vec<KindMoves<'a>> {
    let moves =
        groups.iter().enumerate().flat_map(|(at, group)| group.iter().map(move |report| (at, report)));
    let motions: Vec<Option<Motion>> = moves.clone().map(|(_, report)| motion(report)).collect();
    let (numbers, typical) = like_moves::kinds(&motions, step);
    let numbered: Vec<Numbered> =
        moves.zip(numbers).map(|((at, report), number)| (at, report, number)).collect();
    let of = |number: u32, group: usize| {
        let belongs = |(at, report, of): &&Numbered| *at == group && *of == Some(number) && counts(report);
        numbered.iter().filter(belongs).map(|(_, report, _)| *report).collect()
    };
    let kind = |typical: TypicalMove| KindMoves {
        name: name(&typical, unit),
        groups: (0..groups.len()).map(|group| of(typical.number, group)).collect(),
        typical,
    };
    let kinds = typical.into_iter().map(kind);
    kinds.filter(|kind| kind.groups.iter().any(|moves| !moves.is_empty())).collect()
}

fn name(typical: &TypicalMove, unit: &str) -> String {
    let &TypicalMove { number, forward, distance, speed } = typical;
    describe::kind(number, Some(Typical { forward, distance, speed }), unit)
}

/// Travel and speed, unless the travel is not known.
pub fn motion(report: &MoveReport) -> Option<Motion> {
    let joined = Reasons::JOINED.worded().next().map_or("", |(_, wording)| wording);
    let has_travel =
        report.outcome != Outcome::Untrusted && !report.reason.split("; ").any(|one| one.starts_with(joined));
    has_travel.then_some(Motion { travel: report.travel, peak_speed: report.peak_speed })
}
