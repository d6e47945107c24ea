//! In: rows of one recording. Out: the reports of its moves, each with its samples if they are to be drawn.

use stillpoint_core::ringing::{Answer, Fit, Refusal, StopCapture};
use stillpoint_core::{Axis, Event, Position, Reading, Reasons, Record};

use super::efforts::Efforts;
use super::jobs::Jobs;
use super::likeness::{Likeness, Verdict};
use super::motion_recorder::{Pictures, Place, Shown};
use super::options::MeasureOptions;
use super::raw_stop::{RawStop, Samples};
use super::signals::Signals;
use super::stop_recorder::StopRecorder;
use crate::analysis::two_modes::{TwoModes, two_modes};
use crate::decode::StopRinging;
use crate::error::Error;
use crate::plot::StopTrace;
use crate::report::axis_context::AxisContext;
use crate::report::clock::Clock;
use crate::report::field::WindowSettling;
use crate::report::move_report::MoveReport;
use crate::report::number;
use crate::trace::{Layout, Row};

/// One move of a recording.
#[derive(Clone, Debug)]
pub struct Measured {
    /// Its numbers.
    pub report: MoveReport,
    /// Its samples; empty unless they were recorded for a picture.
    pub samples: StopTrace,
    /// Its settling curve, as fine as the samples; empty like `samples`, or without a curve in the report.
    pub curve: Vec<WindowSettling>,
}

/// One axis being measured.
pub struct Meter {
    context: AxisContext,
    /// Name of the feedback column, and line of the first reading.
    feedback: (String, u64),
    signals: Signals,
    jobs: Jobs,
    pictures: Pictures,
    efforts: Efforts,
    /// Name of its column.
    effort: String,
    /// Whether samples are missing before the next reading.
    has_gap: bool,
    axis: Axis,
    stop: StopCapture,
    raw: RawStop,
    fit: Fit,
    likeness: Likeness,
    /// Moves withheld until feedback has followed the command.
    withheld: Vec<Measured>,
    /// The last reading measured.
    last: Option<Reading>,
    /// Feedback at the end of the rest before. Unit: counts
    rested: Option<i32>,
    /// What the recording's clock reads at the next reading, where it was set anew. Unit: s
    clock_reading: Option<f64>,
    /// Readings that are yet to be measured.
    readings: Vec<Reading>,
    recorder: Option<StopRecorder>,
    /// The stop before, as it stood when the command started, until it is decided whether it goes on.
    undecided: Option<StopRecorder>,
    moves: u64,
    command_changes: u64,
    command: Option<i32>,
    ends_in_a_move: bool,
    /// Where the command stood before the first reading, until that comes. Unit: command counts
    command_before: Option<i32>,
    /// Unit: ticks
    sample_period: u32,
}

/// Why no oscillation is stated where there may be two. Those of a plain lag are left out: they are frequent, and each look
/// costs milliseconds.
const HIDE_TWO: [Refusal; 3] = [Refusal::NotExponential, Refusal::NotBeyondDecay, Refusal::TooFewPeriods];

/// What reports of the axis need. `names`: of the file and of the axis.
fn context(layout: &Layout, names: (&str, &str), options: &MeasureOptions) -> Result<AxisContext, Error> {
    Ok(AxisContext {
        file: names.0.to_owned(),
        name: names.1.to_owned(),
        unit: layout.unit.clone(),
        window: options.window.to_f64(),
        counts_per_unit: layout.counts_per_unit.to_f64(),
        settings: options.settings(layout)?,
        clock: Clock::new(layout.ticks_per_second, layout.origin_s),
    })
}

