//! In: the path of a page and the page. Out: the file, in the format that the path names.

use std::path::Path;

use super::model::Page;
use super::paper::Paper;
use super::{html, pdf};
use crate::error::Error;

/// What a page can be written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// One file that needs nothing else: `.html` or `.htm`.
    Html,
    /// Tagged PDF: `.pdf`.
    Pdf,
}

impl Format {
    /// The format that the extension of `path` names, in capitals or not. Check before measuring, so that nobody waits for a
    /// page that can't be written.
    pub fn of(path: &Path) -> Result<Format, Error> {
        let extension = path.extension().map(|text| text.to_string_lossy().to_lowercase());
        match extension.as_deref() {
            Some("html" | "htm") => Ok(Format::Html),
            Some("pdf") => Ok(Format::Pdf),
            _ => Err(Error::Option {
                option: "--report".to_owned(),
                value: path.display().to_string(),
                wrong: "is no page that can be written".to_owned(),
                remedy: "the name must end in .html or .pdf".to_owned(),
            }),
        }
    }

    /// The bytes of the file.
    pub fn bytes(self, page: &Page, paper: Paper) -> Result<Vec<u8>, Error> {
        match self {
            Format::Html => html::html(page, paper).map(String::into_bytes),
            Format::Pdf => pdf::pdf(page, paper),
        }
    }
}

/// Writes the page into the file at `path`; an old file is replaced.
pub fn write(path: &Path, page: &Page, paper: Paper) -> Result<(), Error> {
    let bytes = Format::of(path)?.bytes(page, paper)?;
    std::fs::write(path, bytes)
        .map_err(|source| Error::Unwritable { file: path.display().to_string(), source })
}
