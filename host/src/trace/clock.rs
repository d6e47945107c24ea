//! In: rows with their times. Out: readings with wrapping ticks; gaps where time does not simply go on.
//!
//! One row that goes back or far ahead is held until the next one tells a stray stamp (the next
//! goes on as before) from a clock that started again or rows that are missing (the next goes on
//! from there). So neither costs a good row.

use crate::trace::decimal::Decimal;
use crate::trace::pace::Pace;
use crate::trace::rows::{Fault, Row};
use stillpoint_core::Reading;

/// More than this many sample periods between two rows is a hole.
const HOLE: i64 = 10;

/// A row whose figures are good.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stamped {
    /// Line in the file.
    pub(crate) line: u64,
    /// Time from the recording's own zero. Unit: ticks
    pub(crate) at: i64,
    /// Unit: counts
    pub(crate) command: i32,
    /// Unit: counts
    pub(crate) feedback: i32,
}

/// Keeps the time of the row before.
#[derive(Clone, Debug)]
pub(crate) struct Clock {
    pace: Pace,
    period: i64,
    hole: i64,
    last: Option<i64>,
    /// What makes ticks of times. Unit: ticks
    shift: i64,
    suspect: Option<Stamped>,
}

impl Clock {
    /// A clock that waits for its first row.
    pub(crate) fn new(pace: Pace) -> Clock {
        let period = pace.period();
        Clock { pace, period, hole: period.saturating_mul(HOLE), last: None, shift: 0, suspect: None }
    }

    /// The time of the row that is number `index` among the rows, from 0; `None` if it does not fit.
    #[inline]
    pub(crate) fn time(&self, written: Decimal, index: i64) -> Option<i64> {
        match self.pace.per_row {
            // Half the range is left for differences.
            None => {
                written.scaled(self.pace.places).map(|(at, _)| at).filter(|at| at.unsigned_abs() < 1 << 62)
            }
            Some(per_row) => index.checked_mul(per_row),
        }
    }

    /// Takes a row.
    #[inline]
    pub(crate) fn step(&mut self, row: Stamped, out: &mut Vec<Row>) {
        match self.last {
            Some(last) if self.suspect.is_none() && row.at > last && row.at - last <= self.hole => {
                self.read(row, out);
            }
            _ => self.judge(row, out),
        }
    }

    /// No more rows come.
    pub(crate) fn finish(&mut self, out: &mut Vec<Row>) {
        if let (Some(suspect), Some(last)) = (self.suspect.take(), self.last) {
            if suspect.at > last { self.accept(suspect, last, out) } else { self.stray(suspect, last, out) }
        }
    }

    #[inline]
    fn read(&mut self, row: Stamped, out: &mut Vec<Row>) {
        self.last = Some(row.at);
        let tick = self.tick(row.at);
        out.push(Row::Reading {
            line: row.line,
            reading: Reading { tick, command: row.command, feedback: row.feedback },
        });
    }

    #[inline]
    fn tick(&self, at: i64) -> u32 {
        at.wrapping_add(self.shift) as u32
    }

    /// The row does not simply follow, or the one before did not.
    #[cold]
    fn judge(&mut self, row: Stamped, out: &mut Vec<Row>) {
        let Some(last) = self.last else {
            self.anchor(row, 0, out);
            return self.read(row, out);
        };
        if let Some(suspect) = self.suspect.take() {
            let ahead = suspect.at > last;
            // After a stamp that went back, a row that follows on the last good one shows it was stray.
            let as_before = row.at > last && (!ahead || row.at <= suspect.at);
            if row.at > suspect.at && !as_before {
                self.accept(suspect, last, out);
            } else {
                self.stray(suspect, last, out);
            }
        }
        let last = self.last.unwrap_or(last);
        if row.at > last && row.at - last <= self.hole {
            self.read(row, out);
        } else if row.at == last {
            self.stray(row, last, out);
        } else {
            self.suspect = Some(row);
        }
    }

