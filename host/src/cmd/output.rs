//! In: moves, one by one. Out: a table, JSON lines or CSV on stdout; notes on stderr.

use std::io::{self, BufWriter, IsTerminal, StdoutLock, Write};

use crate::report::move_report::MoveReport;
use crate::report::printable::{printable, printable_lines};
use crate::report::{csv, json, table};

/// Writes one line to stderr, with unprintable characters replaced. A closed stderr is ignored.
pub(crate) fn notify(message: impl std::fmt::Display) {
    writeln!(io::stderr(), "{}", printable(&message.to_string())).ok();
}

/// Writes lines to stderr, each with its unprintable characters replaced.
pub(crate) fn notify_lines(message: impl std::fmt::Display) {
    message.to_string().trim_end().lines().for_each(notify);
}

/// Writes text of any number of lines to stdout, with unprintable characters replaced.
pub(super) fn print(text: &str) -> io::Result<()> {
    io::stdout().write_all(printable_lines(text).as_bytes())
}

/// The same on a terminal that is cleared first, from its upper left corner on.
pub(super) fn redraw(text: &str) -> io::Result<()> {
    let mut out = io::stdout().lock();
    write!(out, "\x1b[H\x1b[J{}", printable_lines(text))?;
    out.flush()
}

/// Writes each value as a line of JSON to stdout; a reader of the pipe gets them at once.
pub(super) fn print_json<T: serde::Serialize>(values: &[T]) -> io::Result<()> {
    let mut out = BufWriter::new(io::stdout().lock());
    values.iter().try_for_each(|value| json::write(value, &mut out))?;
    out.flush()
}

/// Output format of a command.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum OutputFormat {
    /// For people; printed at the end.
    #[default]
    Table,
    /// One JSON object per line; each printed at once.
    Jsonl,
    /// Comma-separated values, the same fields.
    Csv,
}

/// How one result is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Form {
    /// For people.
    Table,
    /// One JSON object.
    Json,
}

/// Destination of moves.
pub(super) enum Output {
    /// Collected until the end.
    Table(Vec<MoveReport>),
    /// Written at once.
    Jsonl(BufWriter<StdoutLock<'static>>),
    /// Written at once.
    Csv(Box<csv::Writer<MoveReport, BufWriter<StdoutLock<'static>>>>),
    /// Nothing more is written.
    Closed,
}

impl Output {
    /// Opens stdout in this format.
    pub(super) fn new(format: OutputFormat) -> io::Result<Output> {
        let out = || BufWriter::new(io::stdout().lock());
        Ok(match format {
            OutputFormat::Table => Output::Table(Vec::new()),
            OutputFormat::Jsonl => Output::Jsonl(out()),
            OutputFormat::Csv => Output::Csv(Box::new(csv::Writer::of_moves(out())?)),
        })
    }

    /// Opens stdout for moves from a store, which have a kind.
    pub(super) fn for_store(format: OutputFormat) -> io::Result<Output> {
        match format {
            OutputFormat::Csv => {
                let out = BufWriter::new(io::stdout().lock());
                Ok(Output::Csv(Box::new(csv::Writer::of_stored_moves(out)?)))
            }
            format => Output::new(format),
        }
    }

    /// Writes or collects one move.
    pub(super) fn write(&mut self, report: &MoveReport) -> io::Result<()> {
        match self {
            Output::Table(reports) => reports.push(report.clone()),
            Output::Jsonl(out) => {
                json::write(report, out)?;
                // A reader of the pipe gets each move at once.
                out.flush()?;
            }
            Output::Csv(rows) => rows.write(report)?,
            Output::Closed => {}
        }
        Ok(())
    }

    /// Drops the following moves, because the reader of stdout has closed it.
    pub(super) fn close(&mut self) {
        *self = Output::Closed;
    }

    /// Prints the collected moves and flushes.
    pub(super) fn finish(self) -> io::Result<()> {
        match self {
            Output::Table(reports) => {
                let terminal = io::stdout().is_terminal();
                let colour = terminal && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
                let width = given_width().or_else(|| terminal.then(width_of_terminal).flatten());
                io::stdout().write_all(table::table(&reports, colour, width).as_bytes())
            }
            Output::Jsonl(mut out) => out.flush(),
            Output::Csv(rows) => rows.finish(),
            Output::Closed => Ok(()),
        }
    }
}

/// Width of tables: that of the terminal, or 80. Unit: characters
pub(super) fn width() -> usize {
    let of_terminal = || io::stdout().is_terminal().then(width_of_terminal).flatten();
    given_width().or_else(of_terminal).unwrap_or(80)
}

/// Unit: characters
fn given_width() -> Option<usize> {
    std::env::var("COLUMNS").ok()?.parse().ok()
}

/// Unit: characters
fn width_of_terminal() -> Option<usize> {
    terminal_size::terminal_size().map(|(width, _)| usize::from(width.0))
}
