//! In: all moves and their samples. Out: one picture of all stops: |error| on a log scale against time.

use stillpoint_core::Outcome;

use super::canvas::{Anchor, Area, Canvas, INK, LABEL, QUIET, Stroke};
use super::frame::{self, Frame};
use super::outcome::{self, Style};
use super::palette::STROKES;
use super::scale::{self, Scale};
use super::thin::{self, OverlayLine};
use super::{PlottedMove, caption, text_fit};
use crate::report::{number, summary};

const WINDOW: Stroke = Stroke::solid(INK, 1.6).dashed("12 4");
const RIM: Stroke = Stroke { opacity: 0.6, ..Stroke::solid("#fff", 4.0) };
/// Fill of the range of all moves, when not every one is drawn.
const RANGE: &str = "#ececec";
/// Room above the frame for title and legend. Unit: pixel
const ABOVE: f64 = 56.0;
/// Most windows drawn; moves of one recording rarely have more than one.
const MOST_WINDOWS: usize = 4;
/// Up to so many moves every zero crossing can be followed.
const FEW: usize = 3;
/// Width of the parts of which only the largest error is drawn when there are more moves: the dips at
/// zero crossings have nothing to do with settling and would cover the picture. Unit: pixel
const CROWDED: f64 = 6.0;
/// Height of one row of the legend. Unit: pixel
const ROW: f64 = 18.0;
/// Room for one entry of the legend before its text. Unit: pixel
const SAMPLE: f64 = 34.0;

/// Draws all moves into `outer`.
pub(super) fn draw(canvas: &mut Canvas, outer: Area, moves: &[PlottedMove]) {
    let unit = moves.first().map_or("", |shown| shown.report.unit.as_str());
    let same: Vec<&PlottedMove> = moves.iter().filter(|shown| shown.report.unit == unit).collect();
    let counts = summary::counts(same.iter().map(|shown| shown.report));
    let windows = windows(&same);
    let sources = caption::Sources::of(same.iter().map(|shown| shown.report));
    let names = if (2..=STROKES.len()).contains(&sources.names.len()) { &sources.names[..] } else { &[] };
    let room = outer.width - frame::LEFT - frame::RIGHT;
    let legend = placed(entries(&counts, names, &window_names(&windows, unit)), room);
    let area = frame::inner(outer, ABOVE + ROW * legend.last().map_or(0.0, |entry| entry.row));
    caption::title(canvas, outer, &heading(moves.len(), same.len(), unit));
    let Some(end) = longest(&same) else {
        return frame::empty(canvas, area, "No samples of any move were recorded, so no stop can be drawn.");
    };
    let columns = (area.width / if same.len() > FEW { CROWDED } else { 2.0 }) as usize;
    let floor = floor(&same);
    let line = |shown: &&PlottedMove| {
        let source = if names.is_empty() { 0 } else { sources.place(shown.report) };
        Some(thin::overlay_line(shown, end, columns, floor)?.of_source(source))
    };
    let all: Vec<OverlayLine> = same.iter().filter_map(line).collect();
    let look = |line: &OverlayLine| look(line, !names.is_empty());
    let (factor, time_unit) = scale::time_unit(end);
    let frame = framed(area, end * factor, (floor, &windows), &all);
    let drawn = thin::drawn(&all);
    if drawn.len() < all.len() {
        range(canvas, &frame, &all, end, columns, factor);
    }
    frame.grid(canvas);
    canvas.clipped(area, |canvas| lines(canvas, &frame, &drawn, (factor, &look)));
    for window in windows.iter().take(MOST_WINDOWS) {
        let y = frame.y(*window);
        canvas.line((area.left, y), (area.right(), y), WINDOW);
    }
    marks(canvas, &frame, &drawn, (factor, &look));
    legend.iter().for_each(|entry| entry.draw(canvas, area.left, outer.top + ABOVE - 12.0));
    let label =
        format!("time from command end ({time_unit}){}", remark(&same, end / columns as f64, &drawn, &all));
    frame.edges(canvas, &label, &format!("|error| ({unit}), log scale"));
}

/// The frame, from command end to `end`, high enough for all lines and windows.
fn framed(area: Area, end: f64, (floor, windows): (f64, &[f64]), all: &[OverlayLine]) -> Frame {
    let highest = all.iter().flat_map(|line| &line.points).map(|p| p.1).fold(floor * 10.0, f64::max);
    let highest = windows.iter().fold(highest, |m, window| m.max(*window));
    Frame { area, x: Scale::linear(0.0, end), y: Scale::log(0.8 * floor, 1.3 * highest) }
}

