//! In: ladders of settings. Out: text for people: the best setting, what was changed, and each setting's verdicts.

use super::ladder::{KindLadder, Rung};
use super::table::{Heading, groups, interval, sizes};
use super::{Compared, PairLine, UNLIKE};
use crate::analysis::comparison::Side;
use crate::report::number;
use crate::report::printable::printable;
use crate::report::table::{Column, drawn, fitted};

/// The ladders as text. `width` in characters limits its tables.
pub fn table(compared: &Compared, ladders: &[KindLadder], heading: &Heading, width: usize) -> String {
    let mut text = answer(ladders, heading) + "\n\n";
    text += &groups(&compared.groups);
    text += &format!("window {}, {}\n", printable(&heading.window), heading.definition);
    for ladder in ladders {
        text += &format!("\n{}:\n  {}\n", printable(&ladder.kind), best(ladder).join("\n  "));
        text += &rungs(ladder, width);
        text += &reasons(ladder);
    }
    match caution(ladders) {
        lines if lines.is_empty() => text,
        lines => text + "\n* the best that was shown. " + &lines.join("\n") + "\n",
    }
}

/// The answer in a sentence: of the kind with most moves.
pub fn answer(ladders: &[KindLadder], heading: &Heading) -> String {
    let moves = |ladder: &&KindLadder| ladder.rungs.iter().map(|rung| rung.settling_s.len()).sum::<usize>();
    match ladders.iter().rev().max_by_key(moves) {
        None => "No moves were found".to_owned(),
        Some(ladder) => match &ladder.claim {
            None => format!(
                "No setting is shown to be faster than the first one at {}",
                printable(&heading.window)
            ),
            Some(claim) => {
                format!("{} is the best at {}", printable(&claim.after), printable(&heading.window))
            }
        },
    }
}

/// The best setting, and how sure that is with all comparisons allowed for; a line each.
pub(crate) fn best(ladder: &KindLadder) -> Vec<String> {
    let Some(claim) = &ladder.claim else {
        return vec!["no setting is shown to be faster than the first one".to_owned()];
    };
    let (first, best) = (printable(&claim.before), printable(&claim.after));
    let comparisons = ladder.comparisons;
    let all =
        if comparisons == 1 { String::new() } else { format!(", {comparisons} comparisons allowed for") };
    let size = match (claim.verdict, claim.shift_s, claim.shift_95_s) {
        ("faster", Some(shift), Some(ends)) if is_by_time(claim) => {
            interval(sizes(shift, ends), claim.confidence)
        }
        ("faster", _, _) => format!("{} % sure: more moves settle", number::plain(100.0 * claim.confidence)),
        _ => "more moves are needed to be sure".to_owned(),
    };
    vec![format!("{best} is the best, faster than {first}"), format!("({size}{all})")]
}

fn rungs(ladder: &KindLadder, width: usize) -> String {
    let first = ladder.rungs.first().map_or(0, |rung| rung.group);
    let column = |heading: String, spare, is_text, cell: &dyn Fn(&Rung) -> String| Column {
        heading,
        spare,
        is_text,
        cells: ladder.rungs.iter().map(cell).collect(),
    };
    let against_first = |rung: &Rung| rung.first.as_ref().map_or(String::new(), verdict);
    let against_best = |rung: &Rung| match &rung.best {
        Some((best, pair)) => format!("{}: {}", best + 1, verdict(pair)),
        None => String::new(),
    };
    let columns = vec![
        column("setting".to_owned(), 0, false, &|rung| {
            let is_best = rung.group == ladder.best && ladder.claim.is_some();
            format!("{}{}", rung.group + 1, if is_best { "*" } else { " " })
        }),
        column("moves".to_owned(), 0, false, &|rung| rung.settling_s.len().to_string()),
        column("un-\nsettled".to_owned(), 1, false, &|rung| Side::of(&rung.settling_s).unsettled.to_string()),
        column("median\nms".to_owned(), 0, false, &|rung| median(&rung.settling_s)),
        column(format!("against {}\nms", first + 1), 0, true, &against_first),
        column("against the best\nbefore it, ms".to_owned(), 2, true, &against_best),
    ];
    let (mut columns, dropped) = fitted(columns, width);
    let mut text = drawn(&mut columns);
    if !dropped.is_empty() {
        text += &format!("Too narrow for: {}\n", dropped.join(", "));
    }
    text
}

/// The median of settling times in ms, in words where it is no number.
pub(crate) fn median(settling_s: &[f64]) -> String {
    match (Side::of(settling_s).median, settling_s.len()) {
        (_, 0) => "–".to_owned(),
        (median, _) if median.is_finite() => number::fixed(1e3 * median, 1),
        _ => "unsettled".to_owned(),
    }
}

/// Whether the time decides, not the share of unsettled moves.
pub(crate) fn is_by_time(pair: &PairLine) -> bool {
    match (pair.verdict, pair.shift_95_s) {
        ("faster", Some([_, Some(high)])) => high < 0.0,
        ("slower", Some([Some(low), _])) => low > 0.0,
        _ => false,
    }
}

/// `faster 98.0 to 112.1`.
pub(crate) fn verdict(pair: &PairLine) -> String {
    let figure = |seconds: f64| number::fixed(1e3 * seconds, 1);
    match (pair.verdict, pair.shift_s, pair.shift_95_s) {
        ("faster" | "slower", _, _) if !is_by_time(pair) => {
            format!("{}, {} settle", pair.verdict, if pair.verdict == "faster" { "more" } else { "fewer" })
        }
        (UNLIKE, _, _) => "no such moves".to_owned(),
        ("faster" | "slower", Some(shift), Some(ends)) => match sizes(shift, ends) {
            [Some(low), Some(high)] => format!("{} {} to {}", pair.verdict, figure(low), figure(high)),
            [Some(low), None] => format!("{} over {}", pair.verdict, figure(low)),
            _ => pair.verdict.to_owned(),
        },
        (verdict, _, _) => verdict.to_owned(),
    }
}

/// Why verdicts are what they are.
fn reasons(ladder: &KindLadder) -> String {
    let pairs =
        ladder.rungs.iter().flat_map(|rung| rung.first.iter().chain(rung.best.as_ref().map(|best| &best.1)));
    let worded = pairs.filter(|pair| !pair.reason.is_empty() && pair.verdict != UNLIKE);
    worded
        .map(|pair| format!("  {} and {}: {}\n", pair.before, pair.after, pair.reason))
        .map(|line| printable(line.trim_end()) + "\n")
        .collect()
}

/// What each verdict is worth beside the others, in lines; none where none was given.
pub(crate) fn caution(ladders: &[KindLadder]) -> Vec<String> {
    let comparisons: usize = ladders.iter().map(|ladder| ladder.comparisons).sum();
    let confidence = ladders.iter().flat_map(|ladder| &ladder.rungs).find_map(|rung| rung.first.as_ref());
    let Some(confidence) = confidence.map(|pair| pair.confidence).filter(|_| comparisons > 0) else {
        return Vec::new();
    };
    let by_chance = number::plain(1.0 / (1.0 - confidence));
    vec![
        format!("{comparisons} comparisons, each {} % sure by itself:", number::plain(100.0 * confidence)),
        format!("of settings that are all alike about one comparison in {by_chance} shows a difference."),
        "Try the best one once more before you keep it.".to_owned(),
    ]
}
