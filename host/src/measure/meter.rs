//! In: rows of one recording. Out: the reports of its moves, each with its samples if they are to be drawn.

use stillpoint_core::{Axis, Event, Position, Reading};

use super::options::MeasureOptions;
use super::stop_recorder::StopRecorder;
use crate::error::Error;
use crate::plot::StopTrace;
use crate::report::axis_context::AxisContext;
use crate::report::clock::Clock;
use crate::report::move_report::MoveReport;
use crate::trace::{Layout, Row};

/// One move of a recording.
#[derive(Clone, Debug)]
pub struct Measured {
    /// Its numbers.
    pub report: MoveReport,
    /// Its samples; empty unless they were recorded for a picture.
    pub samples: StopTrace,
}

/// One axis being measured.
pub struct Meter {
    context: AxisContext,
    axis: Axis,
    /// What the recording's clock reads at the next reading, where it was set anew. Unit: s
    clock_reading: Option<f64>,
    /// Readings that are yet to be measured.
    readings: Vec<Reading>,
    recorder: Option<StopRecorder>,
    moves: u64,
    command_changes: u64,
    command: Option<i32>,
    ends_in_a_move: bool,
}

impl Meter {
    /// `names`: of the file and of the axis. `pictures` records samples.
    pub fn new(
        layout: &Layout,
        names: (&str, &str),
        options: &MeasureOptions,
        pictures: bool,
    ) -> Result<Meter, Error> {
        let context = AxisContext {
            file: names.0.to_owned(),
            name: names.1.to_owned(),
            unit: layout.unit.clone(),
            window: options.window.to_f64(),
            counts_per_unit: layout.counts_per_unit.to_f64(),
            settings: options.settings(layout)?,
            clock: Clock::new(layout.ticks_per_second, layout.origin_s),
        };
        Ok(Meter {
            axis: Axis::new(context.settings),
            context,
            clock_reading: None,
            readings: Vec::new(),
            recorder: pictures.then(|| StopRecorder::new(layout.origin_s)),
            moves: 0,
            command_changes: 0,
            command: None,
            ends_in_a_move: false,
        })
    }

    /// Measures rows in their order; every move goes to `out` as soon as its rest is over.
    pub fn push(
        &mut self,
        rows: &[Row],
        out: &mut impl FnMut(Measured) -> Result<(), Error>,
    ) -> Result<(), Error> {
        for row in rows {
            match row {
                Row::Reading { reading, .. } => {
                    self.readings.push(*reading);
                    if self.clock_reading.is_some() {
                        self.measure_readings(out)?;
                    }
                }
                Row::Gap { .. } => {
                    self.measure_readings(out)?;
                    self.axis.gap();
                }
                Row::Clock { second, .. } => {
                    self.measure_readings(out)?;
                    self.clock_reading = Some(*second);
                }
            }
        }
        self.measure_readings(out)
    }

    /// The recording is over.
    pub fn finish(&mut self, out: &mut impl FnMut(Measured) -> Result<(), Error>) -> Result<(), Error> {
        self.ends_in_a_move = self.axis.finish();
        self.report_moves(out)
    }

    fn measure_readings(&mut self, out: &mut impl FnMut(Measured) -> Result<(), Error>) -> Result<(), Error> {
        let readings = std::mem::take(&mut self.readings);
        for reading in &readings {
            self.command_changes += u64::from(self.command.is_some_and(|command| command != reading.command));
            self.command = Some(reading.command);
        }
        let mut remaining = readings.as_slice();
        while !remaining.is_empty() {
            let count = match self.recorder {
                Some(_) => self.record_samples(remaining),
                None => self.axis.run(remaining),
            };
            remaining = remaining.get(count..).unwrap_or_default();
            if let Some(second) = self.clock_reading.take() {
                self.context.clock.set(self.axis.now(), second);
            }
            self.report_moves(out)?;
        }
        // The next block of rows uses the same memory.
        self.readings = readings;
        self.readings.clear();
        Ok(())
    }

    /// Steps through readings and records their errors, up to the first event. Returns how many were measured.
    fn record_samples(&mut self, readings: &[Reading]) -> usize {
        for (count, reading) in (1..).zip(readings) {
            let was_under_way = self.axis.is_under_way();
            let before = self.context.clock.second(self.axis.now());
            let status = self.axis.step(*reading);
            let now = self.context.clock.second(self.axis.now());
            if status.event {
                return count;
            }
            if self.axis.is_under_way() && !was_under_way {
                self.recorder = Some(StopRecorder::new(before));
            }
            let error = self.context.length(self.axis.error());
            if let Some(recorder) = &mut self.recorder {
                recorder.push(now, error, status.moving, status.position == Position::Outside);
            }
        }
        readings.len()
    }

    fn report_moves(&mut self, out: &mut impl FnMut(Measured) -> Result<(), Error>) -> Result<(), Error> {
        while let Some(event) = self.axis.event() {
            let Event::Move(record) = event else { continue };
            let report = MoveReport::new(&self.context, &record, self.axis.curve());
            let points = self.recorder.as_ref().map(StopRecorder::points).unwrap_or_default();
            let samples = StopTrace::from_clock(points, report.command_end_s);
            self.moves += 1;
            out(Measured { report, samples })?;
            if let Some(recorder) = &mut self.recorder {
                *recorder = StopRecorder::new(self.context.clock.second(self.axis.now()));
            }
        }
        Ok(())
    }

    /// What a person should know about the recording as a whole.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        let AxisContext { window, unit, settings, .. } = &self.context;
        let small = self.axis.small();
        if settings.window == 0 {
            notes.push(format!("the window of {window} {unit} is less than one count: are the units right?"));
        }
        if self.command_changes == 0 {
            notes.push(
                "the command never moves, so there is no move to measure: is it the right column?".to_owned(),
            );
        } else if self.moves == 0 && small > 0 {
            notes.push(format!(
                "the command moves {small} times, but never further than the window of {window} {unit}: are the units right?"
            ));
        } else if self.moves == 0 {
            notes.push("the command never comes to rest, so no move ends and nothing can settle".to_owned());
        } else if small > 0 {
            notes.push(format!("{small} command changes within the window of {window} {unit} are no moves"));
        }
        let turns = self.axis.turns();
        if turns > 0 && self.moves > 0 {
            notes.push(format!("{turns} stops could not be told from turning points of the command"));
        }
        if self.ends_in_a_move && self.moves > 0 {
            notes.push("the recording ends before its last move does; that move is left out".to_owned());
        }
        notes
    }
}
