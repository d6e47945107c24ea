//! In: the moves of an axis and a limit of their settling time. Out: whether they keep it, kind by kind.
//!
//! One rule: only a move that is shown to have settled within the limit speaks for it; every other move speaks against it.
//! A recording passes where it passes as a whole and with each of its kinds. [`rule`] is the same in the words of a page.

use stillpoint_core::Outcome;

use super::kind_moves::{KindMoves, by_kind};
use super::move_report::MoveReport;
use super::window::{dependence, is_too_dependent, promise};
use super::{number, reason};
use crate::analysis::dependence::Dependence;
use crate::analysis::share_bound::{is_shown, lower_bound, needed};
use crate::analysis::window_limit::Wish;

/// What is wished of settling times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// The latest settling time. Unit: s
    pub settling_s: f64,
    /// Share of all such moves that must keep it; none: every recorded move must.
    pub share: Option<f64>,
    /// Probability with which a stated share holds.
    pub confidence: f64,
}

/// What one move shows of a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shown {
    /// Settled within it, by more than its uncertainty.
    Within,
    /// Settled within it, but the 95 % interval of its settling time reaches beyond.
    Barely,
    /// Settled later.
    Late,
    /// Not settled when its rest ended.
    Unsettled,
    /// Inside the window when its rest ended, but for less than the window time.
    Interrupted,
    /// Samples are missing or wrong.
    Untrusted,
    /// The recording ended before the limit could be seen, so that it is not counted.
    Cut,
}

impl Shown {
    /// Of a move.
    pub fn of(report: &MoveReport, limit: &Limit) -> Shown {
        // Decided by the time it was watched alone: neither an early nor a late stop is the likelier to be left out. One that
        // was seen outside after the limit has broken it, however soon the recording ended.
        let is_broken = report.outcome == Outcome::Unsettled && report.held_s > limit.settling_s;
        let is_cut = report.held_s < limit.settling_s + report.window_time_s && !is_broken;
        if is_cut && reason::is_cut_short(&report.reason) {
            return Shown::Cut;
        }
        match (report.outcome, report.settling_s) {
            (Outcome::Settled, Some(settling)) if settling > limit.settling_s => Shown::Late,
            (Outcome::Settled, Some(settling)) => {
                let upper = settling + report.settling_95_s.unwrap_or(0.0);
                if upper > limit.settling_s { Shown::Barely } else { Shown::Within }
            }
            (Outcome::Unsettled, _) => Shown::Unsettled,
            (Outcome::Interrupted, _) => Shown::Interrupted,
            (Outcome::Untrusted | Outcome::Settled, _) => Shown::Untrusted,
        }
    }

    /// As the table of moves has it.
    pub const fn word(self) -> &'static str {
        match self {
            Shown::Within => "yes",
            Shown::Barely => "yes, barely",
            Shown::Late => "no, late",
            Shown::Unsettled | Shown::Interrupted | Shown::Untrusted => "not shown",
            Shown::Cut => "not counted",
        }
    }
}

/// Whether a limit is kept; the worst is the largest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// It is.
    Passes,
    /// It is, but some settling times are within it by less than their uncertainty.
    Barely,
    /// Neither is shown: too few moves, or moves that say nothing.
    NotShown,
    /// It is not.
    Fails,
}

impl Verdict {
    /// Whether it is shown that the limit is kept.
    pub fn is_pass(self) -> bool {
        self <= Verdict::Barely
    }

    /// In words.
    pub const fn word(self) -> &'static str {
        match self {
            Verdict::Passes => "passes",
            Verdict::Barely => "passes by less than its uncertainty",
            Verdict::NotShown => "not shown",
            Verdict::Fails => "does not pass",
        }
    }
}

/// How many moves show what.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// All that are counted.
    pub moves: usize,
    /// Settled within the limit.
    pub within: usize,
    /// Of these, by less than their uncertainty.
    pub barely: usize,
    /// Settled later.
    pub late: usize,
    /// Not settled.
    pub unsettled: usize,
    /// Interrupted.
    pub interrupted: usize,
    /// Untrusted.
    pub untrusted: usize,
    /// Not counted, as the recording ended too soon.
    pub cut: usize,
}

