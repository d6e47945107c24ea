//! In: lines, shapes and text in pixels. Out: the body of an SVG, escaped, finite and short.

use crate::report::number;
use crate::report::printable::printable;

/// Ink of text and frames.
pub(super) const INK: &str = "#1a1a1a";
/// Ink of remarks.
pub(super) const QUIET: &str = "#595959";
/// Ink of grid lines.
pub(super) const FAINT: &str = "#e3e3e3";

/// How a line is drawn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stroke {
    pub(super) colour: &'static str,
    pub(super) width: f64,
    /// SVG dash pattern; empty for a solid line.
    pub(super) dash: &'static str,
    pub(super) opacity: f64,
}

impl Stroke {
    pub(super) const fn solid(colour: &'static str, width: f64) -> Self {
        Self { colour, width, dash: "", opacity: 1.0 }
    }

    pub(super) const fn dashed(self, dash: &'static str) -> Self {
        Self { dash, ..self }
    }

    fn attributes(&self) -> String {
        let mut text = format!("stroke=\"{}\" stroke-width=\"{}\"", self.colour, pixel(self.width));
        if !self.dash.is_empty() {
            text += &format!(" stroke-dasharray=\"{}\"", self.dash);
        }
        if self.opacity < 1.0 {
            text += &format!(" stroke-opacity=\"{}\"", pixel(self.opacity));
        }
        text
    }
}

/// How text stands to its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// How text looks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Face {
    pub(super) size: f64,
    pub(super) bold: bool,
    pub(super) colour: &'static str,
}

/// Numbers at ticks.
pub(super) const TICK: Face = Face { size: 12.5, bold: false, colour: INK };
/// Names of axes and lines.
pub(super) const LABEL: Face = Face { size: 13.0, bold: false, colour: INK };
/// What a picture shows.
pub(super) const TITLE: Face = Face { size: 15.0, bold: true, colour: INK };
/// Remarks.
pub(super) const ASIDE: Face = Face { size: 12.5, bold: false, colour: QUIET };

/// The body of an SVG being written.
#[derive(Debug)]
pub struct Canvas {
    body: String,
    name: String,
    clips: usize,
}

impl Canvas {
    /// An empty one; `name` must differ from that of every other SVG on the same page.
    pub(super) fn named(name: &str) -> Self {
        Self { body: String::new(), name: name.to_owned(), clips: 0 }
    }

