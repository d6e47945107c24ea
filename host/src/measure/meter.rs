//! In: rows of one recording. Out: the reports of its moves, each with its samples if they are to be drawn.

use stillpoint_core::{Axis, Event, Outcome, Position, Reading, Reasons, Record, Turn};

use super::likeness::{Likeness, Verdict};
use super::options::{MeasureOptions, Wrap};
use super::quiet::Quiet;
use super::stop_recorder::StopRecorder;
use super::turn_jumps::{self, TurnJumps};
use crate::error::Error;
use crate::plot::StopTrace;
use crate::report::axis_context::AxisContext;
use crate::report::clock::Clock;
use crate::report::move_report::MoveReport;
use crate::report::number;
use crate::trace::{Layout, Row};

/// 0.975 quantile of the normal distribution.
const NORMAL: f64 = 1.96;

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
    /// Name of the feedback column, and line of the first reading.
    feedback: (String, u64),
    turn: Turn,
    quiet: Quiet,
    /// Noise of the command. Unit: feedback counts
    command_rms: f64,
    /// `None` where the user knows whether positions wrap.
    turn_jumps: Option<TurnJumps>,
    /// Moves with a jump by close to a turn.
    turns: u64,
    first_tick: u32,
    axis: Axis,
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
    moves: u64,
    command_changes: u64,
    command: Option<i32>,
    ends_in_a_move: bool,
    /// Where the command stood before the first reading, until that comes. Unit: command counts
    command_before: Option<i32>,
    /// Unit: ticks
    sample_period: u32,
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
        let settings = context.settings;
        let unit_turn = turn_jumps::turn(&layout.unit).map(|turn| turn * context.counts_per_unit);
        Ok(Meter {
            feedback: (layout.columns.2.clone(), 0),
            turn: Turn::new(&settings),
            quiet: Quiet::new(options.dead_band(layout), settings.rest_time),
            command_rms: options.command_rms(layout),
            turns: 0,
            first_tick: 0,
            turn_jumps: (options.wrap == Wrap::Unknown).then(|| TurnJumps::new(unit_turn)),
            axis: Axis::new(settings),
            likeness: Likeness::default(),
            withheld: Vec::new(),
            last: None,
            rested: None,
            context,
            clock_reading: None,
            readings: Vec::new(),
            recorder: pictures.then(|| StopRecorder::new(layout.origin_s)),
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
                    if self.feedback.1 == 0 {
                        self.feedback.1 = *line;
                    }
                    self.stand_before(*reading);
                    self.quiet.push(self.turn.unwrap(*reading), &mut self.readings);
                }
                Row::Gap { .. } => {
                    self.quiet.flush(&mut self.readings);
                    self.measure_readings(out)?;
                    self.axis.gap();
                }
                Row::Clock { second, .. } => {
                    self.quiet.flush(&mut self.readings);
                    self.measure_readings(out)?;
                    self.clock_reading = Some(*second);
                }
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
            self.quiet.push(self.turn.unwrap(reading), &mut self.readings);
        }
        if let Some(second) = self.clock_reading.take() {
            let ticks_per_second = f64::from(self.context.settings.ticks_per_second);
            self.context.clock.set(0, second - f64::from(early) / ticks_per_second);
        }
    }

    /// The recording is over.
    pub fn finish(&mut self, out: &mut impl FnMut(Measured) -> Result<(), Error>) -> Result<(), Error> {
        self.quiet.flush(&mut self.readings);
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
        if let (None, Some(first)) = (self.last, readings.first()) {
            self.first_tick = first.tick;
        }
        self.rested = self.rested.or(readings.first().map(|reading| reading.feedback));
        while !remaining.is_empty() {
            // The clock is set at the first reading alone.
            let part = if self.clock_reading.is_some() { &remaining[..1] } else { remaining };
            let count = match self.recorder {
                Some(_) => self.record_samples(part),
                None => self.axis.run(part),
            };
            let (measured, others) = remaining.split_at(count);
            remaining = others;
            if let Some(second) = self.clock_reading.take() {
                self.context.clock.set(self.axis.now(), second);
            }
            if let Some(jumps) = &mut self.turn_jumps {
                measured.iter().for_each(|reading| jumps.push(*reading));
            }
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

    /// Reports finished moves; `before` is the last reading of their rest.
    fn report_moves(
        &mut self,
        before: Option<Reading>,
        out: &mut impl FnMut(Measured) -> Result<(), Error>,
    ) -> Result<(), Error> {
        while let Some(event) = self.axis.event() {
            let Event::Move(record) = event else { continue };
            let record = self.with_findings(record);
            let verdict = self.compare(&record, before);
            let has_curve = !record.reasons.has(Reasons::TURN);
            let curve = self.axis.curve().filter(|_| has_curve);
            let report = MoveReport::new(&self.context, &record, curve);
            let points = self.recorder.as_ref().map(StopRecorder::points).unwrap_or_default();
            let samples = StopTrace::from_clock(points, report.command_end_s);
            self.moves += 1;
            self.withheld.push(Measured { report, samples });
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

    /// The record with what was found before the core.
    fn with_findings(&mut self, record: Record) -> Record {
        let record = if self.quiet.is_active() { self.with_noise(record) } else { record };
        if !self.turn_jumps.as_mut().is_some_and(TurnJumps::has_jumped) {
            return record;
        }
        self.turns += 1;
        Record {
            outcome: Outcome::Untrusted,
            reasons: record.reasons.with(Reasons::TURN),
            settling: None,
            settling_u: 0,
            settling_95: 0,
            settling_wider: None,
            settling_narrower: None,
            first_entry: None,
            confirmation: None,
            stabilization: None,
            ..record
        }
    }

    /// The record of a noisy command: its end lies in an interval, and its target is a mean.
    fn with_noise(&self, record: Record) -> Record {
        let reasons = record.reasons.with(Reasons::DEAD_BAND);
        let tick = self.first_tick.wrapping_add(record.command_end as u32);
        let Some(arrived) = self.quiet.arrived(tick) else { return Record { reasons, ..record } };
        let half_width = f64::from(arrived.half_width);
        let target = self.target_half_width(&record, arrived.averaged);
        let added = |own: u32, parts: [f64; 2], share: f64| {
            let parts = parts.map(|part| part / share);
            f64::from(own).hypot(parts[0]).hypot(parts[1]).round() as u32
        };
        // A settling time of 0 says that feedback was inside all the time.
        let is_timed = record.settling.is_some_and(|settling| settling > 0);
        Record {
            reasons,
            command_end_u: added(record.command_end_u, [half_width, 0.0], NORMAL),
            settling_u: if is_timed { added(record.settling_u, [half_width, target], NORMAL) } else { 0 },
            settling_95: if is_timed { added(record.settling_95, [half_width, target], 1.0) } else { 0 },
            ..record
        }
    }

    /// What the noise of the target makes of the settling time, by its slope over the window. Unit: ticks
    fn target_half_width(&self, record: &Record, averaged: u32) -> f64 {
        let times = record.settling_narrower.zip(record.settling_wider);
        let span = times.map_or(0.0, |(narrower, wider)| (f64::from(narrower) - f64::from(wider)).abs());
        // The two windows differ by a tenth of the window.
        let slope = span / (0.1 * f64::from(self.context.settings.window.max(1)));
        NORMAL * self.command_rms / f64::from(averaged.max(1)).sqrt() * slope
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

    /// How the noise of the command is dealt with.
    fn quiet_note(&self) -> String {
        let AxisContext { unit, settings, .. } = &self.context;
        let (upper, lower) = settings.command_scale;
        let scale = f64::from(upper).abs() / f64::from(lower);
        let length = |counts: f64| format!("{} {unit}", number::plain(self.context.length(counts)));
        format!(
            "the command is noisy, {} rms: it stands while within {} of its mean; --command-dead-band sets another width, 0 none",
            length(self.command_rms),
            length(self.quiet.dead_band() * scale),
        )
    }

    /// What to type where positions jump by close to a turn.
    fn turn_note(&self) -> String {
        let turn = turn_jumps::turn(&self.context.unit).map_or("TURN".to_owned(), |turn| turn.to_string());
        let moves = if self.turns == 1 { "1 move".to_owned() } else { format!("{} moves", self.turns) };
        format!(
            "a position jumps by close to a whole turn in {moves}: if it begins anew there, give --wrap {turn}; if it really moved that far, --wrap 0"
        )
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
                "the command never moves, so there is no move to measure: is it the right column? If it stepped before the first row, give --from P, where it stood".to_owned(),
            );
        } else if self.moves == 0 && small > 0 {
            notes.push(format!(
                "the command moves {small} times, but never further than the window of {window} {unit}: are the units right?"
            ));
        } else if self.moves == 0 {
            let noisy =
                if self.quiet.is_active() { "" } else { "; if it is noisy, give --command-dead-band X" };
            notes.push(format!(
                "the command never comes to rest, so no move ends and nothing can settle{noisy}"
            ));
        } else if small > 0 {
            notes.push(format!("{small} command changes within the window of {window} {unit} are no moves"));
        }
        if self.quiet.is_active() {
            notes.push(self.quiet_note());
        }
        if self.turns > 0 {
            notes.push(self.turn_note());
        }
        if self.moves > 0 && self.likeness.is_unlike() {
            notes.push(
                "in no move does feedback travel as far as the command: are column and unit right?"
                    .to_owned(),
            );
        }
        let turning_points = self.axis.turning_points();
        if turning_points > 0 && self.moves > 0 {
            notes
                .push(format!("{turning_points} stops could not be told from turning points of the command"));
        }
        if self.ends_in_a_move && self.moves > 0 {
            notes.push("the recording ends before its last move does; that move is left out".to_owned());
        }
        notes
    }
}
