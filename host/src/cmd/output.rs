//! In: reports of moves, one by one. Out: a table, JSON lines or CSV on stdout.

use std::io::{self, BufWriter, IsTerminal, StdoutLock, Write};

use crate::report::move_report::MoveReport;
use crate::report::printable::printable;
use crate::report::{csv, table};

/// Writes one line to stderr, whatever it holds. An error there is no reason to stop.
pub(crate) fn tell(message: impl std::fmt::Display) {
    writeln!(io::stderr(), "{}", printable(&message.to_string())).ok();
}

/// How moves are printed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Form {
    /// For people; printed when all is read.
    #[default]
    Table,
    /// One JSON object per line, each as soon as it is known.
    Jsonl,
    /// Comma-separated, the same fields.
    Csv,
}

/// Where reports go.
pub(super) enum Output {
    /// Collected for the table.
    Table(Vec<MoveReport>),
    /// Straight out.
    Jsonl(BufWriter<StdoutLock<'static>>),
    /// Straight out.
    Csv(Box<csv::Writer<MoveReport, BufWriter<StdoutLock<'static>>>>),
    /// The reader has gone.
    Gone,
}

impl Output {
    /// Opens stdout in this form.
    pub(super) fn new(form: Form) -> io::Result<Output> {
        let out = || BufWriter::new(io::stdout().lock());
        Ok(match form {
            Form::Table => Output::Table(Vec::new()),
            Form::Jsonl => Output::Jsonl(out()),
            Form::Csv => Output::Csv(Box::new(csv::Writer::of_moves(out())?)),
        })
    }

    /// The same for moves out of a store, with their kinds.
    pub(super) fn of_store(form: Form) -> io::Result<Output> {
        match form {
            Form::Csv => {
                let out = BufWriter::new(io::stdout().lock());
                Ok(Output::Csv(Box::new(csv::Writer::of_stored_moves(out)?)))
            }
            form => Output::new(form),
        }
    }

    /// Prints one move; a table waits for the end.
    pub(super) fn write(&mut self, report: &MoveReport) -> io::Result<()> {
        match self {
            Output::Table(reports) => reports.push(report.clone()),
            Output::Jsonl(out) => {
                serde_json::to_writer(&mut *out, report)?;
                out.write_all(b"\n")?;
                // A program that reads along gets each move at once.
                out.flush()?;
            }
            Output::Csv(rows) => rows.write(report)?,
            Output::Gone => {}
        }
        Ok(())
    }

    /// The reader of stdout has gone; further moves are dropped.
    pub(super) fn close(&mut self) {
        *self = Output::Gone;
    }

    /// Prints the table, or what is still buffered.
    pub(super) fn finish(self) -> io::Result<()> {
        match self {
            Output::Table(reports) => {
                let terminal = io::stdout().is_terminal();
                let colour = terminal && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
                let width = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
                let width = width.or_else(|| terminal.then(width_of_terminal).flatten());
                io::stdout().write_all(table::table(&reports, colour, width).as_bytes())
            }
            Output::Jsonl(mut out) => out.flush(),
            Output::Csv(rows) => rows.finish(),
            Output::Gone => Ok(()),
        }
    }
}

/// Unit: characters
fn width_of_terminal() -> Option<usize> {
    terminal_size::terminal_size().map(|(width, _)| usize::from(width.0))
}
