//! In: a table. Out: its rows on the sheets, its heading repeated on each of them.

use super::font::{Fonts, Style};
use super::sheets::{Child, MARGIN, Mark, Role, Sheets, Tag};
use crate::page::model::{Row, Table};

/// Size of what stands in tables. Unit: pt
const SIZE: f64 = 7.0;
/// The smallest that can be read on paper; a table that is wider still breaks its numbers. Unit: pt
const SMALLEST: f64 = 5.5;
/// Between a cell and its edge. Unit: pt
const PADDING: f64 = 4.0;
/// A column of words is not made narrower than this. Unit: pt
const NARROWEST: f64 = 45.0;
/// Lines of a cell that are shown, fewer than a sheet has.
const MOST_LINES: usize = 40;
/// How far a remark is set in. Unit: pt
const INDENT: f64 = 20.0;

/// The columns of a table as they are drawn.
struct Grid {
    style: Style,
    /// Unit: pt
    widths: Vec<f64>,
}

/// One row as it is drawn: the lines of each cell.
struct Cells {
    lines: Vec<Vec<String>>,
    style: Style,
}

/// Puts the table on the sheets.
pub(super) fn placed(sheets: &mut Sheets, table: &Table) -> Tag {
    let grid = Grid::of(table, sheets.fonts, sheets.room());
    let mut tag = Tag::new(Role::Table);
    let heading = grid.cells(sheets.fonts, table.columns.iter().map(|column| &column.heading), true);
    sheets.keep(heading.height() + 3.0 * grid.style.leading());
    let mut head = Tag::new(Role::TableHead);
    head.push(row(sheets, &grid, table, &heading, true, false));
    tag.push(head);
    rule(sheets, 1.0);
    let mut body = Tag::new(Role::TableBody);
    for one in &table.rows {
        let cells = grid.cells(sheets.fonts, one.cells.iter(), one.is_bold);
        let remark = remark_lines(sheets, &grid, one);
        let below = remark.len() as f64 * grid.style.leading();
        if !sheets.fits(cells.height() + below) {
            sheets.begin();
            row(sheets, &grid, table, &heading, true, true);
            rule(sheets, 1.0);
        }
        body.push(row(sheets, &grid, table, &cells, false, false));
        if !remark.is_empty() {
            body.push(remarked(sheets, &grid, remark, table.columns.len()));
        }
        rule(sheets, 0.25);
    }
    if !table.rows.is_empty() {
        tag.push(body);
    }
    tag
}

/// Draws a row; as decoration if it repeats another one.
fn row(sheets: &mut Sheets, grid: &Grid, table: &Table, cells: &Cells, is_head: bool, repeats: bool) -> Tag {
    let mut tag = Tag::new(Role::Row);
    let (top, mut left) = (sheets.y, MARGIN);
    let columns = table.columns.iter().zip(&grid.widths);
    for (at, ((column, width), lines)) in columns.zip(&cells.lines).enumerate() {
        let leaf = sheets.leaf();
        for (number, line) in lines.iter().enumerate() {
            let line_width = sheets.fonts.width(line, cells.style);
            let right = left + width - PADDING - line_width;
            sheets.y = top + PADDING / 2.0 + number as f64 * cells.style.leading();
            let at = if column.is_text { left + PADDING } else { right };
            sheets.line((!repeats).then_some(leaf), line.clone(), cells.style, at);
        }
        tag.push(Tag::of(role(at, is_head), leaf));
        left += width;
    }
    sheets.y = top + cells.height();
    tag
}

fn role(column: usize, is_head: bool) -> Role {
    match (is_head, column) {
        (true, _) => Role::ColumnHeading,
        (false, 0) => Role::RowHeading,
        (false, _) => Role::Cell(1),
    }
}

fn remark_lines(sheets: &Sheets, grid: &Grid, row: &Row) -> Vec<String> {
    match row.remark.is_empty() {
        true => Vec::new(),
        false => cut(sheets.fonts.lines(&row.remark, grid.style, sheets.room() - INDENT - PADDING)),
    }
}

