//! Alarms against published group 05, and against an obvious twin.
//!
//! Sources, as the catalogue says: states and transitions by ANSI/ISA-18.2-2016 / IEC 62682:2014 through
//! public secondary texts, the latched ones by the 2009 edition; delays and deadband by OPC 10000-9, B.1.5,
//! their edges common practice. The standards' own text was not seen. Tolerance: exact.

use serde_json::Value;
use stillpoint_core::alarm::{Action, AlarmInstance, Answer, Category, Parameters, Settings};
use stillpoint_core::alarm::{Event, State};
use stillpoint_core::wire::alarm::AlarmState;
use stillpoint_tests::alarm::{Row, rows, state};
use stillpoint_tests::published::json;

/// Ticks in a second, and steps in a unit of the published numbers.
const SCALE: f64 = 1000.0;

fn list<'a>(value: &'a Value, key: &str) -> &'a [Value] {
    value[key].as_array().unwrap_or_else(|| panic!("a list {key}"))
}

fn word<'a>(value: &'a Value, key: &str) -> &'a str {
    value[key].as_str().unwrap_or_else(|| panic!("a text {key}"))
}

fn scaled(value: &Value) -> i64 {
    (value.as_f64().unwrap() * SCALE).round() as i64
}

/// The events a published word stands for.
fn events(text: &str) -> Vec<Event> {
    match text {
        "alarm_occurs" => vec![Event::AlarmOccurs],
        "return_to_normal" => vec![Event::ReturnToNormal],
        "re_alarm" => vec![Event::ReAlarm],
        "acknowledge" => vec![Event::Acknowledge],
        "reset" => vec![Event::Reset],
        "shelve" => vec![Event::Shelve],
        "unshelve_or_timeout" => vec![Event::Unshelve, Event::ShelvingExpired],
        "suppress_by_design" => vec![Event::SuppressByDesign],
        "unsuppress" => vec![Event::Unsuppress],
        "out_of_service" => vec![Event::OutOfService],
        "return_to_service" => vec![Event::ReturnToService],
        other => panic!("an unknown event {other}"),
    }
}

/// A published transition as rows of the twin's table.
fn published(transition: &Value) -> Vec<Row> {
    let (from, to) = (word(transition, "frm"), state(word(transition, "to")));
    let (event, condition) =
        word(transition, "event").split_once(" & ").unwrap_or((word(transition, "event"), ""));
    let froms = if from == "*" { State::ALL.to_vec() } else { vec![state(from.split('(').next().unwrap())] };
    let conditions: &[bool] = match condition {
        "" => &[false, true],
        text => &[text.ends_with("abnormal")],
    };
    // Where a latching alarm goes elsewhere, the plain row is for one that does not latch.
    let latchings: &[bool] = match event {
        "return_to_normal" => &[from.ends_with("(latching)")],
        _ => &[false, true],
    };
    let mut rows = vec![];
    for from in froms {
        for event in events(event) {
            for latching in latchings.iter().copied() {
                rows.extend(conditions.iter().map(|abnormal| (from, event, latching, *abnormal, to)));
            }
        }
    }
    rows
}

#[test]
fn the_table_of_states_is_the_published_one_and_one_row_of_our_own() {
    let file = json("published/05_alarm_lifecycle.json");
    let mut table: Vec<Row> = list(&file, "transitions").iter().flat_map(published).collect();
    assert_eq!(list(&file, "states").len(), State::ALL.len());
    for (latching, abnormal) in [(false, false), (false, true), (true, false), (true, true)] {
        let (from, event) = (State::LatchedAcknowledged, Event::AlarmOccurs);
        assert!(!table.iter().any(|row| (row.0, row.1) == (from, event) && row.4 != State::Unacknowledged));
        table.push((from, event, latching, abnormal, State::Unacknowledged));
    }
    for row in &table {
        assert_eq!(row.0.after(row.1, row.2, row.3), Some(row.4), "{row:?}");
    }
    for row in rows(State::after) {
        assert!(table.contains(&row), "not published: {row:?}");
    }
    for reject in list(&file, "must_reject") {
        let from = state(word(reject, "state"));
        for event in events(word(reject, "event")) {
            assert_eq!(from.after(event, false, false), None, "{reject}");
            assert_eq!(from.after(event, true, true), None, "{reject}");
        }
    }
    println!("ran 05 lifecycle: {} rows", table.len());
}

