//! In: names and texts that would drive a terminal, a page or a spreadsheet, from every place from which text comes: a
//! monitor, recordings, their columns, stores, notes, options. Out: each byte that any command writes, looked at.
//!
//! Source of the characters: Unicode UAX #9 and the categories Cc, Zl, Zp; of the cells: OWASP ASVS 5, 1.2.10.

mod clean;
mod commands;
mod made;
mod ways_out;
#[path = "../compare/made.rs"]
mod recordings;
