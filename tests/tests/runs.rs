//! Many readings at once give the same as single steps, for any division into runs.

use proptest::prelude::*;
use stillpoint_core::{Axis, CurvePoint, Event, Parameters, Reading, Record, Settings, Status};
use stillpoint_tests::rounds::cases;

/// Time between samples by default. Unit: ticks
const PERIOD: u32 = 250;

/// An event of an axis, after how many readings, and the curve that belongs to a move.
type Observed = (usize, Event, Vec<CurvePoint>);

/// Observable state of an axis: time, error, under way, small excursions, turns, lost events.
type Shown = (u64, i32, bool, u32, u32, u32);

/// A part of a made-up recording.
#[derive(Clone, Debug)]
enum Piece {
    /// The command stands; the error rings down to an offset and noise about it.
    Stand { samples: usize, offset: i32, ringing: i32, noise: u8 },
    /// The command changes by this at each sample; the error stays about the lag.
    Move { steps: Vec<i32>, lag: i32 },
    /// The command changes by this and waits for `wait` samples, `count` times.
    Pulses { step: i32, wait: usize, count: usize },
    /// Small changes of the command, each after so many samples: late pulses, jogs, turns.
    Late(Vec<(i32, usize)>),
    /// The readings before the next one are missing.
    Gap,
    /// All later time stamps are shifted by this. Unit: ticks
    Clock(u32),
    /// The feedback jumps by this.
    Elsewhere(i32),
    /// Sample period from here on. Unit: ticks
    Period(u32),
}

fn pieces() -> impl Strategy<Value = Vec<Piece>> {
    let step = prop_oneof![4 => -40..40_i32, 4 => -3000..3000_i32, 1 => any::<i32>()];
    let size = prop_oneof![4 => -3..=3_i32, 4 => -400..400_i32, 2 => -40_000..40_000_i32, 1 => any::<i32>()];
    let wait = || prop_oneof![1 => 1..8_usize, 1 => 1..200_usize];
    let stand = (1..300_usize, size.clone(), size.clone(), 0..14_u8);
    let pulses = (step.clone(), wait(), 1..12_usize);
    prop::collection::vec(
        prop_oneof![
            8 => stand.prop_map(|(samples, offset, ringing, noise)| Piece::Stand { samples, offset, ringing, noise }),
            6 => (prop::collection::vec(step, 1..60), size).prop_map(|(steps, lag)| Piece::Move { steps, lag }),
            3 => pulses.prop_map(|(step, wait, count)| Piece::Pulses { step, wait, count }),
            4 => prop::collection::vec((-4..=4_i32, wait()), 1..8).prop_map(Piece::Late),
            2 => Just(Piece::Gap),
            1 => prop_oneof![0..500_u32, any::<u32>()].prop_map(Piece::Clock),
            1 => any::<i32>().prop_map(Piece::Elsewhere),
            1 => prop_oneof![1..2000_u32, Just(1 << 22), Just(1 << 26), Just(1 << 31)].prop_map(Piece::Period),
        ],
        1..16,
    )
}

fn parameters() -> impl Strategy<Value = Parameters> {
    let window = prop_oneof![
        Just(0),
        1..40_u32,
        Just(500),
        Just(60_000),
        Just(1 << 25),
        Just(1 << 28),
        Just(i32::MAX as u32)
    ];
    let following = prop_oneof![3 => Just(u32::MAX), 3 => 0..3000_u32, 1 => Just(1 << 20)];
    let scale = prop_oneof![4 => Just((1, 1)), 1 => Just((2, 3)), 1 => Just((-1, 2)), 1 => Just((-1000, 3))];
    let jump = prop_oneof![3 => Just(1 << 30), 1 => 1..5000_u32, 1 => Just(u32::MAX)];
    // Whole periods, too: then a sample lies right on the limit.
    let whole = || (0..40_u32).prop_map(|periods| periods * PERIOD);
    let time = || prop_oneof![3 => whole(), 1 => 1..3000_u32, 1 => 3000..30_000_u32, 1 => Just(1 << 30)];
    (window, time(), time(), following, time(), scale, jump).prop_map(|chosen| Parameters {
        window: chosen.0,
        window_time: chosen.1,
        rest_time: chosen.2.max(1),
        following_error_window: chosen.3,
        following_error_time_out: chosen.4,
        command_scale: chosen.5,
        jump: chosen.6,
        ..Parameters::at(1_000_000)
    })
}

/// A recording in the making.
struct Recording {
    readings: Vec<Reading>,
    /// Numbers of the readings before which others are missing.
    gaps: Vec<usize>,
    last: Reading,
    scale: (i32, i32),
    /// Sum of all command changes. Unit: command counts
    travelled: i64,
    period: u32,
    random: u32,
}

impl Recording {
    fn new(first: Reading, scale: (i32, i32)) -> Recording {
        Recording {
            readings: vec![],
            gaps: vec![],
            last: first,
            scale,
            travelled: 0,
            period: PERIOD,
            random: 1,
        }
    }

