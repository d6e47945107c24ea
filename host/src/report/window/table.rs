//! In: windows and settling times of each kind. Out: text for people: the answer, and the curve of each kind.

use super::super::number;
use super::super::printable::printable;
use super::super::table::{Column, drawn, fitted};
use super::{Basis, Choice, KindLine, PointLine, Windows};

/// The text; `width` in characters limits its tables.
pub fn table(windows: &Windows, basis: &Basis, width: usize) -> String {
    let mut text = answer(windows, basis) + "\n";
    for kind in &windows.kinds {
        text += &format!("\n{}: {}\n", printable(&kind.kind), number::count(kind.moves, "move"));
        if !kind.curve.is_empty() {
            text += &points(kind, basis, width);
        }
        if !kind.reason.is_empty() {
            text += &format!("* {}\n", printable(&kind.reason));
        }
        text += &limits(kind, basis);
    }
    text
}

/// The answer in a sentence, true for all kinds that can be stated: that of the most demanding one.
pub fn answer(windows: &Windows, basis: &Basis) -> String {
    let percent = |part: f64| number::plain(100.0 * part);
    let promise = format!("{} % of moves, {} % sure", percent(windows.share), percent(windows.confidence));
    let stated = windows.kinds.iter().filter(|kind| !kind.curve.is_empty()).count();
    if stated == 0 {
        return "No window can be stated: see the reasons of each kind".to_owned();
    }
    let others = match windows.kinds.len() - stated {
        0 => String::new(),
        others => format!("; {} can't be stated", number::count(others, "kind")),
    };
    format!("{} ({promise}){others}", demand(windows, basis))
}

/// What the most demanding kind needs.
fn demand(windows: &Windows, basis: &Basis) -> String {
    let unit = printable(&windows.unit);
    let points = || windows.kinds.iter().filter_map(|kind| kind.curve.first());
    let most = |of: fn(&PointLine) -> Option<f64>| {
        points().map(|point| of(point).unwrap_or(f64::INFINITY)).fold(0.0, f64::max)
    };
    match basis.choice {
        Choice::Curve => "Which window and settling time the axis can have".to_owned(),
        Choice::Settling(time) => match most(|point| point.window) {
            f64::INFINITY => format!("No window is known to do for {}", ms(time)),
            window => {
                format!("For {} the window must be ± {} {unit} or wider", ms(time), number::plain_up(window))
            }
        },
        Choice::Window(window) => match most(|point| point.settling_s) {
            f64::INFINITY => {
                format!("Within ± {} {unit} too many moves do not settle", number::plain(window))
            }
            time => {
                let time = number::plain_up(1e3 * time);
                format!("Within ± {} {unit} the axis settles in {time} ms or less", number::plain(window))
            }
        },
    }
}

fn ms(seconds: f64) -> String {
    format!("{} ms", number::plain(1e3 * seconds))
}

fn points(kind: &KindLine, basis: &Basis, width: usize) -> String {
    let unit = printable(&basis.unit);
    let column = |heading: String, spare: u8, cell: &dyn Fn(&PointLine) -> Option<String>| Column {
        heading,
        spare,
        is_text: false,
        cells: kind.curve.iter().map(|point| cell(point).unwrap_or("–".to_owned())).collect(),
    };
    let up = |length: Option<f64>| length.map(number::plain_up);
    let mark = |point: &PointLine| if point.limited_by.is_some() { "*" } else { " " };
    let mut columns = vec![
        column("settling\nms".to_owned(), 0, &|point| up(Some(1e3 * point.settling_s?))),
        column(format!("window\n± {unit}"), 0, &|point| Some(up(point.window)? + mark(point))),
        column(format!("whole curve\nfrom ± {unit}"), 2, &|point| point.window_low.map(number::plain_down)),
        column(format!("\nto ± {unit}"), 1, &|point| up(point.window_high)),
    ];
    if basis.cycle.is_some() {
        columns.push(column("cycle\ns".to_owned(), 0, &|point| Some(number::fixed(point.cycle_s?, 3))));
        columns
            .push(column("parts\n/h".to_owned(), 0, &|point| Some(number::fixed(point.parts_per_hour?, 0))));
    }
    let (mut columns, dropped) = fitted(columns, width);
    let mut text = drawn(&mut columns);
    if !dropped.is_empty() {
        text += &format!("Too narrow for: {}\n", dropped.join(", "));
    }
    text
}

/// What the marked points are limited by.
pub(crate) fn limits(kind: &KindLine, basis: &Basis) -> String {
    let unit = printable(&basis.unit);
    let noise = kind.rest_noise_rms.unwrap_or(0.0);
    let sentences = [
        (
            "encoder step",
            format!(
                "below two encoder steps of {} {unit}: no window there is worth setting",
                number::plain(basis.encoder_step)
            ),
        ),
        (
            "rest noise",
            format!(
                "below three times the rest noise of {} {unit}: the answer is mostly chance",
                number::plain(noise)
            ),
        ),
        (
            "sample period",
            format!("less than five sample periods of {}: record faster", ms(basis.sample_period_s)),
        ),
    ];
    let occurs = |cause: &str| kind.curve.iter().any(|point| point.limited_by == Some(cause));
    sentences
        .iter()
        .filter(|(cause, _)| occurs(cause))
        .map(|(_, sentence)| format!("* {sentence}\n"))
        .collect()
}
