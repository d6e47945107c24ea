//! In: `week` or `year`, and how many seeds. Out: what the shipped detector makes of machines over that time.
//!
//! `cargo bench -p stillpoint-tests --bench machine -- year 5` works 15 machines for 52 weeks: for every seed one of each axis,
//! which alone wears. Two shifts a day on five days a week are 3,705 h of work. Exits with 1 if a worn axis had no alarm,
//! or if the alarms where nothing wears may come more than twice as often as promised (upper 95 % bound).

use std::process::ExitCode;
use std::time::Instant;

use stillpoint_tests::poisson::upper;
use stillpoint_tests::shift::machines::{Found, Result, run};
use stillpoint_tests::shift::stock::{Size, Stock};
use stillpoint_tests::shift::year::Span;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().collect();
    let has = |word: &str| arguments.iter().any(|argument| argument == word);
    let seeds = arguments.iter().find_map(|argument| argument.parse().ok());
    let (span, seeds) =
        if has("year") { (Span::YEAR, seeds.unwrap_or(5)) } else { (Span::WEEK, seeds.unwrap_or(100)) };
    let clock = Instant::now();
    let stocks = Stock::all(Size { sound: 600, worn: 100, ages: 20 });
    println!("stock of moves simulated in {:.0} s", clock.elapsed().as_secs_f64());
    println!("{} days, {} h of work, {seeds} seeds", span.days, span.hours());
    let result = run(&stocks, span, 1..=seeds);
    let missed =
        stocks.iter().enumerate().map(|(axis, stock)| print_axis(axis, stock, &result)).sum::<usize>();
    let kept = print_false_alarms(&result);
    println!("{:.0} s", clock.elapsed().as_secs_f64());
    if missed == 0 && kept { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Prints how the wear of an axis was found, and returns on how many machines it was not.
fn print_axis(axis: usize, stock: &Stock, result: &Result) -> usize {
    let machines: Vec<&Found> = result.found.iter().filter(|found| found.axis == axis).collect();
    let mut after: Vec<f64> = machines.iter().filter_map(|found| found.after).collect();
    after.sort_by(f64::total_cmp);
    let ends = after.first().zip(after.get(after.len() / 2)).zip(after.last());
    let ends =
        ends.map(|((first, middle), last)| format!("after {first:.2}, {middle:.2}, {last:.2} h of work"));
    println!(
        "{}, {:.0} moves/h: wear found on {} of {} machines, {} (first, middle, last); stood before on {}",
        stock.known.name,
        3600.0 / stock.period(),
        after.len(),
        machines.len(),
        ends.unwrap_or_default(),
        machines.iter().filter(|found| found.stood).count()
    );
    let mut ended: Vec<f64> = machines.iter().filter_map(|found| found.ended).collect();
    ended.sort_by(f64::total_cmp);
    if let Some(last) = ended.last() {
        println!(
            "  no drift {:.2} h after the repair on half of them, {last:.2} h on all",
            ended[ended.len() / 2]
        );
    }
    machines.iter().filter(|found| found.after.is_none() && !found.stood).count()
}

/// Prints the alarms where nothing wears, and returns whether the promise is kept.
fn print_false_alarms(result: &Result) -> bool {
    let (count, most) = (result.false_count(), upper(result.false_count()));
    println!(
        "without wear: {count} alarms in {:.1} axis-months of work, at most {most:.1} at 95 %, {:.2} times the promise",
        result.months,
        most / result.months
    );
    let mut by_axis = [0; 3];
    result.false_alarms.iter().for_each(|alarms| by_axis[alarms.2] += alarms.3);
    println!("  by axis {by_axis:?}; on sound axes {:?}", result.sound.alarms);
    let all: u64 = result.sound.moves.values().sum();
    for ((day, word), moves) in &result.sound.moves {
        println!("  {day:?} day, {word}: {:.2} % of the moves", 100.0 * *moves as f64 / all as f64);
    }
    most <= 2.0 * result.months
}
