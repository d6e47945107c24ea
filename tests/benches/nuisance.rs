//! In: nothing, or how much and which cells. Out: what the shipped detector makes of each nuisance, at its default settings.
//!
//! `cargo bench -p stillpoint-tests --bench nuisance` watches 60 axes for three months of work at two moves a second in
//! every cell, every axis with a baseline of its own; then faults and repairs on 60 axes more. Arguments after `--`:
//! - `quick`: 12 axes for half a month;
//! - numbers: axes, months, moves per hour, as in `-- 20 1 300`;
//! - any other word: only cells whose group or name has it, as in `-- daily`;
//! - `alarms` and `faults`: only the one half;
//! - `round`: only the group of cells with the number of the round, for `tests/long`.

use std::time::Instant;

use stillpoint_core::drift::{DriftConfig, DriftSettings};
use stillpoint_tests::nuisance::axes::{MONTH, Size};
use stillpoint_tests::nuisance::calendar::MINUTE;
use stillpoint_tests::nuisance::cells::{Cell, groups};
use stillpoint_tests::nuisance::detector::Shipped;
use stillpoint_tests::nuisance::find::{Outcome, faults, find, summary};
use stillpoint_tests::nuisance::repair::repair;
use stillpoint_tests::nuisance::watch::{Day, Watched, watch};
use stillpoint_tests::rounds::round;

/// After how long the detector of commit eccc152 found each fault where there is no nuisance, on half and on 19 of 20 axes:
/// commit eccc152, this bench with `-- faults 600 0 "stationary: Normal(0.1)"`. METHOD.md, "Measured", has 36 and 68 moves for
/// the first step, by another simulation. Unit: min
const BEFORE: [[f64; 2]; 7] =
    [[0.30, 0.57], [0.17, 0.17], [0.10, 0.10], [436.0, 579.0], [241.0, 311.0], [106.0, 139.0], [0.30, 0.57]];
/// The rate of those times. Unit: 1/h
const BEFORE_MOVES_PER_HOUR: f64 = 7200.0;

/// What to run.
struct Choice {
    size: Size,
    alarms: bool,
    faults: bool,
    /// Number of the only group.
    group: Option<usize>,
    words: Vec<String>,
}

impl Choice {
    fn new(arguments: impl Iterator<Item = String>) -> Choice {
        let full = Size { axes: 60, months: 3.0, moves_per_hour: 7200 };
        let mut choice = Choice { size: full, alarms: true, faults: true, group: None, words: vec![] };
        let mut numbers = vec![];
        for argument in arguments.filter(|argument| !argument.starts_with("--")) {
            match (argument.as_str(), argument.parse::<f64>()) {
                ("quick", _) => choice.size = Size { axes: 12, months: 0.5, ..full },
                ("round", _) => {
                    choice.group = Some(round().expect("STILLPOINT_SEED is the round") as usize - 1)
                }
                ("alarms", _) => choice.faults = false,
                ("faults", _) => choice.alarms = false,
                (_, Ok(number)) => numbers.push(number),
                (word, _) => choice.words.push(word.to_owned()),
            }
        }
        if let [axes, months, ref rate @ ..] = numbers[..] {
            let moves_per_hour = rate.first().map_or(full.moves_per_hour, |rate| *rate as u32);
            choice.size = Size { axes: axes as u32, months, moves_per_hour };
        }
        choice
    }

    /// Every cell with the title of its group.
    fn cells(&self) -> Vec<(&'static str, Vec<Cell>)> {
        let is_chosen = |title: &str, cell: &Cell| {
            let name = format!("{title}: {cell}");
            self.words.iter().all(|word| name.contains(word.as_str()))
        };
        let groups = groups().into_iter().enumerate();
        let groups = groups.filter(|(place, _)| self.group.is_none_or(|group| group == *place));
        let chosen = groups.map(|(_, (title, cells))| {
            (title, cells.into_iter().filter(|cell| is_chosen(title, cell)).collect::<Vec<_>>())
        });
        chosen.filter(|(_, cells)| !cells.is_empty()).collect()
    }
}

fn fresh(moves_per_hour: u32) -> Shipped {
    let config = DriftConfig { moves_per_hour, ..DriftConfig::at(1_000_000) };
    Shipped::new(DriftSettings::new(config).expect("a valid configuration"))
}

