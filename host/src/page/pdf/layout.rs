//! In: a page as data. Out: what stands where on which sheet, the tree of tags, and the headings for the outline.

use super::font::{Fonts, Style};
use super::sheets::{Child, MARGIN, Mark, Placed, Role, Sheets, Tag};
use super::table;
use crate::page::model::{Block, Page, Sign, Stamp};
use crate::page::paper::Paper;
use crate::plot::Drawn;

const BODY: Style = Style { size: 9.0, is_bold: false };
const SMALL: Style = Style { size: 7.5, is_bold: false };
const FOOT: Style = Style { size: 6.5, is_bold: false };
const HEADING: Style = Style { size: 11.0, is_bold: true };
const TITLE: Style = Style { size: 16.0, is_bold: true };
const ANSWER: Style = Style { size: 12.5, is_bold: true };
/// Width of the names of facts. Unit: pt
const NAMES: f64 = 112.0;
/// Between the frame of the answer and its text. Unit: pt
const INSIDE: f64 = 9.0;
/// Width and height of the sign beside the answer. Unit: pt
const SIGN: f64 = 26.0;
/// Between two lines to write on, and above them. Unit: pt
const APART: (f64, f64) = (16.0, 36.0);
/// No picture is higher than this part of a sheet.
const MOST_OF_A_SHEET: f64 = 0.8;

/// All that stands on the sheets.
pub(super) struct Laid {
    pub(super) sheets: Vec<Vec<Placed>>,
    pub(super) tree: Tag,
    /// Text of each heading, its sheet, and its height on it. Unit: pt
    pub(super) outline: Vec<(String, usize, f64)>,
}

/// Lays out the page.
pub(super) fn laid(page: &Page, paper: Paper, fonts: &Fonts) -> Laid {
    let mut sheets = Sheets::new(fonts, paper.size());
    let mut laid = Laid { sheets: Vec::new(), tree: Tag::new(Role::Document), outline: Vec::new() };
    let about = paragraph(&mut sheets, &page.about, SMALL);
    laid.tree.push(about);
    laid.heading(&mut sheets, &page.heading, TITLE, 1);
    sheets.y += 6.0;
    if let Some(verdict) = &page.verdict {
        stamp(&mut sheets, &mut laid.tree, verdict);
    }
    let mut pictures = 0;
    for (at, block) in page.blocks.iter().enumerate() {
        laid.block(&mut sheets, block, page.blocks.get(at + 1), &mut pictures);
    }
    feet(&mut sheets, &page.foot);
    laid.sheets = sheets.sheets;
    laid
}

impl Laid {
    fn block(&mut self, sheets: &mut Sheets, block: &Block, next: Option<&Block>, pictures: &mut usize) {
        match block {
            Block::Heading(text) => {
                sheets.y += 9.0;
                sheets.keep(HEADING.leading() + least(sheets, next));
                self.heading(sheets, text, HEADING, 2);
                sheets.y += 2.0;
            }
            Block::Text(text) => {
                let tag = paragraph(sheets, text, BODY);
                self.tree.push(tag);
                sheets.y += 2.0;
            }
            Block::List(texts) => self.tree.push(list(sheets, texts)),
            Block::Facts(facts) => self.tree.push(self::facts(sheets, facts)),
            Block::Table(table) => {
                if !table.caption.is_empty() {
                    sheets.keep(SMALL.leading() + least(sheets, Some(block)));
                    let tag = paragraph(sheets, &table.caption, SMALL);
                    self.tree.push(tag);
                    sheets.y += 2.0;
                }
                self.tree.push(table::placed(sheets, table));
                sheets.y += 3.0;
            }
            Block::Picture(drawn) => {
                self.tree.push(picture(sheets, drawn, *pictures));
                *pictures += 1;
            }
            Block::Lines(labels) => lines_to_write_on(sheets, &mut self.tree, labels),
            Block::NewSheet => sheets.begin(),
        }
    }

    fn heading(&mut self, sheets: &mut Sheets, text: &str, style: Style, level: u16) {
        // A heading without letters would have no place among the tags.
        let text = if text.trim().is_empty() { "–" } else { text };
        // The outline and the tags hold it beside the glyphs.
        let title = sheets.fonts.shown(text);
        let leaf = sheets.leaf();
        sheets.keep(style.leading());
        self.outline.push((title.clone(), sheets.sheets.len() - 1, sheets.y));
        sheets.text(leaf, text, style, (MARGIN, sheets.room()));
        self.tree.push(Tag::of(Role::Heading { level, title }, leaf));
    }
}

/// What must stand below a heading on the same sheet. Unit: pt
fn least(sheets: &Sheets, next: Option<&Block>) -> f64 {
    match next {
        Some(Block::Picture(drawn)) => scaled(sheets, drawn).1 + 6.0,
        Some(Block::Lines(_)) => 80.0,
        Some(_) => 52.0,
        None => 0.0,
    }
}

fn paragraph(sheets: &mut Sheets, text: &str, style: Style) -> Tag {
    let leaf = sheets.leaf();
    sheets.text(leaf, text, style, (MARGIN, sheets.room()));
    Tag::of(Role::Paragraph, leaf)
}

fn list(sheets: &mut Sheets, texts: &[String]) -> Tag {
    let mut tag = Tag::new(Role::List);
    for text in texts {
        sheets.keep(BODY.leading());
        sheets.line(None, "•".to_owned(), BODY, MARGIN + 2.0);
        let leaf = sheets.leaf();
        sheets.text(leaf, text, BODY, (MARGIN + 12.0, sheets.room() - 12.0));
        tag.push(Tag::of(Role::Item, leaf));
    }
    tag
}

