//! In: the moves of settings that were tried one after another. Out: each setting against the first and the best before it.
//!
//! For each kind of moves the first setting is the best until another one is shown to be faster. So the best never rests on
//! chance alone, and of settings that are not told apart the earlier one stays. Each comparison holds with the confidence
//! that was asked for, by itself; the claim for the best setting allows for all comparisons of its kind (Bonferroni).

use std::collections::HashMap;

use serde::Serialize;

use super::{Basis, Compared, Group, PairLine, UNLIKE, group_line, line, settling};
use crate::analysis::comparison::{Terms, Verdict};
use crate::report::kind_moves::KindMoves;

/// What became of one kind of moves from setting to setting.
#[derive(Clone, Debug)]
pub struct KindLadder {
    /// The kind in words.
    pub kind: String,
    /// Settings with moves of this kind, and those without that come after one, in order.
    pub rungs: Vec<Rung>,
    /// Place of the best setting among all groups.
    pub best: usize,
    /// Comparisons that were made.
    pub comparisons: usize,
    /// The best setting against the first one, all comparisons allowed for; none if the first one is the best.
    pub claim: Option<PairLine>,
}

/// One setting.
#[derive(Clone, Debug)]
pub struct Rung {
    /// Place among all groups.
    pub group: usize,
    /// Settling times of its moves, in their order; +∞ where a move did not settle. Unit: s
    pub settling_s: Vec<f64>,
    /// Against the first setting; none for that one.
    pub first: Option<PairLine>,
    /// Place of the best setting before this one, and this one against it; none if that is the first one.
    pub best: Option<(usize, PairLine)>,
}

/// The best setting for one kind of moves, as other tools read it. Times in seconds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BestLine {
    /// The kind in words.
    pub kind: String,
    /// Name of the first setting.
    pub first: String,
    /// Name of the best setting.
    pub best: String,
    /// Comparisons of this kind that were made.
    pub comparisons: usize,
    /// Confidence of the interval, so that all comparisons together hold with the confidence that was asked for.
    pub confidence: f64,
    /// Median of all differences, best − first.
    pub shift_s: Option<f64>,
    /// Its interval; an end is none if it is open or lies among unsettled moves.
    pub shift_all_s: Option<[Option<f64>; 2]>,
    /// The verdict with that interval.
    pub verdict: &'static str,
}

/// Comparisons that were made: number of the kind, places of two groups, and their moves. It holds as long as groups only
/// grow at their end.
#[derive(Clone, Debug, Default)]
pub struct Cache(HashMap<[usize; 5], PairLine>);

/// The ladder of each kind.
pub fn ladders(groups: &[Group], kinds: &[KindMoves], basis: &Basis) -> Vec<KindLadder> {
    ladders_cached(groups, kinds, (basis, &|_| basis.terms.confidence), &mut Cache::default())
}

/// The same without the comparisons that were made already, and with a confidence that depends on the moves of the smaller
/// side.
pub fn ladders_cached(
    groups: &[Group],
    kinds: &[KindMoves],
    (basis, confidence): (&Basis, &dyn Fn(usize) -> f64),
    cache: &mut Cache,
) -> Vec<KindLadder> {
    let mut pair = |kind: &KindMoves, (before, after): (usize, usize)| {
        let moves = |at: usize| kind.groups[at].len();
        let key = [kind.typical.number as usize, before, after, moves(before), moves(after)];
        let names = (groups[before].name.as_str(), groups[after].name.as_str());
        let confidence = confidence(moves(before).min(moves(after)));
        let basis = Basis { terms: Terms { confidence, ..basis.terms }, ..basis.clone() };
        let made = cache.0.entry(key);
        let made = made.or_insert_with(|| line(kind, (before, after), names, (kinds, &basis)));
        PairLine { kind: kind.name.clone(), ..made.clone() }
    };
    let mut ladders: Vec<KindLadder> = kinds.iter().map(|kind| ladder(kind, &mut pair)).collect();
    for (ladder, kind) in ladders.iter_mut().zip(kinds) {
        ladder.claim = claim(ladder, kind, groups, (kinds, basis));
    }
    ladders
}