    fn push(&mut self, change: i32, error: i32) {
        self.last.tick = self.last.tick.wrapping_add(self.period);
        self.last.command = self.last.command.wrapping_add(change);
        self.travelled += i64::from(change);
        let scaled = (self.travelled * i64::from(self.scale.0)).div_euclid(i64::from(self.scale.1)) as i32;
        let feedback = self.last.feedback.wrapping_add(scaled).wrapping_sub(error);
        self.readings.push(Reading { feedback, ..self.last });
    }

    fn noise(&mut self, bits: u8) -> i32 {
        self.random = self.random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        i32::try_from(self.random >> (31 - u32::from(bits.min(30))) >> 1).unwrap_or(0)
    }

    fn add(&mut self, piece: &Piece) {
        match piece {
            Piece::Stand { samples, offset, ringing, noise } => {
                for k in 0..*samples {
                    let swing = f64::from(*ringing) * (-(k as f64) / 20.0).exp() * (k as f64 / 5.0).cos();
                    let noise = self.noise(*noise);
                    self.push(0, offset.wrapping_add(swing as i32).wrapping_add(noise));
                }
            }
            Piece::Move { steps, lag } => steps.iter().for_each(|step| {
                let noise = self.noise(2);
                self.push(*step, lag.wrapping_add(noise));
            }),
            Piece::Pulses { step, wait, count } => (0..wait * count).for_each(|k| {
                self.push(if k % wait == 0 { *step } else { 0 }, 0);
            }),
            Piece::Late(pulses) => {
                for (step, wait) in pulses {
                    (0..*wait).for_each(|k| self.push(if k + 1 == *wait { *step } else { 0 }, 0));
                }
            }
            Piece::Gap => self.gaps.push(self.readings.len()),
            Piece::Clock(ticks) => self.last.tick = self.last.tick.wrapping_add(*ticks),
            // The command counts no more from the same place as the feedback.
            Piece::Elsewhere(away) => self.last.feedback = self.last.feedback.wrapping_add(*away),
            Piece::Period(period) => self.period = *period,
        }
    }
}

fn collect(axis: &mut Axis, count: usize, events: &mut Vec<Observed>) {
    while let Some(event) = axis.event() {
        let curve = match event {
            // In a longer move a stamp of the curve may be from the turn of the time stamps before.
            Event::Move(of) if of.command_end - of.start + of.held < 1 << 32 => axis.curve().collect(),
            _ => vec![],
        };
        events.push((count, event, curve));
    }
}

fn shown(axis: &Axis) -> Shown {
    (axis.now(), axis.error(), axis.is_under_way(), axis.small(), axis.turning_points(), axis.lost())
}

/// Steps through all readings: the statuses, the state shown after each, and the events.
fn stepped(settings: &Settings, recording: &Recording) -> (Vec<Status>, Vec<Shown>, Vec<Observed>) {
    let (mut axis, mut events) = (Axis::new(*settings), vec![]);
    let (mut statuses, mut seen) = (vec![], vec![]);
    for (number, reading) in recording.readings.iter().enumerate() {
        (0..recording.gaps.iter().filter(|gap| **gap == number).count()).for_each(|_| axis.gap());
        let status = axis.step(*reading);
        assert_eq!(
            status.event,
            events.len() < {
                collect(&mut axis, number + 1, &mut events);
                events.len()
            }
        );
        statuses.push(status);
        seen.push(shown(&axis));
    }
    axis.finish();
    collect(&mut axis, recording.readings.len(), &mut events);
    (statuses, seen, events)
}

/// The same in runs of the lengths given, over and over, a single step after each.
fn compare(settings: &Settings, recording: &Recording, cuts: &[usize]) -> Result<(), TestCaseError> {
    let (statuses, seen, expected) = stepped(settings, recording);
    let (mut axis, mut events, mut done) = (Axis::new(*settings), vec![], 0);
    let readings = recording.readings.as_slice();
    for cut in cuts.iter().cycle() {
        if done >= readings.len() {
            break;
        }
        (0..recording.gaps.iter().filter(|gap| **gap == done).count()).for_each(|_| axis.gap());
        let gap = recording.gaps.iter().copied().find(|gap| *gap > done).unwrap_or(readings.len());
        let end = (done + cut).min(gap).min(readings.len());
        if *cut == 1 {
            prop_assert_eq!(axis.step(readings[done]), statuses[done], "reading {}", done);
            done += 1;
        } else {
            let before = done;
            while done < end {
                let more = axis.run(&readings[done..end]);
                prop_assert!(more > 0 && done + more <= end);
                done += more;
                collect(&mut axis, done, &mut events);
            }
            prop_assert!(done > before);
        }
        collect(&mut axis, done, &mut events);
        prop_assert_eq!(shown(&axis), seen[done - 1], "after {} readings", done);
    }
    axis.finish();
    collect(&mut axis, readings.len(), &mut events);
    prop_assert_eq!(events, expected);
    Ok(())
}

