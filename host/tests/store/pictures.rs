//! `moves --plot` and `trend --plot`: what is drawn of many moves, and that it is what the tables say.

use std::path::PathBuf;

use stillpoint::checksum::FastCrc;
use stillpoint::store::devices::Axis;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, Outcome, flag};
use stillpoint_core::wire::status::Hello;

use super::program::{done, stillpoint};
use super::trend::lines;
use super::*;

/// Unit: ticks/s
const RATE: u64 = 1_000_000;

/// A move: its command end in s, its kind, and its settling time in s or what it became without one.
type Made = (f64, u32, Result<f64, Outcome>);

/// Logs moves of one axis of the monitor with this number.
fn log(place: &Scratch, (monitor, axis): (u8, &str), made: impl IntoIterator<Item = Made>) {
    let known = Axis {
        axis: 0,
        name: axis.to_owned(),
        unit: "mm".to_owned(),
        counts_per_unit: 1000.0,
        window: None,
        source: "test".to_owned(),
    };
    let hello = Hello { axes: 1, ticks_per_second: RATE as u32, board: "test", ..Hello::default() };
    let mut numbers = Numbers::new(Direction::FromDevice, 1);
    let mut log =
        Log::open(&place.0, &Options::default(), Some([monitor; 12]), vec![known]).expect("a store");
    let mut bytes = vec![];
    let mut send = |message: Message| {
        let mut buffer = [0; stillpoint_core::wire::LONGEST_FRAME];
        let header = numbers.next_header(message.priority());
        bytes.extend_from_slice(encode::<FastCrc>(&header, &message, &mut buffer).expect("it fits"));
    };
    send(Message::Hello(hello));
    for (number, (end_s, kind, settling)) in (1..).zip(made) {
        let ticks = |seconds: f64| (seconds * RATE as f64) as u64;
        send(Message::Move(Move {
            flags: if settling.is_ok() { flag::SETTLING } else { 0 },
            outcome: settling.err().unwrap_or(Outcome::Settled),
            number,
            kind,
            start: ticks(end_s),
            duration: RATE / 2,
            travel: 10_000,
            settling: settling.map_or(0, |settling| ticks(settling) as u32),
            ..Move::default()
        }));
    }
    log.push(&bytes, BEGIN);
    log.finish().expect("room");
}

/// A file in the folder for what tests leave behind, so that a person can look at it.
fn picture(name: &str) -> PathBuf {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::remove_file(&path).ok();
    path
}

/// The SVG that a command draws; a PNG of it is drawn too.
fn drawn(name: &str, arguments: &[&str]) -> String {
    let [svg, png] = ["svg", "png"].map(|ending| picture(&format!("{name}.{ending}")));
    for path in [&svg, &png] {
        done(&[arguments, &["--plot", &path.display().to_string()]].concat());
    }
    assert!(std::fs::read(png).expect("a picture").starts_with(b"\x89PNG"));
    std::fs::read_to_string(svg).expect("a picture")
}

/// Numbers between 0 and 1 without order.
fn chance() -> impl FnMut() -> f64 {
    let mut state = 1_u32;
    move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 8) / f64::from(1_u32 << 24)
    }
}

/// The places of the dots of settled moves of each chart, in pixels.
fn dots(svg: &str) -> Vec<Vec<(f64, f64)>> {
    let paths = svg.lines().filter(|line| line.starts_with("<path d=\"M") && line.contains("h0"));
    let place = |text: &str| {
        let (x, y) = text.split_once(' ').expect("two numbers");
        (x.parse().expect("x"), y.parse().expect("y"))
    };
    let of = |line: &str| {
        let path = line.split('"').nth(1).expect("a path");
        path.split("h0").filter(|one| !one.is_empty()).map(|one| place(one.trim_start_matches('M'))).collect()
    };
    paths.map(of).collect()
}

#[test]
fn the_slowest_move_is_drawn_and_the_rare_kinds_are_counted() {
    let place = Scratch::new("many-moves");
    let mut chance = chance();
    // Kind 10 has one move in 55, kind 1 ten; one move is far slower than all others.
    let made = |at: u32| {
        let kind = 10 - (0..10).find(|kind| chance() < (kind + 1) as f64 / 55.0).unwrap_or(9);
        let settling = if at == 3_001 { 0.9 } else { 0.005 + 0.2 * chance() * chance() };
        let outcome = if chance() < 0.01 && at != 3_001 { Err(Outcome::Unsettled) } else { Ok(settling) };
        (f64::from(at), if at == 3_001 { 1 } else { kind }, outcome)
    };
    log(&place, (1, "tray_shuttle"), (1..=4_000).map(made));
    let svg = drawn("moves-many", &["moves", "--store", &place.text(), "--no-curves", "--format", "csv"]);
    assert!(
        svg.contains(" 900.0 ms") && svg.contains("Not pictured: 2 rarer kinds with"),
        "the slowest, and what is left out"
    );
    assert!(svg.contains("the 8 most frequent of 10 kinds"), "how many are shown");
    let all = dots(&svg);
    assert_eq!(all.len(), 8);
    // 0.9 s is at the top of its frame: alone, far above all others.
    let highest = |of: &Vec<(f64, f64)>| of.iter().map(|dot| dot.1).fold(f64::INFINITY, f64::min);
    let first = all.iter().map(|of| of.iter().filter(|dot| dot.1 < highest(of) + 60.0).count());
    assert!(first.clone().any(|count| count == 1), "{:?}", first.collect::<Vec<usize>>());
}

