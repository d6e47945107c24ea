//! In: text. Out: its glyphs and its width, in the font that is part of the program.

use krilla::text::{Font, GlyphId, KrillaGlyph};
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider};

use super::failed;
use crate::error::Error;
use crate::page::text;

/// Stands for a character that the font lacks; it is part of the font.
const LACKING: char = '\u{FFFD}';

/// Upright and bold.
pub(super) struct Fonts {
    regular: Face,
    bold: Face,
}

/// One font.
pub(super) struct Face {
    tables: FontRef<'static>,
    /// For the file.
    pub(super) font: Font,
    units_per_em: f32,
}

impl Fonts {
    pub(super) fn new() -> Result<Fonts, Error> {
        Ok(Fonts { regular: Face::new(dejavu::sans::regular())?, bold: Face::new(dejavu::sans::bold())? })
    }

    pub(super) fn face(&self, is_bold: bool) -> &Face {
        if is_bold { &self.bold } else { &self.regular }
    }

    /// A text as both fonts can show it: every character that they lack is replaced.
    pub(super) fn shown(&self, text: &str) -> String {
        let maps = [self.regular.tables.charmap(), self.bold.tables.charmap()];
        let has = |letter: char| maps.iter().all(|map| map.map(letter).is_some());
        text::shown(text).chars().map(|letter| if has(letter) { letter } else { LACKING }).collect()
    }

    /// Unit: pt
    pub(super) fn width(&self, text: &str, style: Style) -> f64 {
        let glyphs = self.face(style.is_bold).glyphs(&self.shown(text));
        glyphs.iter().map(|glyph| f64::from(glyph.x_advance)).sum::<f64>() * style.size
    }

    /// `text` broken at blanks into lines no wider than `room`; a longer word is broken anywhere. Unit: pt
    pub(super) fn lines(&self, text: &str, style: Style, room: f64) -> Vec<String> {
        let (mut lines, mut line) = (Vec::new(), String::new());
        for word in self.shown(text).split(' ').filter(|word| !word.is_empty()) {
            let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
            if self.width(&longer, style) <= room {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            line = self.broken(word, style, room, &mut lines);
        }
        lines.push(line);
        lines
    }

    /// Adds the lines that a word fills, and returns what remains of it.
    fn broken(&self, word: &str, style: Style, room: f64, lines: &mut Vec<String>) -> String {
        let (mut part, mut width) = (String::new(), 0.0);
        for letter in word.chars() {
            let more = self.width(letter.encode_utf8(&mut [0; 4]), style);
            if width + more > room && !part.is_empty() {
                lines.push(std::mem::take(&mut part));
                width = 0.0;
            }
            part.push(letter);
            width += more;
        }
        part
    }
}

impl Face {
    fn new(data: &'static [u8]) -> Result<Face, Error> {
        let font = Font::new(data.into(), 0).ok_or_else(|| failed("its font can't be used"))?;
        let tables = FontRef::new(data).map_err(failed)?;
        let units_per_em = font.units_per_em();
        Ok(Face { tables, font, units_per_em })
    }

    /// The glyph of each character of a text that is [shown](Fonts::shown).
    pub(super) fn glyphs(&self, text: &str) -> Vec<KrillaGlyph> {
        let tables = &self.tables;
        let (map, metrics) =
            (tables.charmap(), tables.glyph_metrics(Size::unscaled(), LocationRef::default()));
        let glyph = |(at, letter): (usize, char)| {
            let id = map.map(letter).unwrap_or_default();
            let advance = metrics.advance_width(id).unwrap_or(0.0) / self.units_per_em;
            KrillaGlyph::new(
                GlyphId::new(id.to_u32()),
                advance,
                0.0,
                0.0,
                0.0,
                at..at + letter.len_utf8(),
                None,
            )
        };
        text.char_indices().map(glyph).collect()
    }
}

/// How text looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Style {
    /// Unit: pt
    pub(super) size: f64,
    pub(super) is_bold: bool,
}

impl Style {
    /// From one line to the next. Unit: pt
    pub(super) fn leading(self) -> f64 {
        1.35 * self.size
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STYLE: Style = Style { size: 10.0, is_bold: false };

    #[test]
    fn text_is_broken_at_blanks_and_long_words_anywhere() {
        let fonts = Fonts::new().unwrap();
        assert_eq!(fonts.lines("one two three", STYLE, 50.0), ["one two", "three"]);
        assert_eq!(fonts.lines("", STYLE, 50.0), [""]);
        let lines = fonts.lines(&format!("a {} b", "x".repeat(500)), STYLE, 60.0);
        assert!(lines.iter().all(|line| fonts.width(line, STYLE) <= 60.0), "{lines:?}");
        assert_eq!(lines.concat().replace(' ', ""), format!("a{}b", "x".repeat(500)));
        // Narrower than a letter: still every letter comes.
        assert_eq!(fonts.lines("abc", STYLE, 0.1).concat(), "abc");
    }

    #[test]
    fn what_the_font_lacks_is_shown_to_be_lacking() {
        let fonts = Fonts::new().unwrap();
        assert_eq!(fonts.shown("> 0.05 → Förderer № 3, — ✓"), "> 0.05 → Förderer № 3, — ✓");
        assert_eq!(fonts.shown("軸.csv\u{202E}\u{7}"), "\u{FFFD}.csv\u{FFFD}\u{FFFD}");
        assert!(fonts.bold.glyphs(&fonts.shown("軸 ± µ")).iter().all(|glyph| glyph.glyph_id.to_u32() > 0));
    }
}
