//! The core beside its slow twin, on made-up recordings of every kind.

use proptest::prelude::*;
use stillpoint_core::{Outcome, Parameters, Position, Reading, Reasons};
use stillpoint_tests::rounds::cases;
use stillpoint_tests::run::{Run, run};
use stillpoint_tests::twin::{Move, TwinSettings, Whole};

/// Samples of rest that end a move. Unit: samples
const REST: usize = 6;

/// One move of a made-up axis.
#[derive(Clone, Debug)]
struct Piece {
    /// Changes of the command, sample by sample; none is zero or within the window.
    steps: Vec<i32>,
    /// Errors while the command stands: any, then some that stand or creep.
    errors: Vec<i32>,
}

fn pieces() -> impl Strategy<Value = Vec<Piece>> {
    let step = prop_oneof![20..2_000_000_i32, -2_000_000..-20_i32];
    let small = -12..=12_i32;
    let error = prop_oneof![4 => small, 1 => -3000..3000_i32];
    let steps = prop::collection::vec(step, 1..12);
    let standing =
        (prop_oneof![-14..=14_i32, -60..=60_i32], -2..=2_i32, prop::collection::vec(0..3_i32, 0..60));
    let one = (steps, prop::collection::vec(error, REST..60), standing);
    let piece = |(steps, mut errors, (offset, creep, flicker)): (_, Vec<i32>, (i32, i32, Vec<i32>))| {
        let stands = |(k, step): (usize, &i32)| offset + creep * k as i32 / 16 + step / 2;
        errors.extend(flicker.iter().enumerate().map(stands));
        Piece { steps, errors }
    };
    prop::collection::vec(one.prop_map(piece), 1..6)
}

/// Readings with the given time between them, from the given counts and time stamp on.
fn readings(pieces: &[Piece], origin: i32, first: u32, periods: &[u32]) -> Vec<Reading> {
    let (mut command, mut tick, mut made) = (origin, first, vec![]);
    let mut push = |command: i32, error: i32| {
        let count = made.len();
        made.push(Reading { tick, command, feedback: command.wrapping_sub(error) });
        tick = tick.wrapping_add(periods[count % periods.len()]);
    };
    (0..200).for_each(|_| push(command, 0));
    for piece in pieces {
        for (k, step) in piece.steps.iter().enumerate() {
            command = command.wrapping_add(*step);
            push(command, *step / 2 + k as i32);
        }
        piece.errors.iter().for_each(|error| push(command, *error));
    }
    made
}

fn outcome(word: &str) -> Outcome {
    [Outcome::Settled, Outcome::Unsettled, Outcome::Interrupted]
        .into_iter()
        .find(|outcome| outcome.word() == word)
        .expect("a word of the twin")
}

/// Instants of the core count from the first reading; the twin numbers samples.
struct Clock(Vec<u64>);

impl Clock {
    fn new(readings: &[Reading]) -> Clock {
        let first = readings[0].tick;
        Clock(readings.iter().map(|reading| u64::from(reading.tick.wrapping_sub(first))).collect())
    }

    /// The core's time lies after the sample before and not after the sample itself.
    fn between(&self, command_end: usize, found: Option<u32>, sample: Option<usize>) -> bool {
        match (found, sample) {
            (None, None) => true,
            (Some(found), Some(sample)) if sample == command_end => found == 0,
            (Some(found), Some(sample)) => {
                let instant = self.0[command_end] + u64::from(found);
                self.0[sample - 1] <= instant && instant <= self.0[sample]
            }
            _ => false,
        }
    }
}

