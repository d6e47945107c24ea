//! In: samples in memory. Out: the records of the core.

use stillpoint_core::{Axis, CurvePoint, Event, Parameters, Reading, Record, Settings, Status};

/// One move as the core reports it.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredMove {
    /// The record.
    pub record: Record,
    /// The settling curve.
    pub curve: Vec<CurvePoint>,
}

/// Everything that one axis reported.
#[derive(Clone, Debug, Default)]
pub struct Run {
    /// The moves, in order.
    pub moves: Vec<MeasuredMove>,
    /// The status at each reading.
    pub statuses: Vec<Status>,
    /// A move was still under way at the end.
    pub under_way: bool,
}

/// Steps one axis through all readings.
pub fn run(parameters: Parameters, readings: impl IntoIterator<Item = Reading>) -> Run {
    let settings = Settings::new(parameters).expect("settings of a test are valid");
    let mut axis = Axis::new(settings);
    let mut run = Run::default();
    for reading in readings {
        let status = axis.step(reading);
        run.statuses.push(status);
        if status.event {
            collect(&mut axis, &mut run.moves);
        }
    }
    run.under_way = axis.finish();
    collect(&mut axis, &mut run.moves);
    run
}

fn collect(axis: &mut Axis, moves: &mut Vec<MeasuredMove>) {
    while let Some(event) = axis.event() {
        if let Event::Move(record) = event {
            moves.push(MeasuredMove { record, curve: axis.curve().collect() });
        }
    }
}

/// Readings at a steady rate: command and feedback by sample number, ticks of `period`.
pub fn steady(period: u32, signals: impl IntoIterator<Item = (i32, i32)>) -> impl Iterator<Item = Reading> {
    (0_u32..).zip(signals).map(move |(number, (command, feedback))| Reading {
        tick: number.wrapping_mul(period),
        command,
        feedback,
    })
}
