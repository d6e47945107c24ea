//! In: the trends of a store. Out: a file with a picture of each: the trend over the moves it was found from.

use std::path::Path;

use jiff::tz::TimeZone;

use super::super::watched::{Watched, span, watched};
use super::{Found, LineSource, Query};
use crate::error::Error;
use crate::plot::course::Chart;
use crate::plot::figure::Figure;
use crate::plot::moments::Span;
use crate::report::trend::{TrendLine, table};
use crate::report::{number, wall_time};
use crate::store::moments::KindMoments;

/// Most kinds that are pictured.
const MOST: usize = 8;
const NOTE: &str = "Dots are settled moves, those that would cover each other drawn once; moves in the band on top have no \
                    settling time. The trend is found from intervals, not from single moves. Its grey wedge is the 95 % \
                    interval of the slope, turned about the middle of the stretch; it is no interval of the level.";

/// Draws the trends.
pub(super) fn draw(path: &Path, query: &Query, found: &Found, zone: &TimeZone) -> Result<(), Error> {
    let all = watched(query.store, query.axis.as_deref(), query.within)?;
    let span = span(&all, query.within, zone);
    let mut charts: Vec<Chart> = found
        .lines
        .iter()
        .zip(&found.sources)
        .filter_map(|(line, source)| chart(line, source, &all, span.as_ref()?))
        .collect();
    charts.sort_by_key(|chart| std::cmp::Reverse(chart.moments.len()));
    let text = table::table(&found.lines, zone);
    let mut notes = vec![NOTE.to_owned()];
    let axes = query.store.find_axes(query.axis.as_deref())?;
    notes.extend(query.store.caution(&axes)?.map(str::to_owned));
    if let Some(omitted) = charts.len().checked_sub(MOST).filter(|omitted| *omitted > 0) {
        notes
            .insert(0, format!("Not pictured: {}; the table has all.", number::count(omitted, "rarer kind")));
        charts.truncate(MOST);
    }
    let heading = match text.lines().next().filter(|_| !charts.is_empty()) {
        Some(first) => sentence(first),
        None => "No kind has enough moves for a trend".to_owned(),
    };
    let kinds = number::count(charts.len(), "kind");
    let subject = format!("{kinds} of moves, the most frequent first; times in {}", wall_time::zone(zone));
    Ok(Figure { heading, subject, charts, notes, text }.draw(path)?)
}

fn chart(line: &TrendLine, source: &LineSource, all: &[Watched], span: &Span) -> Option<Chart> {
    let axis = all.iter().find(|one| one.known == source.known)?;
    let is_it = |of: &&KindMoments| match &of.kind {
        Some(kind) => kind.ids == source.kind.ids,
        None => source.kind.number() == 0,
    };
    let kind = axis.kinds.iter().find(is_it)?;
    Some(Chart {
        title: format!("{}: {}", axis.name, line.kind),
        line: line.clone(),
        warm_ups: source.warm_ups.clone(),
        moments: kind.moments.clone(),
        span: span.clone(),
        unseen: axis.unseen.clone(),
    })
}

/// With a capital letter.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}