fn compare(
    readings: &[Reading],
    settings: TwinSettings,
    ticks_per_second: i64,
    run: &Run,
) -> Result<(), TestCaseError> {
    let whole = Whole::new(readings);
    let moves = whole.moves(settings, REST);
    let clock = Clock::new(readings);
    prop_assert_eq!(run.moves.len(), moves.len());
    for (measured, twin) in run.moves.iter().zip(&moves) {
        let record = &measured.record;
        prop_assert_eq!(record.start, clock.0[twin.start]);
        prop_assert_eq!(record.command_end, clock.0[twin.command_end]);
        prop_assert_eq!(i64::from(record.travel), twin.travel);
        prop_assert_eq!(record.outcome, outcome(twin.outcome), "{:?}", twin);
        prop_assert_eq!(record.window_entries as usize, twin.entries);
        if twin.travel != 0 {
            prop_assert_eq!(i64::from(record.overshoot), twin.overshoot);
        }
        prop_assert_eq!(i64::from(record.peak_following_error), twin.peak);
        let settled = twin.last_entry.filter(|_| twin.outcome == "settled");
        prop_assert!(clock.between(twin.command_end, record.settling, settled), "{:?} {:?}", record, twin);
        prop_assert!(clock.between(twin.command_end, record.first_entry, twin.first_entry));
        match record.rest_error.filter(|_| record.reasons.has(Reasons::OFFSET)) {
            Some(error) => {
                prop_assert_eq!((error, record.rest_noise_rms), (whole.error(twin.rest_end) * 256, None))
            }
            None => rest(&whole, twin, record.rest_error, record.rest_noise_rms)?,
        }
        let stands = twin.outcome == "unsettled" && whole.stands(settings.window, ticks_per_second, twin);
        prop_assert_eq!(record.reasons.has(Reasons::OFFSET), stands, "{:?}", twin);
        for point in &measured.curve {
            let at = whole.settles(TwinSettings { window: i64::from(point.window), ..settings }, twin);
            let whole_samples = at.map(|sample| clock.0[sample] - clock.0[twin.command_end]);
            let set = record.settling.map(u64::from);
            // Other windows settle at a sample, the set one between two: a wider one settles no later.
            let expected = match set {
                Some(set) if i64::from(point.window) >= settings.window => {
                    whole_samples.map(|time| time.min(set))
                }
                Some(set) => whole_samples.map(|time| time.max(set)),
                None => whole_samples,
            };
            prop_assert_eq!(point.settling.map(u64::from), expected, "window {}", point.window);
        }
        status(run, twin, settings, &clock)?;
    }
    Ok(())
}

fn rest(whole: &Whole, twin: &Move, mean: Option<i64>, rms: Option<u32>) -> Result<(), TestCaseError> {
    let Some(entry) = twin.last_entry else {
        prop_assert_eq!((mean, rms), (None, None));
        return Ok(());
    };
    let expected = whole.rest(entry, twin.rest_end);
    let close = |found: f64, expected: f64| (found / 256.0 - expected).abs() <= 1.0 / 256.0;
    prop_assert!(close(mean.unwrap_or(i64::MAX) as f64, expected.0), "{:?}, {}", mean, expected.0);
    prop_assert!(close(f64::from(rms.unwrap_or(u32::MAX)), expected.1), "{:?}, {}", rms, expected.1);
    Ok(())
}

/// From the command end on, target reached shows exactly while a stay has lasted the window time.
fn status(run: &Run, twin: &Move, settings: TwinSettings, clock: &Clock) -> Result<(), TestCaseError> {
    let mut since = None;
    for sample in twin.command_end..=twin.rest_end {
        let position = run.statuses[sample].position;
        if position == Position::Outside {
            since = None;
            continue;
        }
        let stay = *since.get_or_insert(sample);
        let long = (clock.0[sample] - clock.0[stay]) as i64 >= settings.window_time;
        prop_assert_eq!(position == Position::TargetReached, long, "sample {}", sample);
    }
    Ok(())
}

proptest! {
    #![proptest_config(cases(2000))]

    #[test]
    fn the_core_agrees_with_its_twin(
        pieces in pieces(),
        origin in any::<i32>(),
        first in any::<u32>(),
        periods in prop::collection::vec(90..110_u32, 1..5),
        window in 0..14_u32,
        window_time in 0..1500_u32,
        // Rests of some milliseconds to some seconds.
        rate in prop_oneof![Just(1_000_000_u32), Just(20_000), Just(2000)],
    ) {
        let readings = readings(&pieces, origin, first, &periods);
        let parameters = Parameters {
            window,
            window_time,
            // Longer than five periods and shorter than six, whatever they are.
            rest_time: 540,
            jump: u32::MAX,
            synchronous: true, ..Parameters::at(rate)
        };
        let settings = TwinSettings { window: i64::from(window), window_time: i64::from(window_time) };
        compare(&readings, settings, i64::from(rate), &run(parameters, readings.iter().copied()))?;
    }
}
