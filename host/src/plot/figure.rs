//! In: an answer in words and the pictures that show it. Out: one file: SVG, PNG, or HTML that needs nothing else.

use std::path::Path;

use minijinja::{Environment, context};

use super::canvas::{ASIDE, Anchor, Area, Canvas, Face, LABEL, TITLE};
use super::picture::Picture;
use super::spread::Chart;
use super::{Format, PlotError, raster, text_fit};
use crate::report::printable::printable;

/// Width on a wide page and in a file of its own, and on a phone. Unit: pixel
const WIDTHS: [f64; 2] = [900.0, 480.0];
const HEADING: Face = Face { size: 20.0, ..TITLE };
const MARGIN: f64 = 14.0;

/// An answer with its pictures.
#[derive(Clone, Debug)]
pub struct Figure<P = Chart> {
    /// The answer, in a sentence.
    pub heading: String,
    /// What it is about.
    pub subject: String,
    /// The pictures, one below the other.
    pub charts: Vec<P>,
    /// What a reader should know, one sentence each.
    pub notes: Vec<String>,
    /// The same in figures, as the terminal prints it; HTML shows it below the pictures.
    pub text: String,
}

impl<P> Default for Figure<P> {
    fn default() -> Self {
        let (heading, subject, text) = Default::default();
        Figure { heading, subject, charts: Vec::new(), notes: Vec::new(), text }
    }
}

impl<P: Picture> Figure<P> {
    /// Draws it into the file at `path`, in the format its extension names; an old file is replaced.
    pub fn draw(&self, path: &Path) -> Result<(), PlotError> {
        let bytes = match Format::of(path)? {
            Format::Svg => self.svg(WIDTHS[0], "figure").into_bytes(),
            Format::Png => raster::png(&self.svg(WIDTHS[0], "figure"))?,
            Format::Html => self.html()?.into_bytes(),
        };
        std::fs::write(path, bytes)
            .map_err(|source| PlotError::Write { path: path.display().to_string(), source })
    }

    /// All as one SVG; `name` must be unique on its page.
    pub fn svg(&self, width: f64, name: &str) -> String {
        let mut canvas = Canvas::named(name);
        let room = width - 2.0 * MARGIN;
        let mut y = 12.0;
        let lines = text_fit::wrapped(&self.heading, HEADING.size * 1.14, room);
        let lines = lines.into_iter().map(|line| (HEADING, 24.0, line));
        let subject = text_fit::wrapped(&self.subject, LABEL.size, room);
        for (face, height, line) in lines.chain(subject.into_iter().map(|line| (LABEL, 20.0, line))) {
            y += height;
            canvas.text((MARGIN, y), Anchor::Start, face, &line);
        }
        y += 12.0;
        for chart in &self.charts {
            chart.draw(&mut canvas, Area { left: 0.0, top: y, width, height: chart.height(width) });
            y += chart.height(width);
        }
        for line in self.notes.iter().flat_map(|note| text_fit::wrapped(note, ASIDE.size, room)) {
            y += 17.0;
            canvas.text((MARGIN, y), Anchor::Start, ASIDE, &line);
        }
        let description = [self.subject.as_str()].into_iter().chain(self.notes.iter().map(String::as_str));
        canvas.finish(width, y + MARGIN, &self.heading, &description.collect::<Vec<&str>>().join(". "))
    }

    fn html(&self) -> Result<String, PlotError> {
        let mut environment = Environment::new();
        environment.add_template("figure.html", include_str!("figure.html"))?;
        let [wide, narrow] = WIDTHS.map(|width| self.svg(width, &format!("figure{width}")));
        Ok(environment.get_template("figure.html")?.render(context! {
            heading => printable(&self.heading),
            wide,
            narrow,
            text => self.text.lines().map(printable).collect::<Vec<String>>().join("\n"),
        })?)
    }
}
