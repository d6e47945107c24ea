//! In: a move and one of its columns. Out: the text of the cell, in every table for people.

use super::field::{Column, Decimals, Field, Value};
use super::move_report::{MoveReport, stored_fields};
use super::number;
use super::printable::printable;

/// A field that tables show, with its column.
#[derive(Clone, Copy, Debug)]
pub struct TableField {
    /// The field.
    pub field: &'static Field<MoveReport>,
    /// Its column.
    pub column: Column,
}

/// The columns of a table of these moves, in their order. A signature, a job or a kind that no move
/// has is not shown, since it would only be a column of dashes.
pub fn columns(moves: &[&MoveReport]) -> Vec<TableField> {
    let shown = stored_fields().filter_map(|field| Some(TableField { field, column: field.column? }));
    let is_known = |shown: &TableField| {
        let is_empty = |value| matches!(value, Value::Text(None) | Value::Whole(None));
        !moves.iter().all(|report| is_empty((shown.field.value)(report)))
    };
    shown.filter(is_known).collect()
}

/// The text of a cell, safe to print; none without a value. Lengths resolve one feedback count with `count_decimals`.
pub fn cell(shown: &TableField, report: &MoveReport, count_decimals: usize) -> Option<String> {
    match (shown.field.value)(report) {
        Value::Text(text) => text.map(printable),
        Value::Whole(number) => number.map(|number| number.to_string()),
        Value::Number(number) => Some(match shown.column.decimals {
            Decimals::Plain => number::plain(number?),
            Decimals::Seconds => number::fixed(number?, 3),
            Decimals::Uncertainty => number::milliseconds(number?, report.settling_u_s),
            Decimals::Milliseconds => number::milliseconds_beside(number?, report.settling_u_s),
            Decimals::Count => number::fixed(number?, count_decimals),
            Decimals::Mean => number::fixed(number?, count_decimals + 1),
        }),
        Value::Curve(_) => None,
    }
}
