//! In: many moves of one kind, with their times. Out: what pictures of them have in common: where each stands, the band of
//! those without a settling time, and stretches without a move.

use jiff::tz::TimeZone;
use stillpoint_core::Outcome;

use super::canvas::{ASIDE, Anchor, Area, Canvas, Face, QUIET, Stroke};
use super::frame::Frame;
use super::outcome::{self, Style};
use super::scale::Tick;
use super::{dots, local_ticks, text_fit};
use crate::report::moment::Moment;
use crate::report::wall_time;

/// The time that all pictures of a figure show.
#[derive(Clone, Debug)]
pub struct Span {
    /// Unit: µs since 1970, UTC
    pub from: i64,
    /// Later than `from`. Unit: µs since 1970, UTC
    pub to: i64,
    /// The zone in which it is written.
    pub zone: TimeZone,
}

/// What was not seen of an axis.
#[derive(Clone, Debug, Default)]
pub struct Unseen {
    /// Stretches without a move of any kind. Unit: µs since 1970, UTC
    pub stretches: Vec<(i64, i64)>,
    /// When missing samples or frames were reported. Unit: µs since 1970, UTC
    pub missing: Vec<i64>,
}

/// Outcomes without a settling time, as they lie on each other above the frame.
const WITHOUT: [Outcome; 3] = [Outcome::Unsettled, Outcome::Interrupted, Outcome::Untrusted];
/// Height of the row of one outcome. Unit: pixel
const ROW: f64 = 16.0;
/// Distance of two marks in a row. Unit: pixel
const APART: f64 = 5.0;
/// Cells of which one dot is drawn. Unit: pixel
const CELL: f64 = 3.0;
/// The same in a figure of many moves.
const COARSE: f64 = 4.0;
/// Moves from which on a picture is of many.
const MANY: usize = 5_000;
const NAME: Face = Face { size: 11.0, ..ASIDE };
const LINE: Stroke = Stroke::solid("#bdbdbd", 0.8);
const MISSING: Stroke = Stroke::solid(QUIET, 1.6);

impl Span {
    /// The span of these instants, which need no order; an hour at least if there is only one.
    pub fn of(instants: impl Iterator<Item = i64>, zone: TimeZone) -> Option<Span> {
        let (from, to) = instants.fold(None, |ends: Option<(i64, i64)>, at| {
            Some(ends.map_or((at, at), |(from, to)| (from.min(at), to.max(at))))
        })?;
        // A little room, so that no mark lies on an edge.
        let room = ((to - from) / 100).max(if from == to { 1_800_000_000 } else { 1 });
        Some(Span { from: from.saturating_sub(room), to: to.saturating_add(room), zone })
    }

    /// What the axis of time shows.
    pub(super) fn label(&self) -> String {
        format!("local time at command end, zone {}", wall_time::zone(&self.zone))
    }

    /// About a tick for every 95 pixels.
    pub(super) fn ticks(&self, area: Area) -> Vec<Tick> {
        local_ticks::local_ticks((self.from, self.to), (area.width / 95.0) as usize, &self.zone)
    }
}

/// Unit: s
pub(super) fn seconds(at: i64) -> f64 {
    at as f64 * 1e-6
}

/// How many moves have each outcome that occurs among those without a settling time.
pub(super) fn without(moments: &[Moment]) -> Vec<(Outcome, usize)> {
    let count =
        |of: Outcome| moments.iter().filter(|one| one.settling_s.is_none() && one.outcome == of).count();
    WITHOUT.into_iter().map(|of| (of, count(of))).filter(|(_, count)| *count > 0).collect()
}

/// Height of the band of these. Unit: pixel
pub(super) fn band_height(rows: &[(Outcome, usize)]) -> f64 {
    if rows.is_empty() { 0.0 } else { ROW * rows.len() as f64 + 5.0 }
}

/// The moves without a settling time in rows above the frame, one row for each outcome: at their time, but at no height that
/// could be read as a settling time.
pub(super) fn band(canvas: &mut Canvas, frame: &Frame, moments: &[Moment]) {
    let rows = without(moments);
    let (left, right, top) = (frame.area.left, frame.area.right(), frame.area.top - band_height(&rows));
    for (row, (of, count)) in rows.iter().enumerate() {
        let y = top + ROW * (row as f64 + 0.5);
        canvas.line((left, y), (right, y), LINE);
        let places: Vec<(f64, f64)> = moments
            .iter()
            .filter(|one| one.settling_s.is_none() && one.outcome == *of)
            .map(|one| (frame.x(seconds(one.at)), y))
            .collect();
        outcome::style(*of).signs(canvas, &dots::thinned(&places, APART));
        canvas.text((left - 6.0, y + 4.0), Anchor::End, NAME, of.word());
        canvas.text((right + 6.0, y + 4.0), Anchor::Start, NAME, &count.to_string());
    }
}

/// A dot for every settled move not higher than the frame, as far as dots can be told from each other. `factor` leads from
/// seconds to the scale.
pub(super) fn settled(canvas: &mut Canvas, frame: &Frame, moments: &[Moment], (factor, look): (f64, Style)) {
    let top = frame.y.ends().1;
    let place = |one: &Moment| {
        let settling =
            one.settling_s.map(|settling| settling * factor).filter(|settling| *settling <= top)?;
        Some((frame.x(seconds(one.at)), frame.y(settling)))
    };
    let places: Vec<(f64, f64)> = moments.iter().filter_map(place).collect();
    let cell = if places.len() > MANY { COARSE } else { CELL };
    look.signs(canvas, &dots::thinned(&places, cell));
}

/// Where there was no move nothing is drawn, not even the grid, and it is said; marks below the frame where samples or frames
/// are missing.
pub(super) fn unseen(canvas: &mut Canvas, frame: &Frame, unseen: &Unseen) {
    let (left, right, top, bottom) =
        (frame.area.left, frame.area.right(), frame.area.top, frame.area.bottom());
    for (from, to) in &unseen.stretches {
        let [from, to] = [from, to].map(|at| frame.x(seconds(*at)).clamp(left, right));
        if to - from < 1.0 {
            continue;
        }
        canvas.shape(&[(from, top), (to, top), (to, bottom), (from, bottom)], "#fff");
        for x in [from, to] {
            canvas.line((x, top), (x, bottom), LINE.dashed("2 3"));
        }
        if to - from > text_fit::width("no moves", NAME.size) + 4.0 {
            canvas.text(((from + to) / 2.0, (top + bottom) / 2.0), Anchor::Middle, NAME, "no moves");
        }
    }
    let places: Vec<(f64, f64)> = unseen
        .missing
        .iter()
        .map(|at| (frame.x(seconds(*at)), bottom - 8.0))
        .filter(|(x, _)| (left..=right).contains(x))
        .collect();
    canvas.signs(&dots::thinned(&places, 3.0), "v8", "none", MISSING);
}
