//! In: a sheet and all its moves. Out: one HTML file that needs nothing else: pictures, table, notes.

use minijinja::{Environment, Value, context};

use super::sheet;
use super::{PlotError, Sheet};
use crate::report::line::MoveLine;
use crate::report::printable::printable;
use crate::report::{number, summary};

/// Width of a picture on a wide page and on a phone. Unit: pixel
const WIDE: f64 = 900.0;
const NARROW: f64 = 480.0;

/// The page: the pictures of `sheet`, and a table of `all` moves, which may be more than are pictured.
pub fn html(sheet: &Sheet, all: &[MoveLine]) -> Result<String, PlotError> {
    let mut environment = Environment::new();
    environment.add_template("page.html", include_str!("page.html"))?;
    let page = environment.get_template("page.html")?;
    let pictures: Vec<(String, String)> = sheet::pictures(sheet)
        .iter()
        .enumerate()
        .map(|(i, picture)| {
            (
                picture.alone(sheet, WIDE, &format!("wide{i}")),
                picture.alone(sheet, NARROW, &format!("narrow{i}")),
            )
        })
        .collect();
    let counts: Vec<String> =
        std::iter::once(summary::counts_text(all)).chain(summary::settling_text(all)).collect();
    Ok(page.render(context! {
        heading => printable(&sheet.heading),
        several_axes => all.iter().any(|line| Some(&line.axis) != all.first().map(|first| &first.axis)),
        signatures => all.iter().any(|line| line.signature.is_some()),
        subject => sheet::subject(sheet).iter().map(|part| printable(part)).collect::<Vec<String>>(),
        summary => counts.join("; "),
        pictures,
        notes => sheet.notes.iter().map(|note| printable(note)).collect::<Vec<String>>(),
        rows => all.iter().map(row).collect::<Vec<Value>>(),
    })?)
}

/// One row of the table, as text.
fn row(line: &MoveLine) -> Value {
    let places = number::count_decimals(line.counts_per_unit);
    let time = |value: Option<f64>| {
        value.map_or(String::new(), |s| number::milliseconds_beside(s, line.settling_u_s))
    };
    let mean = |value: Option<f64>| value.map_or(String::new(), |v| number::fixed(v, places + 1));
    context! {
        axis => printable(&line.axis),
        number => line.number,
        start => number::fixed(line.start_s, 3),
        travel => number::fixed(line.travel, places),
        unit => printable(&line.unit),
        outcome => printable(&line.outcome),
        settling => line.settling_s.map_or(String::new(), |s| number::milliseconds(s, line.settling_u_s)),
        first_entry => time(line.first_entry_s),
        confirmation => time(line.confirmation_s),
        overshoot => number::fixed(line.overshoot, places),
        rest_error => mean(line.rest_error),
        rest_noise => mean(line.rest_noise_rms),
        signature => printable(line.signature.as_deref().unwrap_or_default()),
        reason => printable(&line.reason),
    }
}
