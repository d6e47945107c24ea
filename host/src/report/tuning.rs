//! In: the settings that were tried on an axis so far. Out: a running table: what each one does, and whether it is better.
//!
//! It is looked at after every move. Intervals of 95 % that are looked at so often are wrong in a fourth of all comparisons
//! sooner or later; these are wider, so that a verdict is wrong in 5 of 100 comparisons at most, however often it is looked
//! at. Fewer than 20 moves don't show whether they depend on each other, so they have to show more.

use serde::Serialize;

use super::compare::ladder::{Cache, KindLadder, Rung, ladders_cached};

use super::compare::{Basis, Group, PairLine, by_kind};
use super::kind_moves::KindMoves;
use super::number::{self, fixed, plain};
use super::rungs::Rungs;
use crate::analysis::comparison::{Comparison, FEWEST_FOR_DEPENDENCE, Margin, Side, Terms, Verdict};
use crate::analysis::median_interval::median_ends;
use crate::analysis::more_moves::{Claim, MoreMoves, more_moves};

/// Confidence of each interval by which a verdict is given, from 20 moves on each side on.
pub const CONFIDENCE: f64 = 0.9975;
/// The same for fewer moves. Both were found by simulation.
pub const CONFIDENCE_OF_FEW: f64 = 0.9999;
/// Change that more moves are to show, as a share of the best median.
pub const CHANGE: f64 = 0.1;
/// Probability with which they show it.
pub const POWER: f64 = 0.9;

/// Confidence of an interval, by the moves of the smaller side.
pub fn confidence(moves: usize) -> f64 {
    if moves < FEWEST_FOR_DEPENDENCE { CONFIDENCE_OF_FEW } else { CONFIDENCE }
}

/// Longest note in the table. Unit: characters
const LONGEST_NOTE: usize = 60;

/// What a setting does with one kind of moves, as other tools read it. Times in seconds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SettingLine {
    /// Name of the axis.
    pub axis: String,
    /// The kind in words.
    pub kind: String,
    /// Number of the setting, from 1.
    pub setting: usize,
    /// What was changed before it.
    pub note: Option<String>,
    /// Moves that settled or did not.
    pub moves: usize,
    /// Moves that did not.
    pub unsettled: usize,
    /// Median, unsettled moves as the latest; none if that is unsettled.
    pub median_s: Option<f64>,
    /// Its interval at 95 %; an end among unsettled moves is none.
    pub median_95_s: Option<[Option<f64>; 2]>,
    /// Shape of most stops; none where no shape is known.
    pub signature: Option<String>,
    /// Whether it is the best that was shown so far.
    pub is_best: bool,
    /// Number of the setting that it is compared with: the best before it; none for the first one.
    pub against: Option<usize>,
    /// The verdict, as in a comparison.
    pub verdict: Option<&'static str>,
    /// Median of all differences to that setting; negative: sooner.
    pub shift_s: Option<f64>,
    /// Its interval; an end is none if it is open or lies among unsettled moves.
    pub shift_interval_s: Option<[Option<f64>; 2]>,
    /// Confidence of that interval, which allows for looking at it after every move.
    pub confidence: Option<f64>,
    /// More moves with this setting that would show a change by a tenth, nine times in ten; 0: those there are would have.
    pub more_moves: Option<usize>,
    /// Moves that both settings need in all, where those of the best one are too few for that.
    pub each_moves: Option<usize>,
    /// The verdict in words.
    pub words: String,
}

/// The settings of one axis, kind by kind.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TuningTable {
    /// For each kind its settings.
    pub kinds: Vec<Vec<SettingLine>>,
}

/// How the moves of the table are compared.
pub fn basis(unit: &str, encoder_step: f64) -> Basis {
    let terms = Terms { confidence: CONFIDENCE_OF_FEW, margin: Margin::Time(0.0) };
    Basis { terms, unit: unit.to_owned(), encoder_step, sample_period_s: 0.0 }
}

impl TuningTable {
    /// The table of an axis.
    pub fn new(axis: &str, rungs: &Rungs, basis: &Basis, cache: &mut Cache) -> TuningTable {
        let kinds = by_kind(&rungs.groups, basis);
        let ladders = ladders_cached(&rungs.groups, &kinds, (basis, &confidence), cache);
        let lines = |(ladder, kind): (&KindLadder, &KindMoves)| {
            let line = |rung| line(axis, rung, (ladder, kind), &rungs.groups);
            ladder.rungs.iter().map(line).collect()
        };
        TuningTable { kinds: ladders.iter().zip(&kinds).map(lines).collect() }
    }

