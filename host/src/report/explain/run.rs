//! In: the moves of an axis in their order. Out: those of the longest run without a break, each with the position of its target.
//!
//! A record has the travel, not the position: within a run positions are sums of travels, from where the first move began.
//! A missing move, one whose travel is not known, another start of the monitor and another recording end a run.

use crate::report::kind_moves::motion;
use crate::report::move_report::MoveReport;

/// The moves of the longest run, with the positions of their targets. Unit: that of position
pub fn longest_run(moves: &[MoveReport]) -> Vec<(&MoveReport, f64)> {
    let follows = |one: &MoveReport, next: &MoveReport| {
        one.file == next.file && one.number.checked_add(1) == Some(next.number) && motion(next).is_some()
    };
    let runs = moves.chunk_by(|one, next| follows(one, next));
    let longest = runs.rev().max_by_key(|run| run.len()).unwrap_or_default();
    // The travel of the first move need not be known: positions count from its target.
    let targets = longest.iter().scan(None, |position: &mut Option<f64>, report| {
        let target = position.map_or(0.0, |position| position + report.travel);
        Some((report, *position.insert(target)))
    });
    targets.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;
    use stillpoint_core::Outcome;

    /// Numbers of the longest run, and positions.
    fn run(moves: &[MoveReport]) -> Vec<(u32, f64)> {
        longest_run(moves).into_iter().map(|(report, position)| (report.number, position)).collect()
    }

    #[test]
    fn positions_are_sums_of_travels_up_to_a_break() {
        let mut moves: Vec<MoveReport> = (1..=7).map(|number| fixture::report(number, Some(0.04))).collect();
        moves.iter_mut().zip([60.0, -20.0, 5.0, 60.0, 1.0, 2.0, 3.0]).for_each(|(one, to)| one.travel = to);
        assert_eq!(run(&moves[..3]), [(1, 0.0), (2, -20.0), (3, -15.0)]);
        moves[2].outcome = Outcome::Untrusted;
        assert_eq!(run(&moves), [(3, 0.0), (4, 60.0), (5, 61.0), (6, 63.0), (7, 66.0)]);
        moves.remove(4);
        assert_eq!(run(&moves), [(1, 0.0), (2, -20.0)], "of runs as long the first");
        moves[5].file = "another.csv".to_owned();
        moves[1].number = 3;
        assert_eq!(run(&moves).len(), 2);
        assert_eq!(run(&[]), []);
    }
}