/// Names and values as a table without rules.
fn facts(sheets: &mut Sheets, facts: &[(String, String)]) -> Tag {
    let mut body = Tag::new(Role::TableBody);
    for (name, value) in facts {
        sheets.keep(BODY.leading());
        let mut row = Tag::new(Role::Row);
        let leaf = sheets.leaf();
        let (sheet, top) = (sheets.sheets.len(), sheets.y);
        sheets.text(leaf, name, BODY, (MARGIN, NAMES - 6.0));
        let below = if sheets.sheets.len() == sheet { sheets.y } else { 0.0 };
        row.push(Tag::of(Role::RowHeading, leaf));
        if sheets.sheets.len() == sheet {
            sheets.y = top;
        }
        let leaf = sheets.leaf();
        sheets.text(leaf, value, BODY, (MARGIN + NAMES, sheets.room() - NAMES));
        if sheets.sheets.len() == sheet {
            sheets.y = sheets.y.max(below);
        }
        row.push(Tag::of(Role::Cell(1), leaf));
        body.push(row);
    }
    Tag { role: Role::Table, children: vec![Child::Tag(body)] }
}

/// The answer in a frame, with its sign.
fn stamp(sheets: &mut Sheets, tree: &mut Tag, stamp: &Stamp) {
    let sign = if stamp.sign == Sign::Plain { 0.0 } else { SIGN + INSIDE };
    let (left, room) = (MARGIN + INSIDE + sign, sheets.room() - 2.0 * INSIDE - sign);
    let heights =
        |text: &str, style: Style| sheets.fonts.lines(text, style, room).len() as f64 * style.leading();
    let text: f64 = stamp.text.iter().map(|text| heights(text, BODY)).sum();
    let height = heights(&stamp.heading, ANSWER) + text + 2.0 * INSIDE;
    let (top, is_framed) = (sheets.y, sheets.fits(height));
    if is_framed {
        let size = (sheets.room(), height);
        sheets.place(None, Mark::Frame { at: (MARGIN, top), size });
        if stamp.sign != Sign::Plain {
            let at = (MARGIN + INSIDE, top + (height - SIGN) / 2.0);
            sheets.place(None, Mark::Sign { at, size: SIGN, sign: stamp.sign });
        }
    }
    sheets.y += INSIDE;
    let lines = std::iter::once((&stamp.heading, ANSWER)).chain(stamp.text.iter().map(|text| (text, BODY)));
    for (text, style) in lines {
        let leaf = sheets.leaf();
        sheets.text(leaf, text, style, (left, room));
        tree.push(Tag::of(Role::Paragraph, leaf));
    }
    sheets.y += INSIDE + 6.0;
}

/// Width and height of a picture: the whole width, unless it were too high then. Unit: pt
fn scaled(sheets: &Sheets, drawn: &Drawn) -> (f64, f64) {
    let (width, height) = drawn.size;
    let scale = (sheets.room() / width).min(MOST_OF_A_SHEET * sheets.height() / height);
    (scale * width, scale * height)
}

fn picture(sheets: &mut Sheets, drawn: &Drawn, number: usize) -> Tag {
    let (width, height) = scaled(sheets, drawn);
    sheets.keep(height);
    let (leaf, at) = (sheets.leaf(), (MARGIN, sheets.y));
    sheets.place(Some(leaf), Mark::Picture { at, width, number });
    sheets.y += height + 4.0;
    let alternative = sheets.fonts.shown(&format!("{}. {}", drawn.title, drawn.description));
    Tag::of(Role::Figure(alternative), leaf)
}

/// Three lines to write on side by side, their labels below.
fn lines_to_write_on(sheets: &mut Sheets, tree: &mut Tag, labels: &[String]) {
    for labels in labels.chunks(3) {
        let ((apart, above), count) = (APART, labels.len() as f64);
        sheets.keep(above + 3.0 * SMALL.leading());
        let width = (sheets.room() - apart * (count - 1.0)) / count;
        sheets.y += above;
        let (top, mut below) = (sheets.y, sheets.y);
        for (at, label) in labels.iter().enumerate() {
            let left = MARGIN + at as f64 * (width + apart);
            sheets.place(None, Mark::Line { from: (left, top), to: (left + width, top), width: 0.8 });
            sheets.y = top + 2.0;
            let leaf = sheets.leaf();
            sheets.text(leaf, label, SMALL, (left, width));
            tree.push(Tag::of(Role::Paragraph, leaf));
            below = below.max(sheets.y);
        }
        sheets.y = below;
    }
}

/// The foot of every sheet, with its number.
fn feet(sheets: &mut Sheets, foot: &str) {
    let count = sheets.sheets.len();
    let (fonts, (width, height)) = (sheets.fonts, sheets.size);
    for (at, sheet) in sheets.sheets.iter_mut().enumerate() {
        let number = format!("Page {} of {count}", at + 1);
        let right = width - MARGIN - fonts.width(&number, FOOT);
        let room = right - MARGIN - 10.0;
        let line = fonts.lines(foot, FOOT, room).swap_remove(0);
        let y = height - 30.0;
        let texts = [(MARGIN, line), (right, number)];
        let rule = Mark::Line { from: (MARGIN, y - 10.0), to: (width - MARGIN, y - 10.0), width: 0.4 };
        let texts = texts.map(|(x, text)| Mark::Text { at: (x, y), style: FOOT, text });
        sheet.extend([rule].into_iter().chain(texts).map(|mark| Placed { leaf: None, mark }));
    }
}
