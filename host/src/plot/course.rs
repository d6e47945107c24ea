//! In: the trend of one kind and its moves. Out: the picture of both: what was found, over what it was found from.
//!
//! The figures stand in the key in the words of the table of `trend`, so that both say the same.

use stillpoint_core::Outcome;

use super::canvas::{ASIDE, Anchor, Area, Canvas, Face, INK, LABEL, QUIET, Stroke};
use super::frame::{self, Frame};
use super::moments::{self, Span, Unseen};
use super::picture::Picture;
use super::scale::{self, Scale};
use super::{caption, hatch, outcome, text_fit};
use crate::analysis::quantile::quantile_sorted;
use crate::report::moment::Moment;
use crate::report::number;
use crate::report::trend::{TrendLine, table};

/// One picture.
#[derive(Clone, Debug)]
pub struct Chart {
    /// Axis and kind.
    pub title: String,
    /// What was found.
    pub line: TrendLine,
    /// Warm-ups. Unit: s since 1970, UTC
    pub warm_ups: Vec<(f64, f64)>,
    /// The moves, in the order of time.
    pub moments: Vec<Moment>,
    /// The time that is shown.
    pub span: Span,
    /// What was not seen of the axis.
    pub unseen: Unseen,
}

/// Height of the frame. Unit: pixel
const FRAME: f64 = 220.0;
/// Room above the key for the title. Unit: pixel
const TITLE: f64 = 26.0;
/// Height of a row of the key. Unit: pixel
const ROW: f64 = 17.0;
/// Room for a sample of a line in the key. Unit: pixel
const SAMPLE: f64 = 36.0;
/// Steps that the key lists.
const MOST_STEPS: usize = 4;
/// Share of the moves that the scale shows at least.
const SHOWN: f64 = 0.995;
/// Most seconds per hour by which a line may rise: more is drawn as this.
const STEEPEST: f64 = 1e6;

const TREND: Stroke = Stroke::solid(INK, 2.4);
/// A line whose slope may be anything.
const VAGUE: Stroke = Stroke::solid(INK, 1.6).dashed("14 5");
const MEDIAN: Stroke = Stroke::solid("#2f6690", 2.2).dashed("9 4");
const P95: Stroke = Stroke::solid("#2f6690", 1.6).dashed("2 3");
const LIMIT: Stroke = Stroke::solid(INK, 2.6);
const STEP: Stroke = Stroke::solid("#9a3d00", 1.6).dashed("2 3");
const DRIFT: Stroke = Stroke::solid("#9a3d00", 1.8).dashed("10 3");
const ANEW: Stroke = Stroke::solid("#5b3a8c", 1.4).dashed("8 3 2 3");
/// Opacity of the interval of the slope.
const WEDGE: f64 = 0.18;
/// Fill of a warm-up.
const WARM: &str = "#f3e3c3";

/// How a row of the key looks.
#[derive(Clone, Copy, Debug)]
enum Sample {
    Line(Stroke),
    /// A line with its interval.
    Wedge,
    Warm,
    Limit,
    Nothing,
}

impl Picture for Chart {
    fn height(&self, width: f64) -> f64 {
        self.above(width) + FRAME + frame::BELOW + 12.0
    }

    fn draw(&self, canvas: &mut Canvas, outer: Area) {
        caption::title(canvas, outer, &self.title);
        self.key(canvas, outer);
        let (frame, (factor, unit)) = self.frame(outer);
        let ticks = self.span.ticks(frame.area);
        canvas.clipped(frame.area, |canvas| self.warm(canvas, &frame));
        frame.x_grid(canvas, &ticks);
        frame.y_grid(canvas);
        if let Some(limit) = self.line.limit_s {
            hatch::above(canvas, &frame, limit * factor);
        }
        moments::band(canvas, &frame, &self.moments);
        moments::unseen(canvas, &frame, &self.unseen);
        moments::settled(canvas, &frame, &self.moments, (factor, outcome::style(Outcome::Settled).faint()));
        canvas.clipped(frame.area, |canvas| self.lines(canvas, &frame, factor));
        self.uprights(canvas, &frame);
        self.beyond(canvas, &frame, factor);
        if let Some(limit) = self.line.limit_s {
            let (right, y) = (frame.area.right() - 4.0, frame.y(limit * factor));
            canvas.text((right, y - 5.0), Anchor::End, LABEL, "limit");
        }
        frame.outline(canvas);
        frame.x_edge(canvas, &ticks, &self.span.label());
        frame.y_edge(canvas, &format!("settling time ({unit})"));
    }
}

