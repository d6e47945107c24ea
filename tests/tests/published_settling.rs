//! Settling under all published definitions: published group 01, and the fixed cases of bit 13.
//!
//! Sources: IEC 60050-351:2013 351-45-36/-37, ISO 9283:1998 7.4 and 7.5, CiA 402 / IEC 61800-7-201
//! objects 0x6065 to 0x6068, as worked out in `01_settling_definitions` and `01_following_error_cases`.

use serde_json::Value;
use stillpoint_core::{Definition, Outcome, Parameters, Reading};
use stillpoint_tests::published::{json, rows};
use stillpoint_tests::run::{MeasuredMove, Run, run, steady};

/// 1 MHz at 4 kHz and 500 µs at 2 kHz.
fn period(expected: &Value) -> u32 {
    1_000_000 / expected["fs"].as_u64().unwrap() as u32
}

fn trace(id: &str, expected: &Value, definition: Definition) -> Run {
    let parameters = Parameters {
        window: expected["window_counts"].as_u64().unwrap() as u32,
        window_time: expected["cia402_dwell_samples"].as_u64().unwrap() as u32 * period(expected),
        rest_time: 20_000,
        definition,
        synchronous: true,
        ..Parameters::at(1_000_000)
    };
    let rows = rows(&format!("published/traces/trace_{id}.csv"));
    let signals = rows.iter().map(|row| (row.number("cmd_counts") as i32, row.number("pos_counts") as i32));
    run(parameters, steady(period(expected), signals))
}

fn only(run: Run) -> MeasuredMove {
    let [measured] = <[MeasuredMove; 1]>::try_from(run.moves).expect("one move");
    measured
}

#[test]
fn integer_traces_settle_at_the_published_samples() {
    let file = json("published/01_settling_definitions.json");
    for (id, trace_entry) in file["traces"].as_object().unwrap() {
        let expected = &trace_entry["expected"];
        let period = u64::from(period(expected));
        let index = |name: &str| expected[name].as_u64();
        let end = index("idx_cmd_end").unwrap();
        let measured = only(trace(id, expected, Definition::LastEntry));
        let record = measured.record;
        assert_eq!(record.command_end, end * period, "{id}: command end");
        assert_eq!(record.travel, expected["target_counts"].as_i64().unwrap() as i32, "{id}: travel");
        assert_eq!(u64::from(record.overshoot), index("overshoot_counts").unwrap(), "{id}: overshoot");
        let peak = index("max_abs_following_error_counts").unwrap();
        assert_eq!(u64::from(record.peak_following_error), peak, "{id}: peak following error");
        // The published sample is the first one inside; ours lies between it and the one before.
        let within = |ours: Option<u32>, sample: Option<u64>, what: &str| {
            let latest = sample.map(|sample| sample.saturating_sub(end) * period);
            let found = ours.map(u64::from);
            let agrees = match (found, latest) {
                (Some(found), Some(latest)) => found <= latest && found + period >= latest,
                (found, latest) => found.is_none() && latest.is_none(),
            };
            assert!(agrees, "{id}: {what} {found:?}, published {latest:?}");
        };
        within(record.settling, index("idx_last_entry"), "settling");
        within(record.first_entry, index("idx_first_in_window_at_or_after_cmd_end"), "first entry");
        let outcome =
            if expected["idx_last_entry"].is_null() { Outcome::Unsettled } else { Outcome::Settled };
        assert_eq!(record.outcome, outcome, "{id}");
        let reached = only(trace(id, expected, Definition::TargetReached)).record.settling;
        // The window time counts from the interpolated entry.
        within(reached, index("cia402_bit10_first_set_idx"), "bit 10");
        let statuses = trace(id, expected, Definition::LastEntry).statuses;
        let bit: Vec<bool> = statuses
            .iter()
            .map(|status| status.position == stillpoint_core::Position::TargetReached)
            .collect();
        let edges = (end as usize..bit.len()).filter(|&k| bit[k] && !bit[k - 1]).count();
        assert_eq!(edges as u64, index("cia402_bit10_rising_edges").unwrap(), "{id}: rising edges of bit 10");
        println!("ran 01 trace {id}");
    }
}

/// An error that is inside exactly in the given intervals and swings through the window in each.
fn error_of(intervals: &[(f64, f64)], window: f64, instant: f64) -> f64 {
    let passed = intervals.iter().take_while(|interval| interval.0 <= instant).count();
    let side = if passed.is_multiple_of(2) { 1.0 } else { -1.0 };
    let slope_of = |k: usize| intervals.get(k).map_or(f64::INFINITY, |stay| 2.0 * window / (stay.1 - stay.0));
    let Some(stay) = passed.checked_sub(1).map(|last| intervals[last]).filter(|stay| instant <= stay.1)
    else {
        let since = passed
            .checked_sub(1)
            .map_or(f64::INFINITY, |last| (instant - intervals[last].1) * slope_of(last));
        let until = intervals
            .get(passed)
            .map_or(f64::INFINITY, |next| (next.0 - instant) * slope_of(passed).max(window));
        return side * (window + since.min(until));
    };
    let across = if stay.1.is_finite() { (instant - stay.0) / (stay.1 - stay.0) } else { 0.25 };
    -side * window * (1.0 - 2.0 * across)
}

