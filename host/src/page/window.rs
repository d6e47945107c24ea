//! In: windows and settling times that an axis keeps. Out: the page that states them.

use super::about;
use super::model::{Block, Column, Page, Row, Sign, Stamp, Table};
use crate::plot::Drawn;
use crate::report::window::table::{answer, limits};
use crate::report::window::{Basis, KindLine, PointLine, Windows};
use crate::report::{number, table};

/// All that the page says.
#[derive(Clone, Debug)]
pub struct WindowPage<'a> {
    /// Name of the axis.
    pub name: String,
    /// What was found.
    pub windows: &'a Windows,
    /// What was wished.
    pub basis: &'a Basis,
    /// How it was measured: names, each with its value.
    pub settings: Vec<(String, String)>,
    /// What moves were noticed for, a sentence each.
    pub cautions: Vec<String>,
    /// Settling time against window, of the kinds with most moves.
    pub pictures: Vec<Drawn>,
    /// The recordings.
    pub recordings: Table,
    /// When the page was made: local, and UTC.
    pub made: String,
}

/// The page.
pub fn page(stated: &WindowPage) -> Page {
    let percent = |part: f64| number::plain(100.0 * part);
    let windows = stated.windows;
    let wish = format!(
        "Stated is what {} % of all such moves keep, with {} % confidence: not what the recorded moves did, but what those to \
         come will do if nothing changes.",
        percent(windows.share),
        percent(windows.confidence)
    );
    let stamp = Stamp { sign: Sign::Plain, heading: answer(windows, stated.basis), text: vec![wish] };
    let heading = |text: &str| Block::Heading(text.to_owned());
    let mut page = Page {
        about: "Stillpoint, window and settling time".to_owned(),
        heading: stated.name.clone(),
        verdict: Some(stamp),
        blocks: vec![heading("How it was measured"), Block::Facts(stated.settings.clone())],
        foot: about::foot(&stated.made),
    };
    page.blocks.extend([heading("Cautions"), about::list(stated.cautions.clone())]);
    page.blocks.extend(stated.pictures.iter().cloned().map(Block::Picture));
    for kind in &windows.kinds {
        page.blocks.push(Block::Heading(format!("{}: {}", kind.kind, number::count(kind.moves, "move"))));
        let mut notes: Vec<String> =
            Some(kind.reason.clone()).into_iter().filter(|reason| !reason.is_empty()).collect();
        notes.extend(limits(kind, stated.basis).lines().map(|line| line.trim_start_matches("* ").to_owned()));
        if !notes.is_empty() {
            page.blocks.push(Block::List(notes));
        }
        if !kind.curve.is_empty() {
            page.blocks.push(Block::Table(points(kind, stated.basis)));
        }
    }
    page.blocks.extend([heading("Signatures"), Block::Lines(about::lines())]);
    page.blocks.extend([heading("Recordings"), Block::Table(stated.recordings.clone())]);
    about::safety(&mut page);
    page
}

/// The windows of one kind.
fn points(kind: &KindLine, basis: &Basis) -> Table {
    let unit = &basis.unit;
    let rounded = |value: Option<f64>, way: fn(f64) -> String| value.map_or(table::DASH.to_owned(), way);
    let up = |value: Option<f64>| rounded(value, number::plain_up);
    let fixed = |value: Option<f64>, places| {
        value.map_or(table::DASH.to_owned(), |value| number::fixed(value, places))
    };
    let row = |point: &PointLine| {
        let mut cells = vec![up(point.settling_s.map(|time| 1e3 * time)), up(point.window)];
        cells.extend([rounded(point.window_low, number::plain_down), up(point.window_high)]);
        if basis.cycle.is_some() {
            cells.extend([fixed(point.cycle_s, 3), fixed(point.parts_per_hour, 0)]);
        }
        cells.push(point.limited_by.map_or(table::DASH.to_owned(), |cause| format!("limited by {cause}")));
        Row { cells, remark: String::new(), is_bold: false }
    };
    let mut columns = vec![
        Column::number("settling ms"),
        Column::number(format!("window ± {unit}")),
        Column::number(format!("whole curve from ± {unit}")),
        Column::number(format!("to ± {unit}")),
    ];
    if basis.cycle.is_some() {
        columns.extend([Column::number("cycle s"), Column::number("parts per hour")]);
    }
    columns.push(Column::text("remark"));
    Table { caption: String::new(), columns, rows: kind.curve.iter().map(row).collect() }
}
