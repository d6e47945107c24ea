//! In: a row as it lies in the file. Out: of which table it is, and whether it is what was written.
//!
//! A row is recognised by its shape: the number and the types of its values, in the order in which SQLite stores them. A
//! frame must have the checksum of its sender and the numbers of its own header, and so must the frame in a row of moves
//! or settings. Other rows must fit their digest; those of a version without digests can't be checked.

use rusqlite::types::{Value, ValueRef};
use stillpoint_core::wire::message::Message;

use super::cells::Cell;
use super::digest::{self, digest};
use super::frame::StoredFrame;
use super::sketch::{Bins, Sketch};
use super::summary::SPANS;

/// A row that was recognised.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Found {
    Frame(FoundFrame),
    Row(FoundRow),
    /// It is of this table, but not what was written.
    Damaged(&'static str),
}

/// A frame whose checksum is right, and which agrees with the row that it lay in.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct FoundFrame {
    pub(super) device: i64,
    pub(super) body: Vec<u8>,
    pub(super) from: FrameSource,
}

/// The row that a frame lay in. Unit: µs since 1970, UTC
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FrameSource {
    /// The row of the frame, which says when it came.
    Frame(i64),
    /// The row of a move, which says when its command ended.
    Move(i64),
    /// A row of settings.
    Settings,
}

/// A row of a table that can't be made again.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct FoundRow {
    pub(super) shape: &'static Shape,
    /// As many of the columns of the shape as it has.
    pub(super) values: Vec<Value>,
    pub(super) digest: Option<Vec<u8>>,
}

/// The shape of the rows of a table.
#[derive(Debug, PartialEq)]
pub(super) struct Shape {
    pub(super) table: &'static str,
    /// The columns as they are stored.
    pub(super) columns: &'static [&'static str],
    /// Types of the values: `i` integer, `t` text, `b` bytes, `r` real; in capitals: or null.
    types: &'static str,
    /// How many of the columns the first version of the table had.
    least: usize,
    /// Rows have numbers; if the first column is `id`, it is that number.
    is_numbered: bool,
}

/// The tables that are copied, besides the frames.
pub(super) static SHAPES: [Shape; 7] = [
    Shape {
        table: "devices",
        columns: &["id", "number", "generation", "board", "firmware", "ticks_per_second"],
        types: "ibiTTI",
        least: 6,
        is_numbered: true,
    },
    Shape {
        table: "boots",
        columns: &[
            "device",
            "boot",
            "ticks_per_second",
            "epoch_us",
            "epoch_from",
            "whole_from",
            "gone_before",
        ],
        types: "iiiitii",
        least: 6,
        is_numbered: false,
    },
    Shape {
        table: "axes",
        columns: &["device", "axis", "name", "unit", "counts_per_unit", "window", "source"],
        types: "iittrRt",
        least: 7,
        is_numbered: false,
    },
    Shape {
        table: "shifts",
        columns: &["name", "since_us", "until_us"],
        types: "tii",
        least: 3,
        is_numbered: true,
    },
    Shape { table: "marks", columns: &["name", "value"], types: "ti", least: 2, is_numbered: false },
    Shape {
        table: "journal",
        columns: &["id", "at_us", "who", "what", "text", "device", "axis", "boot", "priority", "sequence"],
        types: "iitttIIIII",
        least: 10,
        is_numbered: true,
    },
    Shape {
        table: "summaries",
        columns: &[
            "device",
            "axis",
            "span",
            "kind",
            "at_us",
            "settled",
            "unsettled",
            "interrupted",
            "untrusted",
            "sum_ns",
            "min_ns",
            "max_ns",
            "p50_ns",
            "p95_ns",
            "sketch",
            "rests_ns",
        ],
        types: "iiiiiiiiiiIIIIbI",
        least: 15,
        is_numbered: false,
    },
];

/// Of which table a row is; none if of none that is copied.
pub(super) fn recognise(cell: Cell) -> Option<Found> {
    if cell.row.is_none()
        && let [Value::Integer(device), .., Value::Blob(body)] = cell.values.as_slice()
        && let Some(found) = of_frame(*device, &cell.values, body)
    {
        return Some(found);
    }
    SHAPES.iter().find_map(|shape| shape.of(&cell))
}