/// Unit: counts
const WINDOW: u32 = 1_000_000;

/// A move whose feedback has that error about its target; the command gets there at `command_end`.
fn definition_case(case: &Value, definition: Definition, dt: f64) -> MeasuredMove {
    let expected = &case["expected"];
    let (window, record_s) = (case["window"].as_f64().unwrap(), case["t_record"].as_f64().unwrap());
    let command_end = expected["t_cmd_end"].as_f64().unwrap();
    let intervals: Vec<(f64, f64)> = expected["in_window_intervals"]
        .as_array()
        .unwrap()
        .iter()
        .map(|pair| (pair[0].as_f64().unwrap(), pair[1].as_f64().unwrap_or(f64::INFINITY)))
        .collect();
    let counts = f64::from(WINDOW) / window;
    let lead = 200_i32;
    let first_end = lead + (command_end / dt).round() as i32;
    let parameters = Parameters {
        ticks_per_second: 1,
        window: WINDOW,
        window_time: (case["dwell"].as_f64().unwrap() / dt * 1000.0).round() as u32,
        rest_time: 100_000,
        jump: u32::MAX,
        definition,
        synchronous: true,
        ..Parameters::at(1_000_000)
    };
    let target = 1_500_000_000;
    let signals = (0..lead + (record_s / dt) as i32).map(|k| {
        let instant = f64::from(k - lead) * dt;
        if k < lead {
            return (0, 0);
        }
        let passed = f64::from(k - lead + 1) / f64::from(first_end - lead + 1);
        let command = if k >= first_end { target } else { (f64::from(target) * passed) as i32 };
        let error = error_of(&intervals, window, instant) * counts;
        (command, target - error.clamp(-1e9, 1e9).round() as i32)
    });
    only(run(parameters, steady(1000, signals)))
}

#[test]
fn every_case_gives_each_definition_its_own_time() {
    let file = json("published/01_settling_definitions.json");
    for case in file["cases"].as_array().unwrap() {
        let id = case["id"].as_str().unwrap();
        let expected = &case["expected"];
        let dt = case["t_record"].as_f64().unwrap() / 200_000.0;
        let check = |found: Option<u32>, name: &str, extra: f64| {
            let published = expected[name].as_f64();
            let found = found.map(|ticks| f64::from(ticks) / 1000.0 * dt);
            let agrees = match (found, published) {
                (Some(found), Some(published)) => (found - published).abs() <= dt * extra,
                (found, published) => found.is_none() && published.is_none(),
            };
            assert!(agrees, "{id}: {name} {published:?}, found {found:?}, one sample is {dt}");
        };
        let last = definition_case(case, Definition::LastEntry, dt).record;
        check(last.settling, "D1_settling_last_entry_from_cmd_end", 1.0);
        check(last.first_entry, "D2_first_in_window_from_cmd_end", 1.0);
        let iso = definition_case(case, Definition::Iso9283, dt).record;
        check(iso.settling, "D3_ISO9283_stabilization_first_entry_to_last_entry", 2.0);
        let reached = definition_case(case, Definition::TargetReached, dt).record;
        check(reached.settling, "D4_CiA402_bit10_first_set_from_cmd_end", 2.0);
        println!("ran 01 case {id}");
    }
}

#[test]
fn bit_13_follows_the_published_sequences() {
    let file = json("published/01_following_error_cases.json");
    for case in file["cases"].as_array().unwrap() {
        let number = |name: &str| case[name].as_u64().unwrap() as u32;
        let parameters = Parameters {
            following_error_window: number("window"),
            following_error_time_out: number("timeout_ms"),
            synchronous: true,
            ..Parameters::at(1_000_000)
        };
        let errors = case["fe"].as_array().unwrap();
        let readings = (0..).zip(errors).map(|(k, error)| Reading {
            tick: k * number("dt_ms"),
            command: 0,
            feedback: -(error.as_i64().unwrap() as i32),
        });
        let statuses = run(parameters, readings).statuses;
        let changes: Vec<(u64, bool)> = (0..statuses.len())
            .map(|k| (k as u64, statuses[k].following_error, k > 0 && statuses[k - 1].following_error))
            .filter(|(_, now, before)| now != before)
            .map(|(k, now, _)| (k, now))
            .collect();
        let expected: Vec<(u64, bool)> = case["bit13_changes_index_state"]
            .as_array()
            .unwrap()
            .iter()
            .map(|pair| (pair[0].as_u64().unwrap(), pair[1].as_bool().unwrap()))
            .collect();
        assert_eq!(changes, expected, "{}", case["id"]);
        println!("ran 01 following error: {}", case["id"]);
    }
}
