//! In: how much a cause moves the settling time of an axis, as a monitor sends it. Out: its one wording.

use stillpoint_core::wire::drift::{Cause, Explained, PAUSE_MINUTES};

use super::number::fixed;

/// Hours between two nodes of the hour of the day.
const NODE_HOURS: usize = 2;

/// `job 4201: 8.0 % slower`, `after a long pause: 14.2 % slower at once, 3.9 % after 15 min`, or
/// `by the hour of the day: from 3.1 % faster in hour 16 to 2.4 % slower in hour 4`; without the name of the axis.
pub fn text(explained: &Explained) -> String {
    match explained.cause {
        Cause::Job => {
            let effect = explained.permille.first().copied().unwrap_or_default();
            format!("job {}: {}", explained.key, change(effect))
        }
        Cause::ShortPause => format!("after a short pause: {}", pause(explained)),
        Cause::LongPause => format!("after a long pause: {}", pause(explained)),
        Cause::HourOfDay => format!("by the hour of the day: {}", day(explained)),
    }
}

/// `8.0 % slower`. Unit: per mille
fn change(permille: i16) -> String {
    let share = fixed(f64::from(permille).abs() / 10.0, 1);
    match permille {
        0 => "no change".to_owned(),
        1.. => format!("{share} % slower"),
        _ => format!("{share} % faster"),
    }
}

/// The effect at once, and at each node up to the last that differs from the baseline.
fn pause(explained: &Explained) -> String {
    let nodes: Vec<(u8, i16)> = PAUSE_MINUTES.into_iter().zip(explained.permille).collect();
    let last = nodes.iter().rposition(|node| node.1 != 0).unwrap_or(0);
    let words = nodes.iter().take(last + 1).map(|(minutes, permille)| match minutes {
        0 => format!("{} at once", change(*permille)),
        minutes => format!("{} after {minutes} min", change(*permille)),
    });
    words.collect::<Vec<_>>().join(", ")
}

/// The fastest and the slowest hour, counted from the first reading, because a monitor need not know the time of day.
fn day(explained: &Explained) -> String {
    let nodes = || explained.permille.into_iter().enumerate();
    let hour = |(node, permille): (usize, i16)| format!("{} in hour {}", change(permille), node * NODE_HOURS);
    let ends = [nodes().min_by_key(|node| node.1), nodes().max_by_key(|node| node.1)];
    let [fastest, slowest] = ends.map(|end| end.map(hour).unwrap_or_default());
    format!("from {fastest} to {slowest}, counted from the monitor's first reading")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(cause: Cause, key: u32, permille: [i16; 12], expected: &str) {
        assert_eq!(text(&Explained { cause, key, permille, ..Explained::default() }), expected);
    }

    #[test]
    fn every_cause_has_its_words() {
        let first = |permille| [permille, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0];
        check(Cause::Job, 4201, first(80), "job 4201: 8.0 % slower");
        check(Cause::Job, 7, first(-45), "job 7: 4.5 % faster");
        check(Cause::Job, 7, first(0), "job 7: no change");
        let cooled = [142, 99, 70, 39, -2, 0, 0, 0, 0, 0, 0, 0];
        let expected = "after a long pause: 14.2 % slower at once, 9.9 % slower after 3 min, \
            7.0 % slower after 8 min, 3.9 % slower after 15 min, 0.2 % faster after 30 min";
        check(Cause::LongPause, 0, cooled, expected);
        check(Cause::ShortPause, 0, first(0), "after a short pause: no change at once");
        let day = [0, 12, 24, 20, 10, 0, -8, -20, -31, -22, -10, -4];
        let expected = "by the hour of the day: from 3.1 % faster in hour 16 to 2.4 % slower in hour 4, \
            counted from the monitor's first reading";
        check(Cause::HourOfDay, 0, day, expected);
    }
}