#[test]
fn where_no_move_was_there_is_no_dot() {
    let place = Scratch::new("hole");
    // Ten minutes, then none for forty, then ten again.
    let times = (0..60).map(|at| f64::from(at) * 10.0).chain((300..360).map(|at| f64::from(at) * 10.0));
    log(&place, (1, "dibble"), times.map(|at| (at, 1, Ok(0.02))));
    let svg = drawn("moves-hole", &["moves", "--store", &place.text()]);
    assert!(svg.contains(">no moves<"), "{svg}");
    let edges: Vec<f64> = svg
        .lines()
        .filter(|line| line.contains("stroke-dasharray=\"2 3\"") && line.starts_with("<line"))
        .map(|line| line.split('"').nth(1).expect("x1").parse().expect("a number"))
        .collect();
    let [from, to] = edges[..] else { panic!("{edges:?}") };
    let all = dots(&svg);
    let [dots] = all.as_slice() else { panic!("{all:?}") };
    assert!(
        to - from > 200.0 && dots.iter().all(|dot| dot.0 <= from + 0.1 || dot.0 >= to - 0.1),
        "{from} {to} {dots:?}"
    );
}

#[test]
fn a_move_without_a_settling_time_has_no_height() {
    let place = Scratch::new("all-unsettled");
    let outcomes = [Outcome::Unsettled, Outcome::Interrupted, Outcome::Untrusted];
    let made = |at: usize| (at as f64 * 7.0, 1, Err(outcomes[at % 3]));
    log(&place, (1, "gripper_turntable"), (0..90).map(made));
    let svg = drawn("moves-unsettled", &["moves", "--store", &place.text()]);
    assert!(dots(&svg).is_empty() && svg.contains("No move of this kind settled"), "{svg}");
    assert!(!svg.contains("settling time (ms)"), "no scale without a time");
    for part in ["0 of 90 moves settled", "30 unsettled", "30 interrupted", "30 untrusted"] {
        assert!(svg.contains(part), "{part}");
    }
    // Their signs are a cross, a square and a triangle.
    for sign in ["m-3-3l6 6m0-6l-6 6", "h5v5h-5z", "l3.5 6h-7z"] {
        assert!(svg.contains(sign), "{sign}");
    }
}

#[test]
fn one_move_two_monitors_and_long_names_can_be_read() {
    let place = Scratch::new("one-move");
    log(&place, (1, "dibble"), [(3.0, 1, Ok(0.012))]);
    let svg = drawn("moves-one", &["moves", "--store", &place.text()]);
    assert!(svg.contains("1 of 1 move settled") && dots(&svg).len() == 1, "{svg}");
    log(&place, (2, "dibble"), [(5.0, 1, Ok(0.014)), (9.0, 1, Err(Outcome::Unsettled))]);
    let svg = drawn("moves-two", &["moves", "--store", &place.text()]);
    assert!(svg.contains("dibble of monitor 1") && svg.contains("dibble of monitor 2"), "{svg}");
    let long = Scratch::new("long-names");
    let name = |line: &str| format!("greenhouse_hall_2_transplanter_{line}_of_line_4_left_tray_shuttle");
    for (monitor, line) in [(1, "A"), (2, "B")] {
        log(&long, (monitor, &name(line)), (0..200).map(|at| (f64::from(at), 1, Ok(0.03))));
    }
    let svg = drawn("moves-long", &["moves", "--store", &long.text()]);
    let titles: Vec<&str> =
        svg.lines().filter(|line| line.contains("kind 1") && line.contains("bold")).collect();
    assert!(titles.len() == 2 && titles[0].contains("_A_") && titles[1].contains("_B_"), "{titles:?}");
}

#[test]
fn the_table_is_the_same_and_a_wrong_name_is_refused_first() {
    let place = Scratch::new("plot-names");
    log(&place, (1, "dibble"), (0..40).map(|at| (f64::from(at) * 20.0, 1, Ok(0.02))));
    let store = place.text();
    for command in ["moves", "trend"] {
        let path = picture(&format!("{command}-table.html")).display().to_string();
        let plain = done(&[command, "--store", &store]);
        assert_eq!(done(&[command, "--store", &store, "--plot", &path]), plain);
        assert!(std::fs::read_to_string(&path).expect("a page").starts_with("<!DOCTYPE html>"), "{command}");
        let refused = stillpoint(&[command, "--store", "nowhere.store", "--plot", "a.pdf"]);
        let stderr = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert_eq!((refused.status.code(), refused.stdout.as_slice()), (Some(2), &b""[..]), "{stderr}");
        assert!(stderr.contains("must end in .svg, .png or .html"), "{stderr}");
        // No moves in this time.
        done(&[command, "--store", &store, "--until", "2001-01-01", "--plot", &path]);
    }
}

