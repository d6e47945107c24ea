//! In: the steps of alarms. Out: a table of them for people, and what to do next about each.

use jiff::tz::TimeZone;

use crate::report::printable::printable;
use crate::report::table::{Column, drawn, fitted};
use crate::report::wall_time;
use crate::store::alarms::AlarmLine;
use crate::store::time;

/// Tables are at most this wide. Unit: characters
const WIDTH: usize = 80;

/// Heading, when it is dropped for lack of width (0: never), and the cell of a step.
type Cells = (&'static str, u8, fn(&AlarmLine) -> String);

const CELLS: [Cells; 6] = [
    ("axis", 0, |line| line.axis.clone()),
    ("alarm", 0, |line| line.alarm.to_string()),
    ("subject", 1, |line| line.subject.clone()),
    ("state", 0, |line| state(&line.state).to_owned()),
    ("priority", 2, |line| line.priority.unwrap_or_default().to_owned()),
    ("who", 3, |line| line.who.clone().unwrap_or_default()),
];

/// The zone once, then a row for each step, in at most 80 columns.
pub(super) fn table(lines: &[AlarmLine], zone: &TimeZone) -> String {
    let at = |line: &AlarmLine| {
        let at = time::parse("at", &line.at, 0);
        at.map_or_else(|_| line.at.clone(), |at| wall_time::second(at, zone))
    };
    let times: Vec<String> = lines.iter().map(at).collect();
    let times = Column { heading: "at".to_owned(), spare: 0, is_text: true, cells: times };
    let column = |(heading, spare, cell): &Cells| Column {
        heading: (*heading).to_owned(),
        spare: *spare,
        is_text: *heading != "alarm",
        cells: lines.iter().map(|line| printable(&cell(line))).collect(),
    };
    let columns = std::iter::once(times).chain(CELLS.iter().map(column)).collect();
    let (mut columns, dropped) = fitted(columns, WIDTH);
    let note = format!("Too narrow for: {}\n", dropped.join(", "));
    let head = format!("times in {}\n", wall_time::zone(zone));
    head + &drawn(&mut columns) + if dropped.is_empty() { "" } else { &note }
}

/// A state by the names of IEC 62682; the longest one shorter.
fn state(state: &str) -> &str {
    match state {
        "returned to normal unacknowledged" => "returned, unacknowledged",
        state => state,
    }
}

/// A sentence for each step that asks for an action; empty without any.
pub(super) fn next(lines: &[AlarmLine]) -> String {
    let sentence = |line: &AlarmLine| {
        let next = line.next.as_ref()?;
        let repair = if next.starts_with("declare") { "repair it, then " } else { "" };
        let (axis, alarm, subject) = (printable(&line.axis), line.alarm, &line.subject);
        Some(format!(
            "next: {axis}, alarm {alarm}, {subject}: {repair}`stillpoint device SOURCE {next} --store PATH --who NAME`\n"
        ))
    };
    lines.iter().filter_map(sentence).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(alarm: u32, state: &str, next: Option<&str>) -> AlarmLine {
        AlarmLine {
            axis: "gripper_turntable".to_owned(),
            alarm,
            at: "2026-05-04T21:59:59.5Z".to_owned(),
            subject: "following error".to_owned(),
            state: state.to_owned(),
            priority: Some("medium"),
            who: Some("M. Ito".to_owned()),
            next: next.map(str::to_owned),
            ..AlarmLine::default()
        }
    }

    #[test]
    fn the_longest_words_fit_into_eighty_columns() {
        let lines = [line(1, "returned to normal unacknowledged", None), line(123_456, "acknowledged", None)];
        let text = table(&lines, &TimeZone::fixed(jiff::tz::offset(2)));
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "{text}");
        assert!(text.starts_with("times in UTC+02\nat "), "{text}");
        assert!(text.contains("2026-05-04 23:59:59  gripper_turntable       1  "), "{text}");
        assert!(text.ends_with("Too narrow for: who, priority, subject\n"), "{text}");
    }

    #[test]
    fn what_to_do_next_is_what_device_takes() {
        let lines = [
            line(1, "unacknowledged", None),
            line(2, "unacknowledged", Some("acknowledge 2")),
            line(3, "acknowledged", Some("declare 1")),
        ];
        let expected = "\
next: gripper_turntable, alarm 2, following error: `stillpoint device SOURCE acknowledge 2 --store PATH --who NAME`
next: gripper_turntable, alarm 3, following error: repair it, then `stillpoint device SOURCE declare 1 --store PATH --who NAME`
";
        assert_eq!(next(&lines), expected);
    }
}
