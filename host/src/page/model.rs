//! In: nothing. Out: what a page is made of, for every writer: headings, text, tables, pictures, lines to sign on.

use crate::plot::Drawn;

/// A page to be handed over, on as many sheets of paper as it needs.
#[derive(Clone, Debug, Default)]
pub struct Page {
    /// What kind of page it is: `Stillpoint, sign-off of settling`.
    pub about: String,
    /// What it is about, such as the name of an axis.
    pub heading: String,
    /// The answer; none where there is nothing to decide.
    pub verdict: Option<Stamp>,
    /// All else, in order.
    pub blocks: Vec<Block>,
    /// Which program made it and when; at the foot of every sheet.
    pub foot: String,
}

/// The answer, framed.
#[derive(Clone, Debug)]
pub struct Stamp {
    /// The sign beside it; the words say the same.
    pub sign: Sign,
    /// The answer in a sentence.
    pub heading: String,
    /// What was wished and what was found, in sentences.
    pub text: Vec<String>,
}

/// A sign that is known without colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sign {
    /// A tick.
    Pass,
    /// A cross.
    Fail,
    /// None.
    Plain,
}

/// A part of a page.
#[derive(Clone, Debug)]
pub enum Block {
    /// A heading.
    Heading(String),
    /// A paragraph.
    Text(String),
    /// Sentences that stand for themselves.
    List(Vec<String>),
    /// Names, each with what it stands for.
    Facts(Vec<(String, String)>),
    /// A table.
    Table(Table),
    /// A picture.
    Picture(Drawn),
    /// Lines to write on, each with what is to be written.
    Lines(Vec<String>),
    /// What follows begins on a new sheet.
    NewSheet,
}

/// A table; its heading is repeated on every sheet.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// What it shows, in a sentence or two; empty if the heading before it says so.
    pub caption: String,
    /// Its columns; the first one names each row.
    pub columns: Vec<Column>,
    /// Its rows.
    pub rows: Vec<Row>,
}

/// A column of a table.
#[derive(Clone, Debug)]
pub struct Column {
    /// Its heading with the unit.
    pub heading: String,
    /// Words, which stand left and may be broken; numbers stand right.
    pub is_text: bool,
}

/// A row of a table.
#[derive(Clone, Debug)]
pub struct Row {
    /// A cell for each column.
    pub cells: Vec<String>,
    /// What is to be said of the row, below it; empty if nothing.
    pub remark: String,
    /// Whether it needs attention; such a row is bold.
    pub is_bold: bool,
}

impl Column {
    /// Of numbers.
    pub fn number(heading: impl Into<String>) -> Column {
        Column { heading: heading.into(), is_text: false }
    }

    /// Of words.
    pub fn text(heading: impl Into<String>) -> Column {
        Column { heading: heading.into(), is_text: true }
    }
}
