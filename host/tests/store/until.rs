//! With `--until` a trend is what it was then: the same as of a store that holds nothing later.

use stillpoint_core::wire::drift::{Baseline, Drift, Kind, Restart, RestartReason};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, Outcome, flag};

use stillpoint::store::time;

use super::frames::{RATE, Start};
use super::trend::trend;
use super::*;

/// Unit: s
const HOUR: u64 = 3600;
/// Length of the first start. Unit: s
const FIRST: u64 = 3 * HOUR;

/// A message, and when the monitor sent it, from the beginning of its start. Unit: s
type Sent = (u64, Message<'static>);

/// A move each ten seconds, out and back in turn; a tenth of those back does not settle.
fn moves((from, to): (u64, u64), (out, back): (u32, u32), settling_ms: u32) -> Vec<Sent> {
    let made = |number: u64| {
        let forward = number.is_multiple_of(2);
        let settled = forward || number % 10 != 1;
        let wander = (number * number * 7919 % 89) as u32 * 20;
        (
            number * 10,
            Message::Move(Move {
                flags: if settled { flag::SETTLING } else { 0 },
                outcome: if settled { Outcome::Settled } else { Outcome::Unsettled },
                number: number as u32,
                start: number * 10 * RATE - RATE / 4,
                duration: RATE / 4,
                held: RATE / 2,
                travel: if forward { 60_000 } else { -60_000 },
                settling: if settled { settling_ms * 1000 + wander } else { 0 },
                kind: if forward { out } else { back },
                ..Move::default()
            }),
        )
    };
    (from / 10 + 1..=to / 10).map(made).collect()
}

fn meet(at: u64, (out, back): (u32, u32)) -> Vec<Sent> {
    let kind = |(kind, forward)| {
        let (distance, speed_distance, speed_time, at_ticks) = (60_000, 6000, 10_000, at * RATE);
        Message::Kind(Kind {
            kind,
            forward,
            distance,
            speed_distance,
            speed_time,
            at: at_ticks,
            ..Kind::default()
        })
    };
    [(out, true), (back, false)].map(|each| (at, kind(each))).into()
}

fn baseline(at: u64, kind: u32, settling_ms: u32) -> Sent {
    let (settling_median, settling_p95) = (settling_ms * 1000, settling_ms * 1100);
    let baseline =
        Baseline { kind, at: at * RATE, moves: 100, settling_median, settling_p95, ..Baseline::default() };
    (at, Message::Baseline(baseline))
}

fn drift(at: u64, kind: u32, score: u32) -> Sent {
    let number = (at / 10) as u32;
    (at, Message::Drift(Drift { kind, number, change: 9000, score, ..Drift::default() }))
}

fn restart(at: u64, why: RestartReason) -> Sent {
    (at, Message::Restart(Restart { axis: 0, kind: 0, at: at * RATE, why }))
}

/// Two starts of a monitor with all that a trend depends on, each in the order of time.
fn starts() -> [Vec<Sent>; 2] {
    let mut first = [
        meet(0, (1, 2)),
        moves((0, HOUR), (1, 2), 20),
        moves((HOUR, FIRST), (1, 2), 26),
        vec![baseline(HOUR / 2, 1, 20), drift(HOUR + 900, 1, 300), drift(2 * HOUR + 1800, 1, 90)],
    ]
    .concat();
    let mut second = [
        meet(0, (2, 1)),
        moves((0, 2 * HOUR), (2, 1), 30),
        moves((2 * HOUR, 4 * HOUR), (2, 1), 45),
        vec![restart(HOUR + 100, RestartReason::Declared), baseline(HOUR + 1800, 2, 30)],
        vec![drift(2 * HOUR + 300, 2, 400), restart(3 * HOUR, RestartReason::Settings)],
        vec![baseline(3 * HOUR + 900, 2, 45)],
    ]
    .concat();
    first.sort_by_key(|sent| sent.0);
    second.sort_by_key(|sent| sent.0);
    [first, second]
}

/// A store with all that was sent before an instant from the beginning of the first start. Unit: s
fn stored(name: &str, until: u64) -> Scratch {
    let place = Scratch::new(name);
    let mut log = place.log(&Options::default());
    for (boot, (sent, begun)) in (1..).zip(starts().into_iter().zip([0, FIRST])) {
        let mut start = Start::new(boot);
        sent.iter().filter(|(at, _)| begun + at < until).for_each(|(_, message)| start.send(message));
        if begun < until {
            log.push(&start.bytes, BEGIN + begun as i64 * 1_000_000);
        }
    }
    log.finish().expect("room");
    place
}

#[test]
fn nothing_later_shows_in_what_was_before() {
    let whole = stored("until-whole", u64::MAX);
    // In the middle of an interval, at its bound, within a drift, before and after each restart and baseline; one just before
    // a restart in the same interval.
    for until in [
        1700, 4000, 5000, 9300, 10_799, 12_000, 14_490, 14_520, 15_000, 16_500, 18_700, 21_700, 22_600,
        25_199,
    ] {
        let cut = stored("until-cut", until);
        let at = time::text(BEGIN + until as i64 * 1_000_000);
        for more in [
            &["--format", "jsonl", "--limit-ms", "60"][..],
            &["--interval", "1h"],
            &["--p95", "--format", "csv"],
        ] {
            let of = |place: &Scratch| {
                let output = trend(&place.text(), &[&["--until", &at], more].concat());
                String::from_utf8(output.stdout).expect("UTF-8")
            };
            let (found, expected) = (of(&whole), of(&cut));
            assert!(
                !found.is_empty() && found == expected,
                "until {until} {more:?}\n{found}\nnot\n{expected}"
            );
        }
    }
}

#[test]
fn a_time_that_begins_within_an_interval_has_its_moves() {
    let place = stored("until-since", u64::MAX);
    let (since, until) = (BEGIN + 1000 * 1_000_000, BEGIN + 3120 * 1_000_000 + 500_000);
    let (from, to) = (time::text(since), time::text(until));
    let within = ["--since", &from, "--until", &to];
    let mut counts = [0_u64; 2];
    place
        .store()
        .moves(&MoveQuery { since, until, details: false, ..MoveQuery::default() }, &mut |report| {
            counts[usize::from(report.settling_s.is_none())] += 1;
            Ok(())
        })
        .expect("moves");
    let lines = super::trend::lines(&place.text(), &within);
    let sum = |name: &str| lines.iter().filter_map(|line| line[name].as_u64()).sum::<u64>();
    assert_eq!([sum("moves"), sum("unsettled")], counts);
    assert!(counts[0] > 150 && lines.iter().all(|line| line["to_s"].as_f64() == Some(until as f64 * 1e-6)));
}

#[test]
fn each_interval_costs_against_the_baseline_in_force_then() {
    let place = stored("until-baselines", u64::MAX);
    // In force since the restart before each; the first also before it was known. Unit: s, ms
    let reference = |at: u64| match at / 300 * 300 {
        from if from < FIRST + HOUR + 100 => 20.0,
        from if from < FIRST + 3 * HOUR => 30.0,
        _ => 45.0,
    };
    let mut expected = 0.0;
    for (sent, begun) in starts().into_iter().zip([0, FIRST]) {
        for (at, message) in sent {
            let Message::Move(wire) = message else { continue };
            if wire.travel > 0 {
                expected += f64::from(wire.settling) * 1e-3 - reference(begun + at);
            }
        }
    }
    let lines = super::trend::lines(&place.text(), &[]);
    let line = lines.iter().find(|line| line["kind"].as_str().is_some_and(|kind| kind.starts_with('+')));
    let line = line.expect("a kind");
    let lost = line["lost_against_baseline_s"].as_f64().expect("seconds");
    assert!((lost - expected * 1e-3).abs() < 1e-6, "{lost}, not {}: {line}", expected * 1e-3);
    assert_eq!(line["baseline_s"].as_f64(), Some(0.045), "that of the end: {line}");
}