/// What is not drawn one to one: zero crossings, and moves when there are too many.
fn remark(moves: &[&PlottedMove], column_s: f64, drawn: &[&OverlayLine], all: &[OverlayLine]) -> String {
    let mut text = String::new();
    if moves.len() > FEW {
        text += &format!("; peaks of every {} ms", number::plain_to(1e3 * column_s, 2));
    }
    if drawn.len() < all.len() {
        text += &format!("; {} of {} moves drawn, grey: range of all", drawn.len(), all.len());
    }
    text
}

fn heading(all: usize, same: usize, unit: &str) -> String {
    match (all, all - same) {
        (0, _) => "All moves".to_owned(),
        (1, _) => "The only move from command end".to_owned(),
        (2, 0) => "Both moves from command end".to_owned(),
        (_, 0) => format!("All {all} moves from command end"),
        (_, others) if same == 1 => {
            format!("The only move in {unit} from command end ({others} in other units)")
        }
        (_, others) => format!("The {same} moves in {unit} from command end ({others} in other units)"),
    }
}

/// The time shown: some beyond the latest confirmation; moves that did not settle are worth four times
/// as much, or everything when nothing settled. None without samples. Unit: s
fn longest(moves: &[&PlottedMove]) -> Option<f64> {
    let last =
        moves.iter().filter_map(|shown| caption::finite(&shown.samples.points).last().map(|point| point.0));
    let last = last.filter(|t| *t > 0.0).reduce(f64::max)?;
    let confirmed = moves.iter().filter_map(|shown| shown.report.confirmation_s.or(shown.report.settling_s));
    let Some(confirmed) = confirmed.filter(|t| t.is_finite()).reduce(f64::max) else { return Some(last) };
    let all_settled = moves.iter().all(|shown| shown.report.settling_s.is_some());
    let shown = (1.3 * confirmed).max(0.02);
    Some(if all_settled { shown.min(last) } else { (4.0 * shown).min(last) })
}

/// The lowest |error| drawn: half the smallest count, so that an error of zero lies on the floor.
fn floor(moves: &[&PlottedMove]) -> f64 {
    let count =
        |shown: &&PlottedMove| Some(0.5 / shown.report.counts_per_unit).filter(|c| c.is_finite() && *c > 0.0);
    let smallest = moves.iter().filter_map(count).reduce(f64::min);
    let window = windows(moves).into_iter().reduce(f64::min).unwrap_or(1.0);
    // Decades far below the window would push it out of sight.
    smallest.unwrap_or(0.0).clamp(window / 50.0, window / 4.0)
}

/// The different windows of the moves.
fn windows(moves: &[&PlottedMove]) -> Vec<f64> {
    let mut windows: Vec<f64> =
        moves.iter().map(|shown| shown.report.window).filter(|w| w.is_finite() && *w > 0.0).collect();
    windows.sort_by(f64::total_cmp);
    windows.dedup();
    windows
}

/// Smallest to largest |error| of all moves at each instant.
fn range(canvas: &mut Canvas, frame: &Frame, all: &[OverlayLine], end: f64, columns: usize, factor: f64) {
    let (low, high) = thin::range(all, end, columns);
    let at = |points: &[(f64, f64)]| {
        points.iter().map(|(t, e)| (frame.x(t * factor), frame.y(*e))).collect::<Vec<(f64, f64)>>()
    };
    let mut edge = at(&high);
    edge.extend(at(&low).into_iter().rev());
    canvas.clipped(frame.area, |canvas| canvas.shape(&edge, RANGE));
}

/// How a line and its mark look.
type Look<'l> = dyn Fn(&OverlayLine) -> Style + 'l;

/// By its recording where recordings are told apart, else by its outcome; the mark is always that of its outcome.
fn look(line: &OverlayLine, by_source: bool) -> Style {
    let style = outcome::style(line.outcome);
    let stroke = STROKES.get(line.source).filter(|_| by_source);
    stroke.map_or(style, |stroke| style.with_stroke(*stroke))
}

