//! In: names that must fit into some room. Out: short ones that can still be told apart: they are cut where they agree.

use super::text_fit;

/// The letters of each name, as few as fit. Names that are equal, or that would be once they are cut, get their number.
/// `room` in letters of average width.
pub fn short(names: &[String], room: usize) -> Vec<String> {
    let (begin, end) = alike(names);
    let cut: Vec<String> = names.iter().map(|name| cut(name, begin, end, room)).collect();
    let same = |at: usize| cut.iter().filter(|other| **other == cut[at]).count() > 1;
    let numbered = |(at, name): (usize, &String)| match same(at) {
        true => format!("{name} ({})", at + 1),
        false => name.clone(),
    };
    cut.iter().enumerate().map(numbered).collect()
}

/// How many letters all names have in common at the beginning, and of the rest at the end.
fn alike(names: &[String]) -> (usize, usize) {
    let letters: Vec<Vec<char>> = names.iter().map(|name| name.chars().collect()).collect();
    let Some((first, others)) = letters.split_first() else { return (0, 0) };
    let shortest = letters.iter().map(Vec::len).min().unwrap_or(0);
    let begin = (0..shortest).take_while(|at| others.iter().all(|of| of[*at] == first[*at])).count();
    let ends = |at: &usize| others.iter().all(|of| of[of.len() - 1 - at] == first[first.len() - 1 - at]);
    (begin, (0..shortest - begin).take_while(ends).count())
}

/// The middle of what all have in common at the beginning is cut first, then that at the end, then the name itself.
fn cut(name: &str, begin: usize, end: usize, room: usize) -> String {
    let letters: Vec<char> = name.chars().collect();
    let mut text = String::new();
    let mut spare = letters.len().saturating_sub(room);
    for (part, is_alike) in [
        (&letters[..begin], true),
        (&letters[begin..letters.len() - end], false),
        (&letters[letters.len() - end..], true),
    ] {
        // A cut that spares no letter beside its mark is none.
        let most = if is_alike { part.len().saturating_sub(4) } else { 0 };
        let less = spare.min(most);
        if less < 2 {
            text.extend(part);
            continue;
        }
        let from = (part.len() - less).div_ceil(2);
        text.extend(&part[..from]);
        text.push('…');
        text.extend(&part[from + less..]);
        spare = (spare + 1).saturating_sub(less);
    }
    let size = 10.0;
    text_fit::shortened(&text, size, size * 0.66 * room.max(8) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(names: &[&str], room: usize, expected: &[&str]) {
        let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
        assert_eq!(short(&names, room), expected);
    }

    #[test]
    fn names_are_cut_where_they_agree() {
        check(&["dibble", "tray_shuttle"], 20, &["dibble", "tray_shuttle"]);
        check(&["dibble", "dibble"], 20, &["dibble (1)", "dibble (2)"]);
        check(&[], 20, &[]);
        check(&["", ""], 20, &[" (1)", " (2)"]);
        check(
            &[
                "greenhouse_hall_2_line_A_tray_shuttle_of_the_transplanter",
                "greenhouse_hall_2_line_B_tray_shuttle_of_the_transplanter",
            ],
            24,
            &["gr…e_A_tray_shu…nsplanter", "gr…e_B_tray_shu…nsplanter"],
        );
    }

    #[test]
    fn whatever_the_names_they_stay_different() {
        let long = |of: &str, at: usize| format!("{}{at}{}", of.repeat(30), of.repeat(20));
        for of in ["x", "axis_", "ä "] {
            let names: Vec<String> = (0..12).map(|at| long(of, at)).collect();
            let mut short = short(&names, 20);
            assert!(short.iter().all(|name| name.chars().count() <= 26), "{short:?}");
            short.sort();
            short.dedup();
            assert_eq!(short.len(), 12, "{short:?}");
        }
    }
}
