//! In: lines of moves, one by one. Out: a table, JSON lines or CSV on stdout.

use std::io::{self, BufWriter, IsTerminal, StdoutLock, Write};

use crate::report::line::MoveLine;
use crate::report::printable::printable;
use crate::report::{csv, table};

/// One line on stderr, whatever it holds. If nobody can be told, that is no reason to stop.
pub(crate) fn tell(message: impl std::fmt::Display) {
    writeln!(io::stderr(), "{}", printable(&message.to_string())).ok();
}

/// How moves are told.
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

/// Where lines go.
pub(super) enum Output {
    /// Collected for the table.
    Table(Vec<MoveLine>),
    /// Straight out.
    Jsonl(BufWriter<StdoutLock<'static>>),
    /// Straight out.
    Csv(Box<csv::Writer<BufWriter<StdoutLock<'static>>>>),
    /// Nobody reads any more.
    Gone,
}

impl Output {
    /// Opens stdout in this form.
    pub(super) fn new(form: Form) -> io::Result<Output> {
        let out = || BufWriter::new(io::stdout().lock());
        Ok(match form {
            Form::Table => Output::Table(Vec::new()),
            Form::Jsonl => Output::Jsonl(out()),
            Form::Csv => Output::Csv(Box::new(csv::Writer::new(out())?)),
        })
    }

    /// The same for moves out of a store, whose kinds are told.
    pub(super) fn of_store(form: Form) -> io::Result<Output> {
        match form {
            Form::Csv => {
                let out = BufWriter::new(io::stdout().lock());
                Ok(Output::Csv(Box::new(csv::Writer::with_kinds(out)?)))
            }
            form => Output::new(form),
        }
    }

    /// Takes one move.
    pub(super) fn take(&mut self, line: &MoveLine) -> io::Result<()> {
        match self {
            Output::Table(lines) => lines.push(line.clone()),
            Output::Jsonl(out) => {
                serde_json::to_writer(&mut *out, line)?;
                out.write_all(b"\n")?;
                // Whoever reads along sees each move at once.
                out.flush()?;
            }
            Output::Csv(rows) => rows.take(line)?,
            Output::Gone => {}
        }
        Ok(())
    }

    /// Whoever read has gone; what follows is dropped.
    pub(super) fn leave(&mut self) {
        *self = Output::Gone;
    }

    /// Prints what has waited.
    pub(super) fn finish(self) -> io::Result<()> {
        match self {
            Output::Table(lines) => {
                let terminal = io::stdout().is_terminal();
                let colour = terminal && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
                let width = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
                let width = width.or_else(|| terminal.then(width_of_terminal).flatten());
                io::stdout().write_all(table::table(&lines, colour, width).as_bytes())
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
