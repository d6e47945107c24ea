//! In: headers and choices. Out: whether the right columns, or the right words, come out.

use super::*;
use stillpoint_core::Fraction;

fn run(header: &str, options: &[(&str, &str)], rate: bool) -> Result<[usize; 3], String> {
    let named = !header.starts_with('1');
    let cells = header.split(',').enumerate();
    let columns: Vec<Column> = cells
        .map(|(index, name)| {
            let unit = unit::split(name).1.filter(|_| named);
            Column {
                index,
                name: name.trim_end_matches('!').to_string(),
                unit,
                numeric: !name.ends_with('!'),
                stamped: false,
            }
        })
        .collect();
    let option = |flag| options.iter().find(|(name, _)| *name == flag).map(|(_, value)| value.to_string());
    let choice = Choice {
        time: option("t"),
        command: option("c"),
        feedback: option("f"),
        rate: rate.then_some(Fraction::ONE),
        ..Choice::default()
    };
    let table = Table { columns: &columns, named, file: "axis.csv", line: 3 };
    let found = choose(table, &choice).map_err(|error| error.to_string())?;
    let time = found
        .time
        .map_or(0, |time| time.index + 1 + if time.unit.as_deref() == Some("ms") { 100 } else { 0 });
    Ok([time, found.command.index + 1, found.feedback.index + 1])
}

#[track_caller]
fn check(header: &str, options: &[(&str, &str)], expected: [usize; 3]) {
    assert_eq!(run(header, options, expected[0] == 0), Ok(expected), "{header:?} {options:?}");
}

#[track_caller]
fn check_error(header: &str, options: &[(&str, &str)], rate: bool, parts: &[&str]) {
    let message = run(header, options, rate).unwrap_err();
    for part in parts.iter().chain(&["axis.csv, line 3: "]) {
        assert!(message.contains(part), "{part:?} is not in {message:?}");
    }
}

#[test]
fn by_sense_by_name_and_by_number() {
    check("t_s,command,measured,output", &[], [1, 2, 3]);
    check("sample,t_s,cmd_counts,pos_counts", &[], [2, 3, 4]);
    check("a,b,c", &[("t", "B"), ("c", "3"), ("f", "a")], [2, 3, 1]);
    check("time,X cmd,X act,Y cmd,Y act", &[("c", "y cmd"), ("f", "Y act")], [1, 4, 5]);
    check("t,ref [mm],act [mm]", &[("c", "act"), ("f", "ref")], [1, 3, 2]);
    check("t,c,f", &[("t", "t:ms"), ("c", "c"), ("f", "f")], [101, 2, 3]);
    check("t:s,c,f", &[("t", "t:s"), ("c", "c"), ("f", "f")], [1, 2, 3]);
    check("1,2,3", &[("t", "2"), ("c", "1"), ("f", "3")], [2, 1, 3]);
    check("reference,feedback", &[], [0, 1, 2]);
    check("position,time,command", &[("c", "position"), ("f", "command")], [2, 1, 3]);
    check("time!,t,cmd,act", &[], [2, 3, 4]);
}

#[test]
fn without_names_only_the_one_order_is_taken() {
    check("1,2,3", &[], [1, 2, 3]);
    check("1,2", &[], [0, 1, 2]);
    check("1!,2,3,4", &[], [2, 3, 4]);
    check_error("1,2,3,4", &[], false, &["4 columns without names", "by number", "1, 2, 3, 4"]);
    check_error("1,2,3", &[], true, &["3 columns without names"]);
}

#[test]
fn what_can_not_be_known_is_asked_for() {
    check_error("command,feedback", &[], false, &["no time column", "--rate HZ", "--time", "1 'command'"]);
    check_error("Timestamp!,cmd,act", &[], false, &["'Timestamp' holds no plain numbers", "--rate HZ"]);
    check_error("t,command,x", &[], false, &["no column that is surely feedback", "--feedback", "3 'x'"]);
    check_error("t,x,feedback", &[], false, &["no column that is surely command", "--command"]);
    check_error("t,X cmd,Y cmd,act", &[], false, &["'X cmd' and 'Y cmd' may both be command", "--command"]);
    check_error("t,cmd,act", &[("c", "speed")], false, &["no column 'speed'", "--command", "2 'cmd'"]);
    check_error("t,cmd,act", &[("c", "9")], false, &["no column '9'"]);
    check_error("t,cmd,cmd,act", &[("c", "cmd")], false, &["several columns are called 'cmd'"]);
    check_error("t,cmd,act", &[("c", "2"), ("f", "2")], false, &["command and feedback are the same column"]);
    check_error("t,cmd,act", &[("t", "t")], true, &["leave one out"]);
}