fn ladder(kind: &KindMoves, pair: &mut dyn FnMut(&KindMoves, (usize, usize)) -> PairLine) -> KindLadder {
    let settling_s = |group: usize| kind.groups[group].iter().filter_map(|report| settling(report)).collect();
    // A kind has moves in one group at least.
    let first = kind.groups.iter().position(|moves| !moves.is_empty()).unwrap_or(0);
    let (mut best, mut comparisons) = (first, 0);
    let mut rungs = vec![Rung { group: first, settling_s: settling_s(first), first: None, best: None }];
    for group in first + 1..kind.groups.len() {
        let against_first = pair(kind, (first, group));
        let against_best = (best != first).then(|| (best, pair(kind, (best, group))));
        let pairs = std::iter::once(&against_first).chain(against_best.as_ref().map(|(_, pair)| pair));
        comparisons += pairs.clone().filter(|pair| pair.verdict != UNLIKE).count();
        if pairs.last().is_some_and(|pair| pair.verdict == Verdict::Faster.word()) {
            best = group;
        }
        let settling_s = settling_s(group);
        rungs.push(Rung { group, settling_s, first: Some(against_first), best: against_best });
    }
    KindLadder { kind: kind.name.clone(), rungs, best, comparisons, claim: None }
}

/// The best setting against the first one, with an interval that allows for all comparisons.
fn claim(
    ladder: &KindLadder,
    kind: &KindMoves,
    groups: &[Group],
    (kinds, basis): (&[KindMoves], &Basis),
) -> Option<PairLine> {
    let (first, best) = (ladder.rungs.first()?.group, ladder.best);
    let confidence = 1.0 - (1.0 - basis.terms.confidence) / ladder.comparisons.max(1) as f64;
    let basis = Basis { terms: Terms { confidence, ..basis.terms }, ..basis.clone() };
    let names = (groups[first].name.as_str(), groups[best].name.as_str());
    (best != first).then(|| line(kind, (first, best), names, (kinds, &basis)))
}

impl Compared {
    /// The pairs of ladders: by setting, those with the first one before those with the best one.
    pub fn of_ladders(groups: &[Group], kinds: &[KindMoves], ladders: &[KindLadder]) -> Compared {
        let mut pairs: Vec<(usize, usize, PairLine)> = Vec::new();
        for (place, rung) in ladders.iter().flat_map(|ladder| ladder.rungs.iter().enumerate()) {
            let first = rung.group - place;
            pairs.extend(rung.first.clone().map(|pair| (rung.group, first, pair)));
            pairs.extend(rung.best.clone().map(|(best, pair)| (rung.group, best, pair)));
        }
        pairs.sort_by_key(|(group, other, _)| (*group, *other));
        Compared {
            groups: groups.iter().enumerate().map(|(at, group)| group_line(at, group, kinds)).collect(),
            pairs: pairs.into_iter().map(|(_, _, pair)| pair).collect(),
            best: ladders.iter().filter_map(best_line).collect(),
        }
    }
}

fn best_line(ladder: &KindLadder) -> Option<BestLine> {
    let claim = ladder.claim.as_ref()?;
    Some(BestLine {
        kind: ladder.kind.clone(),
        first: claim.before.clone(),
        best: claim.after.clone(),
        comparisons: ladder.comparisons,
        confidence: claim.confidence,
        shift_s: claim.shift_s,
        shift_all_s: claim.shift_95_s,
        verdict: claim.verdict,
    })
}

#[cfg(test)]
mod tests {
    use super::super::by_kind;
    use super::*;
    use crate::analysis::comparison::Margin;
    use crate::report::fixture::report;