    /// The row is good, but something is missing before it.
    fn accept(&mut self, row: Stamped, last: i64, out: &mut Vec<Row>) {
        let (second, after) = (self.second(row.at), self.second(last));
        if row.at > last {
            out.push(Row::Gap { line: row.line, fault: Fault::Hole { seconds: self.second(row.at - last) } });
        } else {
            out.push(Row::Gap { line: row.line, fault: Fault::Restart { second, after } });
        }
        // Ticks differ by less than half their range, or they would seem to go back.
        if row.at <= last || row.at - last >= 1 << 31 {
            let tick = self.tick(last).wrapping_add(self.period as u32);
            self.anchor(row, tick, out);
        }
        self.read(row, out);
    }

    fn stray(&self, row: Stamped, last: i64, out: &mut Vec<Row>) {
        let (second, after) = (self.second(row.at), self.second(last));
        out.push(Row::Gap { line: row.line, fault: Fault::Stamp { second, after } });
    }

    fn anchor(&mut self, row: Stamped, tick: u32, out: &mut Vec<Row>) {
        self.shift = i64::from(tick) - row.at;
        out.push(Row::Clock { line: row.line, tick, second: self.second(row.at) });
    }

    fn second(&self, ticks: i64) -> f64 {
        ticks as f64 / f64::from(self.pace.ticks_per_second)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `t` reading at tick, `h` hole, `r` restart, `s` stray stamp, `c` clock mark at tick.
    fn run(times: &[i64]) -> String {
        let pace = Pace { ticks_per_second: 1000, places: 3, per_row: None, period_s: 0.001 };
        let (mut clock, mut out) = (Clock::new(pace), Vec::new());
        for (&at, line) in times.iter().zip(1..) {
            clock.step(Stamped { line, at, command: 0, feedback: 0 }, &mut out);
        }
        clock.finish(&mut out);
        let words = out.iter().map(|row| match row {
            Row::Reading { line, reading } => format!("{line}t{}", reading.tick),
            Row::Gap { line, fault: Fault::Hole { .. } } => format!("{line}h"),
            Row::Gap { line, fault: Fault::Restart { .. } } => format!("{line}r"),
            Row::Gap { line, .. } => format!("{line}s"),
            Row::Clock { line, tick, second } => format!("{line}c{tick}={second}"),
        });
        words.collect::<Vec<_>>().join(" ")
    }

    #[track_caller]
    fn check(times: &[i64], expected: &str) {
        assert_eq!(run(times), expected, "{times:?}");
    }

    #[test]
    fn time_goes_on() {
        check(&[], "");
        check(&[500, 501, 503, 513], "1c0=0.5 1t0 2t1 3t3 4t13");
        check(&[-2, -1, 0], "1c0=-0.002 1t0 2t1 3t2");
    }

    #[test]
    fn stray_stamps_cost_only_their_own_row() {
        check(&[0, 1, 1, 2], "1c0=0 1t0 2t1 3s 4t2");
        check(&[0, 1, -5, 2, 3], "1c0=0 1t0 2t1 3s 4t2 5t3");
        check(&[0, 1, 900, 2, 3], "1c0=0 1t0 2t1 3s 4t2 5t3");
        check(&[0, 1, 900, -7, 2], "1c0=0 1t0 2t1 3s 4s 5t2");
        check(&[0, 1, -5], "1c0=0 1t0 2t1 3s");
        check(&[0, 1, -5, -5, -6, 2], "1c0=0 1t0 2t1 3s 4s 5s 6t2");
    }

    #[test]
    fn holes_and_restarts_keep_every_row() {
        check(&[0, 1, 100, 101], "1c0=0 1t0 2t1 3h 3t100 4t101");
        check(&[0, 1, 100], "1c0=0 1t0 2t1 3h 3t100");
        check(&[0, 100, 200, 300], "1c0=0 1t0 2h 2t100 3h 3t200 4h 4t300");
        check(&[7, 8, 9, 0, 1, 2], "1c0=0.007 1t0 2t1 3t2 4r 4c3=0 4t3 5t4 6t5");
        check(&[900, 0, 1, 2], "1c0=0.9 1t0 2r 2c1=0 2t1 3t2 4t3");
        let day = 1 << 33;
        check(&[0, 1, day, day + 1], "1c0=0 1t0 2t1 3h 3c2=8589934.592 3t2 4t3");
    }
}