    /// The lines whose number of moves has changed since an earlier table.
    pub fn news<'a>(&'a self, before: &'a TuningTable) -> impl Iterator<Item = &'a SettingLine> {
        let old = |kind: usize, line: usize| before.kinds.get(kind).and_then(|lines| lines.get(line));
        let moves = move |kind: usize, line: usize| old(kind, line).map_or(0, |line| line.moves);
        self.kinds.iter().enumerate().flat_map(move |(kind, lines)| {
            let is_new = move |(at, line): &(usize, &SettingLine)| line.moves != moves(kind, *at);
            lines.iter().enumerate().filter(is_new).map(|(_, line)| line)
        })
    }

    /// The table as text, of at most `width` characters.
    pub fn text(&self, width: usize) -> String {
        let mut text = String::new();
        for lines in &self.kinds {
            let Some(first) = lines.first() else { continue };
            text += &cut(&format!("{}, {}", first.axis, first.kind), width);
            text += "\nsetting  moves  median ms (95 % sure)  unsettled  signature\n";
            lines.iter().for_each(|line| text += &line.text(width));
        }
        text
    }
}

fn line(axis: &str, rung: &Rung, (ladder, kind): (&KindLadder, &KindMoves), groups: &[Group]) -> SettingLine {
    let finite = |value: f64| Some(value).filter(|value| value.is_finite());
    let (side, group) = (Side::of(&rung.settling_s), &groups[rung.group]);
    let first = ladder.rungs.first().map_or(0, |rung| rung.group);
    let (against, pair) = match (&rung.best, &rung.first) {
        (Some((best, pair)), _) => (Some(*best), Some(pair)),
        (None, pair) => (pair.as_ref().map(|_| first), pair.as_ref()),
    };
    let other = ladder.rungs.iter().find(|other| Some(other.group) == against);
    let more = pair.zip(other).and_then(|(pair, other)| more(pair, &other.settling_s, &rung.settling_s));
    SettingLine {
        axis: axis.to_owned(),
        kind: ladder.kind.clone(),
        setting: rung.group + 1,
        note: Some(group.note.clone()).filter(|note| !note.is_empty()),
        moves: side.moves,
        unsettled: side.unsettled,
        median_s: finite(side.median),
        median_95_s: median_ends(&rung.settling_s, 0.95).map(|(low, high)| [finite(low), finite(high)]),
        signature: signature(&kind.groups[rung.group]),
        is_best: rung.group == ladder.best && ladder.best != first,
        against: against.map(|against| against + 1),
        verdict: pair.map(|pair| pair.verdict),
        shift_s: pair.and_then(|pair| pair.shift_s),
        shift_interval_s: pair.and_then(|pair| pair.shift_95_s),
        confidence: pair.map(|pair| pair.confidence),
        more_moves: more.and_then(|more| match more {
            MoreMoves::OfThis(moves) => Some(moves),
            MoreMoves::OfEach(_) => None,
        }),
        each_moves: more.and_then(|more| match more {
            MoreMoves::OfEach(moves) => Some(moves),
            MoreMoves::OfThis(_) => None,
        }),
        words: pair.map_or("the first setting".to_owned(), |pair| words(pair, against, more)),
    }
}

/// The shape that most stops have; of two as frequent ones the first by name.
fn signature(moves: &[&super::move_report::MoveReport]) -> Option<String> {
    let mut shapes: Vec<&str> = moves.iter().filter_map(|report| report.signature.as_deref()).collect();
    shapes.sort_unstable();
    let runs = shapes.chunk_by(|one, other| one == other);
    runs.rev().max_by_key(|run| run.len()).and_then(|run| run.first()).map(|shape| (*shape).to_owned())
}

/// How many more moves would show a change by a tenth, where nothing is shown yet.
fn more(pair: &PairLine, best: &[f64], this: &[f64]) -> Option<MoreMoves> {
    let is_open = pair.verdict == Verdict::NotShown.word() || pair.verdict == Verdict::TooFew.word();
    let change = CHANGE * pair.median_before_s?;
    let claim = claim(change);
    is_open.then(|| more_moves(best, this, &claim)).flatten()
}

/// What is claimed of a change of this size. Unit: s
pub fn claim(change: f64) -> Claim {
    Claim { change, confidence: CONFIDENCE, power: POWER, fewest: FEWEST_FOR_DEPENDENCE }
}

