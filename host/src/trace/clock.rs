//! In: rows with their times. Out: readings with wrapping ticks; gaps where time does not continue.
//!
//! A row whose time goes back or far ahead is held until the next row. If the next row continues the earlier times, the
//! held row has a stray time stamp. If it continues from the held row, the clock was restarted or rows are missing. So
//! neither case costs a good row.

use crate::trace::decimal::Decimal;
use crate::trace::rows::{Fault, Row};
use crate::trace::timebase::Timebase;
use stillpoint_core::Reading;

/// A row with valid numbers.
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

/// Converts times to ticks and finds gaps.
#[derive(Clone, Debug)]
pub(crate) struct Clock {
    timebase: Timebase,
    period: i64,
    /// Longest time between two rows that is no hole. Unit: ticks
    hole: i64,
    /// The same before the next row: longer by the rows that were dropped since the last one. Unit: ticks
    longest: i64,
    last: Option<i64>,
    /// Difference between ticks and times. Unit: ticks
    shift: i64,
    /// The held row.
    suspect: Option<Stamped>,
    /// Days since the first row, where times have no date. Unit: ticks
    days: i64,
}

impl Clock {
    /// A clock before its first row.
    pub(crate) fn new(timebase: Timebase) -> Clock {
        let (period, hole) = (timebase.period(), timebase.hole());
        Clock { timebase, period, hole, longest: hole, last: None, shift: 0, suspect: None, days: 0 }
    }

    /// The conversion of times.
    pub(crate) fn timebase(&self) -> &Timebase {
        &self.timebase
    }

    /// Time of the row with this index, from 0; `None` if it is out of range. Unit: ticks
    #[inline]
    pub(crate) fn time(&self, written: Decimal, index: i64) -> Option<i64> {
        match self.timebase.per_row {
            // Half the range, so that differences do not overflow.
            None => written
                .scaled(self.timebase.places)
                .map(|(at, _)| at)
                .filter(|at| at.unsigned_abs() < 1 << 62),
            Some(per_row) => index.checked_mul(per_row),
        }
    }

    /// Adds a row.
    #[inline]
    pub(crate) fn step(&mut self, mut row: Stamped, out: &mut Vec<Row>) {
        row.at += self.days;
        match self.last {
            Some(last) if self.suspect.is_none() && row.at > last && row.at - last <= self.longest => {
                self.emit(row, out);
            }
            _ => self.judge(row, out),
        }
    }

    /// Whether the row is the first one after midnight, by times without a date.
    fn is_midnight(&self, row: Stamped, last: i64) -> bool {
        let after = row.at - self.days;
        (0..=self.longest).contains(&after) && (1..=self.longest).contains(&(row.at + self.day() - last))
    }

    /// Unit: ticks
    fn day(&self) -> i64 {
        86_400 * i64::from(self.timebase.ticks_per_second)
    }

    /// A row was dropped; its gap is marked already.
    #[cold]
    pub(crate) fn drop_row(&mut self) {
        self.longest = self.longest.saturating_add(self.period);
    }

    /// Ends the rows: the held row is decided.
    pub(crate) fn finish(&mut self, out: &mut Vec<Row>) {
        if let (Some(suspect), Some(last)) = (self.suspect.take(), self.last) {
            if suspect.at > last { self.accept(suspect, last, out) } else { self.stray(suspect, last, out) }
        }
    }

