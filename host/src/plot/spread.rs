//! In: settling times of several groups of moves for many windows. Out: one picture of their settling curves with spread.

use super::canvas::{ASIDE, Anchor, Area, Canvas, LABEL, Stroke};
use super::curve::stairs;
use super::frame::{self, Frame};
use super::palette::STROKES;
use super::picture::Picture;
use super::scale::{self, Scale};
use super::{Drawn, caption, text_fit};
use crate::analysis::stop_curves::Spread;
use crate::report::number;

/// One picture.
#[derive(Clone, Debug, Default)]
pub struct Chart {
    /// What it shows.
    pub title: String,
    /// Windows, the narrowest first. Unit: `unit`
    pub windows: Vec<f64>,
    /// The groups, the reference first.
    pub series: Vec<Series>,
    /// Name of the unit of position.
    pub unit: String,
    /// A window to be marked. Unit: `unit`
    pub window: Option<f64>,
    /// A further line over the windows, such as a limit that is certain to be met.
    pub bound: Option<Bound>,
}

/// The settling times of one group.
#[derive(Clone, Debug)]
pub struct Series {
    /// What people call it, and how many moves it has.
    pub name: String,
    /// For each window; none where nothing is known. Unit: s
    pub spreads: Vec<Option<Spread>>,
}

/// A line, and a point of it that was chosen.
#[derive(Clone, Debug)]
pub struct Bound {
    /// What it is.
    pub name: String,
    /// Window and settling time, the narrowest window first. Unit: of position, s
    pub points: Vec<(f64, f64)>,
    /// The chosen one.
    pub chosen: Option<(f64, f64)>,
}

const ALONE: Stroke = STROKES[1];
const BOUND: Stroke = Stroke::solid("#9a3d00", 2.2);
const SET: Stroke = Stroke::solid("#9a3d00", 1.6).dashed("8 4");
/// Opacity of a band, so that several can be seen through each other.
const BAND: f64 = 0.16;
/// Room above the frame for the title and the label of the set window. Unit: pixel
const ABOVE: f64 = 56.0;
/// Height of a row of the legend. Unit: pixel
const ROW: f64 = 18.0;
/// Room for one entry of the legend before its text. Unit: pixel
const SAMPLE: f64 = 40.0;

impl Picture for Chart {
    fn height(&self, _: f64) -> f64 {
        380.0 + ROW * self.rows()
    }

    fn draw(&self, canvas: &mut Canvas, outer: Area) {
        caption::title(canvas, outer, &self.title);
        let area = frame::inner(outer, ABOVE + ROW * self.rows());
        let Some((frame, factor, unit)) = self.frame(area) else {
            return frame::empty(
                canvas,
                area,
                "No move settled for any window, so there is nothing to draw.",
            );
        };
        canvas.clipped(area, |canvas| self.bands(canvas, &frame, factor));
        frame.grid(canvas);
        canvas.clipped(area, |canvas| self.lines(canvas, &frame, factor));
        self.legend(canvas, outer);
        let label = format!("window, half-width ({}), log scale", self.unit);
        frame.edges(canvas, &label, &format!("settling time ({unit})"));
        self.marks(canvas, &frame, factor);
    }
}

impl Chart {
    /// The picture by itself; `name` must be unique on its page.
    pub fn alone(&self, width: f64, name: &str) -> Drawn {
        let (mut canvas, height) = (Canvas::named(name), self.height(width));
        self.draw(&mut canvas, Area { left: 0.0, top: 0.0, width, height });
        let (title, description) =
            (format!("{}: settling time against window", self.title), self.description());
        let svg = canvas.finish(width, height, &title, &description);
        Drawn { title, description, size: (width, height), svg }
    }

    /// The medians at the narrowest and the widest window, and at the set one.
    fn description(&self) -> String {
        let at = |series: &Series, at: usize| {
            let middle = series.spreads.get(at).copied().flatten()?.middle;
            let settles = match middle.is_finite() {
                true => format!("{} ms", number::fixed(1e3 * middle, 1)),
                false => "not settled".to_owned(),
            };
            Some(format!("{settles} at ± {}", caption::length(*self.windows.get(at)?, &self.unit)))
        };
        let set = self.window.map(|window| self.windows.partition_point(|of| *of < window * (1.0 - 1e-9)));
        let places = [Some(0), set, self.windows.len().checked_sub(1)];
        let series = self.series.iter().map(|series| {
            let points: Vec<String> =
                places.iter().flatten().filter_map(|place| at(series, *place)).collect();
            format!("{}: median {}", series.name, points.join(", "))
        });
        series.collect::<Vec<String>>().join(". ")
    }

    fn rows(&self) -> f64 {
        self.series.len() as f64 + if self.bound.is_some() { 1.0 } else { 0.0 }
    }

    fn stroke(&self, at: usize) -> Stroke {
        if self.series.len() == 1 { ALONE } else { STROKES[at % STROKES.len()] }
    }