impl Meter {
    /// `names`: of the file and of the axis. `pictures` records samples.
    pub fn new(
        layout: &Layout,
        names: (&str, &str),
        options: &MeasureOptions,
        pictures: impl Into<Pictures>,
    ) -> Result<Meter, Error> {
        let pictures = pictures.into();
        let context = context(layout, names, options)?;
        let settings = context.settings;
        Ok(Meter {
            feedback: (layout.columns.2.clone(), 0),
            signals: Signals::new(layout, options, &settings),
            jobs: Jobs::default(),
            efforts: Efforts::default(),
            effort: layout.effort.clone().unwrap_or_default(),
            has_gap: false,
            axis: Axis::new(settings),
            stop: StopCapture::new(settings.encoder_step),
            raw: RawStop::default(),
            fit: Fit::default(),
            likeness: Likeness::default(),
            withheld: Vec::new(),
            last: None,
            rested: None,
            context,
            clock_reading: None,
            readings: Vec::new(),
            undecided: None,
            recorder: pictures.stops.then(|| StopRecorder::new(layout.origin_s)),
            pictures,
            moves: 0,
            command_changes: 0,
            command: None,
            ends_in_a_move: false,
            command_before: options.command_before(layout)?,
            sample_period: (layout.sample_period_s * f64::from(layout.ticks_per_second)).round() as u32,
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
                Row::Reading { line, reading } => {
                    let first = self.feedback.1 == 0;
                    if first {
                        self.feedback.1 = *line;
                    }
                    self.jobs.reading(*line, *reading, first);
                    self.efforts.reading(*line, *reading);
                    self.stand_before(*reading);
                    self.signals.push(*reading, &mut self.readings);
                }
                Row::Gap { .. } => {
                    self.signals.flush(&mut self.readings);
                    self.measure_readings(out)?;
                    self.axis.gap();
                    self.raw.gap();
                    self.has_gap = true;
                }
                Row::Clock { second, .. } => {
                    self.signals.flush(&mut self.readings);
                    self.measure_readings(out)?;
                    self.clock_reading = Some(*second);
                }
                Row::Job { line, job } => self.jobs.change(*line, *job),
                Row::Effort { line, effort } => self.efforts.add(*line, *effort),
            }
        }
        self.measure_readings(out)
    }

    /// Puts two readings before the first one, if it is known where the command stood: the last of them a sample period
    /// before it, the other so early that the command had rested.
    fn stand_before(&mut self, first: Reading) {
        let Some(command) = self.command_before.take() else { return };
        let period = self.sample_period.max(1);
        let early =
            self.context.settings.rest_time.saturating_add(period.saturating_mul(2)).min(i32::MAX as u32);
        for lead in [early, period] {
            let reading = Reading { tick: first.tick.wrapping_sub(lead), command, ..first };
            self.signals.push(reading, &mut self.readings);
        }
        if let Some(second) = self.clock_reading.take() {
            let ticks_per_second = f64::from(self.context.settings.ticks_per_second);
            self.context.clock.set(0, second - f64::from(early) / ticks_per_second);
        }
    }

    /// The recording is over.
    pub fn finish(&mut self, out: &mut impl FnMut(Measured) -> Result<(), Error>) -> Result<(), Error> {
        self.signals.flush(&mut self.readings);
        self.measure_readings(out)?;
        self.ends_in_a_move = self.axis.finish();
        self.report_moves(self.last, out)?;
        self.follows()?;
        self.withheld.drain(..).try_for_each(out)
    }

