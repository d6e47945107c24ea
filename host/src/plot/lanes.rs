//! In: how each axis settles now, its normal and its limit. Out: one picture with a lane for each of them.
//!
//! A lane begins at command end. The limit stands at the same place in all lanes, so that what crosses that line is late;
//! lanes without a limit have one scale in common, and no line.

use super::canvas::{ASIDE, Anchor, Area, Canvas, FAINT, INK, LABEL, QUIET, Stroke, TITLE};
use super::{Drawn, text_fit};
use crate::report::number::fixed;

/// An axis.
#[derive(Clone, Debug, Default)]
pub struct Lane {
    /// Its name.
    pub name: String,
    /// Its state, in a word or two.
    pub state: String,
    /// Whether a person must do something about it.
    pub needs_action: bool,
    /// The statistic of both times: `median` or `mean`.
    pub measure: String,
    /// How it settles now; none if it does not. Unit: s
    pub now_s: Option<f64>,
    /// How it settled when it was good. Unit: s
    pub normal_s: Option<f64>,
    /// The latest that it may settle. Unit: s
    pub limit_s: Option<f64>,
}

/// Height of a lane. Unit: pixel
const HEIGHT: f64 = 44.0;
/// Room above all lanes. Unit: pixel
const ABOVE: f64 = 58.0;
/// Room for names and for figures. Unit: pixel
const SIDES: (f64, f64) = (180.0, 205.0);
/// Where the limit stands. Unit: width of a lane
const LIMIT: f64 = 0.6;
const NORMAL: Stroke = Stroke::solid("#2f6690", 2.4).dashed("5 3");
const POST: Stroke = Stroke::solid(INK, 2.6);
const HATCH: Stroke = Stroke::solid("#b9b9b9", 0.8);

/// The picture; none without axes.
pub fn drawn(lanes: &[Lane], width: f64) -> Option<Drawn> {
    if lanes.is_empty() {
        return None;
    }
    let has_limit = lanes.iter().any(|lane| lane.limit_s.is_some());
    let title =
        if has_limit { "Settling now, against normal and limit" } else { "Settling now, against normal" };
    let title = title.to_owned();
    let height = ABOVE + HEIGHT * lanes.len() as f64 + 12.0;
    let mut canvas = Canvas::named("lanes");
    canvas.text((14.0, 20.0), Anchor::Start, TITLE, &title);
    legend(&mut canvas, has_limit);
    let without_limit = lanes.iter().filter(|lane| lane.limit_s.is_none());
    let longest = without_limit.flat_map(|lane| [lane.now_s, lane.normal_s]).flatten().fold(0.0, f64::max);
    for (at, lane) in lanes.iter().enumerate() {
        let top = ABOVE + HEIGHT * at as f64;
        let area = Area { left: SIDES.0, top, width: width - SIDES.0 - SIDES.1, height: HEIGHT - 12.0 };
        one(&mut canvas, lane, area, lane.limit_s.map_or(1.25 * longest, |limit| limit / LIMIT));
    }
    let description: Vec<String> = lanes.iter().map(sentence).collect();
    let description = description.join(". ");
    let svg = canvas.finish(width, height, &title, &description);
    Some(Drawn { title, description, size: (width, height), svg })
}

/// Unit: s
fn ms(seconds: Option<f64>) -> String {
    seconds.map_or("not known".to_owned(), |seconds| format!("{} ms", fixed(1e3 * seconds, 1)))
}

/// `median 41.2 ms`.
fn now(lane: &Lane) -> String {
    format!("{} {}", lane.measure, ms(lane.now_s)).trim().to_owned()
}

fn sentence(lane: &Lane) -> String {
    let limit = lane.limit_s.map_or(String::new(), |_| format!(", limit {}", ms(lane.limit_s)));
    format!("{}: {}, now {}, normal {}{limit}", lane.name, lane.state, now(lane), ms(lane.normal_s))
}

fn legend(canvas: &mut Canvas, has_limit: bool) {
    let mut x = SIDES.0;
    let mut entry = |canvas: &mut Canvas, stroke: Stroke, text: &str| {
        canvas.line((x, 38.0), (x + 26.0, 38.0), stroke);
        canvas.text((x + 32.0, 42.0), Anchor::Start, LABEL, text);
        x += 32.0 + text_fit::width(text, LABEL.size) + 18.0;
    };
    entry(canvas, Stroke::solid(INK, 8.0), "now");
    entry(canvas, NORMAL, "normal");
    if has_limit {
        entry(canvas, POST, "limit, at the same place for every axis");
    }
}