/// The verdict in words: against the best setting before.
fn words(pair: &PairLine, against: Option<usize>, more: Option<MoreMoves>) -> String {
    let other = against.map_or(String::new(), |against| (against + 1).to_string());
    match pair.verdict {
        "faster" | "slower" => beside(pair, &other),
        "no difference shown" => {
            format!("no difference to {other} shown{}", more.map_or(String::new(), |more| wanted(more, pair)))
        }
        "too few" => {
            let needed = Comparison::needed(&basis("", 0.0).terms);
            let missing = |there: usize| needed.saturating_sub(there);
            match (missing(pair.n_before), missing(pair.n_after)) {
                (0, missing) => format!("too few moves yet to compare with {other}: {missing} more"),
                (missing, _) => format!("{other} has too few moves to compare with: {missing} more of it"),
            }
        }
        "too dependent" => format!("can't be compared with {other}: {}", pair.reason),
        _ => "no such moves yet".to_owned(),
    }
}

fn beside(pair: &PairLine, other: &str) -> String {
    let (verdict, figure) = (pair.verdict, |seconds: f64| fixed(1e3 * seconds.abs(), 1));
    let ends = pair.shift_95_s.unwrap_or_default();
    let [near, far] = if verdict == "faster" { [ends[1], ends[0]] } else { ends };
    match (near, far) {
        _ if !super::compare::ladder_table::is_by_time(pair) => {
            format!(
                "{verdict} than {other}: {} moves settle",
                if verdict == "faster" { "more" } else { "fewer" }
            )
        }
        (Some(near), Some(far)) => {
            format!("{verdict} than {other} by {} to {} ms", figure(near), figure(far))
        }
        (Some(near), None) => format!("{verdict} than {other} by more than {} ms", figure(near)),
        _ => format!("{verdict} than {other}"),
    }
}

/// `; 12 more moves would show 10 %`.
fn wanted(more: MoreMoves, pair: &PairLine) -> String {
    let change = format!("{} %", plain(100.0 * CHANGE));
    match more {
        MoreMoves::OfThis(0) => {
            apart(pair).map_or(String::new(), |apart| format!("; at most {apart} % apart"))
        }
        MoreMoves::OfThis(1) => format!("; 1 more move would show {change}"),
        MoreMoves::OfThis(moves) => format!("; {moves} more moves would show {change}"),
        MoreMoves::OfEach(moves) => format!("; {moves} moves of each would show {change}"),
    }
}

/// How far the interval reaches, as a share of the median before, rounded up. Unit: %
fn apart(pair: &PairLine) -> Option<String> {
    let [low, high] = pair.shift_95_s?;
    let share = low?.abs().max(high?.abs()) / pair.median_before_s.filter(|median| *median > 0.0)?;
    Some(fixed((100.0 * share).ceil(), 0))
}

impl SettingLine {
    /// Its figures, then its note and its verdict on lines of their own.
    fn text(&self, width: usize) -> String {
        let mark = if self.is_best { "*" } else { " " };
        let share = match self.moves {
            0 => "–".to_owned(),
            moves => format!("{} %", fixed(100.0 * self.unsettled as f64 / moves as f64, 0)),
        };
        let figures = format!(
            "{:>6}{mark}  {:>5}  {:<22}  {:>7}    {}",
            self.setting,
            self.moves,
            self.median(),
            share,
            self.signature.as_deref().unwrap_or(super::table::DASH)
        );
        let note = self.note.as_ref().map(|note| cut(note, LONGEST_NOTE));
        let below = note.into_iter().chain([self.words.clone()]);
        let below: String = below.map(|line| cut(&format!("         {line}"), width) + "\n").collect();
        cut(figures.trim_end(), width) + "\n" + &below
    }

    /// `45.1 (44.0 to 46.2)`.
    fn median(&self) -> String {
        let figure = |end: Option<f64>| end.map_or("unsettled".to_owned(), |end| fixed(1e3 * end, 1));
        let median = match self.moves {
            0 => return super::table::DASH.to_owned(),
            _ => figure(self.median_s),
        };
        match self.median_95_s {
            Some([None, None]) | None => median,
            Some([low, high]) => format!("{median} ({} to {})", figure(low), figure(high)),
        }
    }

    /// Two lines that stand by themselves: which setting, and its verdict.
    pub fn lines(&self) -> String {
        let shape = self.signature.as_ref().map_or(String::new(), |shape| format!(", {shape}"));
        let settles = format!(
            "{}, {}\n  setting {}: {}, median {} ms, {} unsettled{shape}\n  {}\n",
            self.axis,
            self.kind,
            self.setting,
            number::count(self.moves, "move"),
            self.median(),
            self.unsettled,
            self.words
        );
        settles.lines().map(|line| cut(line, 80) + "\n").collect()
    }
}

