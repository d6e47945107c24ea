//! Each frame is stored once, whatever is sent again; equal frames make equal tables; moves stay in the order of ticks;
//! old days are removed.

use stillpoint::store::ingest_stats::IngestStats;
use stillpoint::store::kind::ALL;
use stillpoint::store::retain::Retention;
use stillpoint::store::{Options, time};
use stillpoint_core::wire::command::DumpSince;

use super::frames::Start;
use super::*;
use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::frame::encode;
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::settings::Settings;
use stillpoint_core::wire::status::Gap;

const FROM_THE_FIRST: DumpSince = DumpSince { boot: 0, priority: 1, sequence: 0 };

#[test]
fn what_is_sent_again_is_stored_once() {
    let place = Scratch::new("replay");
    let (mut line, mut log) = (Line::new(3), place.log(&Options::default()));
    let chunks = line.run(150);
    let now = push(&mut log, &chunks, BEGIN);
    // The same bytes again, as from a file; then the monitor's own log.
    let now = push(&mut log, &chunks, now);
    let dump = line.dump(FROM_THE_FIRST);
    push(&mut log, &dump, now);
    let (store, stats) = log.finish().expect("room");
    assert!(stats.known > 2 * stats.stored / 3 && stats.dropped == 0, "{stats:?}");
    assert!(check_whole(&store) > 60);
}

#[test]
fn a_log_alone_fills_an_empty_store() {
    let place = Scratch::new("log-only");
    let mut line = Line::new(4);
    line.run(150);
    let mut log = place.log(&Options::default());
    // Starts are tied to wall time by what the monitor says after the dump, not by when old moves came.
    let dump = line.dump(FROM_THE_FIRST);
    let now = push(&mut log, &dump, BEGIN);
    log.commit();
    // Without a hello no tick rate is known, and so no time.
    assert!(log.stats().stored > 60 && numbers(log.store()).is_empty());
    line.monitor.receive(&line.commands.encode(&Command::Identify));
    let now = push(&mut log, &line.run(2), now);
    let (store, _) = log.finish().expect("room");
    assert!(check_whole(&store) > 60);
    let within = |since: i64, until: i64| {
        let all = store.axes().expect("axes").into_iter();
        all.flat_map(|known| store.summaries(&known, (300, ALL), (since, until)).expect("summaries")).count()
    };
    assert!(within(now - 600_000_000, now) > 0 && within(now, i64::MAX) == 0);
}

#[test]
fn tables_made_again_are_the_same() {
    let place = Scratch::new("rebuild");
    let (mut line, mut log) = (Line::new(5), place.log(&Options::default()));
    let chunks = line.run(200);
    // Some come late, out of the log: the order of coming is not that of the numbers.
    let now = push(&mut log, &chunks[..80], BEGIN);
    let now = push(&mut log, &chunks[120..], now);
    push(&mut log, &line.dump(FROM_THE_FIRST), now);
    let (mut store, _) = log.finish().expect("room");
    check_whole(&store);
    let before = tables(&place.0);
    assert!(before.iter().filter(|row| row.starts_with("summaries")).count() > 15);
    store.rebuild().expect("room");
    assert_eq!(tables(&place.0), before);
}

#[test]
fn a_hole_is_requested_when_the_store_is_opened_again() {
    let place = Scratch::new("hole");
    let mut line = Line::new(6);
    let chunks = line.run(150);
    let mut log = place.log(&Options::default());
    let now = push(&mut log, &chunks[..60], BEGIN);
    push(&mut log, &chunks[90..], now);
    let (store, _) = log.finish().expect("room");
    let missing = store.check().expect("readable").missing;
    assert_eq!(missing.len(), 1, "{missing:?}");
    drop(store);

    let mut log = place.log(&Options::default());
    assert_eq!(log.drain_requests(), []);
    // A hello says who it is; then the store knows what it lacks of it.
    line.monitor.receive(&line.commands.encode(&Command::Identify));
    let now = push(&mut log, &line.run(2), now + 10_000_000);
    let requests = log.drain_requests();
    assert_eq!((requests.len(), requests[0].boot, requests[0].sequence), (1, missing[0].1, missing[0].2 - 1));
    push(&mut log, &line.dump(requests[0]), now);
    let (store, _) = log.finish().expect("room");
    assert_eq!(store.check().expect("readable").missing, []);
    check_whole(&store);
}