    pub(super) fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
        self.body += &format!(
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" {}/>\n",
            pixel(from.0),
            pixel(from.1),
            pixel(to.0),
            pixel(to.1),
            stroke.attributes()
        );
    }

    /// An open line through `points`; nothing for fewer than two.
    pub(super) fn path(&mut self, points: &[(f64, f64)], stroke: Stroke) {
        if points.len() > 1 {
            let attributes = stroke.attributes();
            self.body += &format!(
                "<path d=\"{}\" fill=\"none\" stroke-linejoin=\"round\" {attributes}/>\n",
                through(points)
            );
        }
    }

    /// A filled shape around `points`, without an edge.
    pub(super) fn shape(&mut self, points: &[(f64, f64)], fill: &str) {
        if points.len() > 2 {
            self.body += &format!("<path d=\"{}Z\" fill=\"{fill}\"/>\n", through(points));
        }
    }

    /// The same with this opacity, so that what lies below can be seen.
    pub(super) fn tint(&mut self, points: &[(f64, f64)], fill: &str, opacity: f64) {
        if points.len() > 2 {
            let opacity = pixel(opacity);
            self.body +=
                &format!("<path d=\"{}Z\" fill=\"{fill}\" fill-opacity=\"{opacity}\"/>\n", through(points));
        }
    }

    pub(super) fn circle(&mut self, at: (f64, f64), radius: f64, fill: &str, stroke: Stroke) {
        self.body += &format!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{fill}\" {}/>\n",
            pixel(at.0),
            pixel(at.1),
            pixel(radius),
            stroke.attributes()
        );
    }

    /// The same small sign at many places, as one path: `sign` goes on from a place in relative steps. `fill` is a colour or
    /// `none`.
    pub(super) fn signs(&mut self, places: &[(f64, f64)], sign: &str, fill: &str, stroke: Stroke) {
        if places.is_empty() {
            return;
        }
        let short = |value: f64| pixel((10.0 * value).round() / 10.0);
        let path: String =
            places.iter().map(|(x, y)| format!("M{} {}{sign}", short(*x), short(*y))).collect();
        let attributes = stroke.attributes();
        self.body += &format!("<path d=\"{path}\" fill=\"{fill}\" stroke-linecap=\"round\" {attributes}/>\n");
    }

    pub(super) fn text(&mut self, at: (f64, f64), anchor: Anchor, face: Face, text: &str) {
        self.written(&format!("x=\"{}\" y=\"{}\"", pixel(at.0), pixel(at.1)), anchor, face, text);
    }

    /// Text read from bottom to top, centred on `at`.
    pub(super) fn text_upwards(&mut self, at: (f64, f64), face: Face, text: &str) {
        let place = format!("transform=\"translate({} {}) rotate(-90)\"", pixel(at.0), pixel(at.1));
        self.written(&place, Anchor::Middle, face, text);
    }

    fn written(&mut self, place: &str, anchor: Anchor, face: Face, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let weight = if face.bold { " font-weight=\"bold\"" } else { "" };
        // A white rim makes words legible where a line passes under them.
        self.body += &format!(
            "<text {place}{anchor}{weight} font-size=\"{}\" fill=\"{}\" stroke=\"#fff\" stroke-width=\"3\" \
             stroke-linejoin=\"round\" paint-order=\"stroke\">{}</text>\n",
            pixel(face.size),
            face.colour,
            escaped(text)
        );
    }

    /// What `draw` draws, cut off at the edges of `area`.
    pub(super) fn clipped(&mut self, area: Area, draw: impl FnOnce(&mut Self)) {
        self.clips += 1;
        let name = format!("{}-{}", self.name, self.clips);
        self.body += &format!(
            "<clipPath id=\"{name}\"><rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/></clipPath>\n\
             <g clip-path=\"url(#{name})\">\n",
            pixel(area.left),
            pixel(area.top),
            pixel(area.width),
            pixel(area.height)
        );
        draw(self);
        self.body += "</g>\n";
    }

    /// The whole SVG: `title` and `description` are read out by a screen reader.
    pub(super) fn finish(self, width: f64, height: f64, title: &str, description: &str) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"{w}\" height=\"{h}\" \
             viewBox=\"0 0 {w} {h}\" font-family=\"'DejaVu Sans', Verdana, sans-serif\">\n\
             <title>{}</title>\n<desc>{}</desc>\n\
             <rect width=\"{w}\" height=\"{h}\" fill=\"#fff\"/>\n{}</svg>\n",
            escaped(title),
            escaped(description),
            self.body,
            w = pixel(width),
            h = pixel(height)
        )
    }
}

/// A rectangle. Unit: pixel
#[derive(Clone, Copy, Debug)]
pub struct Area {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) width: f64,
    pub(super) height: f64,
}

impl Area {
    pub(super) fn right(&self) -> f64 {
        self.left + self.width
    }

    pub(super) fn bottom(&self) -> f64 {
        self.top + self.height
    }
}

fn through(points: &[(f64, f64)]) -> String {
    let mut path = String::with_capacity(points.len() * 12);
    for (i, (x, y)) in points.iter().enumerate() {
        path += if i == 0 { "M" } else { "L" };
        path += &pixel(*x);
        path.push(' ');
        path += &pixel(*y);
    }
    path
}

/// Farthest a coordinate may lie; viewers differ in what they do with huge ones.
const FARTHEST: f64 = 20_000.0;

/// A coordinate as short text; what is no number becomes 0.
fn pixel(value: f64) -> String {
    let value = if value.is_nan() { 0.0 } else { value.clamp(-FARTHEST, FARTHEST) };
    number::trimmed(number::fixed(value, 2))
}

/// Text as XML holds it; what XML 1.0 forbids, `printable` has already replaced.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in printable(text).chars() {
        match c {
            '&' => out += "&amp;",
            '<' => out += "&lt;",
            '>' => out += "&gt;",
            '"' => out += "&quot;",
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_break_the_picture() {
        for (text, expected) in [
            ("a<b>&\"c\"", "a&lt;b&gt;&amp;&quot;c&quot;"),
            ("bell\u{7} line\nend", "bell\u{FFFD} line end"),
            ("Tablett 1 µm", "Tablett 1 µm"),
        ] {
            assert_eq!(escaped(text), expected);
        }
    }

    #[test]
    fn coordinates_are_finite_and_short() {
        for (value, expected) in [
            (1.0, "1"),
            (1.256, "1.26"),
            (-0.001, "0"),
            (f64::NAN, "0"),
            (f64::INFINITY, "20000"),
            (-1e300, "-20000"),
        ] {
            assert_eq!(pixel(value), expected);
        }
    }
}
