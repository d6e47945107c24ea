//! In: a recording with an effort column. Out: its position and effort, in stretches without a gap and equally spaced.

use std::collections::HashMap;

use stillpoint_core::Reading;

use crate::analysis::identify::Stretch;
use crate::error::Error;
use crate::report::number;
use crate::trace::ratio::Ratio;
use crate::trace::{Row, Trace};

/// A row with its effort.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Moment {
    /// Unit: s
    second: f64,
    /// Unit: unit
    position: f64,
    effort: f64,
}

/// Position and effort of a recording.
#[derive(Clone, Debug)]
pub struct MovesWithEffort {
    /// Stretches without a gap.
    pieces: Vec<Vec<Moment>>,
    /// Unit of position.
    pub unit: String,
    /// Median time between rows. Unit: s
    pub period_s: f64,
    /// What a person should know, one sentence each.
    pub notes: Vec<String>,
}

/// A step between rows may differ from the period by this share of it before the rows are interpolated.
const UNEVEN: f64 = 0.01;

impl MovesWithEffort {
    /// Reads the recording to its end; `scale` multiplies the effort.
    pub fn read(mut trace: Trace, scale: Option<Ratio>) -> Result<MovesWithEffort, Error> {
        let counts = trace.layout().counts_per_unit;
        let mut pieces = Pieces {
            scale: scale.map_or(1.0, Ratio::to_f64),
            ticks_per_second: f64::from(trace.layout().ticks_per_second),
            counts_per_unit: counts.numerator() as f64 / counts.denominator() as f64,
            pieces: vec![Vec::new()],
            ..Pieces::default()
        };
        let mut rows = Vec::new();
        while trace.next_block(&mut rows)? {
            rows.iter().for_each(|row| pieces.push(row));
        }
        let mut notes = trace.layout().notes.clone();
        notes.extend(trace.faults().to_string().lines().map(str::to_owned));
        if pieces.without > 0 {
            notes.push(format!("{} without effort left out as gaps", number::count(pieces.without, "row")));
        }
        let (unit, period_s) = (trace.layout().unit.clone(), trace.layout().sample_period_s);
        Ok(MovesWithEffort { pieces: pieces.pieces, unit, period_s, notes })
    }

    /// The stretches, with this time between two rows. Unit: s
    pub fn stretches(&self, period: f64) -> impl Iterator<Item = Stretch> {
        self.pieces.iter().filter(|piece| piece.len() > 1).map(move |piece| even(piece, period))
    }
}

/// Joins each reading with its effort.
#[derive(Default)]
struct Pieces {
    scale: f64,
    ticks_per_second: f64,
    counts_per_unit: f64,
    /// Efforts whose reading has not come yet, by line.
    efforts: HashMap<u64, f64>,
    pieces: Vec<Vec<Moment>>,
    /// Rows without an effort.
    without: u64,
    last: Option<Reading>,
    /// Unit: counts
    position: i64,
    /// Unit: s
    second: f64,
}

impl Pieces {
    fn push(&mut self, row: &Row) {
        match row {
            Row::Effort { line, effort } => drop(self.efforts.insert(*line, *effort)),
            Row::Reading { line, reading } => {
                self.follow(*reading);
                let Some(effort) = self.efforts.remove(line) else {
                    self.without += 1;
                    return self.pieces.push(Vec::new());
                };
                let position = self.position as f64 / self.counts_per_unit;
                let moment = Moment { second: self.second, position, effort: effort * self.scale };
                self.pieces.last_mut().into_iter().for_each(|piece| piece.push(moment));
            }
            Row::Gap { .. } | Row::Clock { .. } => self.pieces.push(Vec::new()),
            Row::Job { .. } => {}
        }
    }

    /// Ticks and positions may wrap.
    fn follow(&mut self, reading: Reading) {
        if let Some(Reading { tick, feedback, .. }) = self.last.replace(reading) {
            self.position += i64::from(reading.feedback.wrapping_sub(feedback));
            self.second += f64::from(reading.tick.wrapping_sub(tick)) / self.ticks_per_second;
        }
    }
}

/// The same rows; where their steps vary, straight lines between them at equal steps.
fn even(piece: &[Moment], period: f64) -> Stretch {
    let is_even = piece.windows(2).all(|pair| {
        let step = pair[1].second - pair[0].second;
        (step - period).abs() <= UNEVEN * period
    });
    let mut stretch = Stretch::default();
    let mut push = |moment: Moment| {
        stretch.position.push(moment.position);
        stretch.effort.push(moment.effort);
    };
    if is_even {
        piece.iter().for_each(|moment| push(*moment));
        return stretch;
    }
    let (first, last) = (piece[0].second, piece[piece.len() - 1].second);
    let mut at = 0;
    for row in 0..=((last - first) / period) as u64 {
        let second = first + row as f64 * period;
        while at + 2 < piece.len() && piece[at + 1].second <= second {
            at += 1;
        }
        let (before, after) = (piece[at], piece[at + 1]);
        let step = after.second - before.second;
        let share = if step > 0.0 { ((second - before.second) / step).clamp(0.0, 1.0) } else { 0.0 };
        let between = |from: f64, to: f64| from + share * (to - from);
        push(Moment {
            second,
            position: between(before.position, after.position),
            effort: between(before.effort, after.effort),
        });
    }
    stretch
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::Choice;

    fn read(text: &str) -> MovesWithEffort {
        let (effort, unit) = (Some("force".into()), Some("mm".into()));
        let choice = Choice { effort, without_command: true, unit, ..Choice::default() };
        let bytes = std::io::Cursor::new(text.to_owned().into_bytes());
        let trace = Trace::from_reader("made up", bytes, &choice).expect("a recording");
        MovesWithEffort::read(trace, None).expect("its rows")
    }

    #[test]
    fn a_row_without_effort_is_a_gap_and_no_command_is_needed() {
        let line = |row: u32| match row {
            20 => "0.020,0.200,\n".to_owned(),
            row => format!("{:.3},{:.3},{}\n", f64::from(row) / 1000.0, f64::from(row) / 100.0, 5 + row),
        };
        let found = read(&format!("time_s,position_mm,force\n{}", (0..50).map(line).collect::<String>()));
        let stretches: Vec<Stretch> = found.stretches(found.period_s).collect();
        let lengths: Vec<usize> = stretches.iter().map(|stretch| stretch.effort.len()).collect();
        assert_eq!(lengths, [20, 29], "{:?}", found.notes);
        assert_eq!((stretches[1].effort[0], stretches[1].effort[28]), (26.0, 54.0));
        assert!((stretches[1].position[28] - 0.49).abs() < 1e-9);
        assert!(found.notes.iter().any(|note| note.starts_with("1 row without effort")), "{:?}", found.notes);
    }

    #[test]
    fn uneven_rows_are_interpolated() {
        let moment = |second: f64| Moment { second, position: 3.0 * second, effort: 1.0 - second };
        let stretch = even(&[0.0, 1.0, 1.5, 3.0, 4.0].map(moment), 1.0);
        assert_eq!(stretch.position, [0.0, 3.0, 6.0, 9.0, 12.0]);
        assert_eq!(stretch.effort, [1.0, 0.0, -1.0, -2.0, -3.0]);
    }
}