    fn measure_readings(&mut self, out: &mut impl FnMut(Measured) -> Result<(), Error>) -> Result<(), Error> {
        let readings = std::mem::take(&mut self.readings);
        for reading in &readings {
            self.command_changes += u64::from(self.command.is_some_and(|command| command != reading.command));
            self.command = Some(reading.command);
        }
        let mut remaining = readings.as_slice();
        self.rested = self.rested.or(readings.first().map(|reading| reading.feedback));
        while !remaining.is_empty() {
            // The clock is set at the first reading alone.
            let until = if self.clock_reading.is_some() { 1 } else { self.jobs.until_change(remaining) };
            let part = &remaining[..until];
            let count = match self.recorder {
                Some(_) => self.record_samples(part),
                None => self.axis.run_capturing(part, &mut self.stop),
            };
            let (measured, others) = remaining.split_at(count);
            remaining = others;
            if let Some(second) = self.clock_reading.take() {
                self.context.clock.set(self.axis.now(), second);
            }
            measured.last().into_iter().for_each(|last| self.jobs.measured(*last, self.axis.now()));
            self.signals.watch(measured);
            self.raw.add(measured);
            // A rest ends with the reading before the one that shows it.
            let before = measured.iter().rev().nth(1).copied().or(self.last);
            self.report_moves(before, out)?;
            self.last = measured.last().copied();
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
            self.stop.step(status.moving, reading.tick, self.axis.error());
            let now = self.context.clock.second(self.axis.now());
            let has_gap = std::mem::take(&mut self.has_gap);
            if status.event {
                return count;
            }
            if self.axis.is_under_way() && !was_under_way {
                self.begin_recording(before);
            } else if !self.axis.is_undecided() {
                self.undecided = None;
            }
            if let (true, Some(recorder)) = (has_gap, &mut self.recorder) {
                recorder.gap(before, now);
            }
            let error = self.context.length(self.axis.error());
            let effort = self.efforts.of(reading.tick);
            let place = self.pictures.has_strips().then(|| self.place(*reading));
            if let Some(recorder) = &mut self.recorder {
                let is_shown = recorder.push(now, error, status.moving, status.position == Position::Outside);
                if let (true, Some(place)) = (is_shown, place) {
                    recorder.motion.push(now, place, effort);
                }
            }
        }
        readings.len()
    }

    /// Where the axis is told to be and where it is.
    fn place(&self, reading: Reading) -> Place {
        let (upper, lower) = self.context.settings.command_scale;
        let command = f64::from(reading.command) * f64::from(upper) / f64::from(lower);
        Place {
            command: self.context.length(command),
            feedback: self.context.length(f64::from(reading.feedback)),
        }
    }

    /// The command starts; the stop before may yet go on, if that was a late pulse. Unit: s
    fn begin_recording(&mut self, second: f64) {
        if self.axis.is_undecided() {
            self.undecided = self.recorder.clone();
        } else {
            self.recorder = Some(StopRecorder::new(second));
        }
    }

    /// Reports finished moves; `before` is the last reading of their rest.
    fn report_moves(
        &mut self,
        before: Option<Reading>,
        out: &mut impl FnMut(Measured) -> Result<(), Error>,
    ) -> Result<(), Error> {
        while let Some(event) = self.axis.event() {
            let Event::Move(record) = event else { continue };
            let record = self.signals.findings(record);
            let verdict = self.compare(&record, before);
            let has_curve = !record.reasons.has(Reasons::TURN);
            let curve = self.axis.curve().filter(|_| has_curve);
            let curve = curve.map(|point| self.signals.point(point));
            let job = self.jobs.of(record.start);
            let report = MoveReport { job, ..MoveReport::new(&self.context, &record, curve) };
            let ringing = self.ringing(&record);
            let report = report.with_ringing(ringing).with_two_modes(self.two_modes(&record, ringing));
            let undecided = self.undecided.take();
            let recorder = undecided.as_ref().or(self.recorder.as_ref());
            let fine = recorder.map(|recorder| recorder.envelope().curve(&report)).unwrap_or_default();
            let samples = recorder.map(|recorder| self.samples(recorder, &report)).unwrap_or_default();
            self.moves += 1;
            self.withheld.push(Measured { report, samples, curve: fine });
            if verdict == Verdict::Open && self.likeness.is_full() {
                self.follows()?;
            }
            if verdict == Verdict::Alike || self.likeness.is_full() {
                self.withheld.drain(..).try_for_each(&mut *out)?;
            }
            if let Some(recorder) = &mut self.recorder {
                *recorder = StopRecorder::new(self.context.clock.second(self.axis.now()));
            }
        }
        Ok(())
    }

    /// What a picture of a move shows.
    fn samples(&self, recorder: &StopRecorder, report: &MoveReport) -> StopTrace {
        let shown = Shown {
            command_end_s: report.command_end_s,
            sample_period_s: self.context.seconds(self.sample_period),
            encoder_step: self.context.length(f64::from(self.context.settings.encoder_step)),
            peak_speed: report.peak_speed,
            unit: &report.unit,
            effort: &self.effort,
        };
        StopTrace {
            strips: recorder.motion.strips(self.pictures, shown),
            ..StopTrace::from_clock(recorder.points(), recorder.gaps(), report.command_end_s)
        }
    }

