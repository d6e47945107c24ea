//! In: a comparison and its groups. Out: the page of it.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::charts;
use crate::analysis::comparison::Margin;
use crate::error::Error;
use crate::page::about;
use crate::page::comparison::{self, Comparison};
use crate::page::model::Page;
use crate::plot::Drawn;
use crate::report::compare::ladder::KindLadder;
use crate::report::compare::table::Heading;
use crate::report::compare::{Basis, Compared, Group};
use crate::report::kind_moves::KindMoves;
use crate::report::move_report::MoveReport;
use crate::report::number::plain;
use crate::report::table;

/// Width of a picture. Unit: pixel
const WIDTH: f64 = 900.0;

/// The page with all that was compared, its settings and its recordings.
pub(super) fn page(
    groups: &[Group],
    basis: &Basis,
    (compared, kinds, heading): (&Compared, &[KindMoves], &Heading),
    (answer, ladders): (String, &[KindLadder]),
) -> Result<Page, Error> {
    let made = about::instant(Timestamp::now(), &TimeZone::system());
    let charts = charts(compared, kinds, heading);
    let pictures = charts.iter().enumerate().map(|(at, chart)| chart.alone(WIDTH, &format!("curve{at}")));
    let files: Vec<(&str, Vec<String>)> =
        groups.iter().map(|group| (group.name.as_str(), group.files.clone())).collect();
    Ok(comparison::page(&Comparison {
        compared,
        heading,
        answer,
        ladders,
        settings: settings(basis, heading, &made),
        cautions: groups.iter().flat_map(cautions).collect(),
        pictures: pictures.collect::<Vec<Drawn>>(),
        recordings: about::recordings(&files)?,
        made,
    }))
}

/// What the recordings of a group and its moves were noticed for.
fn cautions(group: &Group) -> Vec<String> {
    let moves: Vec<&MoveReport> = group.moves.iter().collect();
    let reasons = table::reasons(&moves).into_iter().map(|reason| format!("{}, {reason}", group.name));
    group.cautions.iter().cloned().chain(reasons).collect()
}

fn settings(basis: &Basis, heading: &Heading, made: &str) -> Vec<(String, String)> {
    let margin = match basis.terms.margin {
        Margin::Time(0.0) => "none: every change that is shown counts".to_owned(),
        Margin::Time(time) => format!("{} ms; a smaller change does not matter", plain(1e3 * time)),
        Margin::Share(share) => {
            format!("{} % of the median before; a smaller change does not matter", plain(100.0 * share))
        }
    };
    // A store does not say how often its monitor samples.
    let sample_period = match basis.sample_period_s > 0.0 {
        true => format!("{} ms", plain(1e3 * basis.sample_period_s)),
        false => "that of the monitor".to_owned(),
    };
    let facts = [
        ("Position window", heading.window.clone()),
        ("Settling", heading.definition.clone()),
        ("Margin", margin),
        ("Confidence", format!("{} % for each interval", plain(100.0 * basis.terms.confidence))),
        ("Encoder step", format!("{} {}", plain(basis.encoder_step), basis.unit)),
        ("Sample period", sample_period),
        ("Measured with", about::program()),
        ("Page made", made.to_owned()),
    ];
    facts.map(|(name, value)| (name.to_owned(), value)).to_vec()
}
