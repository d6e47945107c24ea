//! In: the moves of one kind. Out: the picture of their settling times against the time of day, with a histogram beside it.

use stillpoint_core::Outcome;

use super::canvas::{ASIDE, Anchor, Area, Canvas, Face, INK, TICK};
use super::frame::{self, Frame};
use super::moments::{self, Span, Unseen};
use super::picture::Picture;
use super::scale::{self, Scale};
use super::{caption, dots, outcome, text_fit};
use crate::analysis::quantile::rank;
use crate::report::moment::Moment;
use crate::report::number;

/// One picture.
#[derive(Clone, Debug)]
pub struct Chart {
    /// Axis and kind.
    pub title: String,
    /// The moves, in the order of time.
    pub moments: Vec<Moment>,
    /// The time that is shown.
    pub span: Span,
    /// What was not seen of the axis.
    pub unseen: Unseen,
}

/// Height of the frame. Unit: pixel
const FRAME: f64 = 170.0;
/// Room above it for the title. Unit: pixel
const TITLE: f64 = 22.0;
/// Height of a line of the sentence below that. Unit: pixel
const ROW: f64 = 17.0;
/// Width of the histogram, on a wide page and on a narrow one. Unit: pixel
const BESIDE: [f64; 2] = [120.0, 64.0];
/// Width that a wide page has at least. Unit: pixel
const WIDE: f64 = 600.0;
/// Room between the frame and the histogram, in which counts stand. Unit: pixel
const BETWEEN: f64 = 46.0;
/// Bars of the histogram.
const BARS: usize = 34;
const SMALL: Face = Face { size: 11.0, ..ASIDE };

impl Picture for Chart {
    fn height(&self, width: f64) -> f64 {
        self.above(width) + FRAME + frame::BELOW + 10.0
    }

    fn draw(&self, canvas: &mut Canvas, outer: Area) {
        caption::title(canvas, outer, &self.title);
        for (at, line) in self.lines(outer.width).iter().enumerate() {
            let y = outer.top + TITLE + ROW * (at as f64 + 1.0);
            canvas.text((outer.left + 14.0, y), Anchor::Start, ASIDE, line);
        }
        let (frame, unit) = self.frame(outer);
        let ticks = self.span.ticks(frame.area);
        frame.x_grid(canvas, &ticks);
        moments::band(canvas, &frame, &self.moments);
        let Some((factor, unit)) = unit else {
            moments::unseen(canvas, &frame, &self.unseen);
            frame.message(canvas, "No move of this kind settled, so there is no settling time to draw.");
            frame.outline(canvas);
            return frame.x_edge(canvas, &ticks, &self.span.label());
        };
        frame.y_grid(canvas);
        moments::unseen(canvas, &frame, &self.unseen);
        moments::settled(canvas, &frame, &self.moments, (factor, outcome::style(Outcome::Settled)));
        frame.outline(canvas);
        frame.x_edge(canvas, &ticks, &self.span.label());
        frame.y_edge(canvas, &format!("settling time ({unit})"));
        self.histogram(canvas, &frame, outer, factor);
    }
}

impl Chart {
    fn above(&self, width: f64) -> f64 {
        let band = moments::band_height(&moments::without(&self.moments));
        TITLE + ROW * self.lines(width).len() as f64 + band + 13.0
    }

    /// The sentence as it is broken.
    fn lines(&self, width: f64) -> Vec<String> {
        text_fit::wrapped(&self.sentence(), ASIDE.size, width - 28.0)
    }

    /// How the moves ended, in a sentence.
    pub fn sentence(&self) -> String {
        let mut times: Vec<f64> = self.moments.iter().filter_map(|one| one.settling_s).collect();
        times.sort_by(f64::total_cmp);
        let ms = |seconds: &f64| format!("{} ms", number::fixed(1e3 * seconds, 1));
        let mut parts = vec![number::count(self.moments.len(), "move"), format!("{} settled", times.len())];
        // As in the trend, a move that did not settle is slower than all that did.
        let unsettled = self.moments.iter().filter(|one| one.outcome == Outcome::Unsettled).count();
        let middle = rank(0.5, (times.len() + unsettled) as u64).and_then(|at| times.get(at as usize));
        match (middle, times.as_slice()) {
            (Some(middle), [first, .., last]) => {
                parts.push(format!("median {}", ms(middle)));
                parts.push(format!("{} to {}", ms(first), ms(last)));
            }
            (None, [_, ..]) => parts.push("half or more do not settle".to_owned()),
            (_, [one]) => parts.push(ms(one)),
            _ => {}
        }
        parts.extend(
            moments::without(&self.moments).iter().map(|(of, count)| format!("{count} {}", of.word())),
        );
        parts.extend((!self.unseen.missing.is_empty()).then(|| {
            format!(
                "samples or frames missing {} (strokes at the bottom)",
                number::count(self.unseen.missing.len(), "time")
            )
        }));
        parts.join(", ")
    }