/// Twelve hours: a step of 6 ms after four, and a slow rise all the time.
fn stepped(place: &Scratch) {
    let mut chance = chance();
    let made = |at: u32| {
        let hours = f64::from(at) / 360.0;
        let step = if hours < 4.0 { 0.0 } else { 0.006 };
        let settling = 0.012 + step + 0.0005 * hours + 0.001 * (chance() - 0.5);
        (f64::from(at) * 10.0, 1, if chance() < 0.02 { Err(Outcome::Unsettled) } else { Ok(settling) })
    };
    log(place, (1, "tray_shuttle"), (0..12 * 360).map(made));
}

/// Every figure of the key is that of the table, and of the JSON line as the table rounds it.
#[test]
fn the_trend_says_the_same_as_its_table() {
    let place = Scratch::new("trend-picture");
    stepped(&place);
    let limit = ["--limit-ms", "40", "--baseline-ms", "12"];
    let store = place.text();
    let arguments = [&["trend", "--store", &store][..], &limit].concat();
    let svg = drawn("trend-step", &arguments);
    let table = done(&arguments);
    let lines = lines(&place.text(), &limit);
    let [line] = lines.as_slice() else { panic!("{lines:?}") };
    let figure = |name: &str| line[name].as_f64().unwrap_or_else(|| panic!("{name} in {line}"));
    let ms = |name: &str| format!("{:.1}", 1e3 * figure(name));
    let slope = svg.split("; slope ").nth(1).and_then(|text| text.split(" ms/h").next()).expect("a slope");
    assert!(table.contains(slope) && slope.contains(" to "), "{slope} in {table}");
    let shown: Vec<f64> = slope
        .split(|c: char| !c.is_ascii_digit() && c != '.' && c != '-')
        .filter_map(|number| number.parse().ok())
        .collect();
    for (shown, name) in shown.iter().zip(["slope_s_per_h", "slope_low_s_per_h", "slope_high_s_per_h"]) {
        assert!((shown / (1e3 * figure(name)) - 1.0).abs() < 2e-3, "{shown} {name}");
    }
    assert_eq!(shown.len(), 3, "{slope}");
    for text in [
        format!("median of the last interval {} ms", ms("last_s")),
        format!("baseline median {} ms (asked)", ms("baseline_median_s")),
        format!("limit {} ms", ms("limit_s")),
    ] {
        assert!(svg.contains(&text), "{text}");
    }
    let steps = line["change_points"].as_array().expect("a list");
    assert!(!steps.is_empty(), "{line}");
    for step in steps.iter().take(4) {
        let level = |at: usize| format!("{:.1}", 1e3 * step[at].as_f64().expect("a level"));
        assert!(svg.contains(&format!("{} → {} ms", level(1), level(2))), "{step}");
    }
    assert!(svg.contains(&format!(">{}<", line["unsettled"])), "beside their band");
}

/// The line ends at its level, and begins where its slope leads back to.
#[test]
fn the_trend_line_lies_where_its_figures_are() {
    let place = Scratch::new("trend-line");
    stepped(&place);
    let svg =
        drawn("trend-line", &["trend", "--store", &place.text(), "--baseline-ms", "12", "--limit-ms", "40"]);
    let lines = lines(&place.text(), &["--baseline-ms", "12", "--limit-ms", "40"]);
    let figure = |name: &str| lines[0][name].as_f64().expect("a figure");
    let level = |width: &str, dash: &str| {
        let is_it = |line: &&str| line.contains(&format!("stroke-width=\"{width}\"")) && line.contains(dash);
        let line = svg.lines().filter(|line| line.starts_with("<line")).rfind(is_it).expect("a line");
        line.split('"').nth(3).expect("y1").parse::<f64>().expect("a number")
    };
    // Two levels give the scale.
    let (limit, baseline) = (level("2.6", "#1a1a1a"), level("2.2", "#2f6690"));
    let y = |seconds: f64| baseline + (limit - baseline) * (seconds - 0.012) / (0.040 - 0.012);
    let path = svg
        .lines()
        .find(|line| line.starts_with("<path") && line.contains("stroke-width=\"2.4\""))
        .expect("the trend");
    let ends: Vec<(f64, f64)> = path
        .split('"')
        .nth(1)
        .expect("a path")
        .split(['M', 'L'])
        .filter_map(|place| place.split_once(' '))
        .map(|(x, y)| (x.parse().expect("x"), y.parse().expect("y")))
        .collect();
    let hours = (figure("to_s") - figure("fitted_from_s")) / 3600.0;
    let begin = figure("level_s") - figure("slope_s_per_h") * hours;
    assert!((ends[1].1 - y(figure("level_s"))).abs() < 0.1 && (ends[0].1 - y(begin)).abs() < 0.1, "{ends:?}");
}
