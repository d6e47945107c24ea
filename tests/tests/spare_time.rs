//! In: three axes that stop half, two and twenty times a second. Out: the share of stops in which a monitor has time to look
//! for ringing, on each processor.
//!
//! The monitor is the real one; what a tick leaves it is computed from instructions that BOARDS.md states, one instruction
//! taken as one cycle. On the Cortex-M0+ the work at each tick was not counted: there it takes the 30 % that its bar
//! allows.

use std::collections::BTreeMap;

use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::header::Direction;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::record::flag2;
use stillpoint_core::wire::ringing::Ringing;
use stillpoint_core::wire::status::Reset;
use stillpoint_core::{Parameters, Settings};
use stillpoint_firmware::app::{App, Identity};
use stillpoint_firmware::memory::MemoryFlash;
use stillpoint_firmware::sampler::Raw;
use stillpoint_firmware::tap::Register;

const AXES: usize = 3;
/// Samples of each axis. Unit: 1/s
const RATE: u32 = 4000;
const TICKS_PER_SECOND: u32 = 1_000_000;

/// A processor. Unit: instructions
struct Processor {
    name: &'static str,
    /// Between two samples, not used by the samples.
    spare: f64,
    /// Everything about a move but its fit.
    of_a_move: f64,
    /// A slice of the fit, on average.
    slice: f64,
}

/// BOARDS.md, *Ringing*, and *Instructions of the whole monitor*.
const PROCESSORS: [Processor; 2] = [
    Processor {
        name: "Cortex-M4F at 144 MHz",
        spare: 144e6 / RATE as f64 - AXES as f64 * 881.0 - 417.0,
        of_a_move: 114_000.0,
        slice: 1640.0,
    },
    Processor {
        name: "Cortex-M0+ at 125 MHz",
        spare: 0.7 * 125e6 / RATE as f64,
        of_a_move: 0.0,
        slice: 82_000.0,
    },
];

/// Command and feedback of an axis at a sample: moves of 0.4 of each period, at most 100 ms, then a ringing of 60 Hz.
fn motion(sample: u32, period: u32) -> (i32, i32) {
    let moving = (period * 2 / 5).min(RATE / 10);
    let (cycle, phase) = (sample / period, sample % period);
    let direction = if cycle % 2 == 0 { 1 } else { -1 };
    let start = if cycle % 2 == 0 { 0 } else { 8000 };
    let part = f64::from(phase.min(moving)) / f64::from(moving);
    let command = start + direction * (8000.0 * part * part * (3.0 - 2.0 * part)).round() as i32;
    let since = f64::from(phase.saturating_sub(moving)) / f64::from(RATE);
    let swing = 400.0 * (-60.0 * since).exp() * (std::f64::consts::TAU * 60.0 * since).cos();
    let lag = if phase < moving { f64::from(phase) / f64::from(moving) * 400.0 } else { swing };
    (command, command - direction * lag.round() as i32)
}

fn monitor() -> App<AXES, MemoryFlash<Vec<u8>>> {
    let parameters = Parameters {
        window: 50,
        window_time: 2000,
        rest_time: 2000,
        jump: 2000,
        ..Parameters::at(TICKS_PER_SECOND)
    };
    let settings = Settings::new(parameters).unwrap();
    let identity = Identity {
        device: *b"spare time\0\0",
        board: "test",
        reset: Reset::PowerOn,
        period: TICKS_PER_SECOND / RATE,
    };
    App::new(identity, [settings; AXES], MemoryFlash::new(vec![0; 1 << 20])).expect("the flash opens")
}

/// What was sent about each stop, by axis and number of the move.
#[derive(Default)]
struct Answers {
    announced: u32,
    refusals: BTreeMap<(u8, u32), u8>,
}

impl Answers {
    fn add(&mut self, message: &Message) {
        match message {
            Message::Move(sent) => self.announced += u32::from(sent.flags2 & flag2::RINGING != 0),
            Message::Ringing(Ringing { axis, number, refusal, .. }) => {
                let again = self.refusals.insert((*axis, *number), *refusal);
                assert_eq!(again, None, "one answer for each stop");
            }
            _ => (),
        }
    }

    /// Number of stops that a fit has seen.
    fn evaluated(&self) -> usize {
        self.refusals.values().filter(|refusal| **refusal != Ringing::NOT_EVALUATED).count()
    }
}

/// What is sent in 60 s.
fn answers(processor: &Processor, moves_per_second: f64) -> Answers {
    let (mut app, mut receiver) = (monitor(), Receiver::<FastCrc>::new(Direction::FromDevice));
    let (period, mut answers) = ((f64::from(RATE) / moves_per_second) as u32, Answers::default());
    let spare = processor.spare - AXES as f64 * moves_per_second * processor.of_a_move / f64::from(RATE);
    let (mut budget, mut bytes) = (0.0, [0; 4096]);
    for sample in 0..60 * RATE {
        let raw = std::array::from_fn(|axis| {
            // The axes stop one after the other.
            let (command, feedback) = motion(sample + axis as u32 * period / 3, period);
            Raw { command: Register::Whole(command as u32), feedback: Register::Whole(feedback as u32) }
        });
        app.sample(sample * (TICKS_PER_SECOND / RATE), &raw);
        budget += spare;
        while budget > 0.0 && app.is_busy() {
            app.idle();
            budget -= processor.slice;
        }
        budget = budget.min(0.0);
        if sample % 20 == 0 {
            // A slice comes with each.
            budget -= if app.is_busy() { processor.slice } else { 0.0 };
            let count = app.transmit(&mut bytes);
            let mut remaining = &bytes[..count];
            while let Some(event) = receiver.step(&mut remaining) {
                let Event::Frame(frame) = event else { panic!("{event:?}") };
                answers.add(&frame.read::<Message>().expect("known").payload);
            }
        }
    }
    answers
}

#[test]
fn the_share_of_stops_that_are_evaluated_is_known() {
    for processor in &PROCESSORS {
        for (moves_per_second, least) in [(0.5, 0.99), (2.0, 0.99), (20.0, 0.6)] {
            let answers = answers(processor, moves_per_second);
            let (stops, evaluated) = (answers.announced, answers.evaluated());
            let share = evaluated as f64 / f64::from(stops);
            println!(
                "ran {}, three axes × {moves_per_second} moves/s: {evaluated} of {stops} stops evaluated, {:.1} %",
                processor.name,
                100.0 * share
            );
            let expected = 60.0 * AXES as f64 * moves_per_second;
            assert!((f64::from(stops) / expected - 1.0).abs() < 0.06, "{stops} stops of {expected} moves");
            // Those of the last moves are still to come.
            let without = stops as usize - answers.refusals.len();
            assert!(without <= 2 * AXES, "{without} stops without an answer");
            assert!(processor.name.contains("M0+") || share >= least, "{share}");
        }
    }
}
