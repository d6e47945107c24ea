//! In: the path of a picture and a sheet. Out: the picture, in the format that the path names, on the disk.

use std::path::Path;

use super::{PlotError, Sheet, page, raster, sheet};
use crate::report::move_report::MoveReport;

/// What a picture can be written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Lines and text that scale: `.svg`.
    Svg,
    /// Pixels, 1800 wide, for where SVG cannot be used: `.png`.
    Png,
    /// The pictures with the table of all moves, in one file that needs nothing else: `.html` or `.htm`.
    Html,
}

impl Format {
    /// The format that the extension of `path` names, in capitals or not. Check before measuring, so that
    /// nobody waits for a picture that cannot be written.
    pub fn of(path: &Path) -> Result<Self, PlotError> {
        let extension = path.extension().map(|text| text.to_string_lossy().to_lowercase());
        match extension.as_deref() {
            Some("svg") => Ok(Self::Svg),
            Some("png") => Ok(Self::Png),
            Some("html" | "htm") => Ok(Self::Html),
            _ => Err(PlotError::Extension(path.display().to_string())),
        }
    }

    /// The bytes of the file. `all` are the moves of the table in HTML; SVG and PNG have no table.
    pub fn bytes(self, sheet: &Sheet, all: &[MoveReport]) -> Result<Vec<u8>, PlotError> {
        match self {
            Self::Svg => Ok(sheet::svg(sheet).into_bytes()),
            Self::Png => raster::png(&sheet::svg(sheet)),
            Self::Html => page::html(sheet, all).map(String::into_bytes),
        }
    }
}

/// Draws `sheet` into the file at `path`, in the format its extension names; an old file is replaced.
/// `all` are the moves of the table in HTML, which may be more than are pictured.
pub fn draw(path: &Path, sheet: &Sheet, all: &[MoveReport]) -> Result<(), PlotError> {
    let bytes = Format::of(path)?.bytes(sheet, all)?;
    std::fs::write(path, bytes)
        .map_err(|source| PlotError::Write { path: path.display().to_string(), source })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::album::Album;

    #[test]
    fn the_extension_chooses_the_format() {
        for (path, expected) in [
            ("a.svg", Some(Format::Svg)),
            ("dir.svg/b.PNG", Some(Format::Png)),
            ("c.Html", Some(Format::Html)),
            ("c.htm", Some(Format::Html)),
            ("d.pdf", None),
            ("svg", None),
            ("", None),
        ] {
            match (Format::of(Path::new(path)), expected) {
                (Ok(format), Some(expected)) => assert_eq!(format, expected, "{path}"),
                (Err(error), None) => {
                    let text = error.to_string();
                    let known = [".svg", ".png", ".html"].iter().all(|known| text.contains(known));
                    assert!(known && text.contains(path), "{text}");
                }
                (format, _) => panic!("{path}: {format:?}"),
            }
        }
    }

    #[test]
    fn the_file_is_what_its_name_says() {
        let folder = std::env::temp_dir().join(format!("stillpoint-draw-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        for (name, begin) in
            [("a.svg", "<svg ".as_bytes()), ("a.png", b"\x89PNG\r\n"), ("a.html", b"<!DOCTYPE html>")]
        {
            let path = folder.join(name);
            draw(&path, &Album::default().sheet("Tray shuttle", &[]), &[]).unwrap();
            assert!(std::fs::read(&path).unwrap().starts_with(begin), "{name}");
        }
        let nowhere = folder.join("none").join("a.svg");
        let error = draw(&nowhere, &Album::default().sheet("", &[]), &[]).unwrap_err().to_string();
        assert!(error.contains("a.svg"), "{error}");
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