    /// Looks for ringing in the stop of a move, as a monitor does.
    fn ringing(&mut self, record: &Record) -> StopRinging {
        if !record.outcome.is_whole() {
            return StopRinging::Unknown;
        }
        let Some(capture) = self.stop.of(record.command_end) else { return StopRinging::NotEvaluated };
        self.fit.start(capture, self.context.settings.ticks_per_second);
        self.fit.finish().map_or(StopRinging::Unknown, StopRinging::Evaluated)
    }

    /// Looks for two oscillations in all samples of the stop of a move, where one is stated or may hide two.
    fn two_modes(&self, record: &Record, ringing: StopRinging) -> Option<TwoModes> {
        let may_hide_two = match ringing {
            StopRinging::Evaluated(Answer::Ringing(_)) => true,
            StopRinging::Evaluated(Answer::Refused(why)) => HIDE_TWO.contains(&why),
            _ => false,
        };
        let capture = self.stop.of(record.command_end).filter(|_| may_hide_two)?;
        let Samples { errors, period } = self.raw.of(capture.first())?;
        let settings = &self.context.settings;
        let period_s = period / f64::from(settings.ticks_per_second);
        two_modes(&errors, period_s, f64::from(settings.encoder_step)).ok()
    }

    /// Compares the travel of feedback, from the rest before to `end`, with that of the command.
    fn compare(&mut self, record: &Record, end: Option<Reading>) -> Verdict {
        let end = end.map(|reading| reading.feedback);
        let travel = end.zip(self.rested).map_or(0, |(end, start)| end.wrapping_sub(start));
        self.rested = end.or(self.rested);
        self.likeness.push(record, travel, self.context.settings.window)
    }

    /// Refuses a recording whose feedback never follows the command.
    fn follows(&mut self) -> Result<(), Error> {
        let AxisContext { unit, .. } = &self.context;
        let length = |counts: f64| format!("{} {unit}", number::plain(self.context.length(counts)));
        let Some(objection) = self.likeness.objection(length) else { return Ok(()) };
        self.withheld.clear();
        let (column, line) = &self.feedback;
        Err(Error::Recording {
            file: self.context.file.clone(),
            line: *line,
            wrong: format!("column '{column}': {objection}"),
            remedy: "give --feedback COL; if this is the following error, give it as --following-error COL; if its \
                     unit is another one, see the scales in --help"
                .to_owned(),
        })
    }

    /// What a person should know about the recording as a whole.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        let AxisContext { window, unit, settings, .. } = &self.context;
        let small = self.axis.small();
        let [times, changes] = ["time", "command change"].map(|what| number::count(small, what));
        if settings.window == 0 {
            notes.push(format!("the window of {window} {unit} is less than one count: are the units right?"));
        }
        if self.command_changes == 0 {
            notes.push(
                "the command never moves, so there is no move to measure: is it the right column? If it stepped before the first row, give --from P, where it stood".to_owned(),
            );
        } else if self.moves == 0 && small > 0 {
            notes.push(format!(
                "the command moves {times}, but never further than the window of {window} {unit}: are the units right?"
            ));
        } else if self.moves == 0 {
            let noisy =
                if self.signals.is_quiet() { "" } else { "; if it is noisy, give --command-dead-band X" };
            notes.push(format!(
                "the command never comes to rest, so no move ends and nothing can settle{noisy}"
            ));
        } else if small > 0 {
            notes.push(format!("within the window of {window} {unit}, and so no moves: {changes}"));
        }
        notes.extend(self.signals.notes(&self.context));
        notes.extend(self.likeness.note());
        let turning_points = self.axis.turning_points();
        if turning_points > 0 && self.moves > 0 {
            notes.push(format!(
                "{} could not be told from turning points of the command",
                number::count(turning_points, "stop")
            ));
        }
        if self.ends_in_a_move && self.moves > 0 {
            notes.push("the recording ends before its last move does; that move is left out".to_owned());
        }
        notes
    }
}