/// At most so many characters; the last one of a text that is longer says so.
fn cut(text: &str, width: usize) -> String {
    let text = super::printable::printable(text);
    if text.chars().count() <= width {
        return text;
    }
    text.chars().take(width.saturating_sub(1)).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::super::fixture::report;
    use super::super::move_report::MoveReport;
    use super::*;

    /// Moves that settle after `middle` ms and up to a tenth more or less, in an order without dependence.
    fn moves(count: u32, middle: f64) -> Vec<MoveReport> {
        let settling = |k: u32| middle * (0.9 + 0.2 * f64::from(k * 37 % 101) / 101.0) * 1e-3;
        (0..count).map(|k| report(k + 1, Some(settling(k)))).collect()
    }

    fn table(groups: &[(&str, Vec<MoveReport>)]) -> TuningTable {
        let group = |(at, (note, moves)): (usize, &(&str, Vec<MoveReport>))| Group {
            name: format!("setting {}", at + 1),
            note: (*note).to_owned(),
            moves: moves.clone(),
            ..Group::default()
        };
        let rungs = Rungs { groups: groups.iter().enumerate().map(group).collect(), between: 0 };
        TuningTable::new("tray", &rungs, &basis("mm", 0.001), &mut Cache::default())
    }

    fn words(groups: &[(&str, Vec<MoveReport>)]) -> Vec<String> {
        table(groups).kinds[0].iter().map(|line| line.words.clone()).collect()
    }

    #[test]
    fn verdicts_are_against_the_best_before_and_say_what_is_missing() {
        let first = || ("", moves(60, 100.0));
        let found = words(&[first(), ("a", moves(40, 50.0)), ("b", moves(2, 51.0))]);
        assert_eq!(found[0], "the first setting");
        assert!(found[1].starts_with("faster than 1 by 4") && found[1].ends_with(" ms"), "{}", found[1]);
        assert_eq!(found[2], "too few moves yet to compare with 2: 6 more");
        let found = words(&[first(), ("a", moves(12, 101.0))]);
        assert!(found[1].starts_with("no difference to 1 shown; "), "{}", found[1]);
        assert!(found[1].ends_with(" more moves would show 10 %"), "{}", found[1]);
        let found = words(&[first(), ("a", moves(90, 100.0))]);
        assert!(found[1].contains("no difference to 1 shown; at most ") && found[1].ends_with(" % apart"));
        let mut patchy = moves(60, 100.0);
        patchy.iter_mut().step_by(5).for_each(|one| *one = report(one.number, None));
        assert_eq!(words(&[first(), ("a", patchy)])[1], "slower than 1: fewer moves settle");
        assert_eq!(words(&[first(), ("a", vec![])])[1], "no such moves yet");
        let few = words(&[("", moves(3, 100.0)), ("a", moves(3, 50.0))]);
        assert_eq!(few[1], "1 has too few moves to compare with: 5 more of it");
    }

    #[test]
    fn the_table_fits_and_shows_shapes_where_there_are_some() {
        let long = "position gain 40 → 60 1/s; velocity feedforward 80 → 100 %; integral 25 → 30 1/s";
        let mut shapes = moves(30, 50.0);
        shapes.iter_mut().for_each(|one| one.signature = None);
        let text = table(&[("", moves(30, 100.0)), (long, shapes)]).text(80);
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        let row =
            |start: &str| text.lines().find(|line| line.trim_start().starts_with(start)).expect("a row");
        assert!(row("1 ").ends_with("0 %    ringing") && row("2*").ends_with("0 %    –"), "{text}");
        assert!(text.contains("…") && text.contains("faster than 1 by"), "{text}");
    }

    #[test]
    fn news_are_the_settings_with_more_moves() {
        let one = |count| table(&[("", moves(30, 100.0)), ("a", moves(count, 50.0))]);
        let (before, after) = (one(7), one(8));
        let news: Vec<usize> = after.news(&before).map(|line| line.setting).collect();
        assert_eq!(news, [2]);
        assert_eq!(after.news(&TuningTable::default()).count(), 2);
        let lines = after.kinds[0][1].lines();
        assert!(lines.contains("setting 2: 8 moves, median ") && lines.lines().count() == 3, "{lines}");
    }

    #[test]
    fn what_was_compared_before_is_not_compared_anew() {
        let mut cache = Cache::default();
        for count in [20, 21] {
            let group = |name: &str, moves| Group { name: name.to_owned(), moves, ..Group::default() };
            let groups = vec![group("setting 1", moves(30, 100.0)), group("setting 2", moves(count, 50.0))];
            let rungs = Rungs { groups, between: 0 };
            let cached = TuningTable::new("tray", &rungs, &basis("mm", 0.001), &mut cache);
            let anew = TuningTable::new("tray", &rungs, &basis("mm", 0.001), &mut Cache::default());
            assert_eq!(cached, anew);
        }
    }
}