/// A lane that is `full` seconds wide.
fn one(canvas: &mut Canvas, lane: &Lane, area: Area, full: f64) {
    // What lies beyond the lane ends in an arrow.
    let x = |seconds: f64| {
        let place = if full > 0.0 { seconds / full } else { 0.0 };
        area.left + area.width * place.clamp(0.0, 1.0)
    };
    let (middle, bottom) = (area.top + area.height / 2.0, area.bottom());
    canvas.line((area.left, area.top), (area.left, bottom), Stroke::solid(QUIET, 1.0));
    canvas.line((area.left, bottom), (area.right(), bottom), Stroke::solid(FAINT, 1.0));
    if let Some(limit) = lane.limit_s {
        hatched(canvas, Area { left: x(limit), width: area.right() - x(limit), ..area });
    }
    if let Some(now) = lane.now_s {
        bar(canvas, (area.left, middle), x(now), now > full);
    }
    if let Some(normal) = lane.normal_s {
        // A white rim, so that it is seen on the bar.
        canvas.line((x(normal), area.top + 2.0), (x(normal), bottom), Stroke::solid("#fff", 5.0));
        canvas.line((x(normal), area.top + 2.0), (x(normal), bottom), NORMAL);
    }
    if let Some(limit) = lane.limit_s {
        canvas.line((x(limit), area.top - 6.0), (x(limit), bottom + 6.0), POST);
    }
    words(canvas, lane, area);
}

/// How it settles now, ending in an arrow where it goes on.
fn bar(canvas: &mut Canvas, (left, middle): (f64, f64), right: f64, goes_on: bool) {
    let end = if goes_on { right - 12.0 } else { right };
    let (top, bottom) = (middle - 6.0, middle + 6.0);
    canvas.shape(&[(left, top), (end, top), (end, bottom), (left, bottom)], INK);
    if goes_on {
        canvas.shape(&[(end, top - 4.0), (right, middle), (end, bottom + 4.0)], INK);
    }
}

/// Name and state left of the lane, the figures right of it.
fn words(canvas: &mut Canvas, lane: &Lane, area: Area) {
    let name = text_fit::shortened(&lane.name, LABEL.size, SIDES.0 - 30.0);
    let middle = area.top + area.height / 2.0;
    let state = if lane.needs_action { super::canvas::Face { bold: true, ..LABEL } } else { ASIDE };
    canvas.text((14.0, middle - 2.0), Anchor::Start, LABEL, &name);
    canvas.text((14.0, middle + 14.0), Anchor::Start, state, &lane.state);
    let right = area.right() + 14.0;
    let now = lane.now_s.map_or("does not settle".to_owned(), |_| now(lane));
    canvas.text((right, middle - 2.0), Anchor::Start, LABEL, &now);
    let limit = lane.limit_s.map_or(String::new(), |_| format!(", limit {}", ms(lane.limit_s)));
    let beside = format!("normal {}{limit}", ms(lane.normal_s).trim_end_matches(" ms"));
    let beside = text_fit::shortened(&beside, ASIDE.size, SIDES.1 - 16.0);
    canvas.text((right, middle + 14.0), Anchor::Start, ASIDE, &beside);
}

/// What lies beyond the limit is crossed by lines, as on a drawing.
fn hatched(canvas: &mut Canvas, area: Area) {
    let count = ((area.width + area.height) / 9.0).max(0.0) as usize;
    canvas.clipped(area, |canvas| {
        for x in (0..=count).map(|at| area.left + at as f64 * 9.0) {
            canvas.line((x, area.top), (x - area.height, area.bottom()), HATCH);
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lane(now_ms: f64, limit_ms: Option<f64>) -> Lane {
        Lane {
            name: "dibble <1>".to_owned(),
            state: "late".to_owned(),
            needs_action: true,
            measure: "median".to_owned(),
            now_s: Some(1e-3 * now_ms),
            normal_s: Some(0.012),
            limit_s: limit_ms.map(|limit| 1e-3 * limit),
        }
    }

    #[test]
    fn the_limit_stands_at_one_place_for_all() {
        assert!(drawn(&[], 900.0).is_none());
        let found = drawn(&[lane(20.0, Some(40.0)), lane(300.0, Some(60.0))], 900.0).unwrap();
        let left = SIDES.0 + LIMIT * (900.0 - SIDES.0 - SIDES.1);
        let post = format!("x2=\"{left}\"");
        assert_eq!(found.svg.matches(&post).count(), 2, "{}", found.svg);
        assert!(
            found.svg.contains("dibble &lt;1&gt;")
                && found.description.contains("now median 20.0 ms, normal 12.0 ms")
        );
        // Only the second goes on beyond its lane.
        let arrows = |svg: &str| svg.matches("fill=\"#1a1a1a\"/>").count();
        assert_eq!(arrows(&found.svg), 3);
        let without = drawn(&[lane(20.0, None), Lane::default()], 900.0).unwrap();
        assert!(!without.svg.contains("limit") && without.svg.contains("does not settle"), "{}", without.svg);
    }
}
