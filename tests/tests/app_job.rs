//! Jobs sent to the monitor at any time. Out: each move has the job that was set when it began.

use stillpoint::source::rehearsal::axis::Axis;
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::wire::command::{self, Command};
use stillpoint_core::wire::job::Job;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::{Parameters, Reading};
use stillpoint_tests::monitor::{Monitor, Received};

const RATE: u32 = 4000;
/// Unit: ticks
const PERIOD: u32 = 1_000_000 / RATE;

fn readings() -> Vec<Reading> {
    let [shuttle, ..] = axes();
    Axis::new(shuttle, 7, RATE).expect("an axis").take(20 * RATE as usize).collect()
}

fn monitor() -> Monitor {
    Monitor::new(Parameters { window: 900, ..Parameters::at(1_000_000) }, PERIOD)
}

fn moves(received: &[Received]) -> Vec<Move> {
    let moves = received.iter().filter_map(|(_, message)| match message {
        Message::Move(sent) => Some(*sent),
        _ => None,
    });
    moves.collect()
}

fn jobs(received: &[Received]) -> Vec<Job> {
    let jobs = received.iter().filter_map(|(_, message)| match message {
        Message::Job(job) => Some(*job),
        _ => None,
    });
    jobs.collect()
}

fn set(axis: u8, number: u32) -> Command {
    Command::Job(command::Job { axis, number })
}

/// The jobs of all moves when these are set after so many readings.
fn stamped(changes: &[(usize, u32)]) -> Vec<(u64, u32)> {
    let (readings, mut monitor) = (readings(), monitor());
    let (mut received, mut from) = (vec![], 0);
    for (at, number) in changes {
        received.extend(monitor.sample(readings[from..*at].iter().copied()));
        let answer = monitor.send(&set(0, *number));
        assert_eq!(
            jobs(&answer),
            [Job { axis: 0, at: (at - 1) as u64 * u64::from(PERIOD), number: *number }]
        );
        (received, from) = ([received, answer].concat(), *at);
    }
    received.extend(monitor.sample(readings[from..].iter().copied()));
    received.extend(monitor.finish());
    moves(&received).iter().map(|sent| (sent.start, sent.job)).collect()
}

#[test]
fn a_job_holds_for_the_moves_that_begin_after_its_command() {
    let without = stamped(&[]);
    assert!(without.len() > 12 && without.iter().all(|(_, job)| *job == 0), "{without:?}");
    // The middle of the rest before a move and the middle of the move itself, and one tick beside its begin.
    let begin = without[6].0 / u64::from(PERIOD);
    let whole = (without[7].0 - without[6].0) / u64::from(PERIOD);
    for at in [begin - whole / 8, begin, begin + 2, begin + whole / 8, begin + whole / 2] {
        for later in [0, 1, 40] {
            let (first, second) = (at as usize, (at + later) as usize);
            let changes = if later == 0 { vec![(first, 31)] } else { vec![(first, 30), (second, 31)] };
            for (start, job) in stamped(&changes) {
                let tick = |at: usize| (at - 1) as u64 * u64::from(PERIOD);
                let expected = changes.iter().rev().find(|(at, _)| start >= tick(*at));
                let expected = expected.map_or(0, |(_, number)| *number);
                assert_eq!(job, expected, "a move that began at {start}, changes {changes:?}");
            }
        }
    }
}

#[test]
fn a_job_of_all_axes_and_one_of_no_axis() {
    let mut monitor = monitor();
    monitor.sample(readings()[..1000].iter().copied());
    assert_eq!(jobs(&monitor.send(&set(command::Job::ALL_AXES, 9))).len(), 1);
    let refused = monitor.send(&set(7, 9));
    assert!(jobs(&refused).is_empty());
    let counted = refused
        .iter()
        .any(|(_, message)| matches!(message, Message::Status(status) if status.refused_commands == 1));
    assert!(counted, "{refused:?}");
}
