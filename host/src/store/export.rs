//! In: a store and a time. Out: its moves or summaries as CSV; units stand in the names and in a column.

use std::io::Write;

use super::database::Store;
use super::moves::MoveQuery;
use super::summary::SPANS;
use super::{kind, time};
use crate::error::Error;
use crate::report::csv;
use crate::report::field::{Field, FieldType, Form, Value};

/// A summary as it is exported; a time is none if nothing settled.
#[derive(Clone, Debug, PartialEq)]
pub struct SummaryRow {
    /// Name of the axis.
    pub axis: String,
    /// Length of the interval. Unit: s
    pub span: i64,
    /// Kind of its moves; −1 all kinds together.
    pub kind: i64,
    /// Beginning of the interval, RFC 3339, UTC.
    pub at: String,
    /// Moves by outcome: settled, unsettled, interrupted, untrusted.
    pub outcomes: [i64; 4],
    /// Settling times: mean, shortest, longest, median, 95 % quantile. Unit: s
    pub settling: [Option<f64>; 5],
}

const fn field(
    name: &'static str,
    unit: &'static str,
    form: Form,
    meaning: &'static str,
    value: for<'a> fn(&'a SummaryRow) -> Value<'a>,
) -> Field<SummaryRow> {
    Field { name, unit, meaning, form, value, column: None }
}

/// The fields of a summary, in the order of their columns. A contract: append, never rename or move.
pub static SUMMARY_FIELDS: &[Field<SummaryRow>] = &[
    field("axis", "", Form::Text, "Name of the axis.", |row| row.axis.value()),
    field("span_s", "s", Form::Whole, "Length of the interval.", |row| row.span.value()),
    field("kind", "1", Form::Whole, "Kind of the moves; -1: all kinds together.", |row| row.kind.value()),
    field("at", "UTC", Form::Text, "Beginning of the interval, RFC 3339.", |row| row.at.value()),
    field("moves", "1", Form::Whole, "All moves.", |row| Value::Whole(Some(row.outcomes.iter().sum()))),
    field("settled", "1", Form::Whole, "Moves that settled.", |row| row.outcomes[0].value()),
    field("unsettled", "1", Form::Whole, "Moves outside the window at their end.", |row| {
        row.outcomes[1].value()
    }),
    field("interrupted", "1", Form::Whole, "Moves inside for too short a time.", |row| {
        row.outcomes[2].value()
    }),
    field("untrusted", "1", Form::Whole, "Moves with faults in their samples.", |row| {
        row.outcomes[3].value()
    }),
    field("mean_s", "s", Form::Number, "Mean settling time.", |row| row.settling[0].value()),
    field("min_s", "s", Form::Number, "Shortest settling time.", |row| row.settling[1].value()),
    field("max_s", "s", Form::Number, "Longest settling time.", |row| row.settling[2].value()),
    field("p50_s", "s", Form::Number, "Median settling time.", |row| row.settling[3].value()),
    field("p95_s", "s", Form::Number, "95 % quantile of the settling times.", |row| row.settling[4].value()),
];

impl Store {
    /// Writes moves as CSV, the rows of `moves --format csv`. Returns how many.
    pub fn export_moves(&self, query: &MoveQuery, out: impl Write) -> Result<u64, Error> {
        let (mut rows, mut count) = (csv::Writer::of_stored_moves(out)?, 0);
        self.moves(query, &mut |report| {
            count += 1;
            Ok(rows.write(report)?)
        })?;
        rows.finish()?;
        Ok(count)
    }

    /// Writes summaries as CSV. Returns how many.
    pub fn export_summaries(&self, query: &MoveQuery, out: impl Write) -> Result<u64, Error> {
        let (mut rows, mut count) = (csv::Writer::new(SUMMARY_FIELDS.iter().collect(), out)?, 0);
        self.summary_rows(query, &mut |row| {
            count += 1;
            Ok(rows.write(row)?)
        })?;
        rows.finish()?;
        Ok(count)
    }

    /// Hands out the summaries of all kinds together, axis by axis, the short intervals first.
    pub fn summary_rows(
        &self,
        query: &MoveQuery,
        out: &mut dyn FnMut(&SummaryRow) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let bins = Default::default();
        for known in self.find_axes(query.axis.as_deref())? {
            for span in SPANS {
                for summary in self.summaries(&known, (span, kind::ALL), (query.since, query.until))? {
                    let seconds = |time: Option<i64>| time.map(|time| time as f64 / 1e9);
                    let settled = summary.sketch.count();
                    let mean = (settled > 0).then(|| summary.sum as f64 / settled as f64 / 1e9);
                    let quantile = |share| seconds(summary.sketch.quantile(&bins, share));
                    let (least, most) = summary.range.unzip();
                    out(&SummaryRow {
                        axis: known.axis.name.clone(),
                        span,
                        kind: kind::ALL,
                        at: time::text(summary.at),
                        outcomes: summary.outcomes,
                        settling: [mean, seconds(least), seconds(most), quantile(0.5), quantile(0.95)],
                    })?;
                }
            }
        }
        Ok(())
    }
}