impl Counts {
    fn of(shown: impl Iterator<Item = Shown>) -> Counts {
        let mut counts = Counts::default();
        for one in shown {
            counts.moves += usize::from(one != Shown::Cut);
            match one {
                Shown::Within => counts.within += 1,
                Shown::Barely => (counts.within, counts.barely) = (counts.within + 1, counts.barely + 1),
                Shown::Late => counts.late += 1,
                Shown::Unsettled => counts.unsettled += 1,
                Shown::Interrupted => counts.interrupted += 1,
                Shown::Untrusted => counts.untrusted += 1,
                Shown::Cut => counts.cut += 1,
            }
        }
        counts
    }

    /// Those that are not shown to have settled within the limit, in words: `3 late, 1 untrusted`; empty if none.
    pub fn others(&self) -> String {
        let each = [
            (self.late, "late"),
            (self.unsettled, "unsettled"),
            (self.interrupted, "interrupted"),
            (self.untrusted, "untrusted"),
        ];
        let each = each.iter().filter(|(count, _)| *count > 0);
        each.map(|(count, word)| format!("{count} {word}")).collect::<Vec<_>>().join(", ")
    }
}

/// What moves that may be compared with each other show, or all moves together.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// The kind in words.
    pub name: String,
    /// Its moves.
    pub counts: Counts,
    /// The slowest settled move that is counted: its settling time, the half-width of its 95 % interval, its number. Unit: s
    pub slowest: Option<(f64, f64, u32)>,
    /// Share of all such moves that keeps the limit at least; none where moves follow each other too closely.
    pub bound: Option<f64>,
    /// Whether the limit is kept.
    pub verdict: Verdict,
    /// Why not, and what to be careful about; empty if nothing.
    pub reason: String,
}

/// Moves against a limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// The limit.
    pub limit: Limit,
    /// All moves together.
    pub all: Line,
    /// Each kind by itself, in order.
    pub kinds: Vec<Line>,
    /// Moves whose travel and with it whose kind is not known; they count with all others.
    pub of_no_kind: usize,
    /// What each move shows, in the order of the moves.
    pub shown: Vec<Shown>,
    /// Of all.
    pub verdict: Verdict,
}

impl Checked {
    /// Of all moves of an axis. `step` is the smallest change of a position. Unit: `unit`. `is_whole` is false where a
    /// recording could not be read to its end, so that nothing can pass.
    pub fn new(moves: &[MoveReport], (step, unit): (f64, &str), limit: Limit, is_whole: bool) -> Checked {
        let shown: Vec<Shown> = moves.iter().map(|report| Shown::of(report, &limit)).collect();
        let counted = |report: &MoveReport| Shown::of(report, &limit) != Shown::Cut;
        let kinds = by_kind(&[moves], (step, unit), counted);
        let of_a_kind: usize = kinds.iter().map(|kind| kind.groups[0].len()).sum();
        let mut all = line("All moves", &moves.iter().collect::<Vec<_>>(), &limit);
        if !is_whole {
            all.verdict = all.verdict.max(Verdict::NotShown);
            all.reason = joined(["not every recording could be read to its end".to_owned(), all.reason]);
        }
        let kinds: Vec<Line> = kinds.iter().map(|kind| kind_line(kind, &limit)).collect();
        let worst = kinds.iter().map(|line| line.verdict).fold(all.verdict, Verdict::max);
        Checked { limit, of_no_kind: all.counts.moves - of_a_kind, shown, verdict: worst, kinds, all }
    }

    /// The verdict in a sentence.
    pub fn heading(&self) -> String {
        let Counts { moves, within, .. } = self.all.counts;
        let limit = ms(self.limit.settling_s);
        let each = |count: usize| if count == 1 { "move" } else { "moves" };
        let found = format!("{within} of {moves} {} settled within {limit}", each(moves));
        match self.verdict {
            Verdict::Passes => format!("Passes: {found}"),
            Verdict::Barely => format!("Passes by less than its uncertainty: {found}"),
            Verdict::NotShown if moves == 0 => {
                "Not shown, so it does not pass: there are no moves".to_owned()
            }
            Verdict::NotShown => format!("Not shown, so it does not pass: {found}, which says too little"),
            Verdict::Fails => format!("Does not pass: {found}"),
        }
    }

    /// What is wished, in a sentence.
    pub fn wish(&self, window: &str) -> String {
        let limit = ms(self.limit.settling_s);
        match self.limit.share {
            None => format!("Limit: every recorded move settles within {limit}, window {window}."),
            Some(share) => format!(
                "Limit: {} % of all such moves settle within {limit}, window {window}, {} % sure.",
                number::plain(100.0 * share),
                number::plain(100.0 * self.limit.confidence)
            ),
        }
    }

