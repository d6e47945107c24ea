//! In: text and the room for it. Out: text that fits: its width, broken lines, a shortened middle.

/// Width of `text` in DejaVu Sans, estimated by classes of letters and a little generous. Unit: pixel
pub(super) fn width(text: &str, size: f64) -> f64 {
    let em: f64 = text
        .chars()
        .map(|c| match c {
            'i' | 'j' | 'l' | '\'' | '|' | ' ' | '.' | ',' | ':' | ';' => 0.33,
            'f' | 't' | 'r' | '(' | ')' | '/' | '-' | 'I' => 0.42,
            'm' | 'w' | 'M' | 'W' | '@' | '%' | '±' | '−' | '<' | '>' | '=' | '+' | '≤' => 0.92,
            'A'..='Z' => 0.72,
            c if u32::from(c) > 0x2E80 => 1.05,
            _ => 0.64,
        })
        .sum();
    em * size
}

/// `text` cut in the middle by `…` so that it is no wider than `room` pixels; both ends are the most telling parts.
pub(super) fn shortened(text: &str, size: f64, room: f64) -> String {
    if width(text, size) <= room {
        return text.to_owned();
    }
    let letters: Vec<char> = text.chars().take(4_000).collect();
    let tail: Vec<char> = text.chars().rev().take(4_000).collect();
    let mut room = room - width("…", size);
    let (mut head, mut end) = (String::new(), String::new());
    for (front, back) in letters.iter().zip(&tail) {
        room -= width(&format!("{front}{back}"), size);
        if room < 0.0 {
            break;
        }
        head.push(*front);
        end.insert(0, *back);
    }
    format!("{head}…{end}")
}

/// `text` broken at blanks into lines no wider than `room` pixels; a longer word is shortened.
pub(super) fn wrapped(text: &str, size: f64, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let word = shortened(word, size, room);
        match lines.last_mut() {
            Some(line) if width(line, size) + width(" ", size) + width(&word, size) <= room => {
                line.push(' ');
                *line += &word;
            }
            _ => lines.push(word),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_names_show_both_ends() {
        assert_eq!(shortened("short", 10.0, 100.0), "short");
        let text = shortened(&format!("begin{}end", "x".repeat(10_000)), 10.0, 120.0);
        assert!(text.starts_with("begin") && text.ends_with("end") && text.contains('…'), "{text}");
        assert!(width(&text, 10.0) <= 120.0);
        assert_eq!(shortened("anything", 10.0, 0.0), "…");
    }

    #[test]
    fn lines_are_broken_at_blanks() {
        assert_eq!(wrapped("one two three", 10.0, 60.0), ["one two", "three"]);
        assert_eq!(wrapped("", 10.0, 60.0), Vec::<String>::new());
        assert!(wrapped(&"y".repeat(500), 10.0, 60.0).iter().all(|line| width(line, 10.0) <= 60.0));
    }
}
