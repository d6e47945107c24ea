//! In: a store and a time. Out: a file with a picture of each kind of moves: settling time against the time of day.

use std::path::Path;

use jiff::tz::TimeZone;

use super::super::watched::{Watched, span, watched};
use crate::error::Error;
use crate::plot::figure::Figure;
use crate::plot::history::Chart;
use crate::report::{number, wall_time};
use crate::store::Store;
use crate::store::moments::KindMoments;
use stillpoint_core::Outcome;

/// Most kinds that are pictured.
const MOST: usize = 8;

/// Draws the moves of a time. Unit: µs since 1970, UTC
pub(super) fn draw(
    path: &Path,
    store: &Store,
    (axis, within): (Option<&str>, (i64, i64)),
    zone: &TimeZone,
) -> Result<(), Error> {
    let all = watched(store, axis, within)?;
    let mut figure = figure(&all, within, zone);
    figure.notes.extend(store.caution(&store.find_axes(axis)?)?.map(str::to_owned));
    Ok(figure.draw(path)?)
}

fn figure(all: &[Watched], within: (i64, i64), zone: &TimeZone) -> Figure<Chart> {
    let mut kinds: Vec<(&Watched, &KindMoments)> =
        all.iter().flat_map(|one| one.kinds.iter().map(move |kind| (one, kind))).collect();
    kinds.sort_by_key(|(_, kind)| std::cmp::Reverse(kind.moments.len()));
    let Some(span) = span(all, within, zone) else {
        return Figure { heading: "No moves in this time".to_owned(), ..Figure::default() };
    };
    let chart = |(axis, kind): &(&Watched, &KindMoments)| Chart {
        title: title(axis, kind),
        moments: kind.moments.clone(),
        span: span.clone(),
        unseen: axis.unseen.clone(),
    };
    let charts: Vec<Chart> = kinds.iter().take(MOST).map(chart).collect();
    let others = kinds.get(MOST..).unwrap_or_default();
    let of_others: usize = others.iter().map(|(_, kind)| kind.moments.len()).sum();
    let ends = kinds.iter().flat_map(|(_, kind)| kind.moments.iter().map(|one| one.at));
    let (first, last) = ends.fold((i64::MAX, i64::MIN), |(first, last), at| (first.min(at), last.max(at)));
    let [from, to] = [first, last].map(|at| wall_time::second(at, zone));
    let mut notes = vec![NOTE.to_owned()];
    if !others.is_empty() {
        let (kinds, moves) = (number::count(others.len(), "rarer kind"), number::count(of_others, "move"));
        notes.insert(0, format!("Not pictured: {kinds} with {moves}."));
    }
    Figure {
        heading: heading(&kinds),
        subject: format!("{from} to {to} ({}) · {}", wall_time::zone(zone), shown(charts.len(), kinds.len())),
        text: charts.iter().map(|chart| format!("{}: {}\n", chart.title, chart.sentence())).collect(),
        charts,
        notes,
    }
}

const NOTE: &str = "A dot is a settled move; dots that would cover each other are drawn once, the slowest and the fastest \
                    always. Moves in the band on top have no settling time.";

fn shown(shown: usize, all: usize) -> String {
    match (shown, all) {
        (1, 1) => "all of one kind".to_owned(),
        _ if shown == all => format!("{all} kinds of moves, the most frequent first"),
        _ => format!("the {shown} most frequent of {all} kinds of moves"),
    }
}

fn title(axis: &Watched, kind: &KindMoments) -> String {
    let kind = kind.kind.as_ref().map_or("moves of no known kind".to_owned(), |kind| kind.describe());
    format!("{}: {kind}", axis.name)
}

/// How many moves did not settle.
fn heading(kinds: &[(&Watched, &KindMoments)]) -> String {
    let moments = || kinds.iter().flat_map(|(_, kind)| &kind.moments);
    let count = |of: Outcome| moments().filter(|one| one.outcome == of).count();
    let mut parts =
        vec![format!("{} of {} settled", count(Outcome::Settled), number::count(moments().count(), "move"))];
    for of in [Outcome::Unsettled, Outcome::Interrupted, Outcome::Untrusted] {
        parts
            .extend(Some(count(of)).filter(|count| *count > 0).map(|count| format!("{count} {}", of.word())));
    }
    parts.join(", ")
}