    /// Moves that settle after `middle` ms and up to a tenth more or less, in an order without dependence.
    fn group(number: usize, count: u32, middle: f64) -> Group {
        let settling = |k: u32| middle * (0.9 + 0.2 * f64::from(k * 37 % 101) / 101.0) * 1e-3;
        Group {
            name: format!("setting {number}"),
            moves: (0..count).map(|k| report(k + 1, Some(settling(k)))).collect(),
            ..Group::default()
        }
    }

    /// Against the first, and against the best with its place.
    type Verdicts<'a> = (Option<&'a str>, Option<(usize, &'a str)>);

    /// Five settings of 30 moves each.
    fn groups() -> Vec<Group> {
        let middles = [150.0, 45.0, 45.2, 300.0, 6.0];
        (1..).zip(middles).map(|(number, middle)| group(number, 30, middle)).collect()
    }

    fn basis() -> Basis {
        let terms = Terms { confidence: 0.95, margin: Margin::Time(0.0) };
        Basis { terms, unit: "mm".to_owned(), encoder_step: 0.001, sample_period_s: 0.0 }
    }

    #[test]
    fn the_best_is_the_one_that_was_shown_to_be_faster() {
        let groups = groups();
        let kinds = by_kind(&groups, &basis());
        let ladders = ladders(&groups, &kinds, &basis());
        assert_eq!(ladders.len(), 1);
        let ladder = &ladders[0];
        assert_eq!((ladder.best, ladder.comparisons, ladder.rungs.len()), (4, 7, 5));
        let verdicts: Vec<Verdicts> = ladder
            .rungs
            .iter()
            .map(|rung| {
                let best = rung.best.as_ref().map(|(best, pair)| (*best, pair.verdict));
                (rung.first.as_ref().map(|pair| pair.verdict), best)
            })
            .collect();
        assert_eq!(
            verdicts,
            [
                (None, None),
                (Some("faster"), None),
                (Some("faster"), Some((1, "no difference shown"))),
                (Some("slower"), Some((1, "slower"))),
                (Some("faster"), Some((1, "faster"))),
            ]
        );
    }

    #[test]
    fn pairs_and_the_best_are_as_other_tools_read_them() {
        let groups = groups();
        let kinds = by_kind(&groups, &basis());
        let ladders = ladders(&groups, &kinds, &basis());
        let compared = Compared::of_ladders(&groups, &kinds, &ladders);
        let names: Vec<(&str, &str)> =
            compared.pairs.iter().map(|pair| (pair.before.as_str(), pair.after.as_str())).collect();
        let expected = [(1, 2), (1, 3), (2, 3), (1, 4), (2, 4), (1, 5), (2, 5)];
        let expected =
            expected.map(|(before, after)| (format!("setting {before}"), format!("setting {after}")));
        assert_eq!(names, expected.each_ref().map(|(before, after)| (before.as_str(), after.as_str())));
        let best = &compared.best[0];
        assert_eq!(
            (best.first.as_str(), best.best.as_str(), best.verdict),
            ("setting 1", "setting 5", "faster")
        );
        assert!((best.confidence - (1.0 - 0.05 / 7.0)).abs() < 1e-12);
        // It allows for all comparisons, so it is wider than that of the pair.
        let pair = compared.pairs.iter().find(|pair| pair.after == "setting 5").unwrap();
        let (narrow, wide) = (pair.shift_95_s.unwrap(), best.shift_all_s.unwrap());
        assert!(wide[0] < narrow[0] && narrow[1] < wide[1], "{narrow:?} {wide:?}");
    }

    #[test]
    fn a_setting_without_moves_is_no_comparison() {
        let groups = [group(1, 0, 1.0), group(2, 20, 40.0), group(3, 0, 1.0), group(4, 20, 20.0)];
        let kinds = by_kind(&groups, &basis());
        let ladder = &ladders(&groups, &kinds, &basis())[0];
        assert_eq!((ladder.rungs[0].group, ladder.best, ladder.comparisons), (1, 3, 1));
        assert_eq!(ladder.rungs[1].first.as_ref().map(|pair| pair.verdict), Some(UNLIKE));
    }
}