fn main() {
    let choice = Choice::new(std::env::args().skip(1));
    let clock = Instant::now();
    println!("{:?}; one false alarm a month of work is promised, smallest change 10 % of 50 ms", choice.size);
    if choice.alarms {
        println!(
            "\nNothing wrong: alarms per axis-month, on the first day and later; share of the moves at which a drift stands;"
        );
        println!("promises after the first day, % of the moves; alarms by promise");
        for (title, cells) in choice.cells() {
            println!("\n{title}");
            for cell in cells {
                row(&cell, &watch(&cell, fresh, choice.size));
            }
        }
    }
    if choice.faults {
        print_faults(&choice);
    }
    println!("\n{:.0} s", clock.elapsed().as_secs_f64());
}

fn row(cell: &Cell, found: &Watched) {
    let promises = found.promises(Day::Later).into_iter();
    let promises: Vec<_> = promises.map(|(word, share)| format!("{word} {:.1}", 100.0 * share)).collect();
    let alarms: Vec<_> = found
        .alarms
        .iter()
        .map(|((day, word), count)| {
            format!("{count} {word}{}", if *day == Day::First { " (1st day)" } else { "" })
        })
        .collect();
    println!(
        "{cell:<38} {:>8.2} = {:>7.2} + {:>7.2} {:>6.1} %  {}; {}",
        found.rate(),
        found.on(Day::First) as f64 / found.months,
        found.on(Day::Later) as f64 / found.months,
        100.0 * found.standing(),
        promises.join(", "),
        alarms.join(", ")
    );
}

fn print_faults(choice: &Choice) {
    println!(
        "\nDrift to slower on {} axes: found (+ stood before) on, after min on half and on 19 of 20;",
        choice.size.axes
    );
    println!(
        "in brackets both over those of the detector before in no nuisance, of steps in moves, of ramps in time"
    );
    let names =
        ["no fault", "step 10 %", "20 %", "50 %", "day's ramp 10 %", "20 %", "50 %", "overnight 10 %"];
    println!(
        "{:<38} {:>8}{}",
        "",
        names[0],
        names[1..].iter().map(|name| format!("{name:>27}")).collect::<String>()
    );
    let cells = || choice.cells().into_iter().flat_map(|(_, cells)| cells);
    cells().for_each(|cell| faults_of(&cell, choice.size));
    println!(
        "\nA fault of 20 % for two days, gone after a pause of 4 h: found on, ended by itself on, after min on half and"
    );
    println!("on 19 of 20 of them, alarms in the week after");
    cells().for_each(|cell| repair_of(&cell, choice.size));
}

fn minutes(seconds: f64) -> String {
    if seconds.is_finite() {
        format!("{:.*}", if seconds < 600.0 { 2 } else { 0 }, seconds / MINUTE)
    } else {
        "-".to_owned()
    }
}

fn faults_of(cell: &Cell, size: Size) {
    let mut found = find(cell, fresh, size, &faults()).into_iter();
    let none = found.next().map_or(0, |outcomes| summary(&outcomes).0);
    let rate = f64::from(size.of(cell).moves_per_hour) / BEFORE_MOVES_PER_HOUR;
    let columns = found.zip(faults().into_iter().skip(1)).zip(BEFORE).map(|((outcomes, fault), before)| {
        let (found, after) = summary(&outcomes);
        let rate = if fault.over > 0.0 { 1.0 } else { rate };
        let over = |at: usize| after[at] / MINUTE * rate / before[at];
        let [half, most] = after.map(minutes);
        let stood = outcomes.iter().filter(|outcome| **outcome == Outcome::Stood).count();
        let stood = if stood > 0 { format!("+{stood}") } else { String::new() };
        format!("{:>27}", format!("{found}{stood} {half} {most} ({:.1}, {:.1})", over(0), over(1)))
    });
    println!("{cell:<38} {none:>8}{}", columns.collect::<String>());
}

fn repair_of(cell: &Cell, size: Size) {
    let axes = repair(cell, fresh, size);
    let ends: Vec<Outcome> =
        axes.iter().map(|axis| axis.ended_after.map_or(Outcome::Missed, Outcome::Found)).collect();
    let (ended, [half, most]) = summary(&ends);
    let found = axes.iter().filter(|axis| axis.was_found).count();
    let alarms: u32 = axes.iter().map(|axis| axis.alarms).sum();
    let promised = axes.len() as f64 * cell.calendar.hours_a_week() / MONTH;
    println!(
        "{cell:<38} {found:>4} {ended:>4} {:>8} {:>8} {alarms:>5}, {promised:.1} promised",
        minutes(half),
        minutes(most)
    );
}
