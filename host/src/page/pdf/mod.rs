//! In: a page. Out: the bytes of a PDF: fonts in it, tagged for screen readers, with alternative text for pictures.
//!
//! ```text
//! page ► layout (what stands where, and the tree of tags) ► paint (every sheet) ► bytes
//! ```
//! By PDF/UA-1 (ISO 14289-1), as far as the library checks it.

mod font;
mod sheets;
mod table;
mod layout;
mod picture;
mod paint;

use super::model::Page;
use super::paper::Paper;
use crate::error::Error;

/// The page as PDF.
pub(super) fn pdf(page: &Page, paper: Paper) -> Result<Vec<u8>, Error> {
    let fonts = font::Fonts::new()?;
    let laid = layout::laid(page, paper, &fonts);
    paint::painted(&laid, page, paper, &fonts)
}

/// Why there is no PDF.
fn failed(reason: impl std::fmt::Display) -> Error {
    Error::Picture(format!("the page can't be written as PDF: {reason}; write it as .html instead").into())
}