fn recording(first: (u32, i32), scale: (i32, i32), pieces: &[Piece]) -> Recording {
    // The first command is scaled as it is; the feedback begins there.
    let feedback = (i64::from(first.1) * i64::from(scale.0)).div_euclid(i64::from(scale.1)) as i32;
    let mut recording = Recording::new(Reading { tick: first.0, command: first.1, feedback }, scale);
    pieces.iter().for_each(|piece| recording.add(piece));
    recording
}

proptest! {
    #![proptest_config(cases(3000))]

    #[test]
    fn however_the_readings_are_cut(
        pieces in pieces(),
        parameters in parameters(),
        first in (any::<u32>(), any::<i32>()),
        cuts in prop::collection::vec(prop_oneof![1 => Just(1_usize), 2 => 2..30_usize, 2 => 30..2000_usize], 1..8),
    ) {
        let settings = Settings::new(parameters).expect("settings of a test are valid");
        compare(&settings, &recording(first, parameters.command_scale, &pieces), &cuts)?;
    }
}

/// A rest longer than the sums count, and one longer than a rest is followed.
#[test]
fn however_long_the_rest() -> Result<(), TestCaseError> {
    let step = |samples| [Piece::Move { steps: vec![500; 9], lag: 30 }, stand(samples)];
    let shorter = Piece::Period(100_003);
    let all = [&[stand(100)][..], &step(70_000), &[shorter], &step(25_000), &step(300)].concat();
    for (window, jump) in [(2, 1 << 30), (2, 100), (0, 1 << 30), (1000, 1 << 30), (1000, 1001)] {
        let parameters = Parameters { window, jump, window_time: 5000, ..Parameters::at(1_000_000) };
        let settings = Settings::new(parameters).expect("settings of a test are valid");
        compare(&settings, &recording((7, 0), (1, 1), &all), &[1, 100_000])?;
        compare(&settings, &recording((7, 0), (1, 1), &all), &[1000, 1, 17])?;
    }
    Ok(())
}

/// Other settings between two moves. Once a change in a rest gave 180,500 ticks by steps and 99,250 by runs: the
/// rest was measured partly by the old settings and partly by the new.
#[test]
fn settings_change_between_moves_only() -> Result<(), TestCaseError> {
    let ring = Piece::Stand { samples: 800, offset: 0, ringing: 4000, noise: 1 };
    let step = |sign: i32| Piece::Move { steps: vec![sign * 3000; 20], lag: 2000 };
    let pieces = [stand(200), step(1), ring.clone(), step(-1), ring];
    let recording = recording((0, 0), (1, 1), &pieces);
    let settings = |window: u32, window_time: u32| {
        let parameters = Parameters { window, window_time, ..Parameters::at(1_000_000) };
        Settings::new(parameters).expect("settings of a test are valid")
    };
    let (wide, narrow) = (settings(2000, 5000), settings(20, 10_000));
    // The whole recording by one of the two settings: what each move is when nothing changes.
    let whole = |settings: &Settings| records(stepped(settings, &recording).2);
    let (by_wide, by_narrow) = (whole(&wide), whole(&narrow));
    prop_assert_ne!(by_wide[0].settling, by_narrow[0].settling);
    // Changed while the command moves, after the first stop has settled, and a hundred samples before the next move.
    for (at, changes) in [(210, false), (600, true), (919, true)] {
        for run in [false, true] {
            let mut axis = Axis::new(wide);
            let (before, after) = recording.readings.split_at(at);
            let mut records = vec![];
            for (readings, last) in [(before, false), (after, true)] {
                let mut rest = readings;
                while !rest.is_empty() {
                    let count = if run {
                        axis.run(rest)
                    } else {
                        {
                            axis.step(rest[0]);
                            1
                        }
                    };
                    rest = &rest[count..];
                    records.extend(moves(&mut axis));
                }
                if last {
                    axis.finish();
                } else {
                    prop_assert_eq!(axis.set(narrow), changes);
                    prop_assert_eq!(*axis.settings(), if changes { narrow } else { wide });
                }
                records.extend(moves(&mut axis));
            }
            // The first move by the old settings, up to the change; the second wholly by the new.
            let held = if changes { u64::from(PERIOD) * (at as u64 - 1 - 219) } else { by_wide[0].held };
            prop_assert_eq!(records[0], Record { held, ..records[0] });
            prop_assert_eq!(records[0].settling, by_wide[0].settling);
            let second = if changes { by_narrow[1] } else { by_wide[1] };
            prop_assert_eq!(records[1], second);
            prop_assert_eq!(records.len(), 2);
        }
    }
    Ok(())
}

fn moves(axis: &mut Axis) -> Vec<Record> {
    let mut events = vec![];
    collect(axis, 0, &mut events);
    records(events)
}

fn records(events: Vec<Observed>) -> Vec<Record> {
    let records = events.into_iter().filter_map(|(_, event, _)| match event {
        Event::Move(record) => Some(record),
        Event::FollowingError(_) => None,
    });
    records.collect()
}

fn stand(samples: usize) -> Piece {
    Piece::Stand { samples, offset: 0, ringing: 300, noise: 2 }
}
