//! In: a sheet of moves. Out: one SVG with its heading and three pictures one below the other.

use super::canvas::{ASIDE, Anchor, Area, Canvas, Face, LABEL, TITLE};
use super::{Drawn, Sheet, caption, curve, frame, overlay, stop, strips, succession, text_fit};
use crate::report::move_report::MoveReport;

/// Width of a sheet; with its height it fills an A4 page. Unit: pixel
const WIDTH: f64 = 900.0;
const HEADING: Face = Face { size: 20.0, ..TITLE };
const MARGIN: f64 = 14.0;

/// One of the three pictures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Picture {
    Stop,
    Curve,
    Overlay,
}

/// The pictures of `sheet` in their order; without moves one of them, with a message.
pub(super) fn pictures(sheet: &Sheet) -> &'static [Picture] {
    let all = &[Picture::Stop, Picture::Curve, Picture::Overlay];
    if sheet.moves.is_empty() { &all[..1] } else { all }
}

impl Picture {
    fn height(self, sheet: &Sheet) -> f64 {
        let strips = caption::chosen(sheet).map_or(0.0, |shown| strips::height(&shown.samples.strips));
        match self {
            Self::Stop => 400.0 + strips,
            Self::Curve => 330.0,
            Self::Overlay => 390.0,
        }
    }

    /// Its title for a screen reader.
    pub(super) fn title(self) -> &'static str {
        match self {
            Self::Stop => "The stop of one move",
            Self::Curve => "Settling curve of the same move",
            Self::Overlay => "All moves from command end",
        }
    }

    fn draw(self, canvas: &mut Canvas, outer: Area, sheet: &Sheet) {
        let none = "No moves were found, so there is nothing to draw.";
        match (self, caption::chosen(sheet)) {
            (_, None) => {
                caption::title(canvas, outer, self.title());
                frame::empty(canvas, frame::inner(outer, 40.0), none);
            }
            (Self::Stop, Some(shown)) => {
                stop::draw(canvas, outer, shown, &caption::name(sheet, shown.report))
            }
            (Self::Curve, Some(shown)) => curve::draw(
                canvas,
                outer,
                (shown.report, sheet.plus_minus),
                &caption::name(sheet, shown.report),
            ),
            (Self::Overlay, Some(_)) => overlay::draw(canvas, outer, &sheet.moves),
        }
    }

    /// This picture alone, `width` pixels wide; `name` must be unique on the page.
    pub(super) fn alone(self, sheet: &Sheet, width: f64, name: &str) -> String {
        let mut canvas = Canvas::named(name);
        self.draw(&mut canvas, Area { left: 0.0, top: 0.0, width, height: self.height(sheet) }, sheet);
        canvas.finish(width, self.height(sheet), self.title(), &description(sheet))
    }
}

/// The pictures one by one: settling time against the number of the move with the `limit`, all moves, the stop drawn large,
/// its settling curve. Unit: s
pub fn drawn(sheet: &Sheet, limit: f64) -> Vec<Drawn> {
    let reports: Vec<&MoveReport> = sheet.moves.iter().map(|shown| shown.report).collect();
    if reports.is_empty() {
        return Vec::new();
    }
    let alone = |(at, picture): (usize, Picture)| Drawn {
        title: picture.title().to_owned(),
        description: description(sheet),
        size: (WIDTH, picture.height(sheet)),
        svg: picture.alone(sheet, WIDTH, &format!("picture{at}")),
    };
    let pictures = [Picture::Overlay, Picture::Stop, Picture::Curve].into_iter().enumerate().map(alone);
    std::iter::once(succession::drawn(&reports, limit, WIDTH)).chain(pictures).collect()
}

/// The whole sheet as SVG.
pub fn svg(sheet: &Sheet) -> String {
    let mut canvas = Canvas::named("sheet");
    let mut top = heading(&mut canvas, sheet);
    for picture in pictures(sheet) {
        picture.draw(
            &mut canvas,
            Area { left: 0.0, top, width: WIDTH, height: picture.height(sheet) },
            sheet,
        );
        top += picture.height(sheet);
    }
    top = notes(&mut canvas, sheet.notes, top + 6.0);
    canvas.finish(WIDTH, top + MARGIN, &sheet.heading, &description(sheet))
}

/// Draws the heading and what the sheet is about; returns where it ends.
fn heading(canvas: &mut Canvas, sheet: &Sheet) -> f64 {
    let room = WIDTH - 2.0 * MARGIN;
    let text = text_fit::shortened(&sheet.heading, HEADING.size * 1.14, room);
    canvas.text((MARGIN, 32.0), Anchor::Start, HEADING, &text);
    let mut y = 38.0;
    for line in subject(sheet).iter().flat_map(|part| text_fit::wrapped(part, LABEL.size, room)) {
        y += 19.0;
        canvas.text((MARGIN, y), Anchor::Start, LABEL, &line);
    }
    y + 16.0
}

/// Draws the notes from `top` on; returns where they end.
fn notes(canvas: &mut Canvas, notes: &[String], top: f64) -> f64 {
    let mut y = top;
    for note in notes {
        for line in text_fit::wrapped(note, ASIDE.size, WIDTH - 2.0 * MARGIN) {
            y += 17.0;
            canvas.text((MARGIN, y), Anchor::Start, ASIDE, &line);
        }
    }
    y
}

/// What the sheet is about, a line each.
pub(super) fn subject(sheet: &Sheet) -> Vec<String> {
    let lines: Vec<&MoveReport> = sheet.moves.iter().map(|shown| shown.report).collect();
    caption::subject(&lines)
}

fn description(sheet: &Sheet) -> String {
    let mut parts = subject(sheet);
    parts.extend(
        caption::chosen(sheet).map(|shown| stop::heading(shown.report, &caption::name(sheet, shown.report))),
    );
    parts.extend(sheet.notes.iter().cloned());
    parts.join(". ")
}
