//! In: the moves of two or more groups, each recorded with another setting. Out: whether a change helped, kind by kind.
//!
//! The field names are a contract: other tools read them. Add at the end, never rename.

mod reason;
pub mod curves;
pub mod ladder;
pub mod table;
pub mod ladder_table;

use std::io;

use serde::Serialize;
use stillpoint_core::Outcome;

use super::json;
use super::kind_moves::{self, KindMoves};
use super::move_report::MoveReport;
use crate::analysis::comparison::{Comparison, Terms};

/// Moves recorded with one setting of the machine.
#[derive(Clone, Debug, Default)]
pub struct Group {
    /// What people call it.
    pub name: String,
    /// The recordings.
    pub files: Vec<String>,
    /// What was changed, in words; empty if nothing is known.
    pub note: String,
    /// All moves in their order.
    pub moves: Vec<MoveReport>,
    /// What was noticed of its recordings, a sentence each.
    pub cautions: Vec<String>,
}

/// What all groups have in common.
#[derive(Clone, Debug)]
pub struct Basis {
    /// How they are compared.
    pub terms: Terms,
    /// Name of the unit of position.
    pub unit: String,
    /// Smallest change of feedback. Unit: `unit`
    pub encoder_step: f64,
    /// Longest sample period. Unit: s
    pub sample_period_s: f64,
}

/// A group as other tools read it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GroupLine {
    /// What people call it.
    pub name: String,
    /// The recordings.
    pub files: Vec<String>,
    /// What was changed.
    pub note: Option<String>,
    /// Moves that settled or did not.
    pub moves: usize,
    /// Moves that say nothing of settling: interrupted, untrusted, or begun before the recording.
    pub omitted: usize,
}

/// One kind of moves in two groups, as other tools read it. Times in seconds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PairLine {
    /// The kind in words.
    pub kind: String,
    /// Name of the group before.
    pub before: String,
    /// Name of the group after.
    pub after: String,
    /// Moves before that settled or did not.
    pub n_before: usize,
    /// The same after.
    pub n_after: usize,
    /// Median before, unsettled moves as the latest; none if that is unsettled.
    pub median_before_s: Option<f64>,
    /// The same after.
    pub median_after_s: Option<f64>,
    /// Median of all differences, after − before.
    pub shift_s: Option<f64>,
    /// Its interval; an end is none if it is open or lies among unsettled moves.
    pub shift_95_s: Option<[Option<f64>; 2]>,
    /// Moves that did not settle before.
    pub unsettled_before: usize,
    /// The same after.
    pub unsettled_after: usize,
    /// `faster`, `slower`, `no difference shown`, `too few`, `too dependent` or `unlike moves`.
    pub verdict: &'static str,
    /// Why, and what to be careful about; empty if nothing.
    pub reason: String,
    /// Probability with which each interval holds.
    pub confidence: f64,
    /// Change that is too small to matter.
    pub margin_s: f64,
    /// Share of unsettled moves after less that before.
    pub unsettled_change: Option<f64>,
    /// Its interval.
    pub unsettled_change_95: Option<[f64; 2]>,
    /// Correlation of the ranks of neighbouring moves before; none with fewer than two.
    pub correlation_before: Option<f64>,
    /// The same after.
    pub correlation_after: Option<f64>,
}

/// The verdict on moves that only one of two groups has.
const UNLIKE: &str = "unlike moves";

/// Groups, and what became of each kind between each two of them.
#[derive(Clone, Debug, Serialize)]
pub struct Compared {
    /// The groups, in order.
    pub groups: Vec<GroupLine>,
    /// All pairs of groups, the earlier one first, with all kinds; of a ladder, those with the first and the best.
    pub pairs: Vec<PairLine>,
    /// Of a ladder: the best setting for each kind of which one is shown to be faster than the first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub best: Vec<ladder::BestLine>,
}

