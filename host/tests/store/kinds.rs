//! Kinds, baselines and restarts as a monitor reports them, over two of its starts that number kinds differently.

use stillpoint::checksum::FastCrc;
use stillpoint::store::devices::Axis;
use stillpoint::store::log::Log;
use stillpoint_core::wire::drift::{Baseline, Cause, Drift, Explained, Kind, Restart, RestartReason};
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Header, Numbers};
use stillpoint_core::wire::job::Job;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, flag};
use stillpoint_core::wire::status::Hello;

use super::*;

/// Unit: ticks/s
pub(super) const RATE: u64 = 1_000_000;
/// Unit: s
const HOUR: u64 = 3600;
/// The product from the second hour on.
const JOB: u32 = 4201;

/// One start of a monitor.
pub(super) struct Start {
    numbers: Numbers,
    pub(super) bytes: Vec<u8>,
    chance: u32,
    /// Of the frames, if not the current one.
    version: Option<u8>,
}

impl Start {
    fn new(boot: u32) -> Start {
        Start::with(boot, None)
    }

    /// A monitor whose clock is set to this time at its first reading. Unit: µs since 1970, UTC
    pub(super) fn at(boot: u32, clock: i64) -> Start {
        Start::with(boot, Some(clock))
    }

    fn with(boot: u32, clock: Option<i64>) -> Start {
        let mut start = Start {
            numbers: Numbers::new(Direction::FromDevice, boot),
            bytes: vec![],
            chance: boot * 12_345,
            version: None,
        };
        let ticks_per_second = RATE as u32;
        start.send(&Message::Hello(Hello { ticks_per_second, axes: 1, clock, ..Hello::default() }));
        start
    }

    /// The last frame is lost.
    pub(super) fn lose(&mut self) {
        self.bytes.pop();
        let end = self.bytes.iter().rposition(|byte| *byte == 0).map_or(0, |zero| zero + 1);
        self.bytes.truncate(end);
    }

    pub(super) fn send(&mut self, message: &Message) {
        let mut buffer = [0; stillpoint_core::wire::LONGEST_FRAME];
        let header = self.numbers.next_header(message.priority());
        let header = Header { version: self.version.unwrap_or(header.version), ..header };
        self.bytes.extend_from_slice(encode::<FastCrc>(&header, message, &mut buffer).expect("it fits"));
    }

    /// Out, 60 mm at 600 mm/s, as one kind, and back as the other.
    pub(super) fn meet(&mut self, out: u32, back: u32) {
        for (kind, forward) in [(out, true), (back, false)] {
            let (distance, speed_distance, speed_time) = (60_000, 6000, 10_000);
            let kind = Kind { kind, forward, distance, speed_distance, speed_time, ..Kind::default() };
            self.send(&Message::Kind(kind));
        }
    }

    /// A move each ten seconds, out and back in turn, out in `settling` seconds and back in twice that.
    pub(super) fn run(&mut self, (from, to): (u64, u64), (out, back): (u32, u32), settling: f64) {
        for number in from / 10 + 1..=to / 10 {
            self.chance = self.chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = 1.0 + (f64::from(self.chance >> 16) / 65_536.0 - 0.5) * 0.2;
            let forward = number % 2 == 0;
            let settling = settling * noise * if forward { 1.0 } else { 2.0 };
            self.send(&Message::Move(Move {
                flags: flag::SETTLING,
                number: number as u32,
                start: number * 10 * RATE - RATE / 2,
                duration: RATE / 4,
                travel: if forward { 60_000 } else { -60_000 },
                settling: (settling * RATE as f64) as u32,
                kind: if forward { out } else { back },
                job: if number * 10 > HOUR { JOB } else { 0 },
                ..Move::default()
            }));
        }
    }
}