    /// The frame; the factor from seconds to its unit and that unit, if a move settled.
    fn frame(&self, outer: Area) -> (Frame, Option<(f64, &'static str)>) {
        let longest = self.moments.iter().filter_map(|one| one.settling_s).reduce(f64::max);
        let above = self.above(outer.width);
        let area = frame::inner(Area { height: above + FRAME + frame::BELOW, ..outer }, above);
        let area = Area { width: area.width - BETWEEN - beside(outer), ..area };
        let unit = longest.map(scale::time_unit);
        // Stops that are all inside at once have a scale too.
        let top = longest.zip(unit).map_or(1.0, |(longest, (factor, _))| 1.06 * longest * factor);
        let x = Scale::linear(moments::seconds(self.span.from), moments::seconds(self.span.to));
        (Frame { area, x, y: Scale::linear(0.0, if top > 0.0 { top } else { 10.0 }) }, unit)
    }

    /// How many moves settled in which time, on the scale of the frame beside it.
    fn histogram(&self, canvas: &mut Canvas, frame: &Frame, outer: Area, factor: f64) {
        let area = Area { left: frame.area.right() + BETWEEN, width: beside(outer), ..frame.area };
        let times = self.moments.iter().filter_map(|one| one.settling_s).map(|settling| settling * factor);
        let counts = dots::counts(times, frame.y.ends().1, BARS);
        let most = counts.iter().copied().max().unwrap_or(0).max(1);
        let step = area.height / BARS as f64;
        for (at, count) in counts.iter().enumerate().filter(|(_, count)| **count > 0) {
            let bottom = area.bottom() - step * at as f64;
            // One move among thousands is still a line.
            let right = area.left + (area.width * *count as f64 / most as f64).max(1.0);
            let corners =
                [(area.left, bottom - step), (right, bottom - step), (right, bottom), (area.left, bottom)];
            canvas.shape(&corners, outcome::style(Outcome::Settled).stroke.colour);
        }
        let beside = Frame { area, x: Scale::linear(0.0, most as f64), y: frame.y };
        beside.outline(canvas);
        canvas.text((area.left, area.bottom() + 16.0), Anchor::Middle, TICK, "0");
        canvas.text((area.right(), area.bottom() + 16.0), Anchor::End, TICK, &most.to_string());
        let label = Face { colour: INK, ..SMALL };
        canvas.text((area.left + area.width / 2.0, area.bottom() + 33.0), Anchor::Middle, label, "settled");
    }
}

fn beside(outer: Area) -> f64 {
    if outer.width >= WIDE { BESIDE[0] } else { BESIDE[1] }
}

#[cfg(test)]
mod tests {
    use jiff::tz::TimeZone;

    use super::*;
    use crate::plot::figure::Figure;

    /// A hundred thousand moves in eight kinds, as scattered as they can be, with one that is far slower.
    #[test]
    fn very_many_moves_are_a_small_file_and_no_extreme_is_lost() {
        let mut state = 1_u32;
        let mut chance = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / f64::from(1_u32 << 24)
        };
        let mut moment = |at: i64| {
            let settling = if at == 6_001 { 0.9 } else { 0.2 * chance() };
            let outcomes = [Outcome::Unsettled, Outcome::Interrupted, Outcome::Untrusted];
            let without = (chance() < 0.1 && at != 6_001).then(|| outcomes[at as usize % 3]);
            let settling_s = without.is_none().then_some(settling);
            Moment { at: at * 1_000_000, outcome: without.unwrap_or(Outcome::Settled), settling_s }
        };
        let charts = (0..8).map(|kind| {
            let moments: Vec<Moment> = (0..12_500).map(&mut moment).collect();
            let span = Span::of(moments.iter().map(|one| one.at), TimeZone::UTC).expect("a span");
            Chart { title: format!("kind {kind}"), moments, span, unseen: Unseen::default() }
        });
        let figure = Figure { charts: charts.collect(), ..Figure::default() };
        let svg = figure.svg(900.0, "figure");
        assert!(svg.len() < 700_000, "{} bytes", svg.len());
        // In each picture the slowest move is a dot at its own place, 0.9 s of a scale to 0.954 s.
        let mut top = 12.0 + 12.0;
        for chart in &figure.charts {
            let (frame, _) = chart.frame(Area { left: 0.0, top, width: 900.0, height: chart.height(900.0) });
            let [x, y] = [frame.x(6_001.0), frame.y(900.0)].map(|place| (10.0 * place).round() / 10.0);
            assert!(svg.contains(&format!("M{x} {y}h0")), "M{x} {y}h0");
            top += chart.height(900.0);
        }
    }
}
