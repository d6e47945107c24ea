//! In: a sheet and all its moves. Out: one HTML file that needs nothing else: pictures, table, notes.

use minijinja::{Environment, Value, context};

use super::sheet;
use super::{PlotError, Sheet};
use crate::report::cell::{TableField, cell, columns};
use crate::report::field::Form;
use crate::report::move_report::MoveReport;
use crate::report::printable::printable;
use crate::report::{number, summary};

/// Width of a picture on a wide page and on a phone. Unit: pixel
const WIDE: f64 = 900.0;
const NARROW: f64 = 480.0;

/// The page: the pictures of `sheet`, and a table of `all` moves, which may be more than are pictured.
pub fn html(sheet: &Sheet, all: &[MoveReport]) -> Result<String, PlotError> {
    let mut environment = Environment::new();
    environment.add_template("page.html", include_str!("page.html"))?;
    let page = environment.get_template("page.html")?;
    let pictures = sheet::pictures(sheet).iter().enumerate().map(|(i, picture)| {
        (picture.alone(sheet, WIDE, &format!("wide{i}")), picture.alone(sheet, NARROW, &format!("narrow{i}")))
    });
    let counts: Vec<String> =
        std::iter::once(summary::counts_text(all)).chain(summary::settling_text(all)).collect();
    let several_axes = all.iter().any(|report| report.axis != all[0].axis);
    let columns = columns(&all.iter().collect::<Vec<&MoveReport>>());
    Ok(page.render(context! {
        heading => printable(&sheet.heading),
        subject => sheet::subject(sheet).iter().map(|part| printable(part)).collect::<Vec<String>>(),
        summary => counts.join("; "),
        pictures => pictures.collect::<Vec<(String, String)>>(),
        notes => sheet.notes.iter().map(|note| printable(note)).collect::<Vec<String>>(),
        several_axes,
        span => columns.len() + usize::from(several_axes),
        columns => columns.iter().map(column).collect::<Vec<Value>>(),
        rows => all.iter().map(|report| row(&columns, report)).collect::<Vec<Value>>(),
    })?)
}

/// A heading: the title on one line, times with their unit below. Lengths have theirs beside each travel.
fn column(shown: &TableField) -> Value {
    let title = shown.column.title.replace("-\n", "").replace('\n', " ");
    let unit = shown.column.decimals.unit();
    let unit = if unit.is_empty() || unit == "{unit}" { String::new() } else { format!("<br>{unit}") };
    let class = match shown.field.name {
        "start_s" => "start",
        _ if shown.field.form == Form::Text => "word",
        _ => "",
    };
    context! { name => shown.field.name, heading => title.trim().to_owned() + &unit, class }
}

/// One row of the table, as text.
fn row(columns: &[TableField], report: &MoveReport) -> Value {
    let decimals = number::count_decimals(report.counts_per_unit);
    let text = |shown: &TableField| {
        let text = cell(shown, report, decimals).unwrap_or_default();
        if shown.field.name == "travel" { format!("{text} {}", printable(&report.unit)) } else { text }
    };
    context! {
        axis => printable(&report.axis),
        outcome => report.outcome.word(),
        reason => printable(&report.reason),
        cells => columns.iter().map(text).collect::<Vec<String>>(),
    }
}
