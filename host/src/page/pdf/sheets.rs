//! In: what is to stand one below the other. Out: sheets of paper with all of it, and the tree of tags.

use super::font::{Fonts, Style};
use crate::page::model::Sign;

/// Left, right and above of what is printed. Unit: pt
pub(super) const MARGIN: f64 = 43.0;
/// Below it; the foot stands there. Unit: pt
const BELOW: f64 = 52.0;

/// Something at its place.
#[derive(Clone, Debug)]
pub(super) struct Placed {
    /// The leaf of the tree of tags to which it belongs; none if it only decorates or repeats.
    pub(super) leaf: Option<usize>,
    pub(super) mark: Mark,
}

/// What stands there. Unit of all lengths: pt, from the upper left corner of the sheet
#[derive(Clone, Debug)]
pub(super) enum Mark {
    /// Text from the left end of its base line.
    Text { at: (f64, f64), style: Style, text: String },
    /// A line of this width.
    Line { from: (f64, f64), to: (f64, f64), width: f64 },
    /// A frame.
    Frame { at: (f64, f64), size: (f64, f64) },
    /// A tick or a cross, as high as wide.
    Sign { at: (f64, f64), size: f64, sign: Sign },
    /// The picture of this number, so wide.
    Picture { at: (f64, f64), width: f64, number: usize },
}

/// What a part is to a screen reader.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Role {
    Document,
    Heading {
        level: u16,
        title: String,
    },
    Paragraph,
    List,
    Item,
    Table,
    TableHead,
    TableBody,
    Row,
    ColumnHeading,
    RowHeading,
    /// Over so many columns.
    Cell(u32),
    /// With its alternative text.
    Figure(String),
}

/// A node of the tree of tags.
#[derive(Clone, Debug)]
pub(super) struct Tag {
    pub(super) role: Role,
    pub(super) children: Vec<Child>,
}

/// Below a node.
#[derive(Clone, Debug)]
pub(super) enum Child {
    Tag(Tag),
    Leaf(usize),
}

impl Tag {
    pub(super) fn new(role: Role) -> Tag {
        Tag { role, children: Vec::new() }
    }

    pub(super) fn of(role: Role, leaf: usize) -> Tag {
        Tag { role, children: vec![Child::Leaf(leaf)] }
    }

    pub(super) fn push(&mut self, tag: Tag) {
        self.children.push(Child::Tag(tag));
    }
}

/// Sheets being filled from above.
pub(super) struct Sheets<'a> {
    pub(super) fonts: &'a Fonts,
    /// Unit: pt
    pub(super) size: (f64, f64),
    pub(super) sheets: Vec<Vec<Placed>>,
    /// Where the next mark stands on the last sheet. Unit: pt
    pub(super) y: f64,
    leaves: usize,
}

impl<'a> Sheets<'a> {
    pub(super) fn new(fonts: &'a Fonts, size: (f64, f64)) -> Sheets<'a> {
        Sheets { fonts, size, sheets: vec![Vec::new()], y: MARGIN, leaves: 0 }
    }

    /// Width between the margins. Unit: pt
    pub(super) fn room(&self) -> f64 {
        self.size.0 - 2.0 * MARGIN
    }

    /// Height between the margins. Unit: pt
    pub(super) fn height(&self) -> f64 {
        self.size.1 - MARGIN - BELOW
    }

    pub(super) fn fits(&self, height: f64) -> bool {
        self.y + height <= self.size.1 - BELOW
    }

    /// Begins a sheet, unless the last one is empty.
    pub(super) fn begin(&mut self) {
        if self.sheets.last().is_some_and(|sheet| !sheet.is_empty()) {
            self.sheets.push(Vec::new());
        }
        self.y = MARGIN;
    }

    /// Begins a sheet if less than this height remains.
    pub(super) fn keep(&mut self, height: f64) {
        if !self.fits(height) {
            self.begin();
        }
    }

    pub(super) fn leaf(&mut self) -> usize {
        self.leaves += 1;
        self.leaves - 1
    }

    pub(super) fn place(&mut self, leaf: Option<usize>, mark: Mark) {
        if let Some(sheet) = self.sheets.last_mut() {
            sheet.push(Placed { leaf, mark });
        }
    }

    /// Text in lines between `left` and `left + room`, over as many sheets as it needs. Unit: pt
    pub(super) fn text(&mut self, leaf: usize, text: &str, style: Style, (left, room): (f64, f64)) {
        for line in self.fonts.lines(text, style, room) {
            self.keep(style.leading());
            self.line(Some(leaf), line, style, left);
            self.y += style.leading();
        }
    }

    /// One line at `left`, its top at the present height. Unit: pt
    pub(super) fn line(&mut self, leaf: Option<usize>, text: String, style: Style, left: f64) {
        let at = (left, self.y + style.size);
        if !text.is_empty() {
            self.place(leaf, Mark::Text { at, style, text });
        }
    }
}