/// A store with a hole is opened twice, and `answer` answers its requests. Returns how many holes remain and how many are
/// given up, whether the next opening requests the hole again, and how many lines of the journal report lost frames.
fn requested_again(
    name: &str,
    answer: impl Fn(&mut Line, DumpSince) -> Vec<Vec<u8>>,
) -> ([usize; 2], bool, usize) {
    let place = Scratch::new(name);
    let mut line = Line::new(6);
    let chunks = line.run(150);
    let mut log = place.log(&Options::default());
    let now = push(&mut log, &chunks[..60], BEGIN);
    let mut now = push(&mut log, &chunks[90..], now);
    log.finish().expect("room");
    let mut hole = None;
    for opening in 0..3 {
        let mut log = place.log(&Options::default());
        line.monitor.receive(&line.commands.encode(&Command::Identify));
        now = push(&mut log, &line.run(2), now + 10_000_000);
        let requests = log.drain_requests();
        let [request] = requests.as_slice() else { panic!("{requests:?}") };
        let is_hole = request.sequence == *hole.get_or_insert(request.sequence);
        if opening == 2 {
            let (store, _) = log.finish().expect("room");
            let journal = store.journal(i64::MIN, i64::MAX).expect("a journal");
            let given_up = journal.iter().filter(|entry| entry.what == "gone").count();
            let found = store.check().expect("readable");
            return ([found.missing.len(), found.given_up.len()], is_hole, given_up);
        }
        let mut requests = vec![*request];
        // The hole is requested again before it is given up.
        while let Some(request) = requests.pop() {
            now = push(&mut log, &answer(&mut line, request), now);
            log.commit();
            requests.extend(log.drain_requests());
        }
        log.finish().expect("room");
    }
    unreachable!()
}

#[test]
fn frames_that_the_monitor_no_longer_has_are_given_up() {
    // As a monitor whose log was written over: it begins after the hole.
    let later = |request: DumpSince| DumpSince { sequence: request.sequence + 45, ..request };
    assert_eq!(requested_again("gone", |line, request| line.dump(later(request))), ([0, 1], false, 1));
    // Filled, it is not given up.
    assert_eq!(requested_again("there", |line, request| line.dump(request)), ([0, 0], false, 0));
    // A frame that was spoilt on the line may be there yet.
    let spoilt = |line: &mut Line, request: DumpSince| {
        let mut bytes = line.dump(later(request)).concat();
        let middle = bytes.len() / 2;
        bytes[middle..middle + 8].fill(0xA5);
        vec![bytes]
    };
    assert_eq!(requested_again("spoilt", spoilt), ([1, 0], true, 0));
    // One frame out of place comes before the log does, and with it the end of the answer.
    let is_first = std::cell::Cell::new(true);
    let out_of_place = |line: &mut Line, request: DumpSince| {
        if !is_first.replace(false) {
            return line.dump(request);
        }
        let DumpSince { boot, .. } = request;
        let (replay, sequence) = (true, request.sequence + 2000);
        let header =
            Header { version: 2, replay, priority: Priority::Move, boot, sequence, ..Header::default() };
        let gap = Message::Gap(Gap::default());
        let forged = encode::<FastCrc>(&header, &gap, &mut [0; LONGEST_FRAME]).expect("it fits").to_vec();
        // The monitor's status, without its log.
        let none = DumpSince { boot: u32::MAX, sequence: u32::MAX, ..request };
        [vec![forged], line.dump(none)].concat()
    };
    let ([_, given_up], _, lines) = requested_again("out-of-place", out_of_place);
    assert_eq!((given_up, lines), (0, 0));
    // Nothing came.
    assert_eq!(requested_again("silent", |_, _| vec![]), ([1, 0], true, 0));
}

#[test]
fn a_clock_that_steps_back_turns_nothing_around() {
    let place = Scratch::new("clock");
    let (mut line, mut log) = (Line::new(7), place.log(&Options::default()));
    let chunks = line.run(150);
    let now = push(&mut log, &chunks[..50], BEGIN);
    assert_eq!(log.drain_notes(), Vec::<String>::new());
    let now = push(&mut log, &chunks[50..100], now - 3_600_000_000);
    let notes = log.drain_notes();
    assert!(notes.len() == 1 && notes[0].contains("clock stepped back by 35"), "{notes:?}");
    log.finish().expect("room");
    // And while nobody was listening.
    let mut log = place.log(&Options::default());
    line.monitor.receive(&line.commands.encode(&Command::Identify));
    let now = push(&mut log, &line.run(2), now - 7_200_000_000);
    push(&mut log, &chunks[100..], now);
    assert!(log.drain_notes()[0].contains("stepped back by 7"), "noticed after reopening");
    let (store, _) = log.finish().expect("room");
    check_whole(&store);
    let journal = store.journal(i64::MIN, i64::MAX).expect("a journal");
    assert_eq!(journal.iter().filter(|entry| entry.what == "clock").count(), 2);
}

