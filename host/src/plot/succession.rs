//! In: moves in their order and a limit. Out: the picture of their settling times against it, one after the other.

use stillpoint_core::Outcome;

use super::canvas::{ASIDE, Anchor, Area, Canvas, INK, LABEL, QUIET, Stroke};
use super::frame::{self, Frame};
use super::outcome;
use super::scale::{self, Scale};
use super::{Drawn, caption, hatch, text_fit};
use crate::report::move_report::MoveReport;
use crate::report::{number, summary};

const HEIGHT: f64 = 300.0;
/// Room above the frame for title and legend. Unit: pixel
const ABOVE: f64 = 56.0;
const LIMIT: Stroke = Stroke::solid(INK, 2.6);
/// Between two recordings.
const BETWEEN: Stroke = Stroke::solid(QUIET, 1.0).dashed("2 4");
/// The strip on top for moves without a settling time. Unit: pixel
const STRIP: f64 = 16.0;
/// Room for one entry of the legend before its text. Unit: pixel
const SAMPLE: f64 = 18.0;
/// Up to so many moves the uncertainty of each can be seen.
const FEW: usize = 100;

/// The picture; `limit` in seconds.
pub(super) fn drawn(reports: &[&MoveReport], limit: f64, width: f64) -> Drawn {
    let (mut canvas, outer) =
        (Canvas::named("succession"), Area { left: 0.0, top: 0.0, width, height: HEIGHT });
    let title = "Settling time of each move".to_owned();
    caption::title(&mut canvas, outer, &title);
    let area = frame::inner(outer, ABOVE);
    let longest = reports.iter().filter_map(|report| report.settling_s).fold(1.3 * limit, f64::max);
    let (factor, unit) = scale::time_unit(longest);
    let frame = Frame {
        area,
        x: Scale::linear(0.5, reports.len() as f64 + 0.5),
        y: Scale::linear(0.0, 1.12 * longest * factor),
    };
    hatch::above(&mut canvas, &frame, limit * factor);
    frame.grid(&mut canvas);
    between(&mut canvas, &frame, reports);
    let y = frame.y(limit * factor);
    canvas.line((area.left, y), (area.right(), y), LIMIT);
    for (at, report) in (1..).zip(reports) {
        one(&mut canvas, &frame, f64::from(at), report, (limit, factor), reports.len());
    }
    frame.edges(&mut canvas, "move, in the order of the recordings", &format!("settling time ({unit})"));
    legend(&mut canvas, &frame, reports, limit);
    let description = description(reports, limit);
    let svg = canvas.finish(width, HEIGHT, &title, &description);
    Drawn { title, description, size: (width, HEIGHT), svg }
}

/// A line wherever another recording begins.
fn between(canvas: &mut Canvas, frame: &Frame, reports: &[&MoveReport]) {
    for (at, pair) in (1..).zip(reports.windows(2)) {
        if pair[0].file != pair[1].file {
            let x = frame.x(f64::from(at) + 0.5);
            canvas.line((x, frame.area.top), (x, frame.area.bottom()), BETWEEN);
        }
    }
}

/// One move: its settling time with the 95 % interval; without one its mark stands on top.
fn one(
    canvas: &mut Canvas,
    frame: &Frame,
    at: f64,
    report: &MoveReport,
    (limit, factor): (f64, f64),
    all: usize,
) {
    let (x, style) = (frame.x(at), outcome::style(report.outcome));
    let Some(settling) = report.settling_s else {
        return style.mark(canvas, (x, frame.area.top + STRIP / 2.0));
    };
    let half = report.settling_95_s.filter(|_| all <= FEW).unwrap_or(0.0);
    let ends = [settling - half, settling + half].map(|end| frame.y((end * factor).max(0.0)));
    if ends[0] - ends[1] > 8.0 {
        canvas.line((x, ends[0]), (x, ends[1]), Stroke::solid(style.stroke.colour, 1.6));
    }
    let place = (x, frame.y(settling * factor));
    match settling > limit {
        true => late(canvas, place),
        false => style.mark(canvas, place),
    }
}

/// A settled move that is late: a filled disc.
fn late(canvas: &mut Canvas, place: (f64, f64)) {
    canvas.circle(place, 4.2, INK, Stroke::solid("#fff", 1.0));
}

/// The marks that occur, and the limit.
fn legend(canvas: &mut Canvas, frame: &Frame, reports: &[&MoveReport], limit: f64) {
    let y = frame.area.top - 12.0;
    let mut x = frame.area.left + 6.0;
    for (outcome, count) in summary::counts(reports.iter().copied()) {
        let place = if outcome == Outcome::Settled { "" } else { ", on top: no settling time" };
        let text = format!("{count} {}{place}", outcome.word());
        outcome::style(outcome).mark(canvas, (x, y - 4.5));
        canvas.text((x + SAMPLE - 6.0, y), Anchor::Start, LABEL, &text);
        x += SAMPLE + text_fit::width(&text, LABEL.size) + 10.0;
    }
    let count = reports.iter().filter(|report| report.settling_s.is_some_and(|time| time > limit)).count();
    if count > 0 {
        late(canvas, (x, y - 4.5));
        canvas.text((x + SAMPLE - 6.0, y), Anchor::Start, LABEL, &format!("{count} of them late"));
    }
    let (text, right) = (format!("limit {} ms", number::plain_to(1e3 * limit, 6)), frame.area.right());
    canvas.text((right, y), Anchor::End, LABEL, &text);
    let left = right - text_fit::width(&text, LABEL.size) - 34.0;
    canvas.line((left, y - 4.5), (left + 28.0, y - 4.5), LIMIT);
    if reports.len() > FEW {
        canvas.text((right, y - 18.0), Anchor::End, ASIDE, "uncertainties stand in the table");
    }
}

fn description(reports: &[&MoveReport], limit: f64) -> String {
    let late = reports.iter().filter(|report| report.settling_s.is_some_and(|settling| settling > limit));
    let settling = summary::settling_text(reports.iter().copied()).map(|text| format!("; {text}"));
    format!(
        "{}{}; {} later than the limit of {} ms",
        summary::counts_text(reports.iter().copied()),
        settling.unwrap_or_default(),
        late.count(),
        number::plain_to(1e3 * limit, 6)
    )
}