/// The moves of all groups that settled or did not, by kind.
pub fn by_kind<'a>(groups: &'a [Group], basis: &Basis) -> Vec<KindMoves<'a>> {
    let moves: Vec<&[MoveReport]> = groups.iter().map(|group| group.moves.as_slice()).collect();
    kind_moves::by_kind(&moves, (basis.encoder_step, &basis.unit), |report| settling(report).is_some())
}

/// Settling time of a move, +∞ if it did not settle; `None` if it says nothing of settling. Unit: s
pub fn settling(report: &MoveReport) -> Option<f64> {
    match report.outcome {
        Outcome::Settled => report.settling_s,
        Outcome::Unsettled => Some(f64::INFINITY),
        Outcome::Interrupted | Outcome::Untrusted => None,
    }
}

impl Compared {
    /// Compares each two groups, kind by kind.
    pub fn new(groups: &[Group], kinds: &[KindMoves], basis: &Basis) -> Compared {
        let pair = |before: usize, after: usize| {
            let name = |at: usize| groups[at].name.as_str();
            let known =
                move |kind: &&KindMoves| !(kind.groups[before].is_empty() && kind.groups[after].is_empty());
            let line = move |kind| line(kind, (before, after), (name(before), name(after)), (kinds, basis));
            kinds.iter().filter(known).map(line)
        };
        let pairs =
            (0..groups.len()).flat_map(|before| (before + 1..groups.len()).map(move |after| (before, after)));
        Compared {
            groups: groups.iter().enumerate().map(|(at, group)| group_line(at, group, kinds)).collect(),
            pairs: pairs.flat_map(|(before, after)| pair(before, after)).collect(),
            best: Vec::new(),
        }
    }

    /// One JSON object.
    pub fn json(&self) -> io::Result<String> {
        json::line(self)
    }
}

fn group_line(at: usize, group: &Group, kinds: &[KindMoves]) -> GroupLine {
    let moves = kinds.iter().map(|kind| kind.groups[at].len()).sum();
    GroupLine {
        name: group.name.clone(),
        files: group.files.clone(),
        note: Some(group.note.clone()).filter(|note| !note.is_empty()),
        moves,
        omitted: group.moves.len() - moves,
    }
}

/// What becomes of a kind between two groups.
fn line(
    kind: &KindMoves,
    (before, after): (usize, usize),
    (name_before, name_after): (&str, &str),
    (kinds, basis): (&[KindMoves], &Basis),
) -> PairLine {
    let values =
        |at: usize| kind.groups[at].iter().filter_map(|report| settling(report)).collect::<Vec<f64>>();
    let found = Comparison::of(&values(before), &values(after), &basis.terms);
    let [one, other] = found.sides;
    let is_unlike = one.moves == 0 || other.moves == 0;
    let finite = |value: f64| Some(value).filter(|value| value.is_finite());
    let correlation =
        |at: usize| finite(found.sides[at].dependence.correlation).filter(|_| found.sides[at].moves > 1);
    PairLine {
        kind: kind.name.clone(),
        before: name_before.to_owned(),
        after: name_after.to_owned(),
        n_before: one.moves,
        n_after: other.moves,
        median_before_s: finite(one.median),
        median_after_s: finite(other.median),
        shift_s: found.shift.and_then(|shift| finite(shift.estimate)),
        shift_95_s: found.shift.map(|shift| [finite(shift.low), finite(shift.high)]),
        unsettled_before: one.unsettled,
        unsettled_after: other.unsettled,
        verdict: if is_unlike { UNLIKE } else { found.verdict.word() },
        reason: match is_unlike {
            true => reason::unlike(kind, (before, after), (name_before, name_after), kinds),
            false => reason::of(&found, (name_before, name_after), basis),
        },
        confidence: basis.terms.confidence,
        margin_s: found.margin,
        unsettled_change: found.unsettled.map(|(change, _, _)| change),
        unsettled_change_95: found.unsettled.map(|(_, low, high)| [low, high]),
        correlation_before: correlation(0),
        correlation_after: correlation(1),
    }
}
