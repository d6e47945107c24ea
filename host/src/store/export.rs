//! In: a store and a time. Out: its moves or summaries as CSV; units stand in the names and in a column.

use std::io::Write;

use super::database::Store;
use super::moves::MoveQuery;
use super::summary::SPANS;
use super::{kind, time};
use crate::error::Error;
use crate::report::csv;

/// Names of the columns of summaries.
pub const SUMMARY: [&str; 14] = [
    "axis",
    "span_s",
    "kind",
    "at",
    "moves",
    "settled",
    "unsettled",
    "interrupted",
    "untrusted",
    "mean_s",
    "min_s",
    "max_s",
    "p50_s",
    "p95_s",
];

/// A summary as it is exported; a time is none if nothing settled.
#[derive(Clone, Debug, PartialEq)]
pub struct SummaryLine {
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

impl SummaryLine {
    fn row(&self) -> Vec<String> {
        let [settled, unsettled, interrupted, untrusted] = self.outcomes;
        let counts =
            [settled + unsettled + interrupted + untrusted, settled, unsettled, interrupted, untrusted];
        let mut row = vec![self.axis.clone(), self.span.to_string(), self.kind.to_string(), self.at.clone()];
        row.extend(counts.map(|count| count.to_string()));
        row.extend(self.settling.map(|time| time.map(|time| time.to_string()).unwrap_or_default()));
        row
    }
}

impl Store {
    /// Writes moves as CSV, the rows of `moves --format csv`. Returns how many.
    pub fn export_moves(&self, query: &MoveQuery, out: impl Write) -> Result<u64, Error> {
        let (mut rows, mut count) = (csv::Writer::with_kinds(out)?, 0);
        self.moves(query, &mut |line| {
            count += 1;
            Ok(rows.take(line)?)
        })?;
        rows.finish()?;
        Ok(count)
    }

    /// Writes summaries as CSV. Returns how many.
    pub fn export_summaries(&self, query: &MoveQuery, out: impl Write) -> Result<u64, Error> {
        let mut count = 0;
        let mut rows = ::csv::Writer::from_writer(out);
        let wrong = |error: ::csv::Error| Error::from(std::io::Error::other(error));
        rows.write_record(SUMMARY).map_err(wrong)?;
        self.summary_lines(query, &mut |line| {
            count += 1;
            rows.write_record(line.row()).map_err(wrong)
        })?;
        rows.flush()?;
        Ok(count)
    }

    /// Hands out the summaries of all kinds together, axis by axis, the short intervals first.
    pub fn summary_lines(
        &self,
        query: &MoveQuery,
        out: &mut dyn FnMut(&SummaryLine) -> Result<(), Error>,
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
                    out(&SummaryLine {
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
