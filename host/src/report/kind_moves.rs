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

/// The moves of all groups that `counts` accepts, by kind. A kind is named by its first move, as a monitor names it; those of a
/// store have the name that the store gives them. `step` is the smallest change of a position. Unit: `unit`
pub fn by_kind<'a>(
    groups: &[&'a [MoveReport]],
    (step, unit): (f64, &str),
    counts: impl Fn(&MoveReport) -> bool,
) -> Vec<KindMoves<'a>> {
    let moves =
        groups.iter().enumerate().flat_map(|(at, group)| group.iter().map(move |report| (at, report)));
    let motions: Vec<Option<Motion>> = moves.clone().map(|(_, report)| motion(report)).collect();
    let (numbers, typical) = like_moves::kinds(&motions, step);
    let first = |number: u32| numbers.iter().position(|of| *of == Some(number)).and_then(|at| motions[at]);
    let names: Vec<String> = typical.iter().map(|one| name(one, first(one.number), unit)).collect();
    let numbered: Vec<Numbered> =
        moves.zip(numbers).map(|((at, report), number)| (at, report, number)).collect();
    let of = |number: u32, group: usize| {
        let belongs = |(at, report, of): &&Numbered| *at == group && *of == Some(number) && counts(report);
        numbered.iter().filter(belongs).map(|(_, report, _)| *report).collect()
    };
    let kind = |(typical, name): (TypicalMove, String)| KindMoves {
        name,
        groups: (0..groups.len()).map(|group| of(typical.number, group)).collect(),
        typical,
    };
    let kinds = typical.into_iter().zip(names).map(kind);
    let mut kinds: Vec<KindMoves> =
        kinds.filter(|kind| kind.groups.iter().any(|moves| !moves.is_empty())).collect();
    let stored: Vec<Option<String>> = kinds.iter().map(stored_name).collect();
    let is_one = |name: &String| stored.iter().flatten().filter(|other| *other == name).count() == 1;
    for (kind, stored) in kinds.iter_mut().zip(&stored) {
        // A monitor of few kinds may have one where there are two: then each has its own typical move as its name.
        if let Some(stored) = stored.as_ref().filter(|stored| is_one(stored)) {
            kind.name.clone_from(stored);
        }
    }
    kinds
}

/// The name that the store gives to the newest move of a kind, as each start of a monitor names its kinds anew; none for moves of
/// recordings.
fn stored_name(kind: &KindMoves) -> Option<String> {
    kind.groups.iter().flatten().rev().find_map(|report| report.kind.clone())
}

fn name(typical: &TypicalMove, first: Option<Motion>, unit: &str) -> String {
    let &TypicalMove { number, forward, distance, speed } = typical;
    let distance = first.map_or(distance, |first| first.travel.abs());
    let speed = first.and_then(|first| first.peak_speed).unwrap_or(speed);
    describe::kind(number, Some(Typical { forward, distance, speed }), unit)
}

/// Travel and speed, unless the travel is not known.
pub fn motion(report: &MoveReport) -> Option<Motion> {
    let joined = Reasons::JOINED.worded().next().map_or("", |(_, wording)| wording);
    let has_travel =
        report.outcome != Outcome::Untrusted && !report.reason.split("; ").any(|one| one.starts_with(joined));
    has_travel.then_some(Motion { travel: report.travel, peak_speed: report.peak_speed })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn a_kind_is_named_by_its_first_move_or_by_its_store() {
        let of = |travel: f64, kind: Option<&str>| MoveReport {
            travel,
            kind: kind.map(str::to_owned),
            ..fixture::report(1, Some(0.05))
        };
        let names = |moves: &[MoveReport]| -> Vec<String> {
            by_kind(&[moves], (0.001, "mm"), |_| true).into_iter().map(|kind| kind.name).collect()
        };
        let stored = "+60 mm at 613 mm/s (kind 4)";
        assert_eq!(names(&[of(60.0, Some(stored)), of(60.0, Some(stored)), of(60.0, None)]), [stored]);
        let recorded = names(&[of(60.0, None)]);
        assert!(recorded[0].starts_with("+60 mm at ") && recorded[0].ends_with("(kind 1)"), "{recorded:?}");
        let faster = MoveReport { peak_speed: Some(640.0), ..of(61.0, None) };
        let first = MoveReport { peak_speed: Some(600.0), ..of(60.0, None) };
        assert_eq!(names(&[first, faster]), ["+60 mm at 600 mm/s (kind 1)"]);
        let split = names(&[of(60.0, Some(stored)), of(90.0, Some(stored))]);
        assert!(split[0].ends_with("(kind 1)") && split[1].ends_with("(kind 2)"), "{split:?}");
    }
}