impl Chart {
    /// What the key says, in one text.
    pub fn sentence(&self) -> String {
        let rows: Vec<String> = self.rows().into_iter().map(|(_, text)| text).collect();
        rows.join("; ")
    }

    fn above(&self, width: f64) -> f64 {
        let band = moments::band_height(&moments::without(&self.moments));
        TITLE + ROW * self.lines_of_key(width).len() as f64 + band + 12.0
    }

    /// The rows of the key, long ones broken.
    fn lines_of_key(&self, width: f64) -> Vec<(Sample, String)> {
        let broken = |(sample, text): (Sample, String)| {
            let lines = text_fit::wrapped(&text, LABEL.size, width - SAMPLE - 28.0).into_iter().enumerate();
            lines.map(move |(at, line)| (if at == 0 { sample } else { Sample::Nothing }, line))
        };
        self.rows().into_iter().flat_map(broken).collect()
    }

    fn rows(&self) -> Vec<(Sample, String)> {
        let (line, zone) = (&self.line, &self.span.zone);
        let mut rows = vec![self.trend_row()];
        for (stroke, name, level) in self.baseline() {
            let text = format!("baseline {name} {} ms ({})", table::ms(Some(level)), line.baseline_from);
            rows.push((Sample::Line(stroke), text));
        }
        let limit = || format!("limit {} ms, reached: {}", table::ms(line.limit_s), table::limit(line, zone));
        rows.extend(line.limit_s.map(|_| (Sample::Limit, limit())));
        rows.extend(self.step_rows());
        let minutes =
            |all: &[f64]| listed(&all.iter().map(|at| table::minute(*at, zone)).collect::<Vec<String>>());
        let drift =
            || format!("drift since {}, as the monitor has it", minutes(line.drift_since_s.as_slice()));
        rows.extend(line.drift_since_s.map(|_| (Sample::Line(DRIFT), drift())));
        if !line.restarts.is_empty() {
            rows.push((Sample::Line(ANEW), format!("watch began anew {}", minutes(&line.restarts))));
        }
        if line.warm_up_intervals > 0 {
            rows.push((
                Sample::Warm,
                format!("warm-up: {}", number::count(line.warm_up_intervals, "interval")),
            ));
        }
        rows
    }

    /// Levels of the baseline that are known, each with its look and its name; the mean where there is no median.
    fn baseline(&self) -> Vec<(Stroke, &'static str, f64)> {
        let line = &self.line;
        let mean = line.baseline_mean_s.filter(|_| line.baseline_median_s.is_none());
        let levels = [
            (MEDIAN, "median", line.baseline_median_s),
            (MEDIAN, "mean", mean),
            (P95, "p95", line.baseline_p95_s),
        ];
        levels.into_iter().filter_map(|(stroke, name, level)| Some((stroke, name, level?))).collect()
    }

    fn trend_row(&self) -> (Sample, String) {
        let (line, zone) = (&self.line, &self.span.zone);
        let last = format!("{} of the last interval {}", line.measure, table::now_with_unit(line));
        if line.slope_s_per_h.is_none() {
            let why = if line.slope_reason.is_empty() { "not known" } else { line.slope_reason.as_str() };
            return (Sample::Nothing, format!("{last}; no trend line: {why}"));
        }
        let since = line.fitted_from_s.map(|from| format!(" since {}", table::minute(from, zone)));
        let text = format!("{last}; slope {} ms/h{}", table::slope(line), since.unwrap_or_default());
        match self.wedge() {
            Some(_) => (Sample::Wedge, text),
            None => (Sample::Line(VAGUE), text + "; its interval is open"),
        }
    }

