//! In: notes, as many as come. Out: lines on stderr, not too many a second; notes that are alike are summed up.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

/// Time for which notes are counted together.
const SPAN: Duration = Duration::from_secs(10);

/// Notes of one shape that are written in a span.
const MOST_ALIKE: u64 = 10;

/// Notes that are written in a span.
const MOST: u64 = 100;

/// Shapes that are told apart in a span; all others count as one.
const MOST_SHAPES: usize = 64;

/// Notes that are alike.
#[derive(Debug, Default)]
struct Alike {
    count: u64,
    /// Those that were not written, and the last of them.
    more: u64,
    last: String,
}

/// Holds back notes beyond a rate.
#[derive(Debug, Default)]
pub(super) struct FewNotes {
    begun: Option<Instant>,
    written: u64,
    shapes: BTreeMap<String, Alike>,
}

impl FewNotes {
    /// Passes a note to `out`, or counts it.
    pub(super) fn add(&mut self, text: &str, now: Instant, out: &mut impl FnMut(&str)) {
        self.step(now, out);
        self.begun.get_or_insert(now);
        let shape = shape(text);
        let is_known = self.shapes.contains_key(&shape) || self.shapes.len() < MOST_SHAPES;
        let alike = self.shapes.entry(if is_known { shape } else { String::new() }).or_default();
        alike.count += 1;
        if alike.count <= MOST_ALIKE && self.written < MOST {
            self.written += 1;
            out(text);
        } else {
            alike.more += 1;
            text.clone_into(&mut alike.last);
        }
    }

    /// Sums up what was not written in a span that is over.
    pub(super) fn step(&mut self, now: Instant, out: &mut impl FnMut(&str)) {
        if self.begun.is_some_and(|begun| now.saturating_duration_since(begun) >= SPAN) {
            self.finish(out);
        }
    }

    /// Sums up what was not written so far.
    pub(super) fn finish(&mut self, out: &mut impl FnMut(&str)) {
        for Alike { more, last, .. } in std::mem::take(self).shapes.into_values() {
            if more > 0 {
                out(&format!("… {} more like it: {last}", grouped(more)));
            }
        }
    }
}

/// A text without its figures: notes of one shape are alike.
fn shape(text: &str) -> String {
    text.chars().filter(|letter| !letter.is_ascii_digit() && !".,-+".contains(*letter)).take(120).collect()
}

/// `1,240`.
fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let groups = digits.as_bytes().rchunks(3).rev();
    groups.map(|group| String::from_utf8_lossy(group).into_owned()).collect::<Vec<_>>().join(",")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_that_are_alike_are_summed_up() {
        let (mut notes, mut lines, begun) = (FewNotes::default(), vec![], Instant::now());
        for number in 0..1250 {
            notes.add(&format!("axis 1: alarm {number}"), begun, &mut |line| lines.push(line.to_owned()));
        }
        notes.add("the line is lost", begun, &mut |line| lines.push(line.to_owned()));
        assert_eq!((lines.len(), lines[10].as_str()), (11, "the line is lost"));
        notes.step(begun + SPAN, &mut |line| lines.push(line.to_owned()));
        assert_eq!(lines[11..], ["… 1,240 more like it: axis 1: alarm 1249"]);
        notes.add("axis 1: alarm 7", begun + SPAN, &mut |line| lines.push(line.to_owned()));
        assert_eq!(lines.last().map(String::as_str), Some("axis 1: alarm 7"));
    }

    #[test]
    fn notes_of_every_shape_are_bounded() {
        let (mut notes, mut count, begun) = (FewNotes::default(), 0, Instant::now());
        for number in 0..100_000_u32 {
            let letters: String = number.to_string().bytes().map(|digit| char::from(digit + 49)).collect();
            notes.add(&letters, begun, &mut |_| count += 1);
        }
        assert!(notes.shapes.len() <= MOST_SHAPES + 1 && (1..=MOST).contains(&count), "{count}");
        assert_eq!(
            ["7", "1,240", "12,345,678"],
            [7, 1240, 12_345_678].map(grouped).each_ref().map(|text| text.as_str())
        );
    }
}