/// Stage and wire are separate types; a frame must not rename a state.
#[test]
fn the_wire_has_the_same_names() {
    for (index, state) in (0..).zip(State::ALL) {
        let wire: AlarmState = postcard::from_bytes(&[index]).unwrap();
        assert_eq!(format!("{wire:?}"), format!("{state:?}"));
    }
    assert!(postcard::from_bytes::<AlarmState>(&[State::ALL.len() as u8]).is_err());
}

#[test]
fn ne_107_categories_have_their_letters() {
    let file = json("published/05_alarm_lifecycle.json");
    let categories = [
        (Category::Failure, "Failure"),
        (Category::FunctionCheck, "Function check"),
        (Category::OutOfSpecification, "Out of specification"),
        (Category::MaintenanceRequired, "Maintenance required"),
    ];
    for (category, name) in categories {
        let row = list(&file, "ne107").iter().find(|row| word(row, "name") == name).unwrap();
        assert_eq!(category.letter().to_string(), word(row, "letter"));
    }
}

/// Applies the actions of a published script at tick `now` to a point; returns false if it was refused.
fn act(point: &mut AlarmInstance, settings: &Settings, script: &str, now: u64) -> bool {
    let action = match script {
        "alarm_occurs" => return point.step(settings, 1, now).is_some() || point.state().is_set_aside(),
        "return_to_normal" => return point.step(settings, -1, now).is_some() || point.state().is_set_aside(),
        "shelve_timeout" | "re_alarm" => return point.wait(settings, now).is_some(),
        "acknowledge" => Action::Acknowledge,
        "reset" => Action::Reset,
        "shelve" => Action::Shelve(2000),
        "unshelve" => Action::Unshelve,
        other => panic!("an unknown event {other}"),
    };
    matches!(point.act(settings, action, now), Answer::Done(_))
}

#[test]
fn scripts_lead_through_the_published_states() {
    let file = json("published/05_alarm_scenarios.json");
    for case in list(&file, "cases") {
        let settings = Settings::new(Parameters {
            latching: case["latching"].as_bool().unwrap(),
            re_alarm_time: 1000,
            longest_shelving: 2000,
            ..Parameters::default()
        })
        .unwrap();
        let mut point = AlarmInstance::default();
        let mut now = 0;
        for (script, after) in list(case, "events").iter().zip(list(case, "states_after")) {
            let (script, after) = (script.as_str().unwrap(), after.as_str().unwrap());
            // What comes by the clock comes late enough, all else at once.
            now += if script == "shelve_timeout" || script == "re_alarm" { 2000 } else { 1 };
            let before = point;
            let done = act(&mut point, &settings, script, now);
            assert_eq!(done, after != "REJECT", "{script} in {case}");
            let expected = if done { state(after) } else { before.state() };
            assert_eq!(point.state(), expected, "{script} in {case}");
        }
        println!("ran 05 scenario: {case}");
    }
}

#[test]
fn delays_and_deadband_switch_at_the_published_samples() {
    let file = json("published/05_alarm_delay_cases.json");
    for case in list(&file, "cases") {
        let settings = Settings::new(Parameters {
            limit: scaled(&case["high_limit"]),
            deadband: scaled(&case["deadband"]),
            on_delay: scaled(&case["on_delay"]) as u64,
            off_delay: scaled(&case["off_delay"]) as u64,
            ..Parameters::default()
        })
        .unwrap();
        let mut point = AlarmInstance::default();
        let mut events = vec![];
        for (index, value) in list(case, "signal").iter().enumerate() {
            let was = point.is_abnormal();
            let now = (index as f64 * case["dt"].as_f64().unwrap() * SCALE) as u64;
            let step = point.step(&settings, scaled(value), now);
            if point.is_abnormal() != was {
                let name = if was { "NORMAL" } else { "ACTIVE" };
                events.push(serde_json::json!([index, name]));
                let step = step.expect("a change of the condition is a step");
                assert_eq!((step.value, step.limit), (Some(scaled(value)), settings.limit));
            }
        }
        assert_eq!(Value::Array(events), case["events"], "{}", word(case, "id"));
        println!("ran 05 delays: {}", word(case, "id"));
    }
}