    #[inline]
    fn emit(&mut self, row: Stamped, out: &mut Vec<Row>) {
        self.last = Some(row.at);
        self.longest = self.hole;
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

    /// The row does not continue the times, or a row is held.
    #[cold]
    fn judge(&mut self, row: Stamped, out: &mut Vec<Row>) {
        let Some(last) = self.last else {
            self.anchor(row, 0, out);
            return self.emit(row, out);
        };
        if let Some(suspect) = self.suspect.take() {
            let ahead = suspect.at > last;
            // If the held row went back and this row continues the last good one, the held row was stray.
            let continues = row.at > last && (!ahead || row.at <= suspect.at);
            if row.at > suspect.at && !continues {
                self.accept(suspect, last, out);
            } else {
                self.stray(suspect, last, out);
            }
        }
        let last = self.last.unwrap_or(last);
        if row.at > last && row.at - last <= self.longest {
            self.emit(row, out);
        } else if row.at == last {
            self.stray(row, last, out);
        } else if self.is_midnight(row, last) {
            self.days += self.day();
            self.emit(Stamped { at: row.at + self.day(), ..row }, out);
        } else {
            self.suspect = Some(row);
        }
    }

    /// Emits a good row after a hole or a restart.
    fn accept(&mut self, row: Stamped, last: i64, out: &mut Vec<Row>) {
        let (second, after) = (self.second(row.at), self.second(last));
        if row.at > last {
            out.push(Row::Gap { line: row.line, fault: Fault::Hole { seconds: self.second(row.at - last) } });
        } else {
            out.push(Row::Gap { line: row.line, fault: Fault::Restart { second, after } });
        }
        // A difference of half the range of ticks or more would look like a step back.
        if row.at <= last || row.at - last >= 1 << 31 {
            let tick = self.tick(last).wrapping_add(self.period as u32);
            self.anchor(row, tick, out);
        }
        self.emit(row, out);
    }

    fn stray(&mut self, row: Stamped, last: i64, out: &mut Vec<Row>) {
        self.drop_row();
        let (second, after) = (self.second(row.at), self.second(last));
        out.push(Row::Gap { line: row.line, fault: Fault::Stamp { second, after } });
    }

    fn anchor(&mut self, row: Stamped, tick: u32, out: &mut Vec<Row>) {
        self.shift = i64::from(tick) - row.at;
        out.push(Row::Clock { line: row.line, tick, second: self.second(row.at) });
    }

    fn second(&self, ticks: i64) -> f64 {
        ticks as f64 / f64::from(self.timebase.ticks_per_second)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `t` reading at tick, `h` hole, `r` restart, `s` stray stamp, `c` clock mark at tick.
    fn run(times: &[i64]) -> String {
        let timebase =
            Timebase { ticks_per_second: 1000, places: 3, per_row: None, period_s: 0.001, hole_s: 0.010 };
        let (mut clock, mut out) = (Clock::new(timebase), Vec::new());
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
            Row::Job { line, .. } | Row::Effort { line, .. } => {
                unreachable!("a clock knows neither, line {line}")
            }
        });
        words.collect::<Vec<_>>().join(" ")
    }

    #[track_caller]
    fn check(times: &[i64], expected: &str) {
        assert_eq!(run(times), expected, "{times:?}");
    }

    #[test]
    fn time_continues() {
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
        check(&[0, 1, 1, 12, 13], "1c0=0 1t0 2t1 3s 4t12 5t13");
        check(&[0, 1, 1, 13, 14], "1c0=0 1t0 2t1 3s 4h 4t13 5t14");
        check(&[0, 1, -5, -5, -6, 2], "1c0=0 1t0 2t1 3s 4s 5s 6t2");
    }

    #[test]
    fn holes_and_restarts_keep_every_row() {
        check(&[0, 1, 100, 101], "1c0=0 1t0 2t1 3h 3t100 4t101");
        check(&[0, 1, 100], "1c0=0 1t0 2t1 3h 3t100");
        check(&[0, 100, 200, 300], "1c0=0 1t0 2h 2t100 3h 3t200 4h 4t300");
        check(&[7, 8, 9, 0, 1, 2], "1c0=0.007 1t0 2t1 3t2 4r 4c3=0 4t3 5t4 6t5");
        check(&[86_399_998, 86_399_999, 0, 1, 2], "1c0=86399.998 1t0 2t1 3t2 4t3 5t4");
        check(&[86_399_999, 86_300_000, 0], "1c0=86399.999 1t0 2s 3t1");
        check(&[86_390_000, 0, 1], "1c0=86390 1t0 2r 2c1=0 2t1 3t2");
        check(&[900, 0, 1, 2], "1c0=0.9 1t0 2r 2c1=0 2t1 3t2 4t3");
        let day = 1 << 33;
        check(&[0, 1, day, day + 1], "1c0=0 1t0 2t1 3h 3c2=8589934.592 3t2 4t3");
    }
}