    fn step_rows(&self) -> Vec<(Sample, String)> {
        let (steps, zone) = (&self.line.change_points, &self.span.zone);
        let level =
            |level: f64| if level.is_finite() { table::ms(Some(level)) } else { "not settled".to_owned() };
        let step = |at: &(f64, f64, f64)| {
            format!("{} {} → {} ms", table::minute(at.0, zone), level(at.1), level(at.2))
        };
        let mut rows: Vec<(Sample, String)> = Vec::new();
        for (place, two) in steps.iter().take(MOST_STEPS).collect::<Vec<_>>().chunks(2).enumerate() {
            let texts: Vec<String> = two.iter().map(|at| step(at)).collect();
            let sample = if place == 0 { Sample::Line(STEP) } else { Sample::Nothing };
            rows.push((sample, format!("step {}", texts.join(", step "))));
        }
        if let (Some(more), Some(last)) =
            (steps.len().checked_sub(MOST_STEPS).filter(|more| *more > 0), rows.last_mut())
        {
            last.1 += &format!(", and {more} more");
        }
        rows
    }

    fn key(&self, canvas: &mut Canvas, outer: Area) {
        for (at, (sample, text)) in self.lines_of_key(outer.width).into_iter().enumerate() {
            let (x, y) = (outer.left + 14.0, outer.top + TITLE + ROW * (at as f64 + 1.0));
            let end = x + SAMPLE - 8.0;
            let block = [(x, y - 10.0), (end, y - 10.0), (end, y + 1.0), (x, y + 1.0)];
            match sample {
                Sample::Line(stroke) => canvas.line((x, y - 4.0), (end, y - 4.0), stroke),
                Sample::Wedge => {
                    canvas.tint(&block, INK, WEDGE);
                    canvas.line((x, y - 4.0), (end, y - 4.0), TREND);
                }
                Sample::Limit => {
                    hatch::within(canvas, Area { left: x, top: y - 10.0, width: end - x, height: 7.0 });
                    canvas.line((x, y - 2.0), (end, y - 2.0), LIMIT);
                }
                Sample::Warm => canvas.shape(&block, WARM),
                Sample::Nothing => {}
            }
            canvas.text((x + SAMPLE, y), Anchor::Start, LABEL, &text);
        }
    }

