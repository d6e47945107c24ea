//! In: an axis of the rehearsal, a seed, its age as time passes. Out: its records and settling curves, every step simulated.

use std::collections::VecDeque;

use stillpoint::decode::{Decoder, DeviceEvent};
use stillpoint::source::rehearsal::axis::{Axis as Virtual, AxisData};
use stillpoint::source::rehearsal::machine::HEALTHY_PART;
use stillpoint::source::rehearsal::monitor::Monitor;
use stillpoint_core::{Axis, CurvePoint, Event, Reading, Record, Settings};

/// Sample rate of each axis. Unit: 1/s
pub const RATE: u32 = 4000;
/// Ticks of the monitor in one of the machine.
const PER_MICROSECOND: u32 = 10;

/// How much of its wear an axis has behind it at a part of the shift, as the rehearsal has it.
pub fn age(part: f64) -> f64 {
    ((part - HEALTHY_PART) / (1.0 - HEALTHY_PART)).clamp(0.0, 1.0)
}

/// An axis and the core that measures it. That firmware and frames change nothing is tested in `rehearsal`.
pub struct Simulated<F> {
    machine: Virtual,
    axis: Axis,
    age: F,
    samples: u64,
    waiting: VecDeque<(Record, Vec<CurvePoint>)>,
}

impl<F: Fn(f64) -> f64> Simulated<F> {
    /// `age` by time from the start. Unit: s
    pub fn new(data: AxisData, settings: Settings, seed: u64, age: F) -> Simulated<F> {
        let machine = Virtual::new(data, seed, RATE).expect("the machine can run");
        Simulated { machine, axis: Axis::new(settings), age, samples: 0, waiting: VecDeque::new() }
    }

    fn step(&mut self) {
        self.machine.set_age((self.age)(self.samples as f64 / f64::from(RATE)));
        self.samples += 1;
        let reading = self.machine.step();
        let tick = reading.tick.wrapping_mul(PER_MICROSECOND);
        if self.axis.step(Reading { tick, ..reading }).event {
            while let Some(event) = self.axis.event() {
                if let Event::Move(record) = event {
                    self.waiting.push_back((record, self.axis.curve().collect()));
                }
            }
        }
    }
}

/// Never ends.
impl<F: Fn(f64) -> f64> Iterator for Simulated<F> {
    type Item = (Record, Vec<CurvePoint>);

    fn next(&mut self) -> Option<(Record, Vec<CurvePoint>)> {
        while self.waiting.is_empty() {
            self.step();
        }
        self.waiting.pop_front()
    }
}

/// The moves of an axis that end within a shift.
pub fn shift(data: AxisData, settings: Settings, seed: u64, hours: f64) -> Vec<Record> {
    let end = hours * 3600.0 * f64::from(settings.ticks_per_second);
    let moves = Simulated::new(data, settings, seed, |second| age(second / (3600.0 * hours)));
    moves
        .map(|(record, _)| record)
        .take_while(|record| ((record.command_end + record.held) as f64) < end)
        .collect()
}

/// The records of each axis, through firmware and frames.
pub fn rehearse(axes: [AxisData; 3], seed: u64, hours: f64) -> Vec<Vec<Record>> {
    let (mut monitor, known) = Monitor::with_axes(axes, seed, RATE, Some(hours)).expect("a machine");
    let (mut decoder, mut line) = (Decoder::default(), vec![]);
    let mut records = vec![vec![]; known.len()];
    let mut decode = |line: &mut Vec<u8>, decoder: &mut Decoder| {
        decoder.push(line, &mut |event| {
            if let DeviceEvent::Move(decoded) = event {
                records[usize::from(decoded.axis)].push(decoded.record);
            }
        });
        line.clear();
    };
    while monitor.seconds() < hours * 3600.0 {
        (0..RATE / 10).for_each(|_| _ = monitor.step(&mut line));
        decode(&mut line, &mut decoder);
    }
    monitor.finish(&mut line);
    decode(&mut line, &mut decoder);
    let counts = decoder.counts();
    assert_eq!((counts.lost, counts.corrupt, counts.unreadable), (0, 0, 0));
    records
}
