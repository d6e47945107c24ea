//! In: a stock of moves, a span, a seed, which axis wears. Out: the moves of each axis of a machine, with the job of each.
//!
//! The machine works two shifts a day on five days of seven, with breaks; it is cold each morning and cools in breaks; its air
//! has a daily temperature; jobs change the product; after three eighths of the work one axis begins to wear. Where the
//! tray shuttle wears, its belt is retensioned after three quarters of the work.

use stillpoint::source::rehearsal::transplanter::NAMES;
use stillpoint_core::Record;
use stillpoint_core::drift::{DriftConfig, DriftSettings};

use super::full::age;
use super::stock::{JOBS, Stock};
use crate::chance::Chance;
use crate::nuisance::calendar::{Calendar, DAY, HOUR, MINUTE};
use crate::nuisance::conditions::{Conditions, Nuisances, Slowdown, mixed};

/// What changes settling times while nothing is wrong.
const NUISANCES: Nuisances = Nuisances { daily: 0.05, warm_up: 900.0, jobs: JOBS, ..Nuisances::NONE };
/// Share of the work after which a slack belt is retensioned. Unit: 1
pub const RETENSIONED: f64 = 0.75;

/// How long a machine works, and how fast.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// From the first to the last day. Unit: days
    pub days: u32,
    /// Time from move to move over that of the rehearsal. Unit: 1
    pub pace: f64,
}

impl Span {
    /// Seven days, as fast as the rehearsal.
    pub const WEEK: Span = Span { days: 7, pace: 1.0 };
    /// 52 weeks, as fast as the rehearsal.
    pub const YEAR: Span = Span { days: 364, pace: 1.0 };

    const CALENDAR: Calendar = Calendar::Weeks;

    /// Time of work until an instant. Unit: s, s
    pub fn worked(self, at: f64) -> f64 {
        let minutes = (0..(at / MINUTE) as u64).map(|minute| minute as f64 * MINUTE);
        minutes.filter(|at| Span::CALENDAR.works(*at)).count() as f64 * MINUTE
    }

    /// When a part of its work is done. Unit: 1, s
    pub fn at(self, part: f64) -> f64 {
        let minutes = (0..).map(|minute| f64::from(minute) * MINUTE);
        let count = (part * self.hours() * HOUR / MINUTE).round() as usize;
        let mut working = minutes.filter(|at| Span::CALENDAR.works(*at));
        if count == 0 { 0.0 } else { working.nth(count - 1).map_or(self.ends(), |begin| begin + MINUTE) }
    }

    /// The default settings with the moves per hour of an axis.
    pub fn watch(self, stock: &Stock) -> DriftSettings {
        let moves_per_hour = (HOUR / (stock.period() * self.pace)) as u32;
        let config = DriftConfig::at(stock.known.settings.ticks_per_second);
        DriftSettings::new(DriftConfig { moves_per_hour, ..config }).expect("valid settings")
    }

    /// Unit: s
    fn ends(self) -> f64 {
        f64::from(self.days) * DAY
    }

    /// All of its work. Unit: h
    pub fn hours(self) -> f64 {
        self.worked(self.ends()) / HOUR
    }
}

/// What happens on an axis, by shares of the work.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fate {
    /// It doesn't wear.
    Sound,
    /// It wears from [`HEALTHY_PART`](stillpoint::source::rehearsal::machine::HEALTHY_PART) on.
    Wears,
    /// It wears, too, and is as new from [`RETENSIONED`] on.
    IsRetensioned,
}

impl Fate {
    /// The fate of an axis if it is the one that wears.
    pub fn worn(name: &str) -> Fate {
        if name == NAMES[0] { Fate::IsRetensioned } else { Fate::Wears }
    }

    /// How much of its wear an axis has behind it at a part of the work.
    fn age(self, part: f64) -> f64 {
        match self {
            Fate::Sound => 0.0,
            Fate::IsRetensioned if part >= RETENSIONED => 0.0,
            Fate::Wears | Fate::IsRetensioned => age(part),
        }
    }
}

/// A move and the job that it belongs to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worked {
    /// Number of the job, from 1.
    pub job: u32,
    /// The record of the core, with instants since the first reading.
    pub record: Record,
}

/// One axis at work.
pub struct AxisAtWork<'a> {
    stock: &'a Stock,
    span: Span,
    fate: Fate,
    conditions: Conditions,
    chance: Chance,
    ticks_per_second: f64,
    /// Begin of the next minute. Unit: s
    minute: f64,
    /// Minutes of work so far, and in all. Unit: min
    worked: (f64, f64),
    age: f64,
    slowdown: Slowdown,
    entry: usize,
    number: u32,
    /// Start of the next move. Unit: ticks
    now: u64,
}

impl<'a> AxisAtWork<'a> {
    /// Axes of one machine have the same seed.
    pub fn new(stock: &'a Stock, span: Span, seed: u64, fate: Fate) -> AxisAtWork<'a> {
        let name = stock.known.name.bytes();
        let own = name.fold(mixed(seed), |own, byte| mixed(own ^ u64::from(byte)));
        AxisAtWork {
            stock,
            span,
            fate,
            conditions: Conditions::new(NUISANCES, seed, own),
            chance: Chance::new(own),
            ticks_per_second: f64::from(stock.known.settings.ticks_per_second),
            minute: 0.0,
            worked: (0.0, span.hours() * 60.0),
            age: 0.0,
            slowdown: Slowdown::default(),
            entry: 0,
            number: 0,
            now: 0,
        }
    }

    fn at(&self) -> f64 {
        self.now as f64 / self.ticks_per_second
    }

    /// Goes on to the minute of the next move; minutes of a pause put it off.
    fn next_minute(&mut self) {
        while self.at() >= self.minute {
            if Span::CALENDAR.works(self.minute) {
                self.slowdown = self.conditions.work(self.minute);
                self.worked.0 += 1.0;
            } else {
                self.conditions.rest();
                self.now += (MINUTE * self.ticks_per_second) as u64;
            }
            self.minute += MINUTE;
        }
        self.age = self.fate.age(self.worked.0 / self.worked.1);
    }
}

/// Ends with the span.
impl Iterator for AxisAtWork<'_> {
    type Item = Worked;

