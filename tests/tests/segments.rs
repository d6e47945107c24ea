//! Where moves begin and end, beside the slow twin, on random commands: trains, jogs, bursts, turns, sampled and held.

use proptest::prelude::*;
use stillpoint_core::{Axis, Event, Parameters, Reading, Reasons, Settings};
use stillpoint_tests::rounds::cases;
use stillpoint_tests::segments::{Rules, Segment, Segments, segments};

/// A part of a made-up command. Times are in samples.
#[derive(Clone, Debug)]
enum Piece {
    Stand(usize),
    /// Changes of this size, each after its pause.
    Train(i32, Vec<usize>),
    /// Changes at every sample.
    Burst(Vec<i32>),
    /// A crest: the same pauses before and after the turn, and a stand between them.
    Crest(i32, Vec<usize>, usize),
    /// Small changes of any size and pause.
    Late(Vec<(i32, usize)>),
}

fn pieces() -> impl Strategy<Value = Vec<Piece>> {
    let size = || prop_oneof![4 => -2..=2_i32, 2 => -12..=12_i32, 1 => -300..=300_i32];
    let pause = || prop_oneof![3 => 1..6_usize, 2 => 1..30_usize, 1 => 1..200_usize];
    let pauses = || {
        let regular = (pause(), 1..12_usize).prop_map(|(pause, count)| vec![pause; count]);
        let slower =
            (1..10_usize, 1..8_usize).prop_map(|(from, count)| (from..from + count).map(|k| k * k).collect());
        let faster =
            (1..10_usize, 1..8_usize).prop_map(|(to, count)| (to..to + count).rev().map(|k| k * k).collect());
        prop_oneof![regular, slower, faster, prop::collection::vec(pause(), 1..8)]
    };
    let crest = (size(), pauses(), 1..100_usize);
    prop::collection::vec(
        prop_oneof![
            2 => (1..120_usize).prop_map(Piece::Stand),
            4 => (size(), pauses()).prop_map(|(size, pauses)| Piece::Train(size, pauses)),
            2 => prop::collection::vec(size(), 1..12).prop_map(Piece::Burst),
            2 => crest.prop_map(|(size, pauses, stand)| Piece::Crest(size, pauses, stand)),
            3 => prop::collection::vec((-6..=6_i32, pause()), 1..8).prop_map(Piece::Late),
        ],
        1..14,
    )
}

fn command(pieces: &[Piece]) -> Vec<i64> {
    let mut command = vec![0_i64];
    let mut push = |size: i32, pause: usize| {
        let last = command[command.len() - 1];
        command.extend(std::iter::repeat_n(last, pause.saturating_sub(1)));
        command.push(last + i64::from(size));
    };
    for piece in pieces {
        match piece {
            Piece::Stand(samples) => push(0, *samples),
            Piece::Train(size, pauses) => pauses.iter().for_each(|pause| push(*size, *pause)),
            Piece::Burst(sizes) => sizes.iter().for_each(|size| push(*size, 1)),
            Piece::Crest(size, pauses, stand) => {
                pauses.iter().for_each(|pause| push(*size, *pause));
                push(-size, *stand);
                pauses.iter().rev().for_each(|pause| push(-size, *pause));
            }
            Piece::Late(pulses) => pulses.iter().for_each(|(size, pause)| push(*size, *pause)),
        }
    }
    command
}

/// What the core finds.
fn found(parameters: Parameters, readings: &[Reading]) -> Segments {
    let mut axis = Axis::new(Settings::new(parameters).expect("settings of a test are valid"));
    let mut events = vec![];
    for reading in readings {
        axis.step(*reading);
        events.extend(std::iter::from_fn(|| axis.event()));
    }
    let under_way = axis.finish();
    events.extend(std::iter::from_fn(|| axis.event()));
    let sample = |instant: u64| {
        let tick = readings[0].tick.wrapping_add(instant as u32);
        readings.iter().position(|reading| reading.tick == tick).expect("an instant of a sample")
    };
    let moves = events.iter().filter_map(|event| match event {
        Event::Move(of) => Some(Segment {
            start: sample(of.start),
            command_end: sample(of.command_end),
            rest_end: sample(of.command_end + of.held),
            travel: i64::from(of.travel),
            joined_late: of.reasons.has(Reasons::JOINED),
        }),
        Event::FollowingError(_) => None,
    });
    let (small, turns) = (i64::from(axis.small()), i64::from(axis.turning_points()));
    Segments { moves: moves.collect(), small, turns, under_way }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..cases(4000) })]

    #[test]
    fn the_core_divides_a_command_as_its_twin_does(
        pieces in pieces(),
        window in 0..12_u32,
        rest_time in prop_oneof![1 => 1..400_u32, 2 => 400..3000_u32],
        window_time in 0..2000_u32,
        errors in prop::collection::vec(prop_oneof![3 => Just(0_i32), 1 => -20..=20_i32], 1..40),
        periods in prop::collection::vec(95..106_u32, 1..4),
        tail in 0..300_usize,
    ) {
        let mut command = command(&pieces);
        let last = command[command.len() - 1];
        command.extend(std::iter::repeat_n(last, tail));
        let error = |k: usize| errors[k / 7 % errors.len()];
        let mut tick = 7_u32;
        let readings: Vec<Reading> = command.iter().enumerate().map(|(k, level)| {
            tick += periods[k % periods.len()];
            let command = *level as i32;
            Reading { tick, command, feedback: command - error(k) }
        }).collect();
        let parameters = Parameters { window, rest_time, window_time, synchronous: true, ..Parameters::at(1_000_000) };
        let ticks: Vec<i64> = readings.iter().map(|reading| i64::from(reading.tick)).collect();
        let rules = Rules { window: i64::from(window), rest_time: i64::from(rest_time) };
        // Inside from some sample on, none before the last change, for the window time.
        let reached = |from: usize, to: usize| {
            let inside = |k: &usize| error(*k).unsigned_abs() <= window;
            let entry = (from..to).rev().take_while(inside).last();
            entry.is_some_and(|entry| ticks[to - 1] - ticks[entry] >= i64::from(window_time))
        };
        prop_assert_eq!(found(parameters, &readings), segments(rules, &ticks, &command, &reached));
    }
}