    /// The frame, the factor from seconds to its unit of time, and that unit; none without a settling time.
    fn frame(&self, area: Area) -> Option<(Frame, f64, &'static str)> {
        let all = || self.series.iter().flat_map(|series| series.spreads.iter().flatten());
        let most = |of: fn(&Spread) -> f64| {
            all()
                .map(of)
                .filter(|time| time.is_finite())
                .fold(None, |most: Option<f64>, time| Some(most.map_or(time, |most| most.max(time))))
        };
        let chosen = self.bound.as_ref().and_then(|bound| bound.chosen).map_or(0.0, |chosen| chosen.1);
        // Whatever few moves need at the narrowest windows would press all else to the ground.
        let middle = most(|spread| spread.middle)?;
        let longest = most(|spread| spread.high)
            .unwrap_or(middle)
            .min(2.5 * middle.max(chosen))
            .max(middle)
            .max(chosen);
        let (factor, unit) = scale::time_unit(longest);
        let top = if longest > 0.0 { 1.12 * longest * factor } else { 10.0 };
        let (low, high) = (self.windows.first()?, self.windows.last()?);
        let low = self.window.map_or(*low, |window| low.min(window));
        let high = self.window.map_or(*high, |window| high.max(window));
        Some((Frame { area, x: Scale::log(low, high), y: Scale::linear(0.0, top) }, factor, unit))
    }

    /// A line of stairs over the windows; what never settled runs out of the top.
    fn stairs(&self, frame: &Frame, series: &Series, of: impl Fn(&Spread) -> f64) -> Vec<(f64, f64)> {
        let above = 2.0 * frame.y.ends().1;
        let points = self.windows.iter().zip(&series.spreads);
        let points: Vec<(f64, f64)> =
            points.filter_map(|(window, spread)| Some((*window, of(spread.as_ref()?).min(above)))).collect();
        frame.all(&stairs(&points))
    }

    fn bands(&self, canvas: &mut Canvas, frame: &Frame, factor: f64) {
        for (at, series) in self.series.iter().enumerate() {
            let mut edge = self.stairs(frame, series, |spread| spread.high * factor);
            edge.extend(self.stairs(frame, series, |spread| spread.low * factor).into_iter().rev());
            canvas.tint(&edge, self.stroke(at).colour, BAND);
        }
    }

    fn lines(&self, canvas: &mut Canvas, frame: &Frame, factor: f64) {
        for (at, series) in self.series.iter().enumerate() {
            canvas.path(&self.stairs(frame, series, |spread| spread.middle * factor), self.stroke(at));
        }
        if let Some(bound) = &self.bound {
            let points: Vec<(f64, f64)> =
                bound.points.iter().map(|(window, time)| (*window, time * factor)).collect();
            canvas.path(&frame.all(&points), BOUND);
        }
    }

    /// One row for each line, below the title.
    fn legend(&self, canvas: &mut Canvas, outer: Area) {
        let series = self.series.iter().enumerate();
        let series = series.map(|(at, series)| {
            (self.stroke(at), format!("{}: median, and the span of 18 of 20", series.name))
        });
        let bound = self.bound.iter().map(|bound| (BOUND, bound.name.clone()));
        for (row, (stroke, text)) in series.chain(bound).enumerate() {
            let (x, y) = (outer.left + frame::LEFT, outer.top + 40.0 + ROW * row as f64);
            let is_band = row < self.series.len();
            if is_band {
                let corners =
                    [(x, y - 9.0), (x + SAMPLE - 8.0, y - 9.0), (x + SAMPLE - 8.0, y + 1.0), (x, y + 1.0)];
                canvas.tint(&corners, stroke.colour, BAND);
            }
            canvas.line((x, y - 4.0), (x + SAMPLE - 8.0, y - 4.0), stroke);
            let room = outer.width - frame::LEFT - frame::RIGHT - SAMPLE;
            let text = text_fit::shortened(&text, LABEL.size, room);
            canvas.text((x + SAMPLE, y), Anchor::Start, LABEL, &text);
        }
    }

    /// The set window, and the chosen point.
    fn marks(&self, canvas: &mut Canvas, frame: &Frame, factor: f64) {
        if let Some(window) = self.window {
            let text = format!("window ± {}", caption::length(window, &self.unit));
            let side = frame::side(frame, window, &text);
            frame::mark(canvas, frame, (window, 0, side), SET, &text);
        }
        let Some((window, time)) = self.bound.as_ref().and_then(|bound| bound.chosen) else { return };
        let (x, y) = (frame.x(window), frame.y(time * factor));
        let (dots, area) = (Stroke::solid(BOUND.colour, 1.0).dashed("2 3"), frame.area);
        canvas.line((area.left, y), (x, y), dots);
        canvas.line((x, y), (x, area.bottom()), dots);
        canvas.circle((x, y), 4.5, "#fff", Stroke::solid(BOUND.colour, 2.0));
        let text = format!("± {} {}", number::plain_up(window), self.unit);
        canvas.text((x + 8.0, y - 8.0), Anchor::Start, ASIDE, &text);
    }
}