/// Settled moves first, so that those that need attention lie on top; a long gap stays open.
fn lines(canvas: &mut Canvas, frame: &Frame, drawn: &[&OverlayLine], (factor, look): (f64, &Look)) {
    for line in drawn {
        let path: Vec<(f64, f64)> = line.points.iter().map(|(t, e)| (t * factor, *e)).collect();
        let crowd = drawn.iter().filter(|other| other.outcome == line.outcome).count();
        let gaps: Vec<(f64, f64)> = line.gaps.iter().map(|(from, to)| (from * factor, to * factor)).collect();
        for run in thin::runs(&path, &gaps) {
            let run = frame.all(run);
            if line.outcome != Outcome::Settled && crowd <= FEW {
                // A white rim lifts the few that need attention off the crowd.
                canvas.path(&run, RIM);
            }
            canvas.path(&run, look(line).in_a_crowd(crowd));
        }
    }
}

/// A settled move is marked where it came to be inside for good, any other where its line ends.
fn marks(canvas: &mut Canvas, frame: &Frame, drawn: &[&OverlayLine], (factor, look): (f64, &Look)) {
    for line in drawn {
        let Some((t, error)) = line.mark else { continue };
        let (x, y) = (frame.x(t * factor), frame.y(error));
        let at = (x.clamp(frame.area.left, frame.area.right()), y.clamp(frame.area.top, frame.area.bottom()));
        look(line).mark(canvas, at);
    }
}

/// What a row of the legend explains.
#[derive(Clone, Copy, Debug)]
enum Sample {
    /// A line with its mark.
    Outcome(Outcome),
    /// The mark alone, where lines are those of recordings.
    Mark(Outcome),
    /// The place of a recording.
    Source(usize),
    Window,
}

/// Where the sample of an entry stands, from the left of the frame and in which row.
struct Entry {
    sample: Sample,
    text: String,
    left: f64,
    row: f64,
}

fn window_names(windows: &[f64], unit: &str) -> Option<String> {
    let each: Vec<String> = windows.iter().take(MOST_WINDOWS).map(|w| caption::length(*w, unit)).collect();
    let more = if windows.len() > MOST_WINDOWS { ", …" } else { "" };
    (!each.is_empty()).then(|| format!("window ± {}{more}", each.join(", ")))
}

/// The recordings, if they are told apart, the outcomes that occur, and the windows.
fn entries(counts: &[(Outcome, usize)], names: &[String], windows: &Option<String>) -> Vec<(Sample, String)> {
    let sources = names.iter().enumerate().map(|(at, name)| (Sample::Source(at), name.clone()));
    let outcomes = counts.iter().map(|(outcome, count)| {
        let mark = if *outcome == Outcome::Settled { ", marked at its settling time" } else { "" };
        let mark = if *count > 1 { mark.replace("its", "their") } else { mark.to_owned() };
        let sample = if names.is_empty() { Sample::Outcome(*outcome) } else { Sample::Mark(*outcome) };
        (sample, format!("{count} {}{mark}", outcome.word()))
    });
    let windows = windows.iter().map(|text| (Sample::Window, text.clone()));
    sources.chain(outcomes).chain(windows).collect()
}

/// The entries in rows no wider than `room` pixels.
fn placed(entries: Vec<(Sample, String)>, room: f64) -> Vec<Entry> {
    let (mut left, mut row) = (0.0, 0.0);
    let place = |(sample, text): (Sample, String)| {
        let text = text_fit::shortened(&text, LABEL.size, room - SAMPLE);
        let width = SAMPLE + text_fit::width(&text, LABEL.size);
        if left > 0.0 && left + width > room {
            (left, row) = (0.0, row + 1.0);
        }
        let entry = Entry { sample, text, left, row };
        left += width + 14.0;
        entry
    };
    entries.into_iter().map(place).collect()
}

impl Entry {
    /// Draws it, the legend beginning at `left` and its first line of text standing on `top`.
    fn draw(&self, canvas: &mut Canvas, left: f64, top: f64) {
        let (x, y) = (left + self.left, top + ROW * self.row);
        let (line, mark) = match self.sample {
            Sample::Outcome(of) => (Some(outcome::style(of).stroke), Some(outcome::style(of))),
            Sample::Mark(of) => (None, Some(outcome::style(of).coloured(QUIET))),
            Sample::Source(at) => (STROKES.get(at).copied(), None),
            Sample::Window => (Some(WINDOW), None),
        };
        line.inspect(|stroke| canvas.line((x, y - 4.0), (x + SAMPLE - 6.0, y - 4.0), *stroke));
        mark.inspect(|style| style.mark(canvas, (x + (SAMPLE - 6.0) / 2.0, y - 4.0)));
        canvas.text((x + SAMPLE, y), Anchor::Start, LABEL, &self.text);
    }
}