/// Three hours at 20 ms, the monitor started anew after two; then other settings, and two hours at 30 ms.
fn stored(name: &str) -> Scratch {
    let place = Scratch::new(name);
    let axis = Axis {
        axis: 0,
        name: "shuttle".to_owned(),
        unit: "mm".to_owned(),
        counts_per_unit: 1000.0,
        window: None,
        source: "test".to_owned(),
    };
    let mut log = Log::open(&place.0, &Options::default(), None, vec![axis]).expect("a store");
    let mut first = Start::new(1);
    first.meet(1, 2);
    first.run((0, 2 * HOUR), (1, 2), 0.020);
    let (settling_median, settling_p95) = (20_000, 20_190);
    let baseline = Baseline {
        kind: 1,
        at: HOUR * RATE,
        moves: 100,
        settling_median,
        settling_p95,
        settling_mean: 20_010,
        unsettled: 3,
        from: 5 * RATE,
        median_is_empty: true,
        provisional: true,
        ..Baseline::default()
    };
    first.send(&Message::Baseline(baseline));
    let since =
        Drift { since: 650, since_earliest: 640, since_latest: 655, middle: 40_000, ..Drift::default() };
    first.send(&Message::Drift(Drift {
        kind: 2,
        number: 700,
        change: -9,
        score: 300,
        returned: true,
        ..since
    }));
    first.send(&Message::Job(Job { axis: 0, at: HOUR * RATE, number: JOB }));
    let permille = std::array::from_fn(|node| node as i16 - 3);
    let (at, cause) = (2 * HOUR * RATE, Cause::LongPause);
    first.send(&Message::Explained(Explained { axis: 0, at, cause, key: 0, permille }));
    let mut second = Start::new(2);
    second.meet(2, 1);
    second.run((0, HOUR), (2, 1), 0.020);
    let restart = Restart { axis: 0, kind: 0, at: HOUR * RATE, why: RestartReason::Settings };
    second.send(&Message::Restart(restart));
    second.run((HOUR, 3 * HOUR), (2, 1), 0.030);
    log.push(&first.bytes, BEGIN);
    log.push(&second.bytes, BEGIN + 2 * HOUR as i64 * 1_000_000);
    log.finish().expect("room");
    place
}

fn command(arguments: &[&str]) -> String {
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_stillpoint")).args(arguments).output();
    String::from_utf8(output.expect("it runs").stdout).expect("UTF-8")
}