/// A row that ends with a frame.
fn of_frame(device: i64, values: &[Value], body: &[u8]) -> Option<Found> {
    let whole = |place: usize| match values.get(place) {
        Some(Value::Integer(number)) => Some(*number),
        _ => None,
    };
    let frame = StoredFrame::new(device, 0, body);
    let (boot, sequence) = match &frame {
        Some(frame) => (i64::from(frame.frame.header.boot), i64::from(frame.frame.header.sequence)),
        None => (-1, -1),
    };
    let (table, from, fits) = match (values.len(), frame.as_ref().and_then(StoredFrame::message)) {
        (6, _) => {
            let priority = frame.as_ref().map(|frame| frame.frame.header.priority as i64);
            let fits = whole(1) == Some(boot) && whole(2) == priority && whole(3) == Some(sequence);
            ("frames", FrameSource::Frame(whole(4)?), fits)
        }
        (5, Some(Message::Settings(settings))) => {
            let fits = [Some(i64::from(settings.axis)), Some(boot), Some(sequence)] == [1, 2, 3].map(whole);
            ("settings", FrameSource::Settings, fits)
        }
        // Older versions had fewer columns between the numbers and the frame.
        (10.., Some(Message::Move(wire))) => {
            let key = [i64::from(wire.axis), boot, i64::from(wire.number), sequence];
            ("moves", FrameSource::Move(whole(2)?), key.map(Some) == [1, 3, 4, 5].map(whole))
        }
        _ => return None,
    };
    Some(match fits && frame.is_some() && device > 0 {
        true => Found::Frame(FoundFrame { device, body: body.to_vec(), from }),
        false => Found::Damaged(table),
    })
}

impl Shape {
    fn of(&'static self, cell: &Cell) -> Option<Found> {
        if cell.row.is_some() != self.is_numbered {
            return None;
        }
        let (values, digest) = match cell.values.split_at_checked(self.columns.len()) {
            Some((values, [])) => (values, None),
            Some((values, [Value::Null])) => (values, None),
            Some((values, [Value::Blob(digest)])) if digest.len() == digest::LENGTH => {
                (values, Some(digest.clone()))
            }
            None if cell.values.len() >= self.least => (cell.values.as_slice(), None),
            _ => return None,
        };
        let mut values = values.to_vec();
        if let (Some(&"id"), Some(id), Some(row)) = (self.columns.first(), values.first_mut(), cell.row) {
            *id = Value::Integer(row);
        }
        let fits = values.iter_mut().zip(self.types.chars()).all(|(value, kind)| is_of(value, kind));
        let row = FoundRow { shape: self, values, digest };
        if !fits || !row.is_plausible() {
            return None;
        }
        Some(if row.is_sound() { Found::Row(row) } else { Found::Damaged(self.table) })
    }
}

/// Whether a value is of a type. SQLite stores a real without decimals as an integer.
fn is_of(value: &mut Value, kind: char) -> bool {
    if let (Value::Integer(number), 'r' | 'R') = (&*value, kind) {
        *value = Value::Real(*number as f64);
    }
    match value {
        Value::Null => kind.is_ascii_uppercase(),
        Value::Integer(_) => kind.eq_ignore_ascii_case(&'i'),
        Value::Real(_) => kind.eq_ignore_ascii_case(&'r'),
        Value::Text(_) => kind.eq_ignore_ascii_case(&'t'),
        Value::Blob(_) => kind.eq_ignore_ascii_case(&'b'),
    }
}

impl FoundRow {
    pub(super) fn whole(&self, place: usize) -> Option<i64> {
        match self.values.get(place) {
            Some(Value::Integer(number)) => Some(*number),
            _ => None,
        }
    }

    fn text(&self, place: usize) -> &str {
        match self.values.get(place) {
            Some(Value::Text(text)) => text,
            _ => "",
        }
    }

    /// Tells rows apart that have the same shape in other tables and indexes.
    fn is_plausible(&self) -> bool {
        match self.shape.table {
            "summaries" => SPANS.contains(&self.whole(2).unwrap_or(0)),
            "boots" => ["device", "arrival", "replay", "rescue"].contains(&self.text(4)),
            "marks" if self.digest.is_none() => {
                ["horizon_us", "arrived_us"].contains(&self.text(0)) || self.text(0).starts_with("note ")
            }
            _ => true,
        }
    }

    /// Whether it fits its digest. The digests of the journal form a chain, which is followed when all lines are there.
    fn is_sound(&self) -> bool {
        match (&self.digest, self.shape.table) {
            (_, "journal") => true,
            (None, "summaries") => self.agrees_with_itself(),
            (None, _) => true,
            (Some(written), table) => {
                let name = ValueRef::Text(table.as_bytes());
                let values = self.values.iter().map(ValueRef::from);
                digest(std::iter::once(name).chain(values))[..] == written[..]
            }
        }
    }

    /// Whether the counts and times of a summary are those of its sketch.
    fn agrees_with_itself(&self) -> bool {
        let Some(Value::Blob(sketch)) = self.values.get(14) else { return false };
        let Some(sketch) = Sketch::from_bytes(sketch) else { return false };
        let bins = Bins::default();
        let times = [self.whole(12), self.whole(13)];
        i64::try_from(sketch.count()).ok() == self.whole(5)
            && times == [0.5, 0.95].map(|share| sketch.quantile(&bins, share))
            && self.whole(10) <= self.whole(11)
            && (6..9).all(|place| self.whole(place) >= Some(0))
    }
}
