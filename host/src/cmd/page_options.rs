//! In: options of a page to be handed over. Out: where it is written and on which paper.

use std::path::PathBuf;

use clap::Args;

use crate::error::Error;
use crate::page::file::{self, Format};
use crate::page::model::Page;
use crate::page::paper::Paper;

#[derive(Args)]
#[command(next_help_heading = "Page")]
pub(super) struct PageOptions {
    /// Write the result as a page to be printed and handed over; the name ends in .html or .pdf
    #[arg(long, value_name = "FILE")]
    pub(super) report: Option<PathBuf>,
    /// Paper for which the page is laid out
    #[arg(long, value_enum, default_value = "a4", requires = "report")]
    paper: Paper,
}

impl PageOptions {
    /// Refuses a name that can't be written, before anything is measured.
    pub(super) fn check(&self) -> Result<(), Error> {
        self.report.as_deref().map_or(Ok(()), |path| Format::of(path).map(|_| ()))
    }

    /// Writes the page, if one is wished.
    pub(super) fn write(&self, page: impl FnOnce() -> Result<Page, Error>) -> Result<(), Error> {
        let Some(path) = &self.report else { return Ok(()) };
        file::write(path, &page()?, self.paper)
    }
}