#[test]
fn a_monitor_that_counts_from_anew_loses_nothing() {
    let place = Scratch::new("anew");
    let mut log = place.log(&Options::default());
    // Two machines that say to be the same and count the same.
    let first = Line::new(8).run(100);
    let now = push(&mut log, &first, BEGIN);
    let second = Line::new(9).run(100);
    push(&mut log, &second, now + 60_000_000);
    assert!(log.commit());
    assert!(log.drain_notes().iter().any(|note| note.contains("from anew")));
    let (store, stats) = log.finish().expect("room");
    assert_eq!(store.axes().expect("axes").len(), 6, "{stats:?}");
    let alone = |seed, chunks: &[Vec<u8>]| {
        let place = Scratch::new(&format!("alone-{seed}"));
        let mut log = place.log(&Options::default());
        push(&mut log, chunks, BEGIN);
        numbers(&log.finish().expect("room").0).len()
    };
    assert_eq!(numbers(&store).len(), alone(8, &first) + alone(9, &second));
}

#[test]
fn old_days_go_and_their_summaries_stay() {
    let place = Scratch::new("retain");
    let named = |number| Log::open(&place.0, &Options::default(), Some(number), vec![]).expect("a store");
    let (old, new) = (Line::new(10).run(100), Line::new(11).run(100));
    let mut log = named([1; 12]);
    push(&mut log, &old, BEGIN);
    log.finish().expect("room");
    let mut log = named([2; 12]);
    let now = push(&mut log, &new, BEGIN + 5 * 86_400_000_000);
    let (mut store, _) = log.finish().expect("room");
    let axes = store.axes().expect("axes");
    let summaries = |store: &Store| {
        let all = axes.iter().map(|known| store.summaries(known, (300, ALL), (i64::MIN, i64::MAX)));
        all.collect::<Result<Vec<_>, _>>().expect("summaries")
    };
    let (before, all) = (summaries(&store), numbers(&store).len());
    let removed = store.retain(Retention::Days(2), now).expect("room");
    assert_eq!(numbers(&store).len(), all - removed.moves);
    assert!(removed.moves > 30 && removed.frames >= 2 * removed.moves, "{removed:?}");
    assert_eq!(removed.before.map(time::text).as_deref(), Some("2026-06-05T00:00:00.000000Z"));
    assert_eq!(summaries(&store), before);
    store.rebuild().expect("room");
    assert_eq!(summaries(&store), before);
    assert!(store.check().expect("readable").is_sound());
    assert_eq!(store.check().expect("readable").missing, []);
    // Removed moves are not stored again, whether they come out of the monitor's log or out of a file.
    let mut log = named([1; 12]);
    push(&mut log, &old, now);
    let (mut store, stats) = log.finish().expect("room");
    assert!(matches!(stats, IngestStats { past, .. } if past as usize == removed.moves), "{stats:?}");
    assert_eq!(summaries(&store), before);
    // By size: today stays in any case.
    let removed = store.retain(Retention::Bytes(1), now).expect("room");
    assert!(removed.bytes > 1 && !numbers(&store).is_empty());
}

#[test]
fn the_journal_is_append_only() {
    let place = Scratch::new("journal");
    let mut log = place.log(&Options::default());
    push(&mut log, &Line::new(12).run(2), BEGIN);
    let (store, _) = log.finish().expect("room");
    store.add_note("M. Ito", "acknowledgement", "alarm 3 seen").expect("room");
    let entries = store.journal(i64::MIN, i64::MAX).expect("a journal");
    assert_eq!(entries.iter().filter(|entry| entry.what == "settings").count(), 3);
    assert_eq!(
        entries.last().map(|entry| (entry.who.as_str(), entry.text.as_str())),
        Some(("M. Ito", "alarm 3 seen"))
    );
    let connection = rusqlite::Connection::open(&place.0).expect("a file");
    for sql in ["DELETE FROM journal", "UPDATE journal SET who = 'nobody'"] {
        assert!(connection.execute(sql, []).expect_err(sql).to_string().contains("append-only"));
    }
}

/// The log of a monitor has starts in which the axes never moved: their settings alone.
#[test]
fn a_start_without_a_move_is_stored() {
    let place = Scratch::new("no-move");
    let mut start = Start::new(9);
    start.send(&Message::Settings(Settings::default()));
    let (mut again, mut receiver) = (vec![], Receiver::<FastCrc>::new(Direction::FromDevice));
    let mut remaining = &start.bytes[..];
    while let Some(Event::Frame(frame)) = receiver.step(&mut remaining) {
        if frame.header.priority == Priority::Move {
            again.extend_from_slice(frame.as_replay::<FastCrc>(&mut [0; LONGEST_FRAME]).expect("it fits"));
        }
    }
    let mut log = place.log(&Options::default());
    log.push(&Start::new(10).bytes, BEGIN);
    log.push(&again, BEGIN);
    let (store, stats) = log.finish().expect("all is stored");
    assert_eq!((stats.stored, stats.waiting), (2, 0));
    let settings = store.journal(i64::MIN, i64::MAX).expect("a journal");
    assert_eq!(settings.iter().filter(|entry| entry.what == "settings").count(), 1);
}