    /// The frame, and the factor from seconds to its unit with that unit.
    fn frame(&self, outer: Area) -> (Frame, (f64, &'static str)) {
        let above = self.above(outer.width);
        let area = frame::inner(Area { height: above + FRAME + frame::BELOW, ..outer }, above);
        // Counts of moves without a settling time stand at the right.
        let area = Area { width: area.width - 28.0, ..area };
        let longest = self.longest();
        let unit = scale::time_unit(longest);
        let top = if longest > 0.0 { 1.12 * longest * unit.0 } else { 10.0 };
        let x = Scale::linear(moments::seconds(self.span.from), moments::seconds(self.span.to));
        (Frame { area, x, y: Scale::linear(0.0, top) }, unit)
    }

    /// The longest time that must be seen: of nearly all moves, of all lines and steps. Unit: s
    fn longest(&self) -> f64 {
        let line = &self.line;
        let mut times: Vec<f64> = self.moments.iter().filter_map(|one| one.settling_s).collect();
        times.sort_by(f64::total_cmp);
        let of_moves = quantile_sorted(&times, SHOWN);
        let levels = [of_moves, line.level_s, line.last_s, line.limit_s].into_iter().flatten();
        let steps = line.change_points.iter().flat_map(|step| [step.1, step.2]);
        let baseline = self.baseline().into_iter().map(|(_, _, level)| level);
        levels.chain(steps).chain(baseline).filter(|time| time.is_finite()).fold(0.0, f64::max)
    }

    fn warm(&self, canvas: &mut Canvas, frame: &Frame) {
        let (top, bottom) = (frame.area.top, frame.area.bottom());
        for (from, to) in &self.warm_ups {
            let (from, to) = (frame.x(*from), frame.x(*to));
            canvas.shape(&[(from, top), (to, top), (to, bottom), (from, bottom)], WARM);
        }
    }

    /// The trend and what it is compared with.
    fn lines(&self, canvas: &mut Canvas, frame: &Frame, factor: f64) {
        let line = &self.line;
        let level = |canvas: &mut Canvas, level: Option<f64>, stroke: Stroke| {
            let Some(y) = level.map(|level| frame.y(level * factor)) else { return };
            canvas.line(
                (frame.area.left, y),
                (frame.area.right(), y),
                Stroke::solid("#fff", stroke.width + 1.2),
            );
            canvas.line((frame.area.left, y), (frame.area.right(), y), stroke);
        };
        self.baseline().into_iter().for_each(|(stroke, _, at)| level(canvas, Some(at), stroke));
        level(canvas, line.limit_s, LIMIT);
        let Some(ends) = self.trend() else { return };
        let at = |t: f64, value: f64| (frame.x(t), frame.y(value * factor));
        if let Some([low, high]) = self.wedge() {
            let (middle, half) = ((ends[0].0 + ends[1].0) / 2.0, (ends[1].0 - ends[0].0) / 2.0);
            let value = (ends[0].1 + ends[1].1) / 2.0;
            for side in [-half, half] {
                let corners = [(0.0, 0.0), (side, low * side), (side, high * side)];
                let corners = corners.map(|(t, rise)| at(middle + t, value + rise));
                canvas.tint(&corners, INK, WEDGE);
            }
        }
        let path = ends.map(|(t, value)| at(t, value));
        canvas.path(&path, Stroke::solid("#fff", TREND.width + 1.2));
        canvas.path(&path, if self.wedge().is_some() { TREND } else { VAGUE });
    }

    /// Both ends of the trend line. Unit: s since 1970, UTC, and s
    fn trend(&self) -> Option<[(f64, f64); 2]> {
        let line = &self.line;
        let (from, level, slope) = (line.fitted_from_s?, line.level_s?, line.slope_s_per_h?);
        let slope = slope.clamp(-STEEPEST, STEEPEST) / 3600.0;
        Some([(from, level - slope * (line.to_s - from)), (line.to_s, level)])
    }

    /// The 95 % interval of the slope, if both ends are known. Unit: s per s
    fn wedge(&self) -> Option<[f64; 2]> {
        let (low, high) = (self.line.slope_low_s_per_h?, self.line.slope_high_s_per_h?);
        Some([low, high].map(|slope| slope.clamp(-STEEPEST, STEEPEST) / 3600.0))
    }

    /// Steps, new beginnings and the drift that stands.
    fn uprights(&self, canvas: &mut Canvas, frame: &Frame) {
        let steps = self.line.change_points.iter().map(|step| (step.0, STEP));
        let anew = self.line.restarts.iter().map(|at| (*at, ANEW));
        let drift = self.line.drift_since_s.map(|at| (at, DRIFT));
        for (at, stroke) in anew.chain(steps).chain(drift) {
            let x = frame.x(at);
            if (frame.area.left..=frame.area.right()).contains(&x) {
                canvas.line((x, frame.area.top), (x, frame.area.bottom()), stroke);
            }
        }
    }

    /// How many moves lie above the frame, and how far.
    fn beyond(&self, canvas: &mut Canvas, frame: &Frame, factor: f64) {
        let top = frame.y.ends().1;
        let beyond: Vec<&Moment> = self
            .moments
            .iter()
            .filter(|one| one.settling_s.is_some_and(|time| time * factor > top))
            .collect();
        let Some(slowest) = beyond.iter().filter_map(|one| one.settling_s).reduce(f64::max) else { return };
        let places: Vec<(f64, f64)> =
            beyond.iter().map(|one| (frame.x(moments::seconds(one.at)), frame.area.top + 1.0)).collect();
        canvas.signs(&super::dots::thinned(&places, 6.0), "l4 6h-8z", QUIET, Stroke::solid(QUIET, 0.4));
        let text = format!(
            "▲ {} settled later than the scale shows, at most in {} ms",
            beyond.len(),
            table::ms(Some(slowest))
        );
        let face = Face { size: 11.5, ..ASIDE };
        canvas.text((frame.area.left + 6.0, frame.area.top + 20.0), Anchor::Start, face, &text);
    }
}

/// Up to three, and how many more.
fn listed(texts: &[String]) -> String {
    let more = texts.len().saturating_sub(3);
    let listed = texts.iter().take(3).cloned().collect::<Vec<String>>().join(", ");
    if more > 0 { format!("{listed} and {more} more") } else { listed }
}