    /// What was found, in sentences.
    pub fn found(&self) -> Vec<String> {
        let Line { counts, slowest, bound, .. } = &self.all;
        let slowest = slowest.map(|(settling, half, number)| {
            let named = if half > 0.0 { "; ± is 95 %" } else { "" };
            format!("Slowest settled move: {} (move {number}{named}).", beside(settling, half))
        });
        let confidence = number::plain(100.0 * self.limit.confidence);
        let bound = bound.filter(|bound| *bound >= 1e-4).map(|bound| {
            format!(
                "With {confidence} % confidence, at least {} of all such moves keep the limit.",
                share(bound)
            )
        });
        let others = Some(counts.others()).filter(|others| !others.is_empty());
        let others = others.map(|others| format!("Not within the limit: {others}."));
        let cut = (counts.cut > 0).then(|| {
            format!("Not counted, as the recording ended before the limit could be seen: {}.", counts.cut)
        });
        let lines = std::iter::once(&self.all).chain(&self.kinds);
        let reasons = lines.filter(|line| !line.reason.is_empty());
        let reasons = reasons.map(|line| format!("{}: {}.", line.name, line.reason));
        others.into_iter().chain(slowest).chain(bound).chain(cut).chain(reasons).collect()
    }
}

fn kind_line(kind: &KindMoves, limit: &Limit) -> Line {
    line(&kind.name, &kind.groups[0], limit)
}

fn line(name: &str, moves: &[&MoveReport], limit: &Limit) -> Line {
    let counts = Counts::of(moves.iter().map(|report| Shown::of(report, limit)));
    let counted = moves.iter().filter(|report| Shown::of(report, limit) != Shown::Cut);
    let settled = counted
        .clone()
        .filter_map(|report| Some((report.settling_s?, report.settling_95_s.unwrap_or(0.0), report.number)));
    let times = counted.filter_map(|report| super::compare::settling(report));
    let times: Vec<f64> = times.collect();
    let correlation = Dependence::of(&times).correlation;
    let is_dependent = is_too_dependent(times.len(), correlation);
    let (verdict, why) = judged(&counts, limit, is_dependent);
    let wish = Wish { share: limit.share.unwrap_or(1.0), confidence: limit.confidence };
    Line {
        name: name.to_owned(),
        counts,
        slowest: settled.max_by(|a, b| a.0.total_cmp(&b.0)),
        bound: (!is_dependent).then(|| lower_bound(counts.within, counts.moves, limit.confidence)),
        verdict,
        reason: joined([why, dependence(times.len(), correlation, &wish)]),
    }
}

/// Whether moves keep the limit, and why not.
fn judged(counts: &Counts, limit: &Limit, is_dependent: bool) -> (Verdict, String) {
    let kept = if counts.barely > 0 { Verdict::Barely } else { Verdict::Passes };
    let broken = counts.late + counts.unsettled;
    let without = counts.moves - counts.within;
    let Some(share) = limit.share else {
        return match (counts.moves, without, broken) {
            (0, ..) => (Verdict::NotShown, "no moves".to_owned()),
            (_, 0, _) => (kept, String::new()),
            (.., 0) => (Verdict::NotShown, format!("{} say nothing for the limit", counts.others())),
            _ => (Verdict::Fails, String::new()),
        };
    };
    if is_shown(counts.within, counts.moves, share, limit.confidence) && !is_dependent {
        return (kept, String::new());
    }
    if broken as f64 > (1.0 - share) * counts.moves as f64 {
        return (Verdict::Fails, String::new());
    }
    if is_dependent {
        return (Verdict::NotShown, String::new());
    }
    let beside = match without {
        0 => String::new(),
        _ => format!(", with {without} not shown to keep the limit"),
    };
    let promise = promise(&Wish { share, confidence: limit.confidence });
    let enough =
        needed(without, share, limit.confidence).map_or("too many".to_owned(), |one| one.to_string());
    (
        Verdict::NotShown,
        format!("{}; {enough} are needed for {promise}{beside}", number::count(counts.moves, "move")),
    )
}

