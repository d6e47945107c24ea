//! In: an SVG of this module. Out: the same as PNG, with its own font, so it looks alike on every machine.

use std::sync::Arc;

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

use super::PlotError;

/// Pixels of the PNG for each one of the SVG: sharp on a dense screen and in print.
const SCALE: f32 = 2.0;

/// `svg` with its own font, ready to be drawn.
pub fn tree(svg: &str) -> Result<Tree, PlotError> {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    fonts.load_font_data(dejavu::sans::bold().to_vec());
    let options =
        Options { font_family: "DejaVu Sans".to_owned(), fontdb: Arc::new(fonts), ..Options::default() };
    Tree::from_str(svg, &options).map_err(|error| PlotError::Raster(error.to_string()))
}

/// `svg` as a PNG file, twice as many pixels wide and high.
pub fn png(svg: &str) -> Result<Vec<u8>, PlotError> {
    let failed = |reason: String| PlotError::Raster(reason);
    let tree = tree(svg)?;
    let size = tree.size();
    let (width, height) = ((size.width() * SCALE).ceil() as u32, (size.height() * SCALE).ceil() as u32);
    let mut pixels = Pixmap::new(width, height)
        .ok_or_else(|| failed(format!("{width} × {height} pixels are too many")))?;
    resvg::render(&tree, Transform::from_scale(SCALE, SCALE), &mut pixels.as_mut());
    pixels.encode_png().map_err(|error| failed(error.to_string()))
}
