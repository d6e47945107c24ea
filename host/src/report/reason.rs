//! In: the record of a move. Out: its reasons in words, with the figures of this move in parentheses.

use stillpoint_core::{Reasons, Record};

use super::axis_context::AxisContext;
use super::number;

/// Reasons in the core's words; figures of `record` follow in parentheses.
pub fn text(axis: &AxisContext, reasons: Reasons, record: &Record) -> String {
    let worded = reasons.worded().map(|(reason, wording)| match figures(axis, record, reason) {
        Some(figures) => format!("{wording} ({figures})"),
        None => wording.to_owned(),
    });
    worded.collect::<Vec<_>>().join("; ")
}

/// The same without figures, as several moves may have it.
pub fn without_figures(text: &str) -> String {
    let reasons = text.split("; ").map(|reason| reason.split(" (").next().unwrap_or_default());
    reasons.collect::<Vec<_>>().join("; ")
}

/// Whether the samples ended before the rest did, by the text of the reasons.
pub fn is_cut_short(text: &str) -> bool {
    let ended = Reasons::ENDED;
    let wordings = [ended, ended.with(Reasons::OUTSIDE), ended.with(Reasons::SHORT)];
    let mut wordings = wordings.into_iter().flat_map(Reasons::worded).map(|(_, wording)| wording);
    wordings.any(|wording| text.split("; ").any(|reason| reason.starts_with(wording)))
}

/// The figures of this move that belong to a reason.
fn figures(axis: &AxisContext, record: &Record, reason: Reasons) -> Option<String> {
    match reason {
        Reasons::GAP | Reasons::HOLE if record.gaps > 0 => {
            let places = if record.gaps == 1 { "place" } else { "places" };
            Some(format!("{} {places}, longest {}", record.gaps, milliseconds(axis, record.longest_gap)))
        }
        Reasons::OFFSET => {
            let length = |parts: i64| number::plain(axis.fine_length(parts as f64));
            record.rest_error.map(|parts| format!("{} {}", length(parts), axis.unit))
        }
        Reasons::TURN => Some("does it begin anew after each turn?".to_owned()),
        // Other windows count from the command end to the last entry, whatever definition is set.
        Reasons::FRAGILE => {
            let entry = |held: u32| held.saturating_sub(axis.settings.window_time);
            record.confirmation.map(|held| other_windows(axis, record, entry(held)))
        }
        _ => None,
    }
}

/// By how much a wider and a narrower window change this settling time.
fn other_windows(axis: &AxisContext, record: &Record, settling: u32) -> String {
    let sooner = record.settling_wider.map(|other| settling.saturating_sub(other));
    let later = record.settling_narrower.map(|other| other.saturating_sub(settling));
    let wider = sooner.map(|sooner| format!("5 % wider: {} sooner", milliseconds(axis, sooner)));
    let narrower =
        later.map_or("not settled".to_owned(), |later| format!("{} later", milliseconds(axis, later)));
    let narrower = format!("5 % narrower: {narrower}");
    wider.into_iter().chain([narrower]).collect::<Vec<_>>().join(", ")
}

fn milliseconds(axis: &AxisContext, ticks: u32) -> String {
    format!("{} ms", number::plain(1e3 * axis.seconds(ticks)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[track_caller]
    fn check(change: fn(&mut Record), expected: &str, bare: &str) {
        let mut record = fixture::record(1, Some(0.05));
        change(&mut record);
        let text = text(&fixture::axis(), record.reasons, &record);
        assert_eq!((text.as_str(), without_figures(&text).as_str()), (expected, bare));
    }

    #[test]
    fn the_end_of_the_samples_is_seen_in_every_wording() {
        for (reasons, expected) in [
            (Reasons::ENDED, true),
            (Reasons::ENDED.with(Reasons::OUTSIDE), true),
            (Reasons::ENDED.with(Reasons::SHORT), true),
            (Reasons::ENDED.with(Reasons::STEP), true),
            (Reasons::OUTSIDE, false),
            (Reasons::NONE, false),
        ] {
            let text = text(&fixture::axis(), reasons, &fixture::record(1, Some(0.05)));
            assert_eq!(is_cut_short(&text), expected, "{text}");
        }
    }

    #[test]
    fn figures_follow_their_reason() {
        check(|_| (), "", "");
        check(
            |record| {
                (record.reasons, record.gaps, record.longest_gap) =
                    (Reasons::HOLE.with(Reasons::STEP), 2, 2500)
            },
            "the window is below two encoder steps; samples are missing elsewhere than at command end, entry and window time (2 places, longest 2.5 ms)",
            "the window is below two encoder steps; samples are missing elsewhere than at command end, entry and window time",
        );
        check(
            |record| record.reasons = Reasons::TURN,
            "the position jumps by close to a whole turn (does it begin anew after each turn?)",
            "the position jumps by close to a whole turn",
        );
        check(
            |record| (record.reasons, record.rest_error) = (Reasons::OFFSET, Some(-256 * 120)),
            "feedback stands at a constant offset larger than the window (-0.12 mm)",
            "feedback stands at a constant offset larger than the window",
        );
        check(
            |record| {
                record.reasons = Reasons::FRAGILE;
                (record.settling_wider, record.settling_narrower) = (Some(29_000), Some(50_000));
            },
            "a slightly wider or narrower window changes the settling time by a swing (5 % wider: 21 ms sooner, 5 % narrower: 0 ms later)",
            "a slightly wider or narrower window changes the settling time by a swing",
        );
    }
}