/// The rule by which the verdict was found, a sentence each.
pub fn rule(limit: &Limit) -> Vec<String> {
    let limit_ms = ms(limit.settling_s);
    let claim = match limit.share {
        None => format!(
            "Every recorded move must have settled within {limit_ms}. This says nothing of moves to come but for the share \
             that is stated with its confidence."
        ),
        Some(share) => format!(
            "At least {} % of all such moves, not only of the recorded ones, must settle within {limit_ms}, with {} % \
             confidence: the exact binomial bound of Clopper and Pearson (1934), one-sided, for independent moves.",
            number::plain(100.0 * share),
            number::plain(100.0 * limit.confidence)
        ),
    };
    let fixed = [
        "Only a move that settled within the limit speaks for it. A late, unsettled, interrupted or untrusted move speaks \
         against it, as nothing shows that it kept the limit.",
        "The recording must pass as a whole, and each kind of moves by itself: moves of the same direction, distance and \
         speed. A move whose kind is not known counts as a part of the whole.",
        "A move at the end of a recording that was watched for less than the limit and the window time is not counted.",
        "Where the 95 % interval of a settling time within the limit reaches beyond it, the move keeps the limit barely, and \
         the verdict says so.",
    ];
    std::iter::once(claim).chain(fixed.map(str::to_owned)).collect()
}

/// A share in percent, never rounded up: `99.0 %`.
pub fn share(share: f64) -> String {
    // Two decimals tell 99.9 % from 99.99 %; the small sum keeps a share such as 0.99 from becoming 98.99 %.
    format!("{} %", number::fixed((1e4 * share + 1e-7).floor() / 1e2, 2))
}

/// A move whose ± is the half-width of the 95 % interval, by which the verdict is found, in place of twice the standard
/// uncertainty: on a page both would be read as the same.
pub fn as_judged(report: &MoveReport) -> MoveReport {
    let half = report.settling_95_s.map(|half| half / 2.0);
    MoveReport { settling_u_s: half.or(report.settling_u_s), ..report.clone() }
}

/// `8.31 ± 0.12 ms`, ± the half-width of the 95 % interval. Unit: s
pub fn beside(settling_s: f64, half_s: f64) -> String {
    format!("{} ms", number::milliseconds(settling_s, Some(half_s / 2.0)))
}

/// `40 ms`. Unit: s
pub fn ms(seconds: f64) -> String {
    format!("{} ms", number::plain_to(1e3 * seconds, 6))
}

