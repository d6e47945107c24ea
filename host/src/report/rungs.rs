//! In: the moves of an axis with their times, and when something was changed. Out: groups of moves, one for each setting.
//!
//! A move belongs to a setting if the setting held from its start to its command end. So a note between the command end of
//! one move and the start of the next is clean, and a move during which a note was given belongs to no setting.

use super::compare::Group;
use super::move_report::MoveReport;

/// A move with its place in time.
#[derive(Clone, Debug, PartialEq)]
pub struct DatedMove {
    /// Last instant at the old command. Unit: µs since 1970, UTC
    pub start: i64,
    /// Command end. Unit: µs since 1970, UTC
    pub end: i64,
    /// The move.
    pub report: MoveReport,
}

/// A change of the machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// From when on it holds. Unit: µs since 1970, UTC
    pub at: i64,
    /// What was changed.
    pub text: String,
}

/// The settings that were tried, in order.
#[derive(Clone, Debug, Default)]
pub struct Rungs {
    /// `setting 1`, `setting 2` …, with what was changed before each. All but the last have moves.
    pub groups: Vec<Group>,
    /// Moves during which something was changed, or which lie at an end of the time.
    pub between: usize,
}

/// Where a group of moves begins and ends. Unit: µs since 1970, UTC
type Interval = (i64, i64);

/// Whether a move lies in an interval as a whole.
fn holds((since, until): Interval, one: &DatedMove) -> bool {
    since <= one.start && one.end <= until
}

impl Rungs {
    /// Parts the moves at the changes within a time; both stand in the order of time. Changes without moves between them
    /// are one.
    pub fn new(changes: &[Change], moves: &[DatedMove], (since, until): Interval) -> Rungs {
        let changes: Vec<&Change> =
            changes.iter().filter(|change| since < change.at && change.at < until).collect();
        let begins = std::iter::once(since).chain(changes.iter().map(|change| change.at));
        let ends = changes.iter().map(|change| change.at).chain([until]);
        let texts = std::iter::once("").chain(changes.iter().map(|change| change.text.as_str()));
        let (mut groups, mut texts_before, mut placed) = (Vec::new(), Vec::new(), 0);
        for (at, (interval, text)) in begins.zip(ends).zip(texts).enumerate() {
            texts_before.extend(Some(text).filter(|text| !text.is_empty()));
            let inside: Vec<MoveReport> =
                moves.iter().filter(|one| holds(interval, one)).map(|one| one.report.clone()).collect();
            placed += inside.len();
            // A last change without moves yet is shown, so that nobody thinks it was not noted.
            if !inside.is_empty() || (at == changes.len() && at > 0) {
                let note = std::mem::take(&mut texts_before).join("; ");
                groups.push(Group {
                    name: format!("setting {}", groups.len() + 1),
                    files: Vec::new(),
                    note,
                    moves: inside,
                    cautions: Vec::new(),
                });
            }
        }
        Rungs { groups, between: moves.len() - placed }
    }
}

/// The moves that lie in an interval as a whole.
pub fn inside(interval: Interval, moves: &[DatedMove]) -> Vec<MoveReport> {
    moves.iter().filter(|one| holds(interval, one)).map(|one| one.report.clone()).collect()
}

#[cfg(test)]
mod tests {
    use super::super::fixture::report;
    use super::*;

    /// Moves of 10 µs that end 10, 30, 50 … µs after 0.
    fn moves(count: i64) -> Vec<DatedMove> {
        (0..count)
            .map(|k| DatedMove { start: 20 * k, end: 20 * k + 10, report: report(k as u32 + 1, Some(0.01)) })
            .collect()
    }

    fn check(changes: &[(i64, &str)], expected: &[(&str, &str, usize)], between: usize) {
        let changes: Vec<Change> =
            changes.iter().map(|(at, text)| Change { at: *at, text: (*text).to_owned() }).collect();
        let found = Rungs::new(&changes, &moves(6), (i64::MIN, i64::MAX));
        let groups: Vec<(&str, &str, usize)> =
            found.groups.iter().map(|one| (one.name.as_str(), one.note.as_str(), one.moves.len())).collect();
        assert_eq!((groups.as_slice(), found.between), (expected, between), "{changes:?}");
    }

    #[test]
    fn notes_part_the_moves_and_a_move_in_progress_belongs_to_neither() {
        check(&[], &[("setting 1", "", 6)], 0);
        check(&[(15, "a")], &[("setting 1", "", 1), ("setting 2", "a", 5)], 0);
        // At the command end of the second move, and at the start of the third.
        check(&[(30, "a")], &[("setting 1", "", 2), ("setting 2", "a", 4)], 0);
        check(&[(40, "a")], &[("setting 1", "", 2), ("setting 2", "a", 4)], 0);
        check(&[(45, "a")], &[("setting 1", "", 2), ("setting 2", "a", 3)], 1);
    }

    #[test]
    fn changes_without_moves_between_them_are_one() {
        check(&[(31, "a"), (32, "b")], &[("setting 1", "", 2), ("setting 2", "a; b", 4)], 0);
        check(&[(-5, "a"), (30, "b")], &[("setting 1", "a", 2), ("setting 2", "b", 4)], 0);
        check(
            &[(30, "a"), (900, "b")],
            &[("setting 1", "", 2), ("setting 2", "a", 4), ("setting 3", "b", 0)],
            0,
        );
        check(&[(-9, "a"), (-5, "b")], &[("setting 1", "a; b", 6)], 0);
    }
}
