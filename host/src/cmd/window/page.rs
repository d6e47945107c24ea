//! In: windows of an axis and its recordings. Out: the page of them.

use std::path::PathBuf;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::super::recordings::Recorded;
use super::{DRAWN_KINDS, chart, shown};
use crate::error::Error;
use crate::page::about;
use crate::page::model::Page;
use crate::page::window::{self, WindowPage};
use crate::plot::Drawn;
use crate::report::kind_moves::KindMoves;
use crate::report::move_report::{MoveReport, definition_name};
use crate::report::number;
use crate::report::number::plain;
use crate::report::table;
use crate::report::window::{Basis, Choice, Windows, counts};

/// Width of a picture. Unit: pixel
const WIDTH: f64 = 900.0;

/// The page with all that was found, its settings and its recordings.
pub(super) fn page(
    files: &[PathBuf],
    recorded: &Recorded,
    (windows, kinds, basis): (&Windows, &[KindMoves], &Basis),
) -> Result<Page, Error> {
    let made = about::instant(Timestamp::now(), &TimeZone::system());
    let drawn = |(at, (kind, line))| chart(kind, line, basis).alone(WIDTH, &format!("curve{at}"));
    let pictures = shown(windows, kinds).into_iter().take(DRAWN_KINDS).enumerate().map(drawn);
    let moves = recorded.moves.as_slice();
    let names: Vec<&str> = moves.iter().map(|report| report.axis.as_str()).collect();
    let files = files.iter().map(|file| file.display().to_string()).collect();
    Ok(window::page(&WindowPage {
        name: about::listed(&names, "recordings"),
        windows,
        basis,
        settings: settings(moves, basis, &made),
        cautions: cautions(recorded, basis),
        pictures: pictures.collect::<Vec<Drawn>>(),
        recordings: about::recordings(&[("", files)])?,
        made,
    }))
}

/// What was noticed of the recordings, how many moves say nothing, and the reasons of the moves where they are about the
/// window that was asked for.
fn cautions(recorded: &Recorded, basis: &Basis) -> Vec<String> {
    let moves: Vec<&MoveReport> = recorded.moves.iter().collect();
    let others = moves.iter().filter(|report| !counts(report)).count();
    let others = (others > 0)
        .then(|| format!("untrusted and not counted: {others} of {}", number::count(moves.len(), "move")));
    let reasons = if matches!(basis.choice, Choice::Window(_)) { table::reasons(&moves) } else { Vec::new() };
    recorded.notes.iter().cloned().chain(others).chain(reasons).collect()
}

fn settings(moves: &[MoveReport], basis: &Basis, made: &str) -> Vec<(String, String)> {
    let first = moves.first();
    let time = first.map_or(String::new(), |report| format!("{} ms", plain(1e3 * report.window_time_s)));
    let facts = [
        ("Share of moves", format!("{} %", plain(100.0 * basis.wish.share))),
        ("Confidence", format!("{} %", plain(100.0 * basis.wish.confidence))),
        ("Settling", first.map_or(String::new(), |report| definition_name(report.definition).to_owned())),
        ("Window time", time),
        ("Moves", moves.len().to_string()),
        ("Encoder step", format!("{} {}", plain(basis.encoder_step), basis.unit)),
        ("Sample period", format!("{} ms", plain(1e3 * basis.sample_period_s))),
        ("Measured with", about::program()),
        ("Page made", made.to_owned()),
    ];
    let known = facts.into_iter().filter(|(_, value)| !value.is_empty());
    known.map(|(name, value)| (name.to_owned(), value)).collect()
}