fn joined(parts: [String; 2]) -> String {
    parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture::report;

    fn limit(share: Option<f64>) -> Limit {
        Limit { settling_s: 0.04, share, confidence: 0.95 }
    }

    /// Moves with these settling times in an order without dependence. Unit: s
    fn moves(settlings: &[Option<f64>]) -> Vec<MoveReport> {
        settlings.iter().zip(1..).map(|(settling, number)| report(number, *settling)).collect()
    }

    fn of_outcome(number: u32, outcome: Outcome) -> MoveReport {
        MoveReport { outcome, settling_s: None, ..report(number, None) }
    }

    fn spread(count: usize) -> Vec<Option<f64>> {
        (0..count).map(|at| Some(0.02 + 0.0001 * (at * 37 % 101) as f64)).collect()
    }

    #[track_caller]
    fn check(moves: &[MoveReport], limit: Limit, verdict: Verdict, parts: &[&str]) {
        let checked = Checked::new(moves, (0.001, "mm"), limit, true);
        assert_eq!(checked.verdict, verdict, "{checked:?}");
        let text = format!("{}. {}", checked.heading(), checked.found().join(" "));
        parts.iter().for_each(|part| assert!(text.contains(part), "{part:?} is not in {text:?}"));
        // The verdict and the stated bound never contradict each other.
        for line in std::iter::once(&checked.all).chain(&checked.kinds) {
            if let (Some(share), Some(bound)) = (limit.share, line.bound) {
                assert_eq!(line.verdict.is_pass(), bound >= share, "{line:?}");
            }
        }
    }

    #[test]
    fn without_a_share_every_move_must_keep_the_limit() {
        let all = limit(None);
        check(
            &moves(&[Some(0.02), Some(0.03)]),
            all,
            Verdict::Passes,
            &["Passes: 2 of 2 moves settled within 40 ms"],
        );
        check(
            &moves(&[Some(0.02)]),
            all,
            Verdict::Passes,
            &["1 of 1 move settled", "at least 5.00 % of all"],
        );
        check(&moves(&[Some(0.02), Some(0.0401)]), all, Verdict::Fails, &["Does not pass: 1 of 2", "1 late"]);
        check(&moves(&[Some(0.02), None]), all, Verdict::Fails, &["Not within the limit: 1 unsettled"]);
        // The fixture's settling times are certain to ± 0.4 ms.
        check(
            &moves(&[Some(0.0397)]),
            all,
            Verdict::Barely,
            &["Passes by less than its uncertainty: 1 of 1"],
        );
        check(&moves(&[Some(0.04)]), all, Verdict::Barely, &["40.00 ± 0.40 ms (move 1; ± is 95 %)"]);
        check(&[], all, Verdict::NotShown, &["Not shown, so it does not pass: there are no moves"]);
    }

    #[test]
    fn what_was_not_shown_does_not_speak_for_the_limit() {
        for (outcome, word) in [(Outcome::Interrupted, "1 interrupted"), (Outcome::Untrusted, "1 untrusted")]
        {
            let mut some = moves(&spread(400));
            some.push(of_outcome(401, outcome));
            check(&some, limit(None), Verdict::NotShown, &["400 of 401", word, "say nothing for the limit"]);
            check(&some, limit(Some(0.99)), Verdict::NotShown, &["401 moves; 473 are needed"]);
            check(&some, limit(Some(0.95)), Verdict::Passes, &["Passes: 400 of 401"]);
        }
        let part = Checked::new(&moves(&spread(400)), (0.001, "mm"), limit(None), false);
        assert_eq!(part.verdict, Verdict::NotShown);
        assert!(part.found().join(" ").contains("not every recording could be read"), "{:?}", part.found());
    }

    #[test]
    fn a_share_needs_as_many_moves_as_its_confidence_asks() {
        let share = limit(Some(0.99));
        check(&moves(&spread(299)), share, Verdict::Passes, &["at least 99.00 % of all such moves"]);
        check(
            &moves(&spread(298)),
            share,
            Verdict::NotShown,
            &[
                "Not shown, so it does not pass: 298 of 298",
                "298 moves; 299 are needed for 99 % of moves at 95 % confidence",
                "98.99 %",
            ],
        );
        let mut one_late = spread(473);
        one_late[7] = Some(0.08);
        check(&moves(&one_late), share, Verdict::Passes, &["472 of 473"]);
        check(&moves(&one_late[..472]), share, Verdict::NotShown, &["473 are needed", "with 1 not shown"]);
        check(&moves(&[spread(300), vec![None; 12]].concat()), share, Verdict::Fails, &["12 unsettled"]);
    }

    #[test]
    fn every_kind_must_pass_by_itself() {
        let mut some = moves(&spread(700));
        for (report, number) in some[650..].iter_mut().zip(1..) {
            report.travel = -report.travel;
            report.settling_s = Some(if number == 9 { 0.08 } else { 0.02 });
        }
        let checked = Checked::new(&some, (0.001, "mm"), limit(Some(0.99)), true);
        assert_eq!((checked.all.verdict, checked.kinds.len()), (Verdict::Passes, 2));
        assert_eq!(checked.kinds[1].verdict, Verdict::Fails, "2 % of 50 are late");
        assert_eq!(checked.verdict, Verdict::Fails);
        assert!(checked.kinds[1].name.starts_with("-60 mm"), "{}", checked.kinds[1].name);
    }

    #[test]
    fn a_move_that_the_end_of_the_recording_cuts_is_not_counted() {
        let mut some = moves(&[Some(0.02), Some(0.03), None]);
        some[2].reason = "outside the window when the samples ended".to_owned();
        (some[0].held_s, some[1].held_s, some[2].held_s) = (0.5, 0.5, 0.03);
        check(&some, limit(None), Verdict::Passes, &["2 of 2 moves", "limit could be seen: 1."]);
        // Outside after the limit.
        for held in [0.045, 0.06] {
            some[2].held_s = held;
            check(&some, limit(None), Verdict::Fails, &["2 of 3 moves"]);
        }
    }

    #[test]
    fn moves_that_follow_each_other_show_no_share() {
        let settlings: Vec<Option<f64>> = (0..600).map(|at| Some(0.02 + 0.00002 * f64::from(at))).collect();
        check(
            &moves(&settlings),
            limit(Some(0.95)),
            Verdict::NotShown,
            &["each move follows the one before"],
        );
    }

    #[test]
    fn shares_are_never_rounded_up() {
        for (value, expected) in
            [(0.99, "99.00 %"), (0.989_999, "98.99 %"), (1.0, "100.00 %"), (0.0, "0.00 %")]
        {
            assert_eq!(share(value), expected);
        }
    }
}
