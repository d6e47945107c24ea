//! `device declare` with a store: it compares the last hour's moves with those of the week before.

use std::ops::Range;
use std::path::Path;

use stillpoint::checksum::FastCrc;
use stillpoint::store::log::Log;
use stillpoint::store::{Options, time};
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::drift::Kind;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, flag};
use stillpoint_core::wire::status::Hello;

use super::{Scratch, done, monitor, serve, stillpoint};

/// Unit: ticks/s
const RATE: u64 = 1_000_000;
const HOUR: u64 = 3600;
/// The first reading is so long ago. Unit: s
const AGO: u64 = 200 * HOUR;

/// Stores a move a minute of axis 1, at these minutes of the last 200 h: 50 ms ± 5 ms, in the last hour longer by `slower`,
/// every fourth of another job, which takes 80 ms.
fn store(path: &Path, minutes: Range<u64>, slower: f64) {
    let (mut numbers, mut bytes) = (Numbers::new(Direction::FromDevice, 0), vec![]);
    let mut send = |message: &Message| {
        let (header, mut frame) = (numbers.next_header(message.priority()), [0; LONGEST_FRAME]);
        bytes.extend(encode::<FastCrc>(&header, message, &mut frame).expect("it fits"));
    };
    let clock = Some(time::now() - (AGO * 1_000_000) as i64);
    let device = *b"invented\0\0\0\0";
    send(&Message::Hello(Hello {
        device,
        axes: 2,
        ticks_per_second: RATE as u32,
        clock,
        ..Hello::default()
    }));
    send(&Message::Kind(Kind { axis: 1, kind: 1, forward: true, distance: 20_000, ..Kind::default() }));
    for number in minutes {
        let is_last_hour = number * 60 > AGO - HOUR;
        let (job, middle) = if number % 4 == 0 { (7, 80.0) } else { (0, 50.0) };
        let noise = (number * 7919 % 101) as f64 / 10.0 - 5.0;
        let settling = (middle + noise) * if is_last_hour { slower } else { 1.0 };
        send(&Message::Move(Move {
            axis: 1,
            kind: 1,
            job,
            number: number as u32,
            start: number * 60 * RATE,
            flags: flag::SETTLING,
            settling: (settling * 1000.0) as u32,
            ..Move::default()
        }));
    }
    let mut log = Log::open(path, &Options::default(), None, vec![]).expect("a store");
    log.push(&bytes, time::now());
    log.finish().expect("room");
}

/// Exit status and message of a declaration.
fn declare(scratch: &Scratch, more: &[&str]) -> (Option<i32>, String, String) {
    let (place, store) = (serve(monitor()), scratch.0.display().to_string());
    let words = ["device", &place, "declare", "1", "--store", &store, "--who", "M. Ito"];
    let output = stillpoint(&[&words[..], more].concat());
    let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
    (output.status.code(), text(output.stdout), text(output.stderr))
}

#[test]
fn slower_moves_are_not_declared_good_unless_a_person_insists() {
    let scratch = Scratch::new("declared-slow");
    store(&scratch.0, 1..AGO / 60, 1.4);
    let (status, _, error) = declare(&scratch, &[]);
    assert_eq!(status, Some(1));
    let kind = "+20000 count at 0 count/s (kind 1)";
    for words in [
        format!("axis 1 is not declared good: {kind}: these moves are 4"),
        " % slower than last week's, 7".to_owned(),
        format!("; {kind}, job 7: these moves are "),
        "; give --anyway to declare them good as they are".to_owned(),
    ] {
        assert!(error.contains(&words), "{words} in {error}");
    }
    let journal = done(&["store", "journal", "--store", &scratch.0.display().to_string()]);
    assert!(!journal.contains("M. Ito"), "nothing was done: {journal}");
    let good = "axis 1: all kinds of moves are declared good as they run now";
    let (status, answer, error) = declare(&scratch, &["--anyway"]);
    assert_eq!(
        (status, answer.as_str()),
        (Some(0), &*format!("{good}; baselines are learnt anew\n")),
        "{error}"
    );
    let (status, answer, error) = declare(&scratch, &["--anyway", "--add"]);
    let added = format!("{good}; baselines are extended by the moves to come\n");
    assert_eq!((status, answer), (Some(0), added), "{error}");
}

#[test]
fn moves_as_last_week_are_declared_good() {
    for slower in [1.0, 1.05, 0.7] {
        let scratch = Scratch::new("declared-good");
        store(&scratch.0, 1..AGO / 60, slower);
        let (status, answer, error) = declare(&scratch, &[]);
        assert_eq!((status, answer.contains("compared")), (Some(0), false), "{slower}: {error}");
    }
}

#[test]
fn nothing_to_compare_is_said() {
    let scratch = Scratch::new("declared-new");
    drop(stillpoint::store::Store::create(&scratch.0, &Options::default()).expect("a store"));
    let good = "axis 1: all kinds of moves are declared good as they run now; baselines are learnt anew";
    let none = "nothing was compared: the store has no moves of";
    let (status, answer, error) = declare(&scratch, &[]);
    assert_eq!(
        (status, answer),
        (Some(0), format!("{good}; {none} the last hour and the week before\n")),
        "{error}"
    );
    std::fs::remove_file(&scratch.0).expect("a store");
    store(&scratch.0, 1..(AGO - HOUR) / 60, 1.0);
    assert_eq!(declare(&scratch, &[]).1, format!("{good}; {none} the last hour\n"));
    std::fs::remove_file(&scratch.0).expect("a store");
    // A quarter of the moves of an hour are of the job, which is new.
    store(&scratch.0, (AGO - HOUR - 600) / 60..AGO / 60, 1.0);
    let few = "the store has fewer than 8 moves of the week before";
    let expected = format!("{good}; not compared: +20000 count at 0 count/s (kind 1), job 7 ({few})\n");
    assert_eq!(declare(&scratch, &[]).1, expected);
}