fn json(text: &str) -> Vec<serde_json::Value> {
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

#[test]
fn kinds_go_on_over_starts_and_no_slope_over_a_restart() {
    let place = stored("kinds");
    let trend = |more: &[&str]| {
        json(&command(&[&["trend", "--store", &place.text(), "--format", "jsonl"], more].concat()))
    };
    let lines = trend(&[]);
    let words: Vec<&str> = lines.iter().filter_map(|line| line["kind"].as_str()).collect();
    assert_eq!(words, ["+60 mm at 600 mm/s (kind 2)", "-60 mm at 600 mm/s (kind 1)"]);
    let out = trend(&["--kind", "2"]);
    assert_eq!(out, lines[..1], "a kind has the number of its last start");
    let [out] = out.as_slice() else { panic!("{out:?}") };
    let figure = |name: &str| out[name].as_f64().unwrap_or_else(|| panic!("{name} in {out}"));
    // Out has every other move of five hours, over both starts.
    assert_eq!(figure("moves"), 5.0 * 180.0);
    assert_eq!(out["restarts"].as_array().map(Vec::len), Some(1), "{out}");
    assert_eq!(out["change_points"], serde_json::json!([]), "the step is that of the settings: {out}");
    assert!((figure("level_s") - 0.030).abs() < 5e-4, "{out}");
    assert!(figure("slope_low_s_per_h") < 0.0 && figure("slope_high_s_per_h") > 0.0, "{out}");
    // The same without the restart would be a change.
    let until = command(&["store", "journal", "--store", &place.text()]);
    assert!(until.contains("the watch over all kinds begins anew: other settings are in force"), "{until}");
    // 180 moves an hour, ten milliseconds more than the monitor's baseline in the last two of five.
    // Costs are compared with its mean; and so is the course, as its median is said to be in a gap.
    assert_eq!((out["baseline_from"].as_str(), figure("baseline_s")), (Some("monitor"), 0.020_01), "{out}");
    assert_eq!(
        (out["measure"].as_str(), &out["baseline_median_s"]),
        (Some("mean"), &serde_json::Value::Null)
    );
    assert!((figure("lost_against_baseline_s") - 3.6).abs() < 0.2, "{out}");
    let back = &lines[1];
    assert_eq!(back["baseline_from"], "first interval", "{back}");
    assert!((back["baseline_s"].as_f64().expect("one") - 0.040).abs() < 2e-3, "{back}");
    let given = trend(&["--kind", "2", "--baseline-ms", "15"]);
    assert_eq!(
        (given[0]["baseline_from"].as_str(), given[0]["baseline_s"].as_f64()),
        (Some("asked"), Some(0.015))
    );
    assert_eq!(trend(&["--kind", "7"]), Vec::<serde_json::Value>::new());
    let table = command(&["trend", "--store", &place.text()]);
    assert!(table.contains("+60 mm at 600 mm/s (kind 2)") && table.contains("monitor"), "{table}");
}

#[test]
fn a_step_without_a_restart_is_a_change() {
    let place = stored("kinds-step");
    let connection = rusqlite::Connection::open(&place.0).expect("a file");
    connection.execute("DELETE FROM restarts", []).expect("SQL");
    drop(connection);
    let lines = json(&command(&["trend", "--store", &place.text(), "--kind", "2", "--format", "jsonl"]));
    assert_eq!(lines[0]["change_points"].as_array().map(Vec::len), Some(1), "{}", lines[0]);
}

#[test]
fn moves_name_their_kind_as_their_own_start_numbered_it() {
    let place = stored("kinds-moves");
    let moves = |form| command(&["moves", "--store", &place.text(), "--format", form]);
    let lines = json(&moves("jsonl"));
    let count = |words: &str| lines.iter().filter(|line| line["kind"] == words).count();
    // Two hours of the first start, three of the second, which numbers them in the opposite order.
    for (first, second, sign) in [(1, 2, '+'), (2, 1, '-')] {
        assert_eq!(count(&format!("{sign}60 mm at 600 mm/s (kind {first})")), 2 * 180);
        assert_eq!(count(&format!("{sign}60 mm at 600 mm/s (kind {second})")), 3 * 180);
    }
    let csv = moves("csv");
    let mut rows = csv.lines();
    assert!(rows.next().is_some_and(|header| header.ends_with(",kind")), "{csv}");
    assert!(rows.all(|row| row.contains("0 mm at 600 mm/s (kind ")), "{csv}");
    assert!(moves("table").contains("+60 mm at 600 mm/s (kind 2)"));
}

#[test]
fn the_tables_of_a_watch_are_made_again_the_same() {
    let place = stored("kinds-rebuilt");
    let before = tables(&place.0);
    let counts =
        [("kinds", 4), ("baselines", 1), ("drifts", 1), ("restarts", 1), ("jobs", 1), ("explained", 1)];
    for (table, rows) in counts {
        assert_eq!(before.iter().filter(|row| row.starts_with(table)).count(), rows, "{table}");
    }
    place.store().rebuild().expect("frames");
    assert_eq!(before, tables(&place.0));
}

#[test]
fn the_tables_hold_what_the_monitor_sent() {
    let place = stored("kinds-sent");
    let connection = rusqlite::Connection::open(&place.0).expect("a file");
    let row = |sql: &str| -> String { connection.query_row(sql, [], |row| row.get(0)).expect(sql) };
    let second = 1_000_000;
    let begin: i64 = connection
        .query_row("SELECT epoch_us FROM boots WHERE boot = 1", [], |row| row.get(0))
        .expect("a start");
    let baseline = row(
        "SELECT concat_ws(' ', mean_ns, unsettled, from_us, median_is_empty, provisional) FROM baselines",
    );
    assert_eq!(baseline, format!("20010000 3 {} 1 1", begin + 5 * second));
    let drift =
        row("SELECT concat_ws(' ', since_earliest, since_latest, middle_ticks, returned) FROM drifts");
    assert_eq!(drift, "640 655 40000 1");
    let job = row("SELECT concat_ws(' ', axis, at_us, number) FROM jobs");
    assert_eq!(job, format!("0 {} {JOB}", begin + HOUR as i64 * second));
    let explained = row("SELECT concat_ws(' ', at_us, cause, key, permille) FROM explained");
    let nodes = "[-3, -2, -1, 0, 1, 2, 3, 4, 5, 6, 7, 8]";
    assert_eq!(explained, format!("{} long pause 0 {nodes}", begin + 2 * HOUR as i64 * second));
    let moves = row("SELECT concat_ws(' ', count(*), min(job), max(job)) FROM moves WHERE job > 0");
    assert_eq!(moves, format!("{} {JOB} {JOB}", 360 + 720));
    let lines = json(&command(&["moves", "--store", &place.text(), "--format", "jsonl"]));
    assert_eq!(lines.iter().filter(|line| line["job"] == JOB).count(), 360 + 720);
    assert_eq!(lines.iter().filter(|line| line["job"].is_null()).count(), 720);
}

/// Of each cause and job the last report counts, and only those before the time that is looked at.
#[test]
fn causes_are_read_as_last_reported() {
    let place = Scratch::new("kinds-causes");
    let mut start = Start::at(1, BEGIN);
    start.meet(1, 2);
    start.run((0, 3 * HOUR), (1, 2), 0.02);
    let causes = [
        (Cause::Job, 7, 40, 1),
        (Cause::Job, 9, -30, 1),
        (Cause::LongPause, 0, 90, 1),
        (Cause::Job, 7, 50, 2),
        (Cause::HourOfDay, 0, 10, 3),
    ];
    for (cause, key, first, hour) in causes {
        let (at, mut permille) = (hour * HOUR * RATE, [0; 12]);
        permille[0] = first;
        start.send(&Message::Explained(Explained { axis: 0, at, cause, key, permille }));
    }
    let why = RestartReason::Settings;
    start.send(&Message::Restart(Restart { axis: 0, kind: 0, at: 4 * HOUR * RATE, why }));
    let mut log = Log::open(&place.0, &Options::default(), None, vec![]).expect("a store");
    log.push(&start.bytes, BEGIN + 4 * HOUR as i64 * 1_000_000);
    log.finish().expect("room");
    let store = place.store();
    let known = &store.axes().expect("axes")[0];
    let at = |minutes: i64| {
        let found = store.explained(known, BEGIN + minutes * 60_000_000).expect("readable");
        let words = found.iter().map(stillpoint::report::explained::text);
        words.collect::<Vec<_>>().join("; ")
    };
    assert_eq!(at(30), "");
    let pause = "after a long pause: 9.0 % slower at once";
    assert_eq!(at(90), format!("job 7: 4.0 % slower; job 9: 3.0 % faster; {pause}"));
    assert_eq!(at(150), format!("job 7: 5.0 % slower; job 9: 3.0 % faster; {pause}"));
    assert!(
        at(200).starts_with("by the hour of the day: from no change in hour 2 to 1.0 % slower in hour 0")
    );
    assert_eq!(at(250), "", "other settings are in force");
}

#[test]
fn an_older_monitor_leaves_null() {
    let place = Scratch::new("kinds-older");
    let mut start = Start::new(1);
    start.version = Some(1);
    start.send(&Message::Baseline(Baseline { kind: 1, moves: 100, ..Baseline::default() }));
    start.send(&Message::Drift(Drift { kind: 1, ..Drift::default() }));
    let mut log = Log::open(&place.0, &Options::default(), None, vec![]).expect("a store");
    log.push(&start.bytes, BEGIN);
    log.finish().expect("room");
    let connection = rusqlite::Connection::open(&place.0).expect("a file");
    let nulls = |sql: &str| -> bool { connection.query_row(sql, [], |row| row.get(0)).expect(sql) };
    assert!(nulls("SELECT mean_ns IS NULL AND unsettled IS NULL AND from_us IS NULL FROM baselines"));
    assert!(nulls("SELECT since_latest IS NULL AND middle_ticks IS NULL FROM drifts"));
}

#[test]
fn what_a_monitor_does_not_state_is_null() {
    let place = Scratch::new("kinds-not-stated");
    let mut start = Start::new(1);
    let settling_p95 = Baseline::NOT_STATED;
    start.send(&Message::Baseline(Baseline {
        kind: 1,
        settling_median: 40_000,
        settling_p95,
        ..Baseline::default()
    }));
    let mut log = Log::open(&place.0, &Options::default(), None, vec![]).expect("a store");
    log.push(&start.bytes, BEGIN);
    log.finish().expect("room");
    let connection = rusqlite::Connection::open(&place.0).expect("a file");
    let found: (Option<i64>, Option<i64>) = connection
        .query_row("SELECT median_ns, p95_ns FROM baselines", [], |row| Ok((row.get(0)?, row.get(1)?)))
        .expect("a baseline");
    assert_eq!(found, (Some(40_000_000), None));
    let text: String = connection
        .query_row("SELECT text FROM journal WHERE what = 'baseline'", [], |row| row.get(0))
        .expect("an entry");
    assert_eq!(text, "kind 1: 0 moves, median 40.00 ms");
}

/// A monitor reports a drift when it begins, when its promise changes, and when it ends; a restart ends it.
#[test]
fn a_kind_is_slower_while_its_drift_stands() {
    let place = Scratch::new("kinds-slower");
    let check = |name: &str, scores: &[u32], restart: bool, slower: bool| {
        let mut start = Start::new(1);
        start.meet(1, 2);
        start.run((0, 600), (1, 2), 0.020);
        for score in scores {
            start.send(&Message::Drift(Drift { kind: 1, score: *score, ..Drift::default() }));
        }
        if restart {
            start.send(&Message::Restart(Restart { axis: 0, kind: 0, at: 0, why: RestartReason::Settings }));
        }
        std::fs::remove_file(&place.0).ok();
        let mut log = Log::open(&place.0, &Options::default(), None, vec![]).expect("a store");
        log.push(&start.bytes, BEGIN);
        log.finish().expect("room");
        let lines = json(&command(&["trend", "--store", &place.text(), "--format", "jsonl"]));
        let up = lines.iter().find(|line| line["kind"].as_str().is_some_and(|kind| kind.starts_with('+')));
        assert_eq!(up.expect("a kind")["drifts_up"], slower, "{name}");
    };
    check("no report", &[], false, false);
    check("promised otherwise near the limit", &[200], false, false);
    check("found", &[300], false, true);
    check("promised otherwise while it stands", &[300, 256], false, true);
    check("ended", &[300, 255], false, false);
    check("another begins", &[300, 100, 200], false, false);
    check("begun anew", &[300], true, false);
}
