//! In: what a page says. Out: the page as a file: HTML that needs nothing else, or PDF.
//!
//! ```text
//! moves, verdicts, pictures ► sign_off … : the page as data ► html, or pdf: font ► layout ► paint
//! ```
//! Both writers say the same in the same order, and nothing by colour alone, so that a page can be printed, copied and
//! signed. A test compares the text of both.

// What a page is made of.
pub mod model;
pub mod paper;
mod text;

// How it is written.
pub mod plain;
mod html;
mod pdf;
pub mod file;

// What is said.
pub mod about;
pub mod sign_off;
pub mod comparison;
pub mod window;
