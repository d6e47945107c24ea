//! In: a sheet and all its moves. Out: one HTML file that needs nothing else: pictures, table, notes.

use minijinja::{Environment, Value, context};

use super::sheet::{self, PICTURES};
use super::{PlotError, Sheet};
use crate::report::line::MoveLine;
use crate::report::{number, summary};

/// Width of a picture on a wide page and on a phone. Unit: pixel
const WIDE: f64 = 900.0;
const NARROW: f64 = 480.0;

/// The page: the pictures of `sheet`, and a table of `all` moves, which may be more than are pictured.
pub fn html(sheet: &Sheet, all: &[MoveLine]) -> Result<String, PlotError> {
    let mut environment = Environment::new();
    environment.add_template("page.html", include_str!("page.html"))?;
    let page = environment.get_template("page.html")?;
    let pictures: Vec<(String, String)> = PICTURES
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
        heading => sheet.heading.as_str(),
        subject => sheet::subject(sheet),
        summary => counts.join("; "),
        pictures,
        notes => sheet.notes.to_vec(),
        rows => all.iter().map(row).collect::<Vec<Value>>(),
    })?)
}

/// One row of the table, as text.
fn row(line: &MoveLine) -> Value {
    let places = number::count_decimals(line.counts_per_unit);
    let time = |value: Option<f64>| value.map_or(String::new(), |s| number::milliseconds(s, None));
    let mean = |value: Option<f64>| value.map_or(String::new(), |v| number::fixed(v, places + 1));
    context! {
        axis => line.axis.as_str(),
        number => line.number,
        start => number::fixed(line.start_s, 3),
        travel => number::fixed(line.travel, places),
        unit => line.unit.as_str(),
        outcome => line.outcome.as_str(),
        settling => line.settling_s.map_or(String::new(), |s| number::milliseconds(s, line.settling_u_s)),
        first_entry => time(line.first_entry_s),
        confirmation => time(line.confirmation_s),
        overshoot => number::fixed(line.overshoot, places),
        rest_error => mean(line.rest_error),
        rest_noise => mean(line.rest_noise_rms),
        signature => line.signature.as_deref().unwrap_or_default(),
        reason => line.reason.as_str(),
    }
}