    fn next(&mut self) -> Option<Worked> {
        self.next_minute();
        let job = self.conditions.job();
        let drawn = self.stock.draw(self.entry, self.age, job, self.slowdown, &mut self.chance);
        let lasts = (drawn.lasts as f64 * self.span.pace) as u64;
        let start = self.now;
        self.now += lasts;
        self.entry = (self.entry + 1) % self.stock.entries();
        self.number += 1;
        let record = Record {
            number: self.number,
            start,
            command_end: start + (drawn.record.command_end - drawn.record.start),
            held: drawn.record.held + lasts.saturating_sub(drawn.lasts),
            ..drawn.record
        };
        (self.at() < self.span.ends()).then_some(Worked { job, record })
    }
}

/// The moves of all axes of a machine in the order of their starts, each with the number of its axis; one axis wears, if any.
pub fn moves(
    stocks: &[Stock],
    span: Span,
    seed: u64,
    worn: Option<usize>,
) -> impl Iterator<Item = (usize, Worked)> + '_ {
    let mut axes: Vec<_> = stocks
        .iter()
        .enumerate()
        .map(|(axis, stock)| {
            let fate = if worn == Some(axis) { Fate::worn(stock.known.name) } else { Fate::Sound };
            AxisAtWork::new(stock, span, seed, fate).peekable()
        })
        .collect();
    std::iter::from_fn(move || {
        let starts = axes.iter_mut().enumerate();
        let starts = starts.filter_map(|(axis, moves)| Some((moves.peek()?.record.start, axis)));
        let (_, axis) = starts.min()?;
        Some((axis, axes[axis].next()?))
    })
}

/// A year of a machine whose axes make a move in ten seconds or so, 1.5 million each; the tray shuttle wears in it.
pub fn year_of_moves(stocks: &[Stock], seed: u64) -> impl Iterator<Item = (usize, Worked)> + '_ {
    moves(stocks, Span { pace: 20.0, ..Span::YEAR }, seed, Some(0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shift::stock::Size;

    #[test]
    fn parts_of_the_work_have_their_instants() {
        // Five days of 14.25 h.
        assert_eq!(Span::WEEK.hours(), 71.25);
        for part in [0.1, 0.375, 0.5, 0.9, 1.0] {
            let hours = Span::WEEK.worked(Span::WEEK.at(part)) / HOUR;
            assert!((hours - 71.25 * part).abs() < 0.51 / 60.0, "{part}: {hours}");
        }
        assert_eq!(Span::WEEK.at(1.0), 4.0 * DAY + 16.0 * HOUR);
    }

    #[test]
    fn a_retensioned_axis_is_as_new() {
        let ages = |fate: Fate| [0.0, 0.375, 0.6875, 0.74, 0.75, 1.0].map(|part| fate.age(part));
        assert_eq!(ages(Fate::Sound), [0.0; 6]);
        assert_eq!(ages(Fate::Wears), [0.0, 0.0, 0.5, 0.584, 0.6, 1.0]);
        assert_eq!(ages(Fate::IsRetensioned), [0.0, 0.0, 0.5, 0.584, 0.0, 0.0]);
        assert_eq!(NAMES.map(Fate::worn), [Fate::IsRetensioned, Fate::Wears, Fate::Wears]);
    }

    /// Three axes of a day, of which one wears within it.
    #[test]
    fn moves_of_a_machine_are_in_order_within_hours_of_work_and_of_one_job() {
        let stocks = Stock::all(Size { sound: 12, worn: 4, ages: 2 });
        let span = Span { days: 1, pace: 1.0 };
        let run = |seed| moves(&stocks, span, seed, Some(1)).collect::<Vec<_>>();
        let found = run(1);
        assert!(found == run(1) && found != run(2));
        assert!(found.windows(2).all(|pair| pair[0].1.record.start <= pair[1].1.record.start));
        let mut counts = [0; 3];
        for (axis, Worked { record, .. }) in &found {
            counts[*axis] += 1;
            assert_eq!(record.number, counts[*axis]);
            let at = record.start as f64 / f64::from(stocks[*axis].known.settings.ticks_per_second);
            assert!(Span::CALENDAR.works(at), "{at}");
        }
        for (stock, count) in stocks.iter().zip(counts) {
            let expected = 14.25 * HOUR / stock.period();
            assert!((f64::from(count) / expected - 1.0).abs() < 0.1, "{}: {count}", stock.known.name);
        }
        // Jobs change at the same minute on all axes: a job of one axis is that of the axis before it, but at such a minute.
        let others = found.windows(2).filter(|pair| pair[0].1.job != pair[1].1.job).count();
        let jobs: std::collections::BTreeSet<u32> = found.iter().map(|(_, moved)| moved.job).collect();
        assert!(jobs.len() >= 4 && others < 60, "{jobs:?} {others}");
    }
}