/// Draws what is said of a row below it.
fn remarked(sheets: &mut Sheets, grid: &Grid, lines: Vec<String>, columns: usize) -> Tag {
    let leaf = sheets.leaf();
    for line in lines {
        sheets.line(Some(leaf), line, grid.style, MARGIN + INDENT);
        sheets.y += grid.style.leading();
    }
    sheets.y += PADDING / 2.0;
    Tag { role: Role::Row, children: vec![Child::Tag(Tag::of(Role::Cell(columns as u32), leaf))] }
}

fn rule(sheets: &mut Sheets, width: f64) {
    let y = sheets.y;
    let to = (MARGIN + sheets.room(), y);
    sheets.place(None, Mark::Line { from: (MARGIN, y), to, width });
}

/// A cell that would not fit on a sheet ends in dots.
fn cut(mut lines: Vec<String>) -> Vec<String> {
    if lines.len() > MOST_LINES {
        lines.truncate(MOST_LINES);
        lines.push("…".to_owned());
    }
    lines
}

impl Cells {
    /// Unit: pt
    fn height(&self) -> f64 {
        let lines = self.lines.iter().map(Vec::len).max().unwrap_or(0).max(1);
        PADDING + lines as f64 * self.style.leading()
    }
}

impl Grid {
    /// As wide as its cells need, words broken where they must be, and smaller where that is not enough.
    fn of(table: &Table, fonts: &Fonts, room: f64) -> Grid {
        let mut style = Style { size: SIZE, is_bold: false };
        let mut widths = widths(table, fonts, style, room);
        let total: f64 = widths.iter().sum();
        if total > room {
            style.size = (SIZE * room / total).max(SMALLEST);
            widths = self::widths(table, fonts, style, room);
        }
        let total: f64 = widths.iter().sum();
        // Too wide still: all alike; else what is left over goes to all alike.
        let (factor, more) = (room / total.max(room), (room - total).max(0.0) / widths.len().max(1) as f64);
        widths.iter_mut().for_each(|width| *width = *width * factor + more);
        Grid { style, widths }
    }

    fn cells<'a>(&self, fonts: &Fonts, texts: impl Iterator<Item = &'a String>, is_bold: bool) -> Cells {
        let style = Style { is_bold, ..self.style };
        let lines = texts.zip(&self.widths);
        // A hair more, as a sum of widths is not exact.
        let lines = lines.map(|(text, width)| cut(fonts.lines(text, style, width - 2.0 * PADDING + 0.01)));
        Cells { lines: lines.collect(), style }
    }
}

/// What each column needs; words are broken if all together are wider than `room`. Unit: pt
fn widths(table: &Table, fonts: &Fonts, style: Style, room: f64) -> Vec<f64> {
    let bold = Style { is_bold: true, ..style };
    let word = |heading: &str| heading.split(' ').map(|word| fonts.width(word, bold)).fold(0.0, f64::max);
    let widest = |at: usize| {
        let cells = table.rows.iter().filter_map(|row| Some((row.cells.get(at)?, row.is_bold)));
        cells.map(|(cell, is_bold)| fonts.width(cell, Style { is_bold, ..style })).fold(0.0, f64::max)
    };
    let least: Vec<f64> = table.columns.iter().map(|column| word(&column.heading) + 2.0 * PADDING).collect();
    let mut widths: Vec<f64> =
        least.iter().enumerate().map(|(at, least)| least.max(widest(at) + 2.0 * PADDING)).collect();
    let excess = widths.iter().sum::<f64>() - room;
    let spare = |at: usize| match table.columns[at].is_text {
        true => (widths[at] - least[at].max(NARROWEST)).max(0.0),
        false => 0.0,
    };
    let spares: Vec<f64> = (0..widths.len()).map(spare).collect();
    let all: f64 = spares.iter().sum();
    if excess > 0.0 && all > 0.0 {
        let part = (excess / all).min(1.0);
        widths.iter_mut().zip(&spares).for_each(|(width, spare)| *width -= part * spare);
    }
    widths
}
