//! In: a comparison. Out: why its verdict is what it is, and what to be careful about.

use super::super::kind_moves::KindMoves;
use super::super::number;
use super::Basis;
use crate::analysis::comparison::{Comparison, FEWEST_INDEPENDENT, Side, Verdict};
use crate::analysis::like_moves::TypicalMove;
use crate::analysis::shift_interval::Shift;

/// Names of the groups before and after.
type Names<'a> = (&'a str, &'a str);

/// Why moves of two groups are unlike: what the group without them has instead.
pub(super) fn unlike(
    kind: &KindMoves,
    (before, after): (usize, usize),
    names: Names,
    kinds: &[KindMoves],
) -> String {
    let (without, name) = if kind.groups[before].is_empty() { (before, names.0) } else { (after, names.1) };
    let there = || kinds.iter().filter(|other| !other.groups[without].is_empty());
    let nearest = there().min_by(|a, b| {
        let far = |other: &&KindMoves| distance(&kind.typical, &other.typical);
        far(a).total_cmp(&far(b))
    });
    match nearest {
        Some(nearest) => format!("no such moves in {name}; the nearest there are {}", nearest.name),
        None => format!("no moves in {name} that settled or did not"),
    }
}

/// How unlike two typical moves are, by ratio; the other direction is beyond any distance.
fn distance(one: &TypicalMove, other: &TypicalMove) -> f64 {
    let ratio = |a: f64, b: f64| if a > 0.0 && b > 0.0 { (a / b).ln().abs() } else { 0.0 };
    let turned = if one.forward == other.forward { 0.0 } else { 100.0 };
    turned + ratio(one.distance, other.distance) + ratio(one.speed, other.speed)
}

/// Why a verdict is what it is; empty where its numbers say so.
pub(super) fn of(found: &Comparison, names: Names, basis: &Basis) -> String {
    let mut parts = match (found.verdict, found.shift) {
        (Verdict::TooDependent, _) => dependent(found, names),
        (_, Some(shift)) => shown(found, &shift),
        (_, None) => {
            let fewest = Comparison::needed(&basis.terms);
            vec![format!("at least {fewest} moves on each side are needed")]
        }
    };
    if let Some(shift) = &found.shift {
        parts.extend(cautions(shift, basis));
    }
    parts.join("; ")
}

/// Which side depends too much on itself, and what to do.
fn dependent(found: &Comparison, names: Names) -> Vec<String> {
    let sides = found.sides.iter().zip([names.0, names.1]);
    sides.filter_map(|(side, name)| too_dependent(side, name)).collect()
}

fn too_dependent(side: &Side, name: &str) -> Option<String> {
    let assumed = side.assumed?;
    let correlation = number::fixed(assumed.correlation, 2);
    let follows = format!("each move of {name} follows the one before (correlation {correlation})");
    let enough = match Comparison::needed_of(&assumed) {
        None => {
            return Some(format!("{follows}: more moves don't help, other moves or a wait between them do"));
        }
        Some(enough) if enough <= side.moves => return None,
        Some(enough) => enough,
    };
    let independent = assumed.independent() as u64;
    Some(format!(
        "{follows}: its {} moves are worth {independent} independent ones, and {FEWEST_INDEPENDENT} are needed; record {enough}",
        side.moves
    ))
}

/// What an interval shows beside its ends.
fn shown(found: &Comparison, shift: &Shift) -> Vec<String> {
    let mut parts = Vec::new();
    let margin = found.margin;
    let is_beyond = |bound: f64| shift.high < -bound || shift.low > bound;
    if found.verdict == Verdict::NotShown && is_beyond(0.0) && !is_beyond(margin) {
        parts.push(format!("a difference, but not shown to exceed the margin of {}", ms(margin)));
    } else if found.verdict == Verdict::NotShown
        && margin > 0.0
        && shift.low >= -margin
        && shift.high <= margin
    {
        parts.push(format!("any difference is within the margin of {}", ms(margin)));
    } else if found.verdict == Verdict::NotShown && margin > 0.0 && !is_beyond(0.0) {
        parts.extend(more_moves(found, shift));
    }
    parts.extend(unsettled(found, is_beyond(margin)));
    parts
}

/// How many moves would show a difference of the margin: the width of an interval falls as the root of their number.
fn more_moves(found: &Comparison, shift: &Shift) -> Option<String> {
    let half = (shift.high - shift.low) / 2.0;
    let moves = found.sides.map(|side| side.moves).into_iter().min()? as f64;
    let needed = (moves * (half / found.margin).powi(2)).ceil();
    let is_stated = half.is_finite() && needed > moves && needed < 1e6;
    is_stated.then(|| format!("about {needed} moves on each side would show {}", ms(found.margin)))
}

/// A change of the share of unsettled moves, where it is shown.
fn unsettled(found: &Comparison, by_time: bool) -> Option<String> {
    let (_, low, high) = found.unsettled.filter(|_| found.unsettled_is_shown)?;
    let [one, other] = found.sides;
    let change = if low > 0.0 { "more" } else { "fewer" };
    let percent = |share: f64| number::fixed(100.0 * share, 1);
    let counts = format!(
        "{} of {} before and {} of {} after, a change by {} to {} %",
        one.unsettled,
        one.moves,
        other.unsettled,
        other.moves,
        percent(low),
        percent(high)
    );
    let contradicts = if found.verdict == Verdict::NotShown && by_time { "but " } else { "" };
    Some(format!("{contradicts}{change} moves do not settle: {counts}"))
}

/// What else limits the interval.
fn cautions(shift: &Shift, basis: &Basis) -> Vec<String> {
    let mut parts = Vec::new();
    if shift.is_exact {
        parts.push("few moves: the interval takes both sides to scatter alike".to_owned());
    }
    if shift.low.is_infinite() || shift.high.is_infinite() {
        parts.push("an end of the interval lies among unsettled moves".to_owned());
    }
    let most = shift.low.abs().max(shift.high.abs());
    if most > 0.0 && most < basis.sample_period_s {
        parts.push(format!("the difference is below the sample period of {}", ms(basis.sample_period_s)));
    }
    parts
}

fn ms(seconds: f64) -> String {
    format!("{} ms", number::plain(1e3 * seconds))
}
