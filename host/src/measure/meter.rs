//! In: rows of one recording. Out: its moves as lines, each with its samples if they are to be drawn.

use stillpoint_core::{Axis, Event, Position, Reading};

use super::ask::Ask;
use super::clock::Clock;
use super::line::Scale;
use super::picture::Picture;
use crate::error::Error;
use crate::plot::Stretch;
use crate::report::line::MoveLine;
use crate::trace::{Layout, Row};

/// One move of a recording.
#[derive(Clone, Debug)]
pub struct Measured {
    /// Its numbers.
    pub line: MoveLine,
    /// Its samples, if they were kept.
    pub stretch: Stretch,
}

/// One axis being measured.
pub struct Meter {
    axis: Axis,
    scale: Scale,
    clock: Clock,
    /// A mark of the recording's clock that belongs to the next reading. Unit: s
    mark: Option<f64>,
    /// Readings that wait to be taken together.
    readings: Vec<Reading>,
    picture: Option<Picture>,
    moves: u64,
    changes: u64,
    command: Option<i32>,
    under_way: bool,
}

impl Meter {
    /// `names`: of the file and of the axis. `pictures` keeps samples.
    pub fn new(layout: &Layout, names: (&str, &str), ask: &Ask, pictures: bool) -> Result<Meter, Error> {
        let scale = Scale {
            file: names.0.to_owned(),
            axis: names.1.to_owned(),
            unit: layout.unit.clone(),
            window: ask.window.to_f64(),
            counts_per_unit: layout.counts_per_unit.to_f64(),
            ticks_per_second: f64::from(layout.ticks_per_second),
        };
        Ok(Meter {
            axis: Axis::new(ask.settings(layout)?),
            scale,
            clock: Clock::new(layout.ticks_per_second, layout.origin_s),
            mark: None,
            readings: Vec::new(),
            picture: pictures.then(|| Picture::new(layout.origin_s)),
            moves: 0,
            changes: 0,
            command: None,
            under_way: false,
        })
    }

    /// Takes rows in their order; every move goes out as soon as its rest is over.
    pub fn take(
        &mut self,
        rows: &[Row],
        out: &mut impl FnMut(Measured) -> Result<(), Error>,
    ) -> Result<(), Error> {
        for row in rows {
            match row {
                Row::Reading { reading, .. } => {
                    self.readings.push(*reading);
                    if self.mark.is_some() {
                        self.take_readings(out)?;
                    }
                }
                Row::Gap { .. } => {
                    self.take_readings(out)?;
                    self.axis.gap();
                }
                Row::Clock { second, .. } => {
                    self.take_readings(out)?;
                    self.mark = Some(*second);
                }
            }
        }
        self.take_readings(out)
    }

    /// The recording is over.
    pub fn finish(&mut self, out: &mut impl FnMut(Measured) -> Result<(), Error>) -> Result<(), Error> {
        self.under_way = self.axis.finish();
        self.tell(out)
    }

    fn take_readings(&mut self, out: &mut impl FnMut(Measured) -> Result<(), Error>) -> Result<(), Error> {
        let readings = std::mem::take(&mut self.readings);
        for reading in &readings {
            self.changes += u64::from(self.command.is_some_and(|command| command != reading.command));
            self.command = Some(reading.command);
        }
        let mut left = readings.as_slice();
        while !left.is_empty() {
            let taken = if self.picture.is_some() { self.draw(left) } else { self.axis.run(left) };
            left = left.get(taken..).unwrap_or_default();
            if let Some(second) = self.mark.take() {
                self.clock.set(self.axis.now(), second);
            }
            self.tell(out)?;
        }
        // The room is kept for the next block.
        self.readings = readings;
        self.readings.clear();
        Ok(())
    }

    /// Steps through readings, keeping their errors, up to the first at which something happened.
    fn draw(&mut self, readings: &[Reading]) -> usize {
        let mut taken = 0;
        for reading in readings {
            let was_under_way = self.axis.is_under_way();
            let before = self.clock.second(self.axis.now());
            let status = self.axis.step(*reading);
            taken += 1;
            let under_way = self.axis.is_under_way();
            let now = self.clock.second(self.axis.now());
            let error = self.scale.length(self.axis.error());
            if under_way && !was_under_way && !status.event {
                self.picture = Some(Picture::new(before));
            }
            if status.event {
                return taken;
            }
            if let Some(picture) = &mut self.picture {
                picture.take(now, error, status.moving, status.position == Position::Outside);
            }
        }
        taken
    }

    fn tell(&mut self, out: &mut impl FnMut(Measured) -> Result<(), Error>) -> Result<(), Error> {
        while let Some(event) = self.axis.event() {
            let Event::Move(record) = event else { continue };
            let line = self.scale.line(self.axis.settings(), &self.clock, &record, self.axis.curve());
            let points = self.picture.as_ref().map(Picture::points).unwrap_or_default();
            let stretch = Stretch::from_clock(points, line.command_end_s);
            self.moves += 1;
            out(Measured { line, stretch })?;
            if let Some(picture) = &mut self.picture {
                *picture = Picture::new(self.clock.second(self.axis.now()));
            }
        }
        Ok(())
    }

    /// What a person should know about the recording as a whole.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        let (small, window, unit) = (self.axis.small(), self.scale.window, &self.scale.unit);
        if self.axis.settings().window == 0 {
            notes.push(format!("the window of {window} {unit} is less than one count: are the units right?"));
        }
        if self.changes == 0 {
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
        if self.under_way && self.moves > 0 {
            notes.push("the recording ends before its last move does; that move is left out".to_owned());
        }
        notes
    }
}
